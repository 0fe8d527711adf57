/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/unseen.h"

#include <math.h>
#include <string.h>

#include "adjust/modes.h"
#include "adjust/respond.h"

/* Quantile of the normal distribution: with this much beyond the threshold a fault is seen in 90 %
 * of runs. */
#define SEEN_IN_90_PERCENT 1.28
/* What the other data leave of a fault's own information H, as a share: less is rounding. A feature
 * with one partner that is known a thousand times worse than it is touched leaves 1e-6. */
#define LEAST_LEFT 1e-9

/* A fault of up to two columns (a mark's x and y) with what it does to the unknowns. */
struct fault {
    size_t columns;
    double own[3];   /* b^T W b (xx, xy, yy), or 1/u^2: 1/mm^2 */
    double *c[2];    /* J^T W b: n_unknowns each */
    size_t place;    /* of the feature's own unknown in the border: its prior's shift is the same
                        fault, and c not needed; or TT_NONE */
    double left[3];  /* H */
    double **offset; /* per block and axis: the offset's row of C, n_unknowns each */
};

static void begin(struct fault *fault, size_t columns, size_t n_unknowns)
{
    fault->columns = columns;
    fault->place = TT_NONE;
    memset(fault->own, 0, sizeof fault->own);
    memset(fault->c[0], 0, n_unknowns * sizeof *fault->c[0]);
    memset(fault->c[1], 0, n_unknowns * sizeof *fault->c[1]);
}

/* The fault of a feature that is an unknown with a prior u: H = 1/u^2 - C_jj/u^4. False: it is
 * exact. */
static bool begin_unknown(struct fault *fault, size_t columns, const struct tt_model *model,
                          enum tt_prior_kind kind, size_t what, size_t place)
{
    const double *c = model->system.c;
    size_t i = 0, nb = model->n_border;

    while (i < model->n_priors &&
           (model->priors[i].kind != kind || model->priors[i].what != what)) {
        i++;
    }
    if (place == TT_NONE || i == model->n_priors) {
        return false;
    }
    double p = 1 / (model->priors[i].u * model->priors[i].u);
    fault->columns = columns;
    fault->place = place;
    fault->own[0] = fault->own[2] = p;
    fault->own[1] = 0;
    fault->left[0] = p - p * p * c[place * nb + place];
    if (columns == 2) {
        fault->left[1] = -p * p * c[(place + 1) * nb + place];
        fault->left[2] = p - p * p * c[(place + 1) * nb + place + 1];
    }
    return true;
}

/* A mark elsewhere on the plate by 1 mm along the plate's x and y, as the sighting sees it on the
 * machine. */
static void add_sight(struct fault *fault, const struct tt_fit *fit, const struct tt_sight *sight)
{
    const struct tt_model *model = fit->model;
    double yaw = model->x[tt_at_pose(sight->setup) + 2],
           w = tt_sight_weight(sight, 1 / fit->sight_var_mm2);
    const double by_axis[2][2] = {{-cos(yaw), sin(yaw)}, {-sin(yaw), -cos(yaw)}};

    fault->own[0] += w;
    fault->own[2] += w;
    for (size_t axis = 0; axis < 2; axis++) {
        for (size_t k = 0; k < sight->n_entries; k++) {
            const struct tt_entry *entry = &sight->entries[axis][k];
            fault->c[0][entry->place] += w * by_axis[axis][0] * entry->value;
            fault->c[1][entry->place] += w * by_axis[axis][1] * entry->value;
        }
    }
}

static double dot(const double a[], const double b[], size_t n)
{
    double sum = 0;
    for (size_t k = 0; k < n; k++) {
        sum += a[k] * b[k];
    }
    return sum;
}

/* H of a fault that is no unknown's. @work: n_unknowns. */
static void respond(struct fault *fault, const struct tt_system *system, double work[])
{
    size_t n = system->n_unknowns;

    tt_system_solve(system, fault->c[0], work);
    fault->left[0] = fault->own[0] - dot(fault->c[0], work, n);
    if (fault->columns == 2) {
        fault->left[1] = fault->own[1] - dot(fault->c[1], work, n);
        tt_system_solve(system, fault->c[1], work);
        fault->left[2] = fault->own[2] - dot(fault->c[1], work, n);
    }
}

/* Move of an offset's coordinate, mm, by 1 mm of the fault's column @a. */
static double response(const struct fault *fault, size_t n, const double offset[], size_t a)
{
    if (a >= fault->columns) {
        return 0;
    }
    return fault->place != TT_NONE ? fault->own[0] * offset[fault->place + a]
                                   : dot(offset, fault->c[a], n);
}

static double smaller_eigenvalue(const double m[3])
{
    return 0.5 * (m[0] + m[2]) - hypot(0.5 * (m[0] - m[2]), m[1]);
}

/* The fault in units of its standard deviation from which @kind's ln odds are above 0, by chance
 * alone in half of runs. @h: the smallest eigenvalue of H. @dof: of a repeatability that the run
 * tells itself, with the fault in it; 0 or HUGE_VAL = not so. */
static double threshold(const struct fault *fault, enum tt_mode_kind kind, double h, double share,
                        double dof)
{
    double f2 = tt_mode_size(kind) * tt_mode_size(kind), xx = 1 + f2 * fault->left[0],
           yy = 1 + f2 * fault->left[2], xy = f2 * fault->left[1];
    double det = fault->columns == 2 ? xx * yy - xy * xy : xx;
    double needed = log(det) - 2 * log(tt_mode_probability(kind) / share);

    if (dof > 0 && isfinite(dof)) {
        needed = dof * expm1(needed / dof);
    }
    return sqrt(needed * (h + 1 / f2) / h);
}

/* Largest effect on a block's offset of a fault of one standard deviation, over its directions: the
 * larger root of |A^T A - lambda H| = 0, A the offset's rows of C c. */
static double effect_on(const struct fault *fault, const struct tt_model *model, size_t block,
                        const bool determined[2])
{
    double a[3] = {0};

    for (size_t axis = 0; axis < 2; axis++) {
        const double *offset = fault->offset[2 * block + axis];
        double x = determined[axis] ? response(fault, model->n_unknowns, offset, 0) : 0,
               y = determined[axis] ? response(fault, model->n_unknowns, offset, 1) : 0;
        a[0] += x * x;
        a[1] += x * y;
        a[2] += y * y;
    }
    const double *h = fault->left;
    if (fault->columns == 1) {
        return sqrt(a[0] / h[0]);
    }
    double det = h[0] * h[2] - h[1] * h[1],
           half_trace = 0.5 * (h[2] * a[0] - 2 * h[1] * a[1] + h[0] * a[2]) / det;
    double product = (a[0] * a[2] - a[1] * a[1]) / det;
    return sqrt(half_trace + sqrt(fmax(half_trace * half_trace - product, 0)));
}

static struct tt_unseen judge(const struct fault *fault, const struct tt_model *model,
                              const enum tt_mode_kind kinds[2], double share, double dof,
                              const bool determined[][2])
{
    struct tt_unseen unseen = {NAN, NAN};
    double h = fault->columns == 2 ? smaller_eigenvalue(fault->left) : fault->left[0];

    if (!(h > LEAST_LEFT * fault->own[0])) {
        return unseen;
    }
    double seen =
        fmin(threshold(fault, kinds[0], h, share, dof), threshold(fault, kinds[1], h, share, dof)) +
        SEEN_IN_90_PERCENT;
    unseen.shift_mm = seen / sqrt(h);
    for (size_t b = 0; b < model->n_blocks; b++) {
        if (determined[b][0] || determined[b][1]) {
            unseen.effect_mm =
                fmax(unseen.effect_mm, seen * effect_on(fault, model, b, determined[b]));
        }
    }
    return unseen;
}

static void judge_edges(struct fault *fault, const struct tt_fit *fit, double work[],
                        const bool determined[][2], struct tt_unseen edge[])
{
    static const enum tt_mode_kind KINDS[2] = {TT_MODE_FILM, TT_MODE_EDGE};
    const struct tt_model *model = fit->model;
    double share = 0, dof = fmax(fit->dof_touch, 1) + (fit->scattered ? 0 : fit->noise->touch_dof);

    for (size_t j = 0; j < model->plate->n_edges; j++) {
        share += model->n_touches > 0 && model->edge_seen[j];
    }
    for (size_t j = 0; j < model->plate->n_edges; j++) {
        edge[j] = (struct tt_unseen){NAN, NAN};
        if (model->n_touches == 0 || !model->edge_seen[j]) {
            continue;
        }
        if (!begin_unknown(fault, 1, model, TT_PRIOR_EDGE, j, model->at_edge[j])) {
            begin(fault, 1, model->n_unknowns);
            fault->own[0] = tt_edge_pull(fit, j, fault->c[0]);
            respond(fault, &model->system, work);
        }
        edge[j] = judge(fault, model, KINDS, share, dof, determined);
    }
}

static void judge_marks(struct fault *fault, const struct tt_fit *fit, double work[],
                        const bool determined[][2], struct tt_unseen mark[])
{
    static const enum tt_mode_kind KINDS[2] = {TT_MODE_MARK, TT_MODE_MARK_GROSS};
    const struct tt_model *model = fit->model;
    double share = 0;

    for (size_t i = 0; i < model->n_sights; i++) {
        mark[model->sights[i].mark].shift_mm = 1; /* sighted */
    }
    for (size_t m = 0; m < model->plate->n_marks; m++) {
        share += mark[m].shift_mm > 0;
    }
    for (size_t m = 0; m < model->plate->n_marks; m++) {
        bool sighted = mark[m].shift_mm > 0;
        mark[m] = (struct tt_unseen){NAN, NAN};
        if (!sighted) {
            continue;
        }
        if (!begin_unknown(fault, 2, model, TT_PRIOR_MARK, m, model->at_mark[m])) {
            begin(fault, 2, model->n_unknowns);
            for (size_t i = 0; i < model->n_sights; i++) {
                if (model->sights[i].mark == m) {
                    add_sight(fault, fit, &model->sights[i]);
                }
            }
            respond(fault, &model->system, work);
        }
        mark[m] = judge(fault, model, KINDS, share, 0, determined);
    }
}

enum tiptrue_status tt_unseen(const struct tt_fit *fit, struct tt_arena *arena,
                              const bool determined[][2], struct tt_unseen edge[],
                              struct tt_unseen mark[])
{
    size_t n = fit->model->n_unknowns, rows = 2 * fit->model->n_blocks;
    double *work = TT_ARENA_NEW(arena, (3 + rows) * n, double);
    struct fault fault = {.offset = TT_ARENA_NEW(arena, rows, double *)};

    if (work == NULL || fault.offset == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    fault.c[0] = work + n;
    fault.c[1] = work + 2 * n;
    for (size_t i = 0; i < rows; i++) {
        fault.offset[i] = work + (3 + i) * n;
        fault.offset[i][fit->model->system.first[i / 2] + (i % 2 == 0 ? TT_TIP_O_X : TT_TIP_O_Y)] =
            1;
        tt_system_solve(&fit->model->system, fault.offset[i], fault.offset[i]);
    }
    for (size_t m = 0; m < fit->model->plate->n_marks; m++) {
        mark[m] = (struct tt_unseen){0, 0};
    }
    judge_edges(&fault, fit, work, determined, edge);
    judge_marks(&fault, fit, work, determined, mark);
    return TIPTRUE_OK;
}
