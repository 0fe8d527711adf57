/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/monte_carlo.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"

/* Significant digits of a standard uncertainty that are taken as meaningful (JCGM 101:2008 7.9.2,
 * n_dig). */
#define MEANINGFUL_DIGITS 2
/* Share of trials beyond an end of the 95 % interval, and the standard normal density there. */
#define END_SHARE 0.025
#define END_DENSITY 0.05845

struct trial {
    const struct tt_view *view;
    struct tt_arena arena; /* of one solve, used again */
    struct tt_arena own;   /* of what lasts over all trials */
    struct tt_random memory;
    gsl_rng *random;
    struct tt_model model;  /* the run's model, at the truth of the trial */
    struct tiptrue_run run; /* the run's rows, with the trial's coordinates */
    struct tt_noise noise;
    double touch_u_mm, sight_u_mm;       /* repeatability, without resolution */
    double touch_step_mm, sight_step_mm; /* resolution */
    double *errors_mm;                   /* per block: x of all trials, then y */
    size_t *n, *covered;                 /* per block */
    size_t trials;
};

static double step_of(double digit_var_mm2)
{
    return sqrt(12 * digit_var_mm2);
}

static enum tiptrue_status trial_init(struct trial *t, const struct tt_view *view, size_t trials,
                                      unsigned long seed)
{
    const struct tt_fit *fit = view->fit;
    enum tiptrue_status status;

    *t = (struct trial){.view = view, .run = *view->run, .noise = *view->noise, .trials = trials};
    t->random = tt_random_start(&t->memory, gsl_rng_mt19937, seed);
    if (t->random == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    t->run.observations = TT_ARENA_NEW(&t->own, view->run->n_observations, struct tt_observation);
    t->errors_mm = TT_ARENA_NEW(&t->own, 2 * trials * view->model->n_blocks, double);
    t->n = TT_ARENA_NEW(&t->own, view->model->n_blocks, size_t);
    t->covered = TT_ARENA_NEW(&t->own, view->model->n_blocks, size_t);
    if (t->run.observations == NULL || t->errors_mm == NULL || t->n == NULL || t->covered == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    memcpy(t->run.observations, view->run->observations,
           view->run->n_observations * sizeof *t->run.observations);
    status = tt_model_build(&t->model, &t->own, view->plate, view->machine, view->run,
                            &view->model->terms, false);
    t->noise.view_alike = fit->noise->view_alike;
    t->touch_u_mm = view->solution->u_touch_mm;
    t->sight_u_mm = view->solution->u_sighting_mm;
    t->touch_step_mm = step_of(fmin(fit->noise->touch_digit_var_mm2, fit->touch_var_mm2));
    t->sight_step_mm = step_of(fmin(fit->noise->sight_digit_var_mm2, fit->sight_var_mm2));
    return status;
}

static void trial_clear(struct trial *t)
{
    tt_arena_clear(&t->arena);
    tt_arena_clear(&t->own);
}

/* The truth of a trial: what priors speak of is drawn from them, the rest is as the run found it.
 */
static void draw_truth(struct trial *t)
{
    struct tt_model *model = &t->model;

    memcpy(model->x, t->view->model->x, model->n_unknowns * sizeof *model->x);
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        if (prior->kind != TT_PRIOR_WEAK) {
            model->x[tt_unknown(model, prior->block, prior->place)] =
                prior->value + gsl_ran_gaussian(t->random, prior->u);
        }
    }
    tt_model_linearise(model);
}

static double rounding(gsl_rng *random, double step_mm)
{
    return step_mm > 0 ? gsl_ran_flat(random, -0.5 * step_mm, 0.5 * step_mm) : 0;
}

/* Coordinates that the truth and this trial's scatter would have given: each head position moved
 * along the edge's normal (sightings: along both axes) until its residual is what was drawn. */
static void draw_run(struct trial *t)
{
    struct tt_model *model = &t->model;
    const struct tt_view *view = t->view;

    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *tip = model->x + model->system.first[cell->block],
                     *slope = model->slope + i * model->stride;
        double across =
            tip[TT_TIP_E_X] * slope[TT_COLUMN_E_Y] - tip[TT_TIP_E_Y] * slope[TT_COLUMN_E_X];
        double drawn = gsl_ran_gaussian(t->random, t->touch_u_mm) +
                       rounding(t->random, t->touch_step_mm) +
                       gsl_ran_gaussian(t->random, fabs(across) * t->noise.u_rotation_rad);
        double wanted = view->fit->good[i] > 0 ? drawn : view->model->residual[i];
        struct tt_observation *o = &t->run.observations[model->row[i]];
        o->h = view->run->observations[model->row[i]].h;
        o->h.x_mm += cell->site.n_x * (wanted - model->residual[i]);
        o->h.y_mm += cell->site.n_y * (wanted - model->residual[i]);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        struct tt_observation *o = &t->run.observations[sight->row];
        double u_mm = sight->view ? sqrt(view->fit->view_var_mm2 / sight->share) : t->sight_u_mm;
        double step_mm = sight->view ? 0 : t->sight_step_mm; /* in the variance already */
        o->h = view->run->observations[sight->row].h;
        o->h.x_mm +=
            gsl_ran_gaussian(t->random, u_mm) + rounding(t->random, step_mm) - sight->residual[0];
        o->h.y_mm +=
            gsl_ran_gaussian(t->random, u_mm) + rounding(t->random, step_mm) - sight->residual[1];
    }
}

/* Solve the trial and enter how far off each tip's offset is, and whether its own region covers the
 * truth. */
static enum tiptrue_status solve_trial(struct trial *t)
{
    const struct tt_view *view = t->view;
    struct tt_noise noise = t->noise;
    struct tt_selection selection;
    struct tt_uncertainty all;
    enum tiptrue_status status;

    tt_arena_reset(&t->arena);
    status = tt_select(&selection, &t->arena, view->plate, view->machine, &t->run, &noise,
                       view->selection->robust);
    if (status != TIPTRUE_OK || selection.weak ||
        (status = tt_uncertainty_init(&all, &t->arena, selection.fit)) != TIPTRUE_OK) {
        return status;
    }
    for (size_t b = 0; b < t->model.n_blocks; b++) {
        struct tt_tip_uncertainty tip;
        const double *found = selection.model->x + selection.model->system.first[b],
                     *truth = t->model.x + t->model.system.first[b];
        double x = found[TT_TIP_O_X] - truth[TT_TIP_O_X], y = found[TT_TIP_O_Y] - truth[TT_TIP_O_Y];
        tt_uncertainty_of_tip(&all, b, &tip);
        double factor = tt_factor_plane(tip.dof);
        t->errors_mm[2 * b * t->trials + t->n[b]] = x;
        t->errors_mm[(2 * b + 1) * t->trials + t->n[b]] = y;
        t->n[b]++;
        t->covered[b] += tt_cov2_distance2(tip.offset, x, y) <= factor * factor;
    }
    return TIPTRUE_OK;
}

/* Half a unit of the last meaningful digit of @u (JCGM 101:2008 7.9.2). */
static double tolerance_of(double u_mm)
{
    return 0.5 * pow(10, floor(log10(u_mm)) - (MEANINGFUL_DIGITS - 1));
}

void tt_trial_axis_sum_up(struct tt_trial_axis *axis, double errors_mm[], size_t n, double u_mm,
                          double expanded_mm)
{
    double mean = 0, squares = 0;
    size_t low = (size_t)floor(END_SHARE * (double)n), high = n - 1 - low;

    for (size_t i = 0; i < n; i++) {
        mean += errors_mm[i] / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        squares += (errors_mm[i] - mean) * (errors_mm[i] - mean);
    }
    gsl_sort(errors_mm, 1, n);
    axis->mean_mm = mean;
    axis->u_mm = sqrt(squares / (double)(n - 1));
    axis->low_mm = errors_mm[low];
    axis->high_mm = errors_mm[high];
    axis->tolerance_mm = tolerance_of(u_mm);
    axis->off_mm = fmax(fabs(axis->low_mm + expanded_mm), fabs(axis->high_mm - expanded_mm));
    axis->noise_mm = u_mm * sqrt(END_SHARE * (1 - END_SHARE) / (double)n) / END_DENSITY;
    axis->agrees = axis->off_mm <= axis->tolerance_mm;
}

static enum tiptrue_status sum_up(struct trial *t)
{
    const struct tt_view *view = t->view;

    for (size_t i = 0; i < view->solution->n_tips; i++) {
        struct tt_tip_result *tip = &view->solution->tips[i];
        size_t block = 0;
        for (size_t b = 0; b < t->model.n_blocks; b++) {
            block = strcmp(view->run->tips[t->model.block_tip[b]], tip->name) == 0 ? b : block;
        }
        if (!tip->offset_determined_x || !tip->offset_determined_y || t->n[block] < 2) {
            continue;
        }
        tip->trials = TT_ARENA_NEW(&view->solution->arena, 1, struct tt_trials);
        if (tip->trials == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        double *errors = t->errors_mm + 2 * block * t->trials;
        tip->trials->n = t->n[block];
        tip->trials->covered = (double)t->covered[block] / (double)t->n[block];
        tt_trial_axis_sum_up(&tip->trials->x, errors, t->n[block], sqrt(tip->cov.xx_mm2),
                             tip->expanded_x_mm);
        tt_trial_axis_sum_up(&tip->trials->y, errors + t->trials, t->n[block],
                             sqrt(tip->cov.yy_mm2), tip->expanded_y_mm);
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_monte_carlo(const struct tt_view *view, size_t trials, unsigned long seed)
{
    struct trial t;
    enum tiptrue_status status;

    if (view->selection->weak) {
        return TIPTRUE_OK; /* something is not determined at all: there is nothing to set beside */
    }
    status = trial_init(&t, view, trials, seed);
    for (size_t k = 0; k < trials && status == TIPTRUE_OK; k++) {
        draw_truth(&t);
        draw_run(&t);
        status = solve_trial(&t);
    }
    if (status == TIPTRUE_OK) {
        status = sum_up(&t);
    }
    trial_clear(&t);
    return status;
}
