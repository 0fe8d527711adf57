/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/extra.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#include "adjust/judge.h"

/* Far-off touches count as off by this many scatters. */
#define DRAWN_IN 3.0
/* Fewer set aside than this do not hide a term. */
#define FEW_ASIDE 0.1

double tt_log_p_of_f(double f, unsigned m, double dof)
{
    if (!(f > 0) || !(dof > 0)) {
        return 0;
    }
    if (m == 2) {
        return -0.5 * dof * log1p(2 * f / dof);
    }
    double p = 2 * gsl_cdf_tdist_Q(sqrt(f), dof);
    return p > 0 ? log(p) : -700; /* the logarithm of the smallest double */
}

static enum tiptrue_status judge_init(struct tt_judge *judge, struct tt_arena *arena)
{
    const struct tt_model *model = judge->model;
    size_t n = model->n_touches, largest = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    judge->weight = TT_ARENA_NEW(arena, n, double);
    judge->residual = TT_ARENA_NEW(arena, n, double);
    judge->vector = TT_ARENA_NEW(arena, model->n_unknowns, double);
    judge->solved = TT_ARENA_NEW(arena, model->n_unknowns, double);
    judge->half = TT_ARENA_NEW(arena, model->n_border + largest, double);
    judge->spare = TT_ARENA_NEW(arena, model->n_unknowns, double);
    judge->step_mm = TT_ARENA_NEW(arena, model->n_unknowns, double);
    return judge->weight == NULL || judge->residual == NULL || judge->vector == NULL || judge->solved == NULL ||
                   judge->half == NULL || judge->spare == NULL || judge->step_mm == NULL
               ? TIPTRUE_E_MEMORY
               : TIPTRUE_OK;
}

/* One linear step with the residuals drawn in and all touches at their full weight, or (@good_only) without those set aside: what
 * is left is the score's numerator. */
static enum tiptrue_status prepare(struct tt_judge *judge, bool good_only)
{
    struct tt_fit *fit = judge->fit;
    struct tt_model *model = judge->model;
    size_t n = model->n_touches;
    double count = 0;

    for (size_t i = 0; i < n; i++) {
        double variance = fit->touch_var_mm2 + fit->rotation_var_mm2[i], most = DRAWN_IN * sqrt(variance);
        judge->weight[i] = good_only && fit->good[i] == 0 ? 0 : 1 / variance;
        count += judge->weight[i] > 0 ? 1 : 0;
        model->residual[i] = fmin(fmax(model->residual[i], -most), most);
    }
    tt_model_accumulate(model, judge->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return TIPTRUE_E_DEGENERATE;
    }
    tt_system_solve(&model->system, model->system.g, judge->step_mm);
    double sum = 0;
    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        double by_column[TT_MOST_COLUMNS];
        tt_cell_columns(model, cell, judge->step_mm, by_column);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            double r = model->residual[i] - tt_cell_product(model, cell, i, by_column);
            judge->residual[i] = r;
            sum += judge->weight[i] * r * r;
        }
    }
    judge->dof = fmax(count - fit->spent_touch, 1);
    judge->own_scatter = true;
    judge->scale = fit->noise->touch_known ? fmax(sum / judge->dof, 1) : sum / judge->dof;
    if (fit->noise->touch_known && judge->scale <= 1.5) {
        judge->own_scatter = false; /* stated scatter, and the run agrees with it */
        judge->dof = 1e6;
        judge->scale = 1;
    }
    return TIPTRUE_OK;
}

/* Squared residual, in variances, that one or two candidate columns take away, with products @zz, score @g, and what the unknowns
 * imitate of them @imitated (2 x 2 each). */
double tt_judge_score(const struct tt_judge *judge, unsigned m, const double zz[3], const double g[2], const double imitated[3])
{
    double a = zz[0] - imitated[0], b = zz[1] - imitated[1], d = zz[2] - imitated[2];

    if (m == 1) {
        return a > TT_LEAST_OWN_SHARE * zz[0] ? g[0] * g[0] / a / judge->scale : 0;
    }
    double half_trace = 0.5 * (a + d), root = hypot(0.5 * (a - d), b), low = half_trace - root, high = half_trace + root;
    double whole = zz[0] + zz[2];
    if (!(high > TT_LEAST_OWN_SHARE * whole)) {
        return 0;
    }
    if (low > TT_LEAST_OWN_SHARE * whole) {
        return (d * g[0] * g[0] - 2 * b * g[0] * g[1] + a * g[1] * g[1]) / (a * d - b * b) / judge->scale;
    }
    double angle = 0.5 * atan2(2 * b, a - d), along = g[0] * cos(angle) + g[1] * sin(angle);
    return along * along / high / judge->scale;
}

/* Which touches it acts on; the others' column is zero. TT_NONE: not restricted. */
struct acts_on {
    size_t block, edge;
};
#define ACTS_ON_ALL ((struct acts_on){TT_NONE, TT_NONE})

double tt_column_reversed(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    double c = model->touch[i].cos_rotation, s = model->touch[i].sin_rotation;
    (void)order;
    return which == 0 ? cell->site.n_x * c - cell->site.n_y * s : cell->site.n_y * c + cell->site.n_x * s;
}

double tt_column_shape(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    double c, s;
    tt_touch_shape_angle(&cell->site, &model->touch[i], order, &c, &s);
    return which == 0 ? c : s;
}

double tt_column_lost_motion(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)model, (void)i, (void)order, (void)which;
    return 0.5 * (cell->site.n_x * cell->site.n_x - cell->site.n_y * cell->site.n_y);
}

double tt_column_latency(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)cell, (void)order, (void)which;
    return model->touch[i].feed_mm_s;
}

/* What a candidate takes away; *value (may be NULL) receives the first column's estimate where there is only one. */
static double judge_touches(struct tt_judge *judge, struct acts_on on, unsigned m, unsigned order, tt_column_of *column,
                            double *value)
{
    struct tt_model *model = judge->model;
    const struct tt_system *system = &model->system;
    double zz[3] = {0}, g[2] = {0}, imitated[3] = {0}, *first = judge->vector, *second = judge->solved;

    memset(first, 0, model->n_unknowns * sizeof *first);
    memset(second, 0, model->n_unknowns * sizeof *second);
    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        double q[2][TT_MOST_COLUMNS] = {{0}};
        if ((on.block != TT_NONE && cell->block != on.block) || (on.edge != TT_NONE && cell->edge != on.edge)) {
            continue;
        }
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            const double *slope = model->slope + i * model->stride;
            double w = judge->weight[i], z0 = column(model, cell, i, order, 0), z1 = m == 2 ? column(model, cell, i, order, 1) : 0;
            zz[0] += w * z0 * z0;
            zz[1] += w * z0 * z1;
            zz[2] += w * z1 * z1;
            g[0] += w * z0 * judge->residual[i];
            g[1] += w * z1 * judge->residual[i];
            for (size_t c = 0; c < cell->n_columns; c++) {
                q[0][c] += w * z0 * slope[c];
                q[1][c] += w * z1 * slope[c];
            }
        }
        for (size_t e = 0; e < cell->n_entries; e++) {
            size_t at = tt_unknown(model, cell->block, cell->entries[e].place);
            first[at] += cell->entries[e].value * q[0][cell->entries[e].column];
            second[at] += cell->entries[e].value * q[1][cell->entries[e].column];
        }
    }
    /* imitated = Q^T N^-1 Q. For one block the half solution has the border and that block only. */
    if (on.block != TT_NONE) {
        size_t block = on.block, n = model->n_border + model->block_size[block];
        double *y = judge->half, *y1 = first; /* `first` is free once its half solution is taken */
        tt_system_half_solve(system, block, first, first + system->first[block], y);
        tt_system_half_solve(system, block, second, second + system->first[block], y1);
        for (size_t k = 0; k < n; k++) {
            imitated[0] += y[k] * y[k];
            imitated[1] += y[k] * y1[k];
            imitated[2] += y1[k] * y1[k];
        }
    } else {
        double *solved = judge->fit->step_mm;
        tt_system_solve(system, first, solved);
        for (size_t k = 0; k < model->n_unknowns; k++) {
            imitated[0] += solved[k] * first[k];
            imitated[1] += solved[k] * second[k];
        }
        tt_system_solve(system, second, solved);
        for (size_t k = 0; k < model->n_unknowns; k++) {
            imitated[2] += solved[k] * second[k];
        }
    }
    if (value != NULL) {
        *value = zz[0] - imitated[0] > TT_LEAST_OWN_SHARE * zz[0] ? g[0] / (zz[0] - imitated[0]) : 0;
    }
    return tt_judge_score(judge, m, zz, g, imitated);
}

static double edge_column(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)model, (void)cell, (void)i, (void)order, (void)which;
    return 1;
}

void tt_extra_keep_better(struct tt_extra *best, struct tt_extra candidate)
{
    if (candidate.taken > best->taken) {
        size_t rivals = best->rivals > candidate.rivals ? best->rivals : candidate.rivals;
        *best = candidate;
        best->rivals = rivals;
    }
}

static bool several_feeds(const struct tt_model *model)
{
    double feed = model->touch[0].feed_mm_s;
    bool differ = false;

    for (size_t i = 0; i < model->n_touches; i++) {
        if (!(model->touch[i].feed_mm_s > 0)) {
            return false;
        }
        differ = differ || fabs(model->touch[i].feed_mm_s - feed) > 1e-6 * feed;
    }
    return differ;
}

static void judge_tips(struct tt_judge *judge, struct tt_extra best[])
{
    struct tt_model *model = judge->model;
    struct tt_extra shape = {.kind = TT_EXTRA_SHAPE, .n_unknowns = 2}, reversed = {.kind = TT_EXTRA_REVERSED};

    for (size_t b = 0; b < model->n_blocks; b++) {
        if (!model->terms.reversed) {
            double taken = judge_touches(judge, (struct acts_on){b, TT_NONE}, 2, 0, tt_column_reversed, NULL);
            tt_extra_keep_better(&reversed, (struct tt_extra){.kind = TT_EXTRA_REVERSED, .block = b, .taken = taken});
        }
        for (unsigned k = 2; k <= TT_MOST_ORDER; k++) {
            if (model->terms.orders[b] >> k & 1U) {
                continue;
            }
            double taken = judge_touches(judge, (struct acts_on){b, TT_NONE}, 2, k, tt_column_shape, NULL);
            tt_extra_keep_better(
                &shape, (struct tt_extra){.kind = TT_EXTRA_SHAPE, .block = b, .order = k, .n_unknowns = 2, .taken = taken});
        }
    }
    shape.rivals = model->n_blocks * (TT_MOST_ORDER - 1);
    reversed.rivals = model->n_blocks;
    tt_extra_keep_better(&best[TT_EXTRA_SHAPE], shape);
    tt_extra_keep_better(&best[TT_EXTRA_REVERSED], reversed);
}

/* Each edge in turn: would the touches rather have it elsewhere? */
static void judge_edges(struct tt_judge *judge, struct tt_extra *best)
{
    const struct tt_model *model = judge->model;
    struct tt_extra found = {.kind = TT_EXTRA_EDGE, .edge = TT_NONE, .n_unknowns = 1};
    size_t edges = 0;

    for (size_t j = 0; j < model->plate->n_edges; j++) {
        double value, taken;
        if (!model->edge_seen[j] || (model->terms.edge_free != NULL && model->terms.edge_free[j])) {
            continue;
        }
        edges++;
        taken = judge_touches(judge, (struct acts_on){TT_NONE, j}, 1, 0, edge_column, &value);
        if (taken > found.taken) {
            found =
                (struct tt_extra){.kind = TT_EXTRA_EDGE,
                                  .edge = j,
                                  .n_unknowns = 1,
                                  .taken = taken,
                                  .second = found.taken,
                                  .value_mm = value}; /* the residual is left less right side: the edge lies further out by it */
        } else {
            found.second = fmax(found.second, taken);
        }
    }
    found.rivals = edges;
    tt_extra_keep_better(best, found);
}

static enum tiptrue_status judge_all(struct tt_judge *judge, struct tt_arena *arena, bool good_only,
                                     struct tt_extra overall[TT_EXTRA_KINDS])
{
    struct tt_extra best[TT_EXTRA_KINDS];
    struct tt_model *model = judge->model;
    enum tiptrue_status status;

    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        best[k] = (struct tt_extra){.kind = (enum tt_extra_kind)k, .row = TT_NONE, .edge = TT_NONE};
    }
    tt_model_linearise(model);
    if ((status = prepare(judge, good_only)) != TIPTRUE_OK) {
        return status == TIPTRUE_E_DEGENERATE ? TIPTRUE_OK : status;
    }
    if ((status = tt_judge_timeline(judge, arena, &best[TT_EXTRA_MOVED], &best[TT_EXTRA_DRIFT])) != TIPTRUE_OK) {
        return status;
    }
    judge_tips(judge, best);
    judge_edges(judge, &best[TT_EXTRA_EDGE]);
    if (!model->terms.lost_motion) {
        double taken = judge_touches(judge, ACTS_ON_ALL, 1, 0, tt_column_lost_motion, NULL);
        tt_extra_keep_better(&best[TT_EXTRA_LOST_MOTION],
                             (struct tt_extra){.kind = TT_EXTRA_LOST_MOTION, .n_unknowns = 1, .taken = taken});
    }
    if (!model->terms.latency && several_feeds(model)) {
        double taken = judge_touches(judge, ACTS_ON_ALL, 1, 0, tt_column_latency, NULL);
        tt_extra_keep_better(&best[TT_EXTRA_LATENCY], (struct tt_extra){.kind = TT_EXTRA_LATENCY, .n_unknowns = 1, .taken = taken});
    }
    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        tt_judge_finish(judge, &best[k]);
        if (best[k].log_p < overall[k].log_p) {
            overall[k] = best[k];
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_extra_judge(struct tt_fit *fit, struct tt_arena *arena, struct tt_extra best[TT_EXTRA_KINDS])
{
    struct tt_judge judge = {.fit = fit, .model = fit->model};
    enum tiptrue_status status = judge_init(&judge, arena);
    double aside = 0, n = (double)fit->model->n_touches;

    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        best[k] = (struct tt_extra){.kind = (enum tt_extra_kind)k, .row = TT_NONE, .edge = TT_NONE};
    }
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        aside += fit->good[i] == 0 ? 1 : 0;
    }
    /* What is set aside may be set aside for want of the term, or be off in earnest and hide it: where it is much, both are looked
     * at. */
    if (status == TIPTRUE_OK) {
        status = judge_all(&judge, arena, aside > 0, best);
    }
    if (status == TIPTRUE_OK && aside > FEW_ASIDE * n) {
        status = judge_all(&judge, arena, false, best);
    }
    return status;
}
