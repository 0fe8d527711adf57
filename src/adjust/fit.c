/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/fit.h"

#include <math.h>

#include "adjust/robust.h"

/* Steps below this in every unknown end the iteration: a tenth of a picometre (and 1e-10 radian),
 * far above the rounding of coordinates of 1 m, and the step after it would be smaller by orders of
 * magnitude. */
#define STEP_DONE 1e-10
/* The scatter, relative, of its variance. */
#define SCATTER_DONE 1e-6
#define SETTLED 1e-4
/* What is enough to judge a first solution by: after a step of 0.2 mm, what is left of it is second
 * order, under 0.1 µm. */
#define ROUGH_STEP 0.2
/* Further away than this (mm) the residuals tell of the start, not of the scatter. */
#define NEAR 0.5
#define MOST_STEPS 30
#define MOST_ROUNDS 3
#define OPEN_YAW_RAD 0.1
/* A scatter's variance that has changed by less than this since changes the degrees of freedom by a
 * thousandth of it at most. */
#define DOF_STANDS 1e-2
/* With weak priors in the model (1/100 mm^2 each), touches are not let to outweigh them by more
 * than double precision bears: the sum of their weights is at most this. What such a run determines
 * is not for use anyway. */
#define MOST_INFORMATION_MM2 1e8
/* From this share of the step on, scatter dithers rounding: the mean's error is then below
 * (1/pi) exp(-2 pi^2 0.3^2) = 5 % of a step whatever its place (B. Widrow, I. Kollar, Quantization
 * Noise, 2008; from memory). */
#define DITHERED 0.3

/* Variance of rounding to steps of the larger of what the digits show and the stated resolution
 * (uniform distribution, JCGM 100:2008 F.2.2.1). Sightings that plainly do not lie on the
 * resolution's grid were not rounded to it (a camera's place in the picture is finer than the axes'
 * steps): for them the digits alone count. */
static double digit_variance(const struct tt_digits *digits, double resolution_mm, bool by_camera)
{
    bool rounded = !by_camera || digits->on_grid;
    double step =
        rounded && resolution_mm > digits->quantum_mm ? resolution_mm : digits->quantum_mm;
    return step * step / 12;
}

static bool same_cell(const struct tt_observation *a, const struct tt_observation *b)
{
    return b->kind == a->kind && b->use == TT_USE && b->target == a->target && b->tip == a->tip &&
           b->setup == a->setup;
}

/* In how many places of the axis that has fewer of them the rows of the cell of row @of lie
 * (touches of a tip on an edge, sightings of a mark), rounded to @step_mm; 0 where it is not the
 * cell's first. */
static size_t places(const struct tiptrue_run *run, size_t of, double step_mm, size_t *rows)
{
    const struct tt_observation *o = run->observations;
    size_t n[2] = {0, 0};

    for (size_t i = 0; i < run->n_observations; i++) {
        bool fresh[2] = {true, true};
        if (!same_cell(&o[of], &o[i])) {
            continue;
        }
        if (i < of) {
            return 0;
        }
        for (size_t k = of; k < i; k++) {
            bool near = same_cell(&o[of], &o[k]);
            fresh[0] = fresh[0] && !(near && fabs(o[k].h.x_mm - o[i].h.x_mm) < 0.5 * step_mm);
            fresh[1] = fresh[1] && !(near && fabs(o[k].h.y_mm - o[i].h.y_mm) < 0.5 * step_mm);
        }
        n[0] += fresh[0];
        n[1] += fresh[1];
        ++*rows;
    }
    return n[0] < n[1] ? n[0] : n[1];
}

/* By how many rows of @kind one rounding is shared. Where the scatter is small beside the step,
 * those that round to the same place have the same error: it counts once a place. Else the scatter
 * makes their errors as good as independent. */
static double shared_rounding(const struct tiptrue_run *run, enum tt_kind kind, double step_mm,
                              double scatter_mm)
{
    size_t rows = 0, all = 0;

    for (size_t i = 0; i < run->n_observations && scatter_mm < DITHERED * step_mm; i++) {
        const struct tt_observation *o = &run->observations[i];
        all += o->kind == kind && o->use == TT_USE ? places(run, i, step_mm, &rows) : 0;
    }
    return all > 0 ? (double)rows / (double)all : 1;
}

/* Variance of rounding, counted once for what shares it. @u_mm: the stated repeatability, 0 =
 * none. */
static double rounding_variance(const struct tiptrue_machine *machine,
                                const struct tiptrue_run *run, enum tt_kind kind, double u_mm)
{
    double variance = kind == TT_TOUCH
                          ? digit_variance(&run->touch_digits, machine->resolution_mm, false)
                          : digit_variance(&run->sighting_digits, machine->resolution_mm, true);

    return variance *
           shared_rounding(run, kind, sqrt(12 * variance), u_mm > 0 ? u_mm : TT_FIRST_SCATTER_MM);
}

static double stated_dof(bool stated, double dof)
{
    return stated ? (dof > 0 ? dof : TT_STATED_DOF) : 0;
}

struct tt_noise tt_noise_of(const struct tiptrue_machine *machine, const struct tiptrue_run *run)
{
    return (struct tt_noise){
        .touch_known = machine->has_u_touch,
        .sight_known = machine->has_u_sighting,
        .touch_dof = stated_dof(machine->has_u_touch, machine->touch_dof),
        .sight_dof = stated_dof(machine->has_u_sighting, machine->sighting_dof),
        .touch_var_mm2 = machine->u_touch_mm * machine->u_touch_mm,
        .sight_var_mm2 = machine->u_sighting_mm * machine->u_sighting_mm,
        .touch_digit_var_mm2 = rounding_variance(machine, run, TT_TOUCH,
                                                 machine->has_u_touch ? machine->u_touch_mm : 0),
        .sight_digit_var_mm2 = rounding_variance(
            machine, run, TT_SIGHT, machine->has_u_sighting ? machine->u_sighting_mm : 0),
        .u_rotation_rad = machine->u_rotation_rad,
        .view_px = machine->camera.u_px,
        .view_dof = stated_dof(machine->camera.u_px > 0, machine->camera.dof),
        .view_digit_px = run->quantum_px / sqrt(12)};
}

enum tiptrue_status tt_fit_init(struct tt_fit *fit, struct tt_arena *arena, struct tt_model *model,
                                const struct tt_noise *noise)
{
    size_t n = model->n_touches, nb = model->n_border, largest = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    *fit = (struct tt_fit){.model = model, .noise = noise};
    fit->good = TT_ARENA_NEW(arena, n, double);
    fit->weight = TT_ARENA_NEW(arena, n, double);
    fit->rotation_var_mm2 = TT_ARENA_NEW(arena, n, double);
    fit->leverage = TT_ARENA_NEW(arena, n, double);
    fit->late_share = TT_ARENA_NEW(arena, model->plate->n_edges, double);
    fit->edge_count = TT_ARENA_NEW(arena, model->plate->n_edges, double);
    fit->late_count = TT_ARENA_NEW(arena, model->plate->n_edges, double);
    fit->linear_yaw_rad = TT_ARENA_NEW(arena, model->n_setups, double);
    fit->sorted_mm = TT_ARENA_NEW(arena, n, double);
    fit->step_mm = TT_ARENA_NEW(arena, model->n_unknowns, double);
    fit->cc = TT_ARENA_NEW(arena, largest * largest, double);
    fit->cb = TT_ARENA_NEW(arena, largest * nb, double);
    fit->response = TT_ARENA_NEW(arena, largest * nb, double);
    if (fit->good == NULL || fit->weight == NULL || fit->rotation_var_mm2 == NULL ||
        fit->leverage == NULL || fit->late_share == NULL || fit->edge_count == NULL ||
        fit->late_count == NULL || fit->linear_yaw_rad == NULL || fit->sorted_mm == NULL ||
        fit->step_mm == NULL || fit->cc == NULL || fit->cb == NULL || fit->response == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    fit->least_touch_var_mm2 =
        fmax(noise->touch_digit_var_mm2, TT_LEAST_SCATTER_MM * TT_LEAST_SCATTER_MM);
    if (model->weak) {
        fit->least_touch_var_mm2 = fmax(fit->least_touch_var_mm2, (double)n / MOST_INFORMATION_MM2);
    }
    fit->touch_var_mm2 =
        (noise->touch_known ? noise->touch_var_mm2 : TT_FIRST_SCATTER_MM * TT_FIRST_SCATTER_MM) +
        noise->touch_digit_var_mm2;
    fit->touch_var_mm2 = fmax(fit->touch_var_mm2, fit->least_touch_var_mm2);
    fit->sight_var_mm2 =
        (noise->sight_known ? noise->sight_var_mm2 : TT_FIRST_SCATTER_MM * TT_FIRST_SCATTER_MM) +
        noise->sight_digit_var_mm2;
    tt_fit_begin_views(fit);
    return TIPTRUE_OK;
}

/* ---- steps ---- */

/* |R(theta + 90 deg) e . n|^2 u_theta^2, where it matters at all. */
void tt_fit_set_rotation_var(struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double u2 = fit->noise->u_rotation_rad * fit->noise->u_rotation_rad;

    for (size_t c = 0; c < model->n_cells && u2 > 0; c++) {
        const struct tt_cell *cell = &model->cells[c];
        const double *tip = model->x + model->system.first[cell->block];
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            const double *slope = model->slope + i * model->stride;
            /* d/d theta of e_x (n . R e_x) + e_y (n . R e_y): R turns e_x into e_y and e_y into
             * -e_x. */
            double across =
                tip[TT_TIP_E_X] * slope[TT_COLUMN_E_Y] - tip[TT_TIP_E_Y] * slope[TT_COLUMN_E_X];
            fit->rotation_var_mm2[i] = across * across * u2;
        }
    }
}

void tt_fit_set_weights(struct tt_fit *fit)
{
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        fit->weight[i] = fit->good[i] / (fit->touch_var_mm2 + fit->rotation_var_mm2[i]);
    }
}

/* One Gauss-Newton step with the present weights; *size receives its largest component. @exact:
 * with new residuals and design rows, else both to first order. False: singular. */
bool tt_fit_step(struct tt_fit *fit, bool exact, double *size)
{
    struct tt_model *model = fit->model;
    double *dx = fit->step_mm;

    tt_model_accumulate(model, fit->weight, 1 / fit->sight_var_mm2, true);
    for (size_t s = 0; s < model->n_setups && !exact && fit->yaw_drawn > 0; s++) {
        tt_system_add_diagonal(&model->system, TT_NONE, tt_at_pose(s) + 2, fit->yaw_drawn, 0);
    }
    if (!tt_system_factor(&model->system)) {
        return false;
    }
    tt_system_solve(&model->system, model->system.g, dx);
    *size = 0;
    for (size_t k = 0; k < model->n_unknowns; k++) {
        *size = fmax(*size, fabs(dx[k]));
    }
    if (exact) {
        for (size_t k = 0; k < model->n_unknowns; k++) {
            model->x[k] -= dx[k];
        }
        tt_model_linearise(model);
    } else {
        tt_model_move(model, dx);
    }
    fit->iterations++;
    return true;
}

/* ---- scatter ---- */

/* Scatter of the touches from their residuals: sum of good * r^2 / v = dof for v = s^2 + rotation's
 * part. One step of the fixed point. */
double tt_fit_touch_scatter(const struct tt_fit *fit, double dof)
{
    double sum = 0;

    if (!(dof > 0)) {
        return fit->touch_var_mm2;
    }
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        double r = fit->model->residual[i];
        sum += fit->good[i] * r * r * fit->touch_var_mm2 /
               (fit->touch_var_mm2 + fit->rotation_var_mm2[i]);
    }
    return fmax(sum / dof, fit->least_touch_var_mm2);
}

/* How far a weighted solution is driven: roughly, to judge it, or to the end. */
enum depth { ROUGH, PRECISE };

/* Repeatabilities from the residuals and what is stated of them; *change receives their largest
 * relative change. */
static void update_scatter(struct tt_fit *fit, double *change)
{
    const struct tt_noise *noise = fit->noise;

    fit->scatter_touch_mm2 = tt_fit_touch_scatter(fit, fit->dof_touch);
    *change = 0;
    if (fit->dof_touch > TT_LEAST_DOF) {
        double touch = tt_fit_pooled(fit->scatter_touch_mm2, fit->dof_touch,
                                     noise->touch_var_mm2 + noise->touch_digit_var_mm2,
                                     noise->touch_dof, &fit->scattered);
        *change = fabs(touch / fit->touch_var_mm2 - 1);
        fit->touch_var_mm2 = touch;
    }
    if (fit->dof_sight > TT_LEAST_DOF) {
        fit->scatter_sight_mm2 = tt_fit_sight_scatter(fit, fit->dof_sight, false);
        double sight = tt_fit_pooled(fit->scatter_sight_mm2, fit->dof_sight,
                                     noise->sight_var_mm2 + noise->sight_digit_var_mm2,
                                     noise->sight_dof, &fit->sight_scattered);
        *change = fmax(*change, fabs(sight / fit->sight_var_mm2 - 1));
        fit->sight_var_mm2 = sight;
    }
    if (fit->model->picture.n > 0) {
        *change = fmax(*change, tt_fit_update_views(fit));
    }
}

/* Steps until size and change are done, with the degrees of freedom as they are (@dof_known) or
 * found after the first step. */
static bool settle_weights(struct tt_fit *fit, enum depth depth, bool dof_known, double *change)
{
    bool exact = true, done = false;
    double step_done = depth == ROUGH ? ROUGH_STEP : STEP_DONE, size = INFINITY;

    for (size_t k = 0; k < MOST_STEPS && !done; k++) {
        tt_fit_set_rotation_var(fit);
        tt_fit_set_weights(fit);
        if (!tt_fit_step(fit, exact, &size)) {
            return false;
        }
        done = exact && size <= step_done && (depth == ROUGH || *change <= SCATTER_DONE);
        if (size < NEAR && (depth == ROUGH || !done)) {
            if (!dof_known) {
                tt_fit_update_dof(fit);
                dof_known = true;
            }
            update_scatter(fit, change);
        }
        exact =
            depth == ROUGH || *change < SETTLED; /* while the weights settle, first order will do */
    }
    return isfinite(size);
}

/* Least squares with the present `good`, the scatter estimated along the way where it is not
 * stated. The degrees of freedom hardly depend on the scatter: they are found after the first step
 * and at the end, and where that changes the scatter after all (few touches), once more. False:
 * singular. */
static bool solve_weighted(struct tt_fit *fit, enum depth depth)
{
    double change = INFINITY;

    fit->dof_found_at_mm2 = INFINITY; /* not yet, with the present `good` */
    for (size_t round = 0; round < MOST_ROUNDS; round++) {
        if (!settle_weights(fit, depth, round > 0, &change)) {
            return false;
        }
        if (depth == ROUGH) {
            return true;
        }
        if (fabs(fit->touch_var_mm2 / fit->dof_found_at_mm2 - 1) < DOF_STANDS) {
            tt_system_invert(&fit->model->system);
            break;
        }
        tt_fit_update_dof(fit);
        update_scatter(fit, &change);
        if (!(change > SETTLED)) {
            break;
        }
    }
    return true;
}

/* A yaw that is solved, but only within so much that first order says nothing any more: as good as
 * not determined. */
static bool yaw_is_open(const struct tt_model *model)
{
    bool open = false;

    for (size_t s = 0; s < model->n_setups && !model->weak; s++) {
        size_t at = tt_at_pose(s) + 2;
        open = open || !(model->system.c[at * model->n_border + at] < OPEN_YAW_RAD * OPEN_YAW_RAD);
    }
    return open;
}

void tt_fit_run_roughly(struct tt_fit *fit, const double good[])
{
    struct tt_model *model = fit->model;

    for (size_t i = 0; i < model->n_touches; i++) {
        fit->good[i] = good != NULL ? good[i] : 1;
    }
    tt_model_linearise(model);
    fit->deficient = !solve_weighted(fit, ROUGH);
    fit->rough = true;
}

struct tt_fit *tt_fit_finished(struct tt_fit *fit)
{
    if (fit != NULL && fit->rough) {
        fit->rough = false;
        fit->deficient = fit->deficient || !solve_weighted(fit, PRECISE) || yaw_is_open(fit->model);
    }
    return fit != NULL && !fit->deficient ? fit : NULL;
}

void tt_fit_run(struct tt_fit *fit, const double good[])
{
    tt_fit_run_roughly(fit, good);
    (void)tt_fit_finished(fit);
}

bool tt_fit_predict(struct tt_fit *fit)
{
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        fit->good[i] = 1;
    }
    tt_model_linearise(fit->model);
    tt_fit_set_weights(fit);
    tt_model_accumulate(fit->model, fit->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&fit->model->system)) {
        return false;
    }
    tt_fit_update_dof(fit);
    return true;
}
