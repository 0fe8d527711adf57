/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How well marks are sighted and viewed: variances of their coordinates, as a fit finds them. */
#include "config.h"

#include <math.h>

#include "adjust/fit_parts.h"
#include "adjust/robust.h"
#include "base/distribution.h"

/* Places scatter more than the views of one do with so small a probability where all are
 * independent. */
#define ALIKE_IMPROBABLE 1e-3

double tt_fit_sight_scatter(const struct tt_fit *fit, double dof, bool view)
{
    double sum = 0;

    if (!(dof > 0)) {
        return view ? fit->view_var_mm2 : fit->sight_var_mm2;
    }
    for (size_t i = 0; i < fit->model->n_sights; i++) {
        const double *r = fit->model->sights[i].residual;
        if (fit->model->sights[i].view == view) {
            sum += tt_sight_share(&fit->model->sights[i]) * (r[0] * r[0] + r[1] * r[1]);
        }
    }
    return fmax(sum / dof, TT_LEAST_SCATTER_MM * TT_LEAST_SCATTER_MM);
}

/* Variance of rounding in a viewed coordinate: of the head's, and of the pixels. */
static double view_digits_mm2(const struct tt_fit *fit)
{
    double digit_mm = fit->noise->view_digit_px * fit->model->picture.pixel_mm;
    return fit->noise->sight_digit_var_mm2 + digit_mm * digit_mm;
}

double tt_fit_first_view_var(const struct tt_fit *fit, double *dof)
{
    const struct tt_picture_model *picture = &fit->model->picture;
    double usual_mm = TT_FIRST_VIEW_PX * picture->pixel_mm,
           usual_mm2 = usual_mm * usual_mm + view_digits_mm2(fit);
    double own = (picture->own_dof * picture->own_var_mm2 + TT_FIRST_VIEW_DOF * usual_mm2) /
                 (picture->own_dof + TT_FIRST_VIEW_DOF);
    bool contradicted = picture->own_dof > 0 && fit->noise->view_dof > 0 &&
                        tt_fisher_upper(own / fit->view_stated_mm2, picture->own_dof,
                                        fit->noise->view_dof) < TT_STATED_IMPROBABLE;

    if (fit->noise->view_dof > 0 && !contradicted) {
        *dof = fit->noise->view_dof;
        return fit->view_stated_mm2;
    }
    *dof = picture->own_dof + TT_FIRST_VIEW_DOF;
    return fmax(own, TT_LEAST_SCATTER_MM * TT_LEAST_SCATTER_MM);
}

void tt_fit_set_sight_var(struct tt_fit *fit, double sight_var_mm2)
{
    fit->sight_var_mm2 = sight_var_mm2;
    tt_fit_set_view_var(fit, fit->view_var_mm2);
}

void tt_fit_set_view_var(struct tt_fit *fit, double view_var_mm2)
{
    fit->view_var_mm2 = view_var_mm2;
    for (size_t i = 0; i < fit->model->n_sights; i++) {
        struct tt_sight *sight = &fit->model->sights[i];
        sight->ratio = sight->view ? view_var_mm2 / fit->sight_var_mm2 : 1;
    }
}

bool tt_sightings_stated(const struct tt_fit *fit)
{
    size_t views = fit->model->picture.n;
    bool sights = fit->noise->sight_known && !fit->sight_scattered,
         of_views = fit->noise->view_dof > 0 && !fit->view_scattered;

    return (sights || (views > 0 && views == fit->model->n_sights)) && (of_views || views == 0);
}

void tt_fit_begin_views(struct tt_fit *fit)
{
    const struct tt_noise *noise = fit->noise;
    double pixel_mm = fit->model->picture.pixel_mm, dof;

    for (size_t i = 0; i < fit->model->n_sights && noise->view_alike > 0; i++) {
        struct tt_sight *sight = &fit->model->sights[i];
        sight->share = sight->view ? 1 / (1 + noise->view_alike * (double)(sight->alike - 1)) : 1;
    }
    if (fit->model->picture.n > 0) {
        fit->view_stated_mm2 =
            noise->view_px * noise->view_px * pixel_mm * pixel_mm + view_digits_mm2(fit);
        tt_fit_set_view_var(fit, tt_fit_first_view_var(fit, &dof));
    }
}

double tt_fit_update_views(struct tt_fit *fit)
{
    double view = fit->view_var_mm2, before = view;

    if (fit->dof_view > TT_LEAST_DOF) {
        fit->scatter_view_mm2 = tt_fit_sight_scatter(fit, fit->dof_view, true);
        view = tt_fit_pooled(fit->scatter_view_mm2, fit->dof_view, fit->view_stated_mm2,
                             fit->noise->view_dof, &fit->view_scattered);
    }
    tt_fit_set_view_var(fit, view);
    return fabs(view / before - 1);
}

/* The variance that views have beforehand, and its degrees of freedom. */
static double prior_var_mm2(const struct tt_fit *fit, double *dof)
{
    double usual_mm = TT_FIRST_VIEW_PX * fit->model->picture.pixel_mm;

    *dof = fit->noise->view_dof > 0 ? fit->noise->view_dof : TT_FIRST_VIEW_DOF;
    return fit->noise->view_dof > 0 ? fit->view_stated_mm2
                                    : usual_mm * usual_mm + view_digits_mm2(fit);
}

void tt_fit_learn_views(struct tt_fit *fit)
{
    double prior_dof;

    if (fit->model->picture.n > 0) {
        double prior = prior_var_mm2(fit, &prior_dof), dof = fmax(fit->dof_view, 0),
               own = tt_fit_sight_scatter(fit, dof, true);
        tt_fit_set_view_var(fit, (prior_dof * prior + dof * own) / (prior_dof + dof));
    }
}

double tt_fit_log_views(const struct tt_fit *fit)
{
    double dof;

    if (fit->model->picture.n == 0) {
        return 0;
    }
    double ratio = prior_var_mm2(fit, &dof) / fit->view_var_mm2;
    return 0.5 * dof * (log(ratio) - ratio + 1);
}

/* Sum of squares of the residuals of the views of one place about their mean, whose first one is
 * @first; their number into *n. */
static double squares_within(const struct tt_model *model, size_t first, double *n)
{
    double sum[2] = {0, 0}, squares = 0;

    *n = 0;
    for (size_t i = first; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        if (sight->first == first && tt_sight_share(sight) > 0) {
            *n += 1;
            for (size_t k = 0; k < 2; k++) {
                sum[k] += sight->residual[k];
                squares += sight->residual[k] * sight->residual[k];
            }
        }
    }
    return *n > 0 ? squares - (sum[0] * sum[0] + sum[1] * sum[1]) / *n : 0;
}

double tt_fit_views_alike(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double within = 0, n, views = 0, squares = 0, places = 0, step = view_digits_mm2(fit);

    for (size_t i = 0; i < model->n_sights && model->picture.n > 0; i++) {
        if (model->sights[i].view && model->sights[i].first == i) {
            within += squares_within(model, i, &n);
            views += n;
            squares += n * n;
            places += n > 0;
        }
    }
    double dof = 2 * (views - places), between_dof = fit->dof_view - dof;
    if (!(dof >= 1 && between_dof >= 1)) {
        return 0;
    }
    double between = (tt_fit_sight_scatter(fit, fit->dof_view, true) * fit->dof_view - within) /
                     between_dof,
           mean = (views - squares / views) / (places - 1);
    within = fmax(within / dof, step);
    if (!(tt_fisher_upper(between / within, between_dof, dof) < ALIKE_IMPROBABLE)) {
        return 0;
    }
    double shared = (between - within) / mean;
    return shared / (shared + within);
}

double tt_fit_views_counted(const struct tt_fit *fit)
{
    double sum = 0;

    for (size_t i = 0; i < fit->model->n_sights; i++) {
        sum += fit->model->sights[i].view ? tt_sight_share(&fit->model->sights[i]) : 0;
    }
    return sum;
}
