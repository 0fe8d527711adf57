/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/height_climb.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#include "adjust/mixture.h"
#include "base/distribution.h"
#include "model/frames.h"

#define MOST_HEIGHT_CLIMB 40
#define HEIGHT_CLIMBED 0.02 /* of the ln likelihood */
#define HEIGHT_HELD_STEPS 6 /* with the repeatability held: the late ones are found first */
#define DEVIATION_STEPS 8
#define DEVIATION_FLOOR 1e-3 /* mm: residuals below count alike */
#define HEIGHT_START_LATE 0.15
#define TIGHT_SCATTER_MM 1.5e-3
#define HEIGHT_LARGEST 3.4 /* standard deviations up to which least squares stands */
#define HEIGHT_CLEAN_MM 7e-3
#define HEIGHT_CLEAN_IMPROBABLE 1e-4

bool tt_height_looks_clean(const struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double largest = 0, dof = fmax(fit->dof, 1);

    for (size_t i = 0; i < h->n_rows; i++) {
        double variance = fit->variance_mm2 * fmax(1 - fit->leverage[i], 0.05);
        largest = fmax(largest, fit->residual[i] * fit->residual[i] / variance);
    }
    if (!(largest < HEIGHT_LARGEST * HEIGHT_LARGEST)) {
        return false;
    }
    if (h->stated_dof == 0) {
        return fit->own_mm2 < HEIGHT_CLEAN_MM * HEIGHT_CLEAN_MM;
    }
    return tt_chi2_upper(dof * fit->own_mm2 / (h->stated_mm2 + h->digit_mm2), dof) >
           HEIGHT_CLEAN_IMPROBABLE;
}

/* ---- start ---- */

static double first_scatter(const struct tt_height_fit *fit, const double keep[], bool tight)
{
    const struct tt_heights *h = fit->heights;
    double *sorted = fit->weight; /* set anew after it */
    size_t n = 0;

    if (h->stated_dof > 0) {
        return h->stated_mm2 + h->digit_mm2;
    }
    for (size_t i = 0; i < h->n_rows; i++) {
        if (keep == NULL || keep[i] > 0.5) {
            sorted[n++] = fabs(fit->residual[i]);
        }
    }
    gsl_sort(sorted, 1, n);
    double median = n > 0 ? 0.5 * (sorted[(n - 1) / 2] + sorted[n / 2]) : 0;
    double sd = tight ? TIGHT_SCATTER_MM : fmin(fmax(1.4826 * median, 1.5e-3), 10e-3);
    return sd * sd + h->digit_mm2;
}

static bool first_steps(struct tt_height_fit *fit, struct tt_height_start start)
{
    const struct tt_heights *h = fit->heights;
    double sd = h->stated_dof > 0 ? sqrt(h->stated_mm2 + h->digit_mm2) : TT_FIRST_HEIGHT_SCATTER_MM;

    fit->variance_mm2 = sd * sd;
    for (size_t i = 0; i < h->n_rows; i++) {
        fit->weight[i] = (start.keep != NULL ? start.keep[i] : 1) / fit->variance_mm2;
    }
    if (!tt_height_solve(fit)) {
        return false;
    }
    for (int k = 0; k < DEVIATION_STEPS && start.level > 0; k++) {
        for (size_t i = 0; i < h->n_rows; i++) {
            double r = fit->residual[i], side = r < 0 ? 1 - start.level : start.level;
            fit->weight[i] = (start.keep != NULL ? start.keep[i] : 1) * 2 * side /
                             (sd * fmax(fabs(r), DEVIATION_FLOOR));
        }
        if (!tt_height_solve(fit)) {
            return false;
        }
    }
    fit->variance_mm2 = first_scatter(fit, start.keep, start.tight);
    for (size_t p = 0; p < h->n_pads; p++) {
        fit->late_share[p] = HEIGHT_START_LATE;
    }
    fit->early_share = 0.01;
    fit->run_share = 0.1;
    return true;
}

/* ---- the mixture ---- */

/* Expectation into fit->good; the ln likelihood with the priors. */
static double expect(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double sd = sqrt(fit->variance_mm2), sum = 0;

    for (size_t i = 0; i < h->n_rows; i++) {
        double share = fit->late_share[h->rows[i].pad], r = fit->residual[i];
        double peak = fmax(1 - share - fit->early_share, 0.01) / (sqrt(2 * TT_PI) * sd);
        double exponent = -0.5 * r * r / fit->variance_mm2;
        fit->good[i] = 1;
        if (exponent < -0.5 * OFF_FROM_SCATTERS * OFF_FROM_SCATTERS) {
            double good = peak * exp(exponent),
                   off = (r < 0 ? share : fit->early_share) * tt_off_density(r, sd);
            fit->good[i] = good / (good + off);
            sum += log(good + off);
        } else {
            sum += log(peak) + exponent;
        }
    }
    for (size_t j = 0; j < fit->n; j++) {
        double r = (fit->x[j] - fit->prior_value[j]) / fit->prior_u[j];
        sum -= 0.5 * r * r + log(fit->prior_u[j]);
    }
    return sum;
}

/* Late and other touches of pad @p. */
static void count_pad(const struct tt_height_fit *fit, size_t p, double *late, double *all)
{
    *late = *all = 0;
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        if (fit->heights->rows[i].pad == p) {
            *all += 1;
            *late += fit->residual[i] < 0 ? 1 - fit->good[i] : 0;
        }
    }
}

static double count_early(const struct tt_height_fit *fit)
{
    double early = 0;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        early += fit->residual[i] >= 0 ? 1 - fit->good[i] : 0;
    }
    return early;
}

static void update_shares(struct tt_height_fit *fit)
{
    double late, all, n = (double)fit->heights->n_rows, total = 0;

    for (size_t p = 0; p < fit->heights->n_pads; p++) {
        count_pad(fit, p, &late, &all);
        total += late;
    }
    fit->run_share = (total + SHARE_PRIOR_LATE) / (n + SHARE_PRIOR_TOUCHES);
    fit->early_share =
        fmin((count_early(fit) + SHARE_PRIOR_EARLY) / (n + SHARE_PRIOR_TOUCHES), 0.3);
    for (size_t p = 0; p < fit->heights->n_pads; p++) {
        count_pad(fit, p, &late, &all);
        double share = (late + SHARE_STRENGTH * fit->run_share) / (all + SHARE_STRENGTH);
        fit->late_share[p] = fmin(fmin(fmax(share, 1e-3), 0.97), 0.985 - fit->early_share);
    }
}

/* ln of the probability of @some of @all with a share of Beta(@a, @b), against that with the share
 * @share. */
static double integrated(double some, double all, double share, double a, double b)
{
    return tt_ln_beta(some + a, fmax(all - some, 0) + b) - tt_ln_beta(a, b) - some * log(share) -
           (all - some) * log1p(-share);
}

/* As the edges' (robust.c): the pads' shares integrated out, the priors of the run's. */
static double log_shares(const struct tt_height_fit *fit)
{
    double pi = fit->run_share, e = fit->early_share, sum = 0, late, all;

    for (size_t p = 0; p < fit->heights->n_pads; p++) {
        count_pad(fit, p, &late, &all);
        sum += integrated(late, all, fit->late_share[p], SHARE_STRENGTH * pi,
                          SHARE_STRENGTH * (1 - pi));
    }
    sum += SHARE_PRIOR_LATE * log(pi / 0.1) +
           (SHARE_PRIOR_TOUCHES - SHARE_PRIOR_LATE) * log((1 - pi) / 0.9);
    return sum + integrated(count_early(fit), (double)fit->heights->n_rows, e, SHARE_PRIOR_EARLY,
                            SHARE_PRIOR_TOUCHES - SHARE_PRIOR_EARLY);
}

static double dof_left(const struct tt_height_fit *fit)
{
    double good = 0;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        good += fit->good[i];
    }
    return fmax(good - fit->spent, 0.5);
}

static void update_scatter(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double dof = dof_left(fit), sum = 0;

    for (size_t i = 0; i < h->n_rows; i++) {
        sum += fit->good[i] * fit->residual[i] * fit->residual[i];
    }
    fit->own_mm2 = sum / dof;
    fit->variance_mm2 =
        h->stated_dof > 0
            ? (h->stated_dof * (h->stated_mm2 + h->digit_mm2) + sum) / (h->stated_dof + dof)
            : tt_usual_scatter_var(fit->own_mm2 - h->digit_mm2, dof) + h->digit_mm2;
}

static bool iterate(struct tt_height_fit *fit)
{
    double before = -INFINITY;

    for (size_t k = 0; k < MOST_HEIGHT_CLIMB; k++) {
        double now = expect(fit);
        for (size_t i = 0; i < fit->heights->n_rows; i++) {
            fit->weight[i] = fit->good[i] / fit->variance_mm2;
        }
        if (!tt_height_solve(fit)) {
            return false;
        }
        update_shares(fit);
        if (k >= HEIGHT_HELD_STEPS) {
            double variance = fit->variance_mm2;
            update_scatter(fit);
            if (fabs(now - before) < HEIGHT_CLIMBED &&
                fabs(fit->variance_mm2 - variance) < HEIGHT_CLIMBED * variance) {
                break;
            }
        }
        before = now;
    }
    return true;
}

bool tt_height_climb(struct tt_height_fit *fit, struct tt_height_start start)
{
    const struct tt_heights *h = fit->heights;

    if (!first_steps(fit, start) || !iterate(fit)) {
        return false;
    }
    double likelihood = expect(fit), dof = dof_left(fit);
    fit->dof = dof;
    fit->pooled_dof = dof + h->stated_dof;
    fit->log_evidence = likelihood + log_shares(fit) +
                        tt_log_scatter(fmax(fit->variance_mm2 - h->digit_mm2, 1e-10), dof,
                                       h->stated_mm2, h->stated_dof) -
                        0.5 * fit->log_det;
    for (size_t m = 0; m < fit->n_modes; m++) {
        fit->log_evidence += fit->modes[m].log_p;
    }
    return true;
}
