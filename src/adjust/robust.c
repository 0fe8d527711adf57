/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/robust.h"

#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <string.h>

#include "adjust/depths.h"
#include "adjust/estimable.h"
#include "adjust/mixture.h"
#include "adjust/shares.h"
#include "base/distribution.h"
#include "base/sums.h"

#define MOST_EM_STEPS 40
#define CLIMBED 0.02 /* of the logarithm of the likelihood */
#define NEARLY_CLIMBED 0.5
#define MOST_HELD_STEPS 14
/* Shares at the start of a climb: late ones of an edge whose touches were kept, and of one left
 * out; early ones; the run's. */
#define START_LATE 0.15
#define START_LATE_LEFT_OUT 0.5
#define START_EARLY 0.01
#define START_RUN_SHARE 0.1
/* On a filmed edge at least this share may have met the bare metal: early against the film, by no
 * more than it is thick. */
#define BARE_SHARE 0.1
/* The model is linearised anew where a climb has turned the plate by more than this (rad): second
 * order over 50 mm is then 1 nm. */
#define YAW_MOVED_RAD 2e-4
#define MOST_LINEARISATIONS 3
/* A step draws each yaw to where it is, this standard uncertainty (rad): nothing beside what two
 * marks or two edges say of it (some 1e-5), and where nothing is said it stays instead of wandering
 * with every linearisation (K. Levenberg, Quart. Appl. Math. 2 (1944) 164-168). */
#define YAW_DRAWN_RAD 1e-3
/* Least absolute deviations of a climb's start: residuals below this count alike; asymmetry; steps
 * of reweighting. */
#define CLIMB_STEPS 8
#define CLIMB_FLOOR_MM 1e-3
#define CLIMB_LEVEL 0.7
#define CLIMB_STEP_DONE 1e-4
static bool by_functions(const struct tt_fit *fit)
{
    return fit->estimable != NULL && fit->estimable->usable;
}

/* A step to first order. */
static bool climb_step(struct tt_fit *fit, double *size)
{
    return by_functions(fit) ? tt_estimable_step(fit->estimable, fit, size)
                             : tt_fit_step(fit, false, size);
}

/* Residuals after asymmetric least absolute deviations of the kept touches, from the residuals as
 * they are. */
static bool absolute_deviations(struct tt_fit *fit, const double keep[])
{
    const struct tt_model *model = fit->model;

    for (size_t k = 0; k < CLIMB_STEPS; k++) {
        double size;
        for (size_t i = 0; i < model->n_touches; i++) {
            double r = model->residual[i], side = r < 0 ? 1 - CLIMB_LEVEL : CLIMB_LEVEL,
                   off = fabs(r) > CLIMB_FLOOR_MM ? fabs(r) : CLIMB_FLOOR_MM;
            /* Scaled so that a touch off by one first scatter weighs as in least squares: priors
             * keep their meaning. */
            fit->weight[i] = (keep != NULL ? keep[i] : 1) * 2 * side / (TT_FIRST_SCATTER_MM * off);
        }
        if (!climb_step(fit, &size)) {
            return false;
        }
        if (size < CLIMB_STEP_DONE) {
            break;
        }
    }
    return true;
}

/* Median of the sizes of the kept touches' residuals, all or those alone that are no later than the
 * fit. */
static double median_size(const struct tt_fit *fit, const double keep[], bool late_too)
{
    size_t n = 0;

    for (size_t i = 0; i < fit->model->n_touches; i++) {
        double r = fit->model->residual[i];
        if ((keep == NULL || keep[i] > 0) && (late_too || r > 0)) {
            fit->sorted_mm[n++] = fabs(r);
        }
    }
    return n > 0 ? gsl_stats_median(fit->sorted_mm, 1, n) : INFINITY;
}

/* First repeatability of a climb: 1.4826 times that median, 1.5 to 10 µm. With half of the touches
 * late that of all is none of the good ones, and a climb with so wide a scatter ends where late
 * ones are good. */
static double first_scatter(const struct tt_fit *fit, const double keep[])
{
    double median = fmin(median_size(fit, keep, true), median_size(fit, keep, false));

    return fmin(fmax(1.4826 * median, 1.5e-3), 10e-3);
}

/* ---- the mixture ---- */

/* A likelihood as it is gathered: of touches that are good for certain the exponents and the ratios
 * of the repeatability's variance to their own, of all else densities. */
struct likelihood {
    double exponents;
    struct tt_log_product ratios, densities;
};

/* Touches of an edge that is out: anywhere late, not earlier than the prediction allows (its
 * standard deviation with the touch's own). */
static void expect_out(const struct tt_fit *fit, const struct tt_cell *cell,
                       struct likelihood *likelihood)
{
    double depth = fmax(DEPTH_SCALE_MM, DEPTH_SCALE_SCATTERS * sqrt(fit->touch_var_mm2));

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        double variance = fit->touch_var_mm2 + fit->rotation_var_mm2[i];
        double predicted = sqrt(variance * (1 + fit->leverage[i]));
        double possible = tt_normal_lower(2 - fit->model->residual[i] / predicted);
        tt_log_times(&likelihood->densities, 0.75 / depth * possible + 1e-300);
        fit->good[i] = 0;
    }
}

/* The part of one cell in the expectation. Most touches are near enough to be good for certain: for
 * them no exponential is taken. */
static void expect_cell(const struct tt_fit *fit, const struct tt_cell *cell,
                        struct likelihood *likelihood)
{
    double share = fit->late_share[cell->edge], early = fit->early_share,
           scatter_mm = sqrt(fit->touch_var_mm2);

    if (tt_edge_is_out(fit, cell->edge)) {
        expect_out(fit, cell, likelihood);
        return;
    }
    double bare = tt_edge_is_filmed(fit, cell->edge) ? fmax(early, BARE_SHARE) : early;
    double bare_mm = tt_bare_depth(fit, cell->edge);
    double peak = fmax(1 - share - bare, 0.01) / sqrt(2 * TT_PI * fit->touch_var_mm2);
    likelihood->exponents += (double)cell->count * log(peak);
    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        double variance = fit->touch_var_mm2 + fit->rotation_var_mm2[i],
               r = fit->model->residual[i];
        double exponent = -0.5 * r * r / variance, ratio = fit->touch_var_mm2 / variance;
        fit->good[i] = 1;
        if (exponent < -0.5 * OFF_FROM_SCATTERS * OFF_FROM_SCATTERS) {
            double off_share = r < 0         ? share
                               : r < bare_mm ? bare
                                             : early,
                   off = off_share * tt_off_density(r, scatter_mm),
                   good = peak * exp(exponent) * sqrt(ratio);
            fit->good[i] = good / (good + off);
            tt_log_times(&likelihood->densities, (good + off) / peak);
        } else {
            tt_log_times(&likelihood->ratios, ratio);
            likelihood->exponents += exponent;
        }
    }
}

/* ln density of sightings and priors at x, but factors of 2 pi that no explanation changes. */
static double log_rest(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double sum = 0;

    if (by_functions(fit)) {
        return tt_estimable_log_rest(fit->estimable);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        const double *r = model->sights[i].residual;
        double variance = fit->sight_var_mm2 * model->sights[i].ratio + model->sights[i].extra_mm2;
        sum -=
            model->sights[i].share * (0.5 * (r[0] * r[0] + r[1] * r[1]) / variance + log(variance));
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        double r =
            (model->x[tt_unknown(model, prior->block, prior->place)] - prior->value) / prior->u;
        sum -= 0.5 * r * r + log(prior->u) + 0.5 * log(2 * TT_PI);
    }
    return sum + tt_fit_log_views(fit);
}

/* Expectation: how probable each touch is good, into fit->good; returns the whole ln likelihood. */
static double expect(struct tt_fit *fit)
{
    struct likelihood sum = {0, {0, 1}, {0, 1}};

    for (size_t c = 0; c < fit->model->n_cells; c++) {
        expect_cell(fit, &fit->model->cells[c], &sum);
    }
    return sum.exponents + 0.5 * tt_log_product(sum.ratios) + tt_log_product(sum.densities) +
           log_rest(fit);
}

/* ---- repeatability ---- */

/* The most probable repeatability with @dof degrees of freedom left to the good touches: drawn to
 * the usual one, or to the stated one with its degrees of freedom. */
static void update_scatter(struct tt_fit *fit, double dof)
{
    double digit = fit->noise->touch_digit_var_mm2, own = tt_fit_touch_scatter(fit, dof);

    if (fit->noise->touch_dof > 0) {
        double stated = fit->noise->touch_var_mm2 + digit;
        fit->touch_var_mm2 =
            fmax((fit->noise->touch_dof * stated + dof * own) / (fit->noise->touch_dof + dof),
                 fit->least_touch_var_mm2);
        return;
    }
    fit->touch_var_mm2 =
        fmax(tt_usual_scatter_var(own - digit, dof) + digit, fit->least_touch_var_mm2);
}

/* ln prior density of the repeatability's logarithm (log-normal; or scaled inverse chi squared,
 * whose logarithm has a variance of 1/(2 dof)), and Laplace's factor. */
static double log_scatter(const struct tt_fit *fit, double dof)
{
    double variance = fmax(fit->touch_var_mm2 - fit->noise->touch_digit_var_mm2, 1e-10);

    return tt_log_scatter(variance, dof, fit->noise->touch_var_mm2, fit->noise->touch_dof);
}

/* ---- the climb ---- */

static void update_dof(struct tt_fit *fit)
{
    const bool *edges = fit->model->terms.edge_out;

    if (by_functions(fit)) {
        tt_estimable_update_dof(fit->estimable, fit, edges);
    } else {
        tt_fit_update_dof_only(fit, edges);
    }
}

static double dof_left(const struct tt_fit *fit)
{
    return fmax(tt_fit_total_good(fit) - fit->spent_touch, 0.5);
}

/* Expectation, with the ln likelihood in *now, and maximisation; the repeatability stays. */
static bool em_step(struct tt_fit *fit, double *now)
{
    double size;

    *now = expect(fit);
    tt_fit_set_weights(fit);
    if (!climb_step(fit, &size)) {
        return false;
    }
    tt_shares_update(fit);
    tt_fit_learn_views(fit);
    return true;
}

/* With the repeatability held, so that it cannot widen before the late touches are found. */
static bool iterate_held(struct tt_fit *fit, double hopeless)
{
    double now = -INFINITY;
    bool stands = false;

    for (size_t k = 0; k <= MOST_HELD_STEPS && !stands; k++) {
        double before = now;
        if (!em_step(fit, &now)) {
            return false;
        }
        stands = fabs(now - before) < NEARLY_CLIMBED;
        if (k == 0) {
            update_dof(fit);
        }
    }
    if (now < hopeless) {
        return false;
    }
    update_dof(fit);
    update_scatter(fit, dof_left(fit));
    return true;
}

/* Expectation and maximisation until the likelihood stands; first (@held) until it nearly does with
 * the repeatability held. */
static bool iterate(struct tt_fit *fit, bool held, double hopeless)
{
    double now = -INFINITY;
    bool stands = false;

    if (held && !iterate_held(fit, hopeless)) {
        return false;
    }
    for (size_t k = 0; k < MOST_EM_STEPS && !stands; k++) {
        double before = now;
        if (!em_step(fit, &now)) {
            return false;
        }
        if (k == 0 && !held) {
            update_dof(fit);
        }
        update_scatter(fit, dof_left(fit));
        stands = fabs(now - before) < CLIMBED;
    }
    return true;
}

/* @moved: not where climbs begin, whose linearisation the next one takes again. */
static void linearise(struct tt_fit *fit, bool moved)
{
    for (size_t s = 0; s < fit->model->n_setups; s++) {
        fit->linear_yaw_rad[s] = fit->model->x[tt_at_pose(s) + 2];
    }
    tt_model_linearise(fit->model);
    fit->estimable = moved ? fit->moved : fit->at_start;
    if (fit->estimable != NULL) {
        tt_estimable_begin(fit->estimable, fit);
    }
}

/* By how much a yaw has moved since the model was linearised. */
static double largest_turn(const struct tt_fit *fit)
{
    double most = 0;
    for (size_t s = 0; s < fit->model->n_setups; s++) {
        most = fmax(most, fabs(fit->model->x[tt_at_pose(s) + 2] - fit->linear_yaw_rad[s]));
    }
    return most;
}

/* A film only makes late: its prior is the negative half of a normal distribution. */
static double log_half_normals(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double sum = 0;

    for (size_t j = 0; j < model->plate->n_edges; j++) {
        size_t at = model->at_edge[j];
        if (at != TT_NONE && tt_edge_is_filmed(fit, j)) {
            double variance = by_functions(fit) ? tt_estimable_variance(fit->estimable, model, at)
                                                : model->system.c[at * model->n_border + at],
                   sd = sqrt(fmax(variance, 1e-18)), z = model->x[at] / sd;
            sum += log(2 * tt_normal_lower(-fmin(fmax(z, -30), 12)) + 1e-300);
        }
    }
    return sum;
}

static bool first_step(struct tt_fit *fit, const struct tt_climb *climb)
{
    const struct tt_model *model = fit->model;
    double size;

    if (climb->deviations) {
        return absolute_deviations(fit, climb->keep);
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        fit->weight[i] = (climb->keep != NULL ? climb->keep[i] : 1) /
                         (TT_FIRST_SCATTER_MM * TT_FIRST_SCATTER_MM);
    }
    return climb_step(fit, &size);
}

static void start_shares(struct tt_fit *fit, const double keep[])
{
    const struct tt_model *model = fit->model;
    double *kept = fit->edge_count;

    memset(kept, 0, model->plate->n_edges * sizeof *kept);
    for (size_t i = 0; i < model->n_touches; i++) {
        kept[model->cells[model->cell_of[i]].edge] += keep != NULL ? keep[i] : 1;
    }
    for (size_t j = 0; j < model->plate->n_edges; j++) {
        fit->late_share[j] = kept[j] < 0.5 ? START_LATE_LEFT_OUT : START_LATE;
    }
    fit->early_share = START_EARLY;
    fit->run_share = START_RUN_SHARE;
}

/* What late touches that are alike bring: on edges that a good touch holds. Where none does, all
 * are alike by wherever the edge seems to be; that is a mode of the edge. */
static double log_depths(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double *good = fit->late_count;
    size_t n = 0;

    memset(good, 0, model->plate->n_edges * sizeof *good);
    for (size_t i = 0; i < model->n_touches; i++) {
        good[model->cells[model->cell_of[i]].edge] += fit->good[i];
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        bool held = good[model->cells[model->cell_of[i]].edge] > 0.5;
        if (held && !tt_is_good(fit->good[i]) && model->residual[i] < 0) {
            fit->sorted_mm[n++] = -model->residual[i];
        }
    }
    return tt_log_one_depth(fit->sorted_mm, n, fit->touch_var_mm2);
}

/* Of the normal matrix at a climb's end. */
static double log_det(const struct tt_fit *fit)
{
    return by_functions(fit) ? tt_estimable_log_det(fit->estimable)
                             : tt_system_log_det(&fit->model->system);
}

bool tt_robust_climb(struct tt_fit *fit, const struct tt_climb *climb)
{
    struct tt_model *model = fit->model;
    bool stated = fit->noise->touch_dof > 0;

    tt_fit_begin_views(fit);
    linearise(fit, false);
    tt_fit_set_rotation_var(fit);
    fit->yaw_drawn = 1 / (YAW_DRAWN_RAD * YAW_DRAWN_RAD);
    if (!first_step(fit, climb)) {
        return false;
    }
    double first = stated && !climb->own_scatter ? sqrt(fit->noise->touch_var_mm2)
                                                 : first_scatter(fit, climb->keep);
    fit->touch_var_mm2 =
        fmax(first * first + fit->noise->touch_digit_var_mm2, fit->least_touch_var_mm2);
    start_shares(fit, climb->keep);
    memset(fit->leverage, 0, model->n_touches * sizeof *fit->leverage);
    bool done = false;
    for (size_t k = 0; k < MOST_LINEARISATIONS && !done; k++) {
        if (!iterate(fit, k == 0, climb->hopeless)) {
            return false;
        }
        done = !(largest_turn(fit) > YAW_MOVED_RAD);
        if (!done) {
            linearise(fit, true);
        }
    }
    double likelihood = expect(fit);
    tt_fit_set_weights(fit);
    if (by_functions(fit) ? !tt_estimable_end(fit->estimable, fit)
                          : !tt_fit_factor(fit, model->terms.edge_out)) {
        return false;
    }
    double dof = dof_left(fit);
    fit->log_likelihood = likelihood;
    fit->log_evidence = likelihood + tt_shares_log_evidence(fit) + log_scatter(fit, dof) +
                        log_half_normals(fit) + log_depths(fit) +
                        0.5 * (double)model->n_unknowns * log(2 * TT_PI) - 0.5 * log_det(fit);
    return true;
}
