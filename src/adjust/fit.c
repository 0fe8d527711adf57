/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/fit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Steps below this in every unknown end the iteration: a tenth of a picometre (and 1e-10 radian), far above the rounding of
 * coordinates of 1 m, and the step after it would be smaller by orders of magnitude. */
#define STEP_DONE 1e-10
/* The scatter, relative, of its variance. */
#define SCATTER_DONE 1e-6
#define SETTLED 1e-2
/* What is enough to judge a first solution by. */
#define ROUGH_STEP 1e-2
#define ROUGH_CHANGE 1.0
/* Further away than this (mm) the residuals tell of the start, not of the scatter. */
#define NEAR 0.5
#define MOST_STEPS 30
/* Fewer degrees of freedom than this estimate nothing: what is left is rounding. */
#define LEAST_DOF 1e-3
#define MOST_EM_STEPS 40
#define CLIMBED 0.01 /* of the logarithm of the likelihood */
#define NEARLY_CLIMBED 0.5
#define MOST_HELD_STEPS 15
#define START_LATE 0.2
#define START_EARLY 0.01
/* Scatter is never taken as less than this: data without any noise (examples made by hand) would divide by zero, and
 * weights too far above those of the sightings would make the matrix singular. 1 nm. */
#define LEAST_SCATTER_MM 1e-6
/* First guess of a touch's scatter where none is stated: 3 µm, a usual contact (common practice, no source). Only the weight of
 * touches against priors in the very first step depends on it. */
#define FIRST_SCATTER_MM 3e-3
/* Contacts of usual machines scatter by 1 to 10 µm (common practice, no source): a log-normal prior on a scatter that is not
 * stated, weak enough to be overruled by a dozen touches, strong enough that "all are good and scatter by 30 µm" must be earned. */
#define USUAL_SCATTER_MM 3.5e-3
#define USUAL_SCATTER_LN_SD 0.6
/* Late and early contacts are off by anything up to 0.15 mm, or 15 scatters, with equal probability, and by more with one that
 * falls with the fourth power, so that a contact off by millimetres is still explained. */
#define DEPTH_SCALE_MM 0.15
#define DEPTH_SCALE_SCATTERS 15.0
/* A touch nearer than this many scatters is never called off: late ones are to be found, not the good ones' tails. Lower, and the
 * scatter comes out too small. */
#define OFF_FROM_SCATTERS 3.5
/* Strength, in touches, with which an edge's late share is drawn to the run's, and the run's to nothing. */
#define SHARE_STRENGTH 4.0
#define SHARE_PRIOR_TOUCHES 10.0
#define SHARE_PRIOR_LATE 0.1
/* Least squares stands unless the mixture explains the run better by this much (natural logarithm). Lower, and clean runs of a
 * dozen touches lose some; higher, and single late touches of 5 scatters stay. */
#define LEAST_GAIN 3.0

static bool state_init(struct tt_fit_state *state, struct tt_arena *arena, const struct tt_model *model)
{
    state->x = TT_ARENA_NEW(arena, model->n_unknowns, double);
    state->good = TT_ARENA_NEW(arena, model->n_touches, double);
    return state->x != NULL && state->good != NULL;
}

enum tiptrue_status tt_fit_init(struct tt_fit *fit, struct tt_arena *arena, struct tt_model *model, const struct tt_noise *noise,
                                bool robust)
{
    size_t n = model->n_touches, nb = model->n_border, largest = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    *fit = (struct tt_fit){.model = model, .noise = noise, .robust = robust};
    fit->good = TT_ARENA_NEW(arena, n, double);
    fit->weight = TT_ARENA_NEW(arena, n, double);
    fit->rotation_var_mm2 = TT_ARENA_NEW(arena, n, double);
    fit->leverage = TT_ARENA_NEW(arena, n, double);
    fit->late_share = TT_ARENA_NEW(arena, model->plate->n_edges, double);
    fit->edge_count = TT_ARENA_NEW(arena, model->plate->n_edges, double);
    fit->probability = TT_ARENA_NEW(arena, n, double);
    fit->sorted_mm = TT_ARENA_NEW(arena, n, double);
    fit->step_mm = TT_ARENA_NEW(arena, model->n_unknowns, double);
    fit->cc = TT_ARENA_NEW(arena, largest * largest, double);
    fit->cb = TT_ARENA_NEW(arena, largest * nb, double);
    fit->response = TT_ARENA_NEW(arena, largest * nb, double);
    if (fit->good == NULL || fit->weight == NULL || fit->rotation_var_mm2 == NULL || fit->leverage == NULL ||
        fit->late_share == NULL || fit->edge_count == NULL || fit->probability == NULL || fit->sorted_mm == NULL ||
        fit->step_mm == NULL || fit->cc == NULL || fit->cb == NULL || fit->response == NULL ||
        !state_init(&fit->plain, arena, model) || !state_init(&fit->best, arena, model) || !state_init(&fit->start, arena, model)) {
        return TIPTRUE_E_MEMORY;
    }
    fit->touch_var_mm2 =
        (noise->touch_known ? noise->touch_var_mm2 : FIRST_SCATTER_MM * FIRST_SCATTER_MM) + noise->touch_digit_var_mm2;
    fit->sight_var_mm2 =
        (noise->sight_known ? noise->sight_var_mm2 : FIRST_SCATTER_MM * FIRST_SCATTER_MM) + noise->sight_digit_var_mm2;
    return TIPTRUE_OK;
}

/* ---- steps ---- */

/* |R(theta + 90 deg) e . n|^2 u_theta^2, where it matters at all. */
static void set_rotation_var(struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double u2 = fit->noise->u_rotation_rad * fit->noise->u_rotation_rad;

    for (size_t c = 0; c < model->n_cells && u2 > 0; c++) {
        const struct tt_cell *cell = &model->cells[c];
        const double *tip = model->x + model->system.first[cell->block];
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            const double *slope = model->slope + i * model->stride;
            /* d/d theta of e_x (n . R e_x) + e_y (n . R e_y): R turns e_x into e_y and e_y into -e_x. */
            double across = tip[TT_TIP_E_X] * slope[TT_COLUMN_E_Y] - tip[TT_TIP_E_Y] * slope[TT_COLUMN_E_X];
            fit->rotation_var_mm2[i] = across * across * u2;
        }
    }
}

static void set_weights(struct tt_fit *fit)
{
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        fit->weight[i] = fit->good[i] / (fit->touch_var_mm2 + fit->rotation_var_mm2[i]);
    }
}

/* One Gauss-Newton step with the present weights; *size receives its largest component. @exact: with new residuals and design rows,
 * else both to first order. False: singular. */
static bool step(struct tt_fit *fit, bool exact, double *size)
{
    struct tt_model *model = fit->model;
    double *dx = fit->step_mm;

    tt_model_accumulate(model, fit->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return false;
    }
    tt_system_solve(&model->system, model->system.g, dx);
    *size = 0;
    for (size_t k = 0; k < model->n_unknowns; k++) {
        *size = fmax(*size, fabs(dx[k]));
    }
    tt_model_move(model, dx);
    if (exact) {
        tt_model_linearise(model);
    }
    fit->iterations++;
    return true;
}

/* ---- scatter ---- */

/* Scatter of the touches from their residuals: sum of good * r^2 / v = dof for v = s^2 + rotation's part. One step of the fixed
 * point. */
static double touch_scatter(const struct tt_fit *fit, double dof)
{
    double sum = 0;

    if (!(dof > 0)) {
        return fit->touch_var_mm2;
    }
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        double r = fit->model->residual[i];
        sum += fit->good[i] * r * r * fit->touch_var_mm2 / (fit->touch_var_mm2 + fit->rotation_var_mm2[i]);
    }
    return fmax(sum / dof, LEAST_SCATTER_MM * LEAST_SCATTER_MM);
}

static double sight_scatter(const struct tt_fit *fit, double dof)
{
    double sum = 0;

    if (!(dof > 0)) {
        return fit->sight_var_mm2;
    }
    for (size_t i = 0; i < fit->model->n_sights; i++) {
        const double *r = fit->model->sights[i].residual;
        sum += r[0] * r[0] + r[1] * r[1];
    }
    return fmax(sum / dof, LEAST_SCATTER_MM * LEAST_SCATTER_MM);
}

static double total_good(const struct tt_fit *fit)
{
    double sum = 0;
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        sum += fit->good[i];
    }
    return sum;
}

/* ---- leverage ---- */

static void cell_leverage(struct tt_fit *fit, const struct tt_cell *cell, const double cc[], const double cb[], double *sum)
{
    const struct tt_system *system = &fit->model->system;
    size_t nb = system->n_border, size = system->size[cell->block], n = cell->n_columns;
    double h[TT_MOST_COLUMNS * TT_MOST_COLUMNS] = {0};

    for (size_t i = 0; i < cell->n_entries; i++) {
        const struct tt_entry *p = &cell->entries[i];
        for (size_t j = 0; j < cell->n_entries; j++) {
            const struct tt_entry *q = &cell->entries[j];
            double c;
            if (p->place < nb) {
                c = q->place < nb ? system->c[p->place * nb + q->place] : cb[(q->place - nb) * nb + p->place];
            } else {
                c = q->place < nb ? cb[(p->place - nb) * nb + q->place] : cc[(p->place - nb) * size + q->place - nb];
            }
            h[p->column * n + q->column] += p->value * q->value * c;
        }
    }
    for (size_t j = 0; j < n; j++) { /* fold the triangles: each pair of columns once */
        for (size_t k = 0; k < j; k++) {
            h[j * n + k] += h[k * n + j];
        }
    }
    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = fit->model->slope + i * fit->model->stride;
        double total = 0;
        for (size_t j = 0; j < n; j++) {
            double part = 0;
            for (size_t k = 0; k <= j; k++) {
                part += h[j * n + k] * slope[k];
            }
            total += part * slope[j];
        }
        fit->leverage[i] = total / (fit->touch_var_mm2 + fit->rotation_var_mm2[i]);
        *sum += fit->good[i] * fit->leverage[i];
    }
}

/* Share of each touch's weight that the fit spends on it (w J C J^T), and their sums over good touches and over sightings: the
 * degrees of freedom that the fit takes up. After tt_system_invert. */
static void leverages(struct tt_fit *fit, double *touches, double *sights)
{
    struct tt_model *model = fit->model;
    struct tt_system *system = &model->system;
    size_t nb = system->n_border, block = TT_NONE;

    *touches = 0;
    for (size_t k = 0; k < model->n_cells; k++) {
        struct tt_cell *cell = &model->cells[model->cells_by_block[k]];
        if (cell->block != block) {
            block = cell->block;
            tt_system_block_covariance(system, block, fit->cc, fit->cb, fit->response);
        }
        cell_leverage(fit, cell, fit->cc, fit->cb, touches);
    }
    *sights = 0;
    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        for (size_t axis = 0; axis < 2; axis++) {
            for (size_t j = 0; j < sight->n_entries; j++) {
                for (size_t k = 0; k < sight->n_entries; k++) {
                    const struct tt_entry *p = &sight->entries[axis][j], *q = &sight->entries[axis][k];
                    *sights += p->value * q->value * system->c[p->place * nb + q->place] / fit->sight_var_mm2;
                }
            }
        }
    }
}

/* How far a weighted solution is driven: roughly, to judge it, or to the end. */
enum depth { ROUGH, PRECISE };

/* Degrees of freedom that the fit takes up, from its covariance. */
static void update_dof(struct tt_fit *fit)
{
    double sight_spent;

    tt_system_invert(&fit->model->system);
    leverages(fit, &fit->spent_touch, &sight_spent);
    fit->dof_touch = total_good(fit) - fit->spent_touch;
    fit->dof_sight = 2 * (double)fit->model->n_sights - sight_spent;
}

/* Scatter from the residuals, where it is not stated; *change receives its largest relative change. */
static void update_scatter(struct tt_fit *fit, double *change)
{
    fit->scatter_touch_mm2 = touch_scatter(fit, fit->dof_touch);
    *change = 0;
    if (!fit->noise->touch_known && fit->dof_touch > LEAST_DOF) {
        *change = fabs(fit->scatter_touch_mm2 / fit->touch_var_mm2 - 1);
        fit->touch_var_mm2 = fit->scatter_touch_mm2;
    }
    if (!fit->noise->sight_known && fit->dof_sight > LEAST_DOF) {
        double sight = sight_scatter(fit, fit->dof_sight);
        *change = fmax(*change, fabs(sight / fit->sight_var_mm2 - 1));
        fit->sight_var_mm2 = sight;
    }
}

/* Least squares with the present `good`, the scatter estimated along the way where it is not stated. The degrees of freedom hardly
 * depend on the scatter: they are found after the first step and, to the end only, once more when the scatter has settled. False:
 * singular. */
static bool solve_weighted(struct tt_fit *fit, enum depth depth)
{
    bool all_known = fit->noise->touch_known && fit->noise->sight_known;
    double step_done = depth == ROUGH ? ROUGH_STEP : STEP_DONE, change_done = depth == ROUGH ? ROUGH_CHANGE : SCATTER_DONE;
    double size = INFINITY, change = all_known ? 0 : INFINITY;
    unsigned dof_found = 0;

    fit->converged = false;
    for (size_t k = 0; k < MOST_STEPS && !fit->converged; k++) {
        set_rotation_var(fit);
        set_weights(fit);
        if (!step(fit, true, &size)) {
            return false;
        }
        fit->converged = size <= step_done && change <= change_done;
        if (!all_known && size < NEAR && !fit->converged) {
            if (dof_found == 0 || (dof_found == 1 && depth == PRECISE && change < SETTLED)) {
                update_dof(fit);
                dof_found++;
            }
            update_scatter(fit, &change);
        }
    }
    if (depth == PRECISE || dof_found == 0) {
        update_dof(fit);
        update_scatter(fit, &change);
    }
    return isfinite(size);
}

/* ---- the mixture ---- */

static void state_take(struct tt_fit_state *state, const struct tt_fit *fit)
{
    memcpy(state->x, fit->model->x, fit->model->n_unknowns * sizeof *state->x);
    memcpy(state->good, fit->good, fit->model->n_touches * sizeof *state->good);
    state->touch_var_mm2 = fit->touch_var_mm2;
    state->sight_var_mm2 = fit->sight_var_mm2;
    state->log_likelihood = fit->log_likelihood;
}

static void state_restore(const struct tt_fit_state *state, struct tt_fit *fit)
{
    memcpy(fit->model->x, state->x, fit->model->n_unknowns * sizeof *state->x);
    memcpy(fit->good, state->good, fit->model->n_touches * sizeof *state->good);
    fit->touch_var_mm2 = state->touch_var_mm2;
    fit->sight_var_mm2 = state->sight_var_mm2;
    fit->log_likelihood = state->log_likelihood;
    tt_model_linearise(fit->model);
}

static double outlier_density(double residual_mm, double scatter_mm)
{
    double depth = fmax(DEPTH_SCALE_MM, DEPTH_SCALE_SCATTERS * scatter_mm), beyond = fmax(fabs(residual_mm) / depth, 1);
    return 0.75 / (depth * beyond * beyond * beyond * beyond); /* 3/4 within the depth, 1/4 beyond */
}

/* Expectation: how probable each touch is good, into @probability, and the likelihood. @unknowns: degrees of freedom that the fit
 * takes up; they are given back to the scatter, else a fit to few touches would always look better than a fit to many. */
static void expect(struct tt_fit *fit, double unknowns, double probability[])
{
    const struct tt_model *model = fit->model;
    double s = sqrt(fit->touch_var_mm2), log_sum = unknowns * log(s);

    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        double share = fit->late_share[cell->edge], early = fit->early_share;
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            double variance = fit->touch_var_mm2 + fit->rotation_var_mm2[i], r = model->residual[i];
            double good = (1 - share - early) * exp(-0.5 * r * r / variance) / sqrt(2 * TT_PI * variance);
            double off =
                r * r < OFF_FROM_SCATTERS * OFF_FROM_SCATTERS * variance ? 0 : (r < 0 ? share : early) * outlier_density(r, s);
            probability[i] = good / (good + off);
            log_sum += log(good + off);
        }
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        const double *r = model->sights[i].residual;
        log_sum -= 0.5 * (r[0] * r[0] + r[1] * r[1]) / fit->sight_var_mm2;
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        double r = (model->x[tt_unknown(model, model->priors[i].block, model->priors[i].place)] - model->priors[i].value) /
                   model->priors[i].u;
        log_sum -= 0.5 * r * r;
    }
    if (!fit->noise->touch_known) {
        double off = log(s / USUAL_SCATTER_MM) / USUAL_SCATTER_LN_SD;
        log_sum -= 0.5 * off * off;
    }
    fit->log_likelihood = log_sum;
    fit->full_likelihood = log_sum - unknowns * log(s);
}

/* Shares of late and early contacts from the present `good`. */
static void update_shares(struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    size_t n_edges = model->plate->n_edges;
    double late = 0, early = 0, n = (double)model->n_touches, *edge_late = fit->late_share, *edge_n = fit->edge_count;

    memset(edge_late, 0, n_edges * sizeof *edge_late);
    memset(edge_n, 0, n_edges * sizeof *edge_n);
    for (size_t i = 0; i < model->n_touches; i++) {
        size_t edge = model->cells[model->cell_of[i]].edge;
        double off = 1 - fit->good[i];
        edge_n[edge] += 1;
        if (model->residual[i] < 0) {
            edge_late[edge] += off;
            late += off;
        } else {
            early += off;
        }
    }
    double run_share = (late + SHARE_PRIOR_LATE) / (n + SHARE_PRIOR_TOUCHES);
    fit->early_share = (early + SHARE_PRIOR_LATE) / (n + SHARE_PRIOR_TOUCHES);
    for (size_t j = 0; j < n_edges; j++) {
        edge_late[j] =
            fmin((edge_late[j] + SHARE_STRENGTH * run_share) / (edge_n[j] + SHARE_STRENGTH), 0.95 * (1 - fit->early_share));
    }
}

/* Climb from the present x, shares and scatter; the scatter is held until the climb has nearly ended with it, so that it cannot
 * widen before the late touches are found. False: singular. */
static bool climb(struct tt_fit *fit, double unknowns, double least_var)
{
    double before = -INFINITY;
    bool held = !fit->noise->touch_known;

    for (size_t k = 0; k < MOST_EM_STEPS; k++) {
        double size;
        expect(fit, unknowns, fit->good);
        if (held && (!(fabs(fit->log_likelihood - before) > NEARLY_CLIMBED) || k >= MOST_HELD_STEPS)) {
            held = false;
        } else if (!held && !(fabs(fit->log_likelihood - before) > CLIMBED)) {
            break;
        }
        before = fit->log_likelihood;
        update_shares(fit);
        if (!fit->noise->touch_known && !held) {
            double good = total_good(fit);
            fit->touch_var_mm2 = fmax(touch_scatter(fit, fmax(good - unknowns, 1)), least_var);
        }
        set_weights(fit);
        if (!step(fit, false, &size)) {
            return false;
        }
    }
    return true;
}

static int compare_doubles(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Shortest interval that holds half of the residuals: its middle and a scatter (normal: half-width / 0.6745). */
static void shortest_half(const struct tt_fit *fit, double *middle_mm, double *scatter_mm)
{
    size_t n = fit->model->n_touches, half = n / 2 + 1;
    double *sorted = fit->sorted_mm, best = INFINITY;

    memcpy(sorted, fit->model->residual, n * sizeof *sorted);
    qsort(sorted, n, sizeof *sorted, compare_doubles);
    *middle_mm = 0;
    for (size_t i = 0; i + half <= n; i++) {
        double width = sorted[i + half - 1] - sorted[i];
        if (width < best) {
            best = width;
            *middle_mm = 0.5 * (sorted[i] + sorted[i + half - 1]);
        }
    }
    *scatter_mm = best / (2 * 0.6745);
}

/* Asymmetric least absolute deviations at @level (0.5: median; above: the upper part of the residuals counts more), by reweighting.
 */
static bool absolute_deviations(struct tt_fit *fit, double level, size_t steps)
{
    const struct tt_model *model = fit->model;
    double floor_mm = 0.5 * sqrt(fit->noise->touch_digit_var_mm2 + 1e-6); /* half a micrometre: beyond it all are equal */

    for (size_t k = 0; k < steps; k++) {
        double size;
        for (size_t i = 0; i < model->n_touches; i++) {
            double r = model->residual[i], side = r > 0 ? level : 1 - level;
            /* Scaled so that a touch off by one first scatter weighs as in least squares: priors keep their meaning. */
            fit->weight[i] = 2 * side / (FIRST_SCATTER_MM * fmax(fabs(r), floor_mm));
        }
        if (!step(fit, false, &size)) {
            return false;
        }
    }
    return true;
}

/* Does the fit look like nothing but normal scatter, of a usual size or of the stated one? */
static bool looks_clean(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double largest = 0, middle, half;

    for (size_t i = 0; i < model->n_touches; i++) {
        double free_share = fmax(1 - fit->leverage[i], 0.05);
        double variance = (fit->touch_var_mm2 + fit->rotation_var_mm2[i]) * free_share;
        largest = fmax(largest, model->residual[i] * model->residual[i] / variance);
    }
    shortest_half(fit, &middle, &half);
    double scatter = sqrt(fit->scatter_touch_mm2);
    /* 3.2 scatters, or twice as wide as its middle half says: one clean run in ten of a hundred touches is looked at twice. */
    return largest < 3.2 * 3.2 && scatter < 1.6 * half + 1e-6 && (fit->noise->touch_known || scatter < 2 * USUAL_SCATTER_MM);
}

/* Few set aside and the rest as normal as it should be: no other start would end elsewhere. */
static bool convincing(const struct tt_fit *fit)
{
    double n = (double)fit->model->n_touches;
    return total_good(fit) > 0.85 * n && n > 24 && (fit->noise->touch_known || sqrt(fit->touch_var_mm2) < 2 * USUAL_SCATTER_MM);
}

/* One start: from the present x with @scatter_mm. */
static bool try_start(struct tt_fit *fit, double scatter_mm, double unknowns, double least_var)
{
    if (!fit->noise->touch_known) {
        fit->touch_var_mm2 = fmax(scatter_mm * scatter_mm, least_var);
    }
    for (size_t j = 0; j < fit->model->plate->n_edges; j++) {
        fit->late_share[j] = START_LATE;
    }
    fit->early_share = START_EARLY;
    return climb(fit, unknowns, least_var);
}

/* With few late touches least squares is not far off: climb from there, and be content with a convincing end. */
static bool first_guess(struct tt_fit *fit, double spent, double least_var)
{
    double middle, scatter;

    shortest_half(fit, &middle, &scatter);
    if (!try_start(fit, fmin(scatter, 2 * USUAL_SCATTER_MM), spent, least_var) || !convincing(fit)) {
        return false;
    }
    state_take(&fit->best, fit);
    return true;
}

static void search_starts(struct tt_fit *fit, double spent, double least_var)
{
    static const double levels[] = {0.5, 0.7, 0.85}, scatters_mm[] = {4e-3, 2e-3, 10e-3};
    size_t n_scatters = fit->noise->touch_known ? 1 : sizeof scatters_mm / sizeof scatters_mm[0];

    if (first_guess(fit, spent, least_var)) {
        return;
    }
    for (size_t k = 0; k < sizeof levels / sizeof levels[0]; k++) {
        state_restore(&fit->plain, fit);
        if (!absolute_deviations(fit, levels[k], 8)) {
            continue;
        }
        state_take(&fit->start, fit);
        for (size_t j = 0; j < n_scatters; j++) {
            state_restore(&fit->start, fit);
            if (try_start(fit, scatters_mm[j], spent, least_var) && fit->log_likelihood > fit->best.log_likelihood) {
                state_take(&fit->best, fit);
            }
        }
    }
}

static void robust_fit(struct tt_fit *fit)
{
    struct tt_model *model = fit->model;
    double spent = fit->spent_touch;
    double least_var = fmax(fit->noise->touch_digit_var_mm2, LEAST_SCATTER_MM * LEAST_SCATTER_MM);

    update_shares(fit);
    expect(fit, spent, fit->probability);
    state_take(&fit->plain, fit);
    fit->best.log_likelihood = -INFINITY;
    search_starts(fit, spent, least_var);
    state_restore(fit->best.log_likelihood > fit->plain.log_likelihood + LEAST_GAIN ? &fit->best : &fit->plain, fit);
    for (size_t i = 0; i < model->n_touches; i++) {
        fit->good[i] = fit->good[i] > 0.5 ? 1 : 0;
    }
}

void tt_fit_run(struct tt_fit *fit)
{
    struct tt_model *model = fit->model;

    for (size_t i = 0; i < model->n_touches; i++) {
        fit->good[i] = 1;
    }
    tt_model_linearise(model);
    fit->deficient = !solve_weighted(fit, ROUGH);
    if (!fit->deficient && fit->robust && !looks_clean(fit)) {
        robust_fit(fit);
    }
    fit->deficient = fit->deficient || !solve_weighted(fit, PRECISE);
    if (!fit->deficient) {
        fit->chi2_touch = 0;
        for (size_t i = 0; i < model->n_touches; i++) {
            fit->chi2_touch += fit->weight[i] * model->residual[i] * model->residual[i];
        }
        update_shares(fit);
        expect(fit, fit->spent_touch, fit->probability);
    }
}

bool tt_fit_predict(struct tt_fit *fit)
{
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        fit->good[i] = 1;
    }
    tt_model_linearise(fit->model);
    set_weights(fit);
    tt_model_accumulate(fit->model, fit->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&fit->model->system)) {
        return false;
    }
    update_dof(fit);
    return true;
}
