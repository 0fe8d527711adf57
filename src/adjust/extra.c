/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/extra.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

/* Far-off touches count as off by this many scatters. */
#define DRAWN_IN 3.0
/* A candidate that the model's unknowns can imitate to this share of its square says nothing. */
#define LEAST_OWN_SHARE 1e-6
/* Fewer set aside than this do not hide a term. */
#define FEW_ASIDE 0.1
/* A move is looked for where at least this many rows lie on either side. */
#define LEAST_ROWS 3
/* Less than this taken away (in variances) is not looked into: its probability by chance is over one per cent. */
#define WORTH_A_LOOK 6.0

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

struct judge {
    struct tt_fit *fit;
    struct tt_model *model;
    double *weight;   /* of every touch, none set aside */
    double *residual; /* drawn in, after a refit */
    double *vector;   /* n_unknowns */
    double *solved;
    double *half;    /* border + largest block */
    double *spare;   /* n_unknowns */
    double *step_mm; /* the linear step of prepare() */
    bool own_scatter;
    double dof, scale; /* scale: of the residuals' variance against the weights */
};

static enum tiptrue_status judge_init(struct judge *judge, struct tt_arena *arena)
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
static enum tiptrue_status prepare(struct judge *judge, bool good_only)
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
static double score_of(const struct judge *judge, unsigned m, const double zz[3], const double g[2], const double imitated[3])
{
    double a = zz[0] - imitated[0], b = zz[1] - imitated[1], d = zz[2] - imitated[2];

    if (m == 1) {
        return a > LEAST_OWN_SHARE * zz[0] ? g[0] * g[0] / a / judge->scale : 0;
    }
    double half_trace = 0.5 * (a + d), root = hypot(0.5 * (a - d), b), low = half_trace - root, high = half_trace + root;
    double whole = zz[0] + zz[2];
    if (!(high > LEAST_OWN_SHARE * whole)) {
        return 0;
    }
    if (low > LEAST_OWN_SHARE * whole) {
        return (d * g[0] * g[0] - 2 * b * g[0] * g[1] + a * g[1] * g[1]) / (a * d - b * b) / judge->scale;
    }
    double angle = 0.5 * atan2(2 * b, a - d), along = g[0] * cos(angle) + g[1] * sin(angle);
    return along * along / high / judge->scale;
}

/* A candidate column's value for touch @i; @which 0 or 1. */
typedef double column_of(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which);
/* Which touches it acts on; the others' column is zero. TT_NONE: not restricted. */
struct acts_on {
    size_t block, edge;
};
#define ACTS_ON_ALL ((struct acts_on){TT_NONE, TT_NONE})

static double reversed_column(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    double c = model->touch[i].cos_rotation, s = model->touch[i].sin_rotation;
    (void)order;
    return which == 0 ? cell->site.n_x * c - cell->site.n_y * s : cell->site.n_y * c + cell->site.n_x * s;
}

static double shape_column(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    double c, s;
    tt_touch_shape_angle(&cell->site, &model->touch[i], order, &c, &s);
    return which == 0 ? c : s;
}

static double lost_motion_column(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)model, (void)i, (void)order, (void)which;
    return 0.5 * (cell->site.n_x * cell->site.n_x - cell->site.n_y * cell->site.n_y);
}

static double latency_column(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)cell, (void)order, (void)which;
    return model->touch[i].feed_mm_s;
}

/* What a candidate takes away; *value (may be NULL) receives the first column's estimate where there is only one. */
static double judge_touches(struct judge *judge, struct acts_on on, unsigned m, unsigned order, column_of *column, double *value)
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
        *value = zz[0] - imitated[0] > LEAST_OWN_SHARE * zz[0] ? g[0] / (zz[0] - imitated[0]) : 0;
    }
    return score_of(judge, m, zz, g, imitated);
}

static double edge_column(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which)
{
    (void)model, (void)cell, (void)i, (void)order, (void)which;
    return 1;
}

static void keep_better(struct tt_extra *best, struct tt_extra candidate)
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

/* ---- moves and drift: columns over touches and sightings in the order of the file ---- */

struct timeline {
    struct judge *judge;
    double *y; /* per touch and sighting coordinate: half solution of its design row, border part, then its block's part */
    size_t stride;
    size_t *row_touch; /* row of the run -> touch, TT_NONE = none */
    size_t *row_sight;
};

static void sight_half(const struct timeline *line, const struct tt_sight *sight, size_t axis, double y[])
{
    struct judge *judge = line->judge;
    memset(judge->vector, 0, judge->model->n_border * sizeof *judge->vector);
    for (size_t k = 0; k < sight->n_entries; k++) {
        judge->vector[sight->entries[axis][k].place] += sight->entries[axis][k].value;
    }
    tt_system_half_solve(&judge->model->system, TT_NONE, judge->vector, NULL, y);
}

/* Half solutions of every touch's design row, from those of its cell's few columns. */
static void touch_halves(struct timeline *line)
{
    struct judge *judge = line->judge;
    struct tt_model *model = judge->model;

    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        size_t size = model->block_size[cell->block], n = model->n_border + size;
        for (size_t c = 0; c < cell->n_columns; c++) {
            bool any = false;
            memset(judge->vector, 0, n * sizeof *judge->vector);
            for (size_t e = 0; e < cell->n_entries; e++) {
                if (cell->entries[e].column == c) {
                    judge->vector[cell->entries[e].place] += cell->entries[e].value;
                    any = true;
                }
            }
            if (!any) {
                continue;
            }
            tt_system_half_solve(&model->system, cell->block, judge->vector, judge->vector + model->n_border, judge->half);
            for (size_t i = cell->first; i < cell->first + cell->count; i++) {
                double slope = model->slope[i * model->stride + c], *y = line->y + i * line->stride;
                for (size_t j = 0; j < n; j++) {
                    y[j] += slope * judge->half[j];
                }
            }
        }
    }
}

static enum tiptrue_status timeline_init(struct timeline *line, struct judge *judge, struct tt_arena *arena)
{
    struct tt_model *model = judge->model;
    size_t largest = 0, rows = model->run->n_observations;

    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    *line = (struct timeline){.judge = judge, .stride = model->n_border + largest};
    line->y = TT_ARENA_NEW(arena, model->n_touches * line->stride, double);
    line->row_touch = TT_ARENA_NEW(arena, rows, size_t);
    line->row_sight = TT_ARENA_NEW(arena, rows, size_t);
    if (line->y == NULL || line->row_touch == NULL || line->row_sight == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < rows; i++) {
        line->row_touch[i] = line->row_sight[i] = TT_NONE;
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        line->row_touch[model->row[i]] = i;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        line->row_sight[model->sights[i].row] = i;
    }
    touch_halves(line);
    return TIPTRUE_OK;
}

/* Running sums over rows: of products of the columns, of their scores, and of their half solutions. */
struct running {
    double zz[3], g[2], *border, *block; /* border: 2 x n_border; block: 2 x all block unknowns */
    double in_blocks[3];                 /* products of the block parts, kept up to date */
    size_t n;
};

static void add_half(struct running *sum, const struct tt_model *model, size_t block, const double y[], double w, const double z[2])
{
    size_t nb = model->n_border, in_blocks = model->n_unknowns - nb;

    for (size_t a = 0; a < 2; a++) {
        for (size_t k = 0; k < nb; k++) {
            sum->border[a * nb + k] += w * z[a] * y[k];
        }
    }
    if (block == TT_NONE) {
        return;
    }
    double *v0 = sum->block + model->system.first[block] - nb, *v1 = v0 + in_blocks;
    for (size_t k = 0; k < model->block_size[block]; k++) {
        sum->in_blocks[0] -= v0[k] * v0[k];
        sum->in_blocks[1] -= v0[k] * v1[k];
        sum->in_blocks[2] -= v1[k] * v1[k];
        v0[k] += w * z[0] * y[nb + k];
        v1[k] += w * z[1] * y[nb + k];
        sum->in_blocks[0] += v0[k] * v0[k];
        sum->in_blocks[1] += v0[k] * v1[k];
        sum->in_blocks[2] += v1[k] * v1[k];
    }
}

/* Add the row @row of the run with its columns multiplied by @factor. */
static void add_row(struct running *sum, const struct timeline *line, size_t row, double factor, double y[])
{
    const struct judge *judge = line->judge;
    const struct tt_model *model = judge->model;
    size_t touch = line->row_touch[row], sight = line->row_sight[row];

    if (touch != TT_NONE) {
        const struct tt_cell *cell = &model->cells[model->cell_of[touch]];
        const double z[2] = {-factor * cell->site.n_x, -factor * cell->site.n_y};
        double w = judge->weight[touch];
        sum->zz[0] += w * z[0] * z[0];
        sum->zz[1] += w * z[0] * z[1];
        sum->zz[2] += w * z[1] * z[1];
        sum->g[0] += w * z[0] * judge->residual[touch];
        sum->g[1] += w * z[1] * judge->residual[touch];
        add_half(sum, model, cell->block, line->y + touch * line->stride, w, z);
        sum->n++;
    } else if (sight != TT_NONE) {
        double w = 1 / judge->fit->sight_var_mm2;
        for (size_t axis = 0; axis < 2; axis++) {
            const double z[2] = {axis == 0 ? -factor : 0, axis == 1 ? -factor : 0};
            double r = model->sights[sight].residual[axis];
            for (size_t k = 0; k < model->sights[sight].n_entries; k++) {
                const struct tt_entry *e = &model->sights[sight].entries[axis][k];
                r -= e->value * judge->step_mm[e->place];
            }
            sum->zz[axis == 0 ? 0 : 2] += w * factor * factor;
            sum->g[axis] += -w * factor * r;
            sight_half(line, &model->sights[sight], axis, y);
            add_half(sum, model, TT_NONE, y, w, z);
        }
        sum->n++;
    }
}

static double running_score(const struct running *sum, const struct judge *judge)
{
    size_t nb = judge->model->n_border;
    double imitated[3] = {sum->in_blocks[0], sum->in_blocks[1], sum->in_blocks[2]};

    for (size_t k = 0; k < nb; k++) {
        imitated[0] += sum->border[k] * sum->border[k];
        imitated[1] += sum->border[k] * sum->border[nb + k];
        imitated[2] += sum->border[nb + k] * sum->border[nb + k];
    }
    return score_of(judge, 2, sum->zz, sum->g, imitated);
}

static enum tiptrue_status running_init(struct running *sum, struct tt_arena *arena, const struct tt_model *model)
{
    *sum = (struct running){0};
    sum->border = TT_ARENA_NEW(arena, 2 * model->n_border, double);
    sum->block = TT_ARENA_NEW(arena, 2 * (model->n_unknowns - model->n_border), double);
    return sum->border == NULL || sum->block == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;
}

/* The split of each setup's rows that a move of the plate explains best. */
static enum tiptrue_status scan_moves(struct timeline *line, struct tt_arena *arena, struct tt_extra *best)
{
    const struct tt_model *model = line->judge->model;
    const struct tiptrue_run *run = model->run;
    double *y = TT_ARENA_NEW(arena, line->stride, double);

    for (size_t s = 0; s < model->n_setups && y != NULL; s++) {
        struct running sum;
        size_t rows = 0, splits = 0;
        struct tt_extra found = {.kind = TT_EXTRA_MOVED, .n_unknowns = 2};
        if (running_init(&sum, arena, model) != TIPTRUE_OK) {
            return TIPTRUE_E_MEMORY;
        }
        for (size_t i = 0; i < run->n_observations; i++) {
            rows += run->observations[i].setup == s && (line->row_touch[i] != TT_NONE || line->row_sight[i] != TT_NONE);
        }
        for (size_t i = run->n_observations; i-- > 0;) {
            if (run->observations[i].setup != s || (line->row_touch[i] == TT_NONE && line->row_sight[i] == TT_NONE)) {
                continue;
            }
            add_row(&sum, line, i, 1, y);
            if (sum.n < LEAST_ROWS || rows - sum.n < LEAST_ROWS) {
                continue;
            }
            splits++;
            keep_better(&found, (struct tt_extra){
                                    .kind = TT_EXTRA_MOVED, .row = i, .n_unknowns = 2, .taken = running_score(&sum, line->judge)});
        }
        found.rivals = splits * model->n_setups;
        keep_better(best, found);
    }
    return y == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;
}

static enum tiptrue_status judge_drift(struct timeline *line, struct tt_arena *arena, struct tt_extra *best)
{
    const struct tt_model *model = line->judge->model;
    struct running sum;
    double *y = TT_ARENA_NEW(arena, line->stride, double);

    if (y == NULL || running_init(&sum, arena, model) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->run->n_observations; i++) {
        size_t touch = line->row_touch[i], sight = line->row_sight[i];
        if (touch != TT_NONE || sight != TT_NONE) {
            add_row(&sum, line, i, touch != TT_NONE ? model->clock[touch] : model->sights[sight].clock, y);
        }
    }
    keep_better(best, (struct tt_extra){.kind = TT_EXTRA_DRIFT, .n_unknowns = 2, .taken = running_score(&sum, line->judge)});
    return TIPTRUE_OK;
}

/* ---- all ---- */

static void judge_tips(struct judge *judge, struct tt_extra best[])
{
    struct tt_model *model = judge->model;
    struct tt_extra shape = {.kind = TT_EXTRA_SHAPE, .n_unknowns = 2}, reversed = {.kind = TT_EXTRA_REVERSED};

    for (size_t b = 0; b < model->n_blocks; b++) {
        if (!model->terms.reversed) {
            double taken = judge_touches(judge, (struct acts_on){b, TT_NONE}, 2, 0, reversed_column, NULL);
            keep_better(&reversed, (struct tt_extra){.kind = TT_EXTRA_REVERSED, .block = b, .taken = taken});
        }
        for (unsigned k = 2; k <= TT_MOST_ORDER; k++) {
            if (model->terms.orders[b] >> k & 1U) {
                continue;
            }
            double taken = judge_touches(judge, (struct acts_on){b, TT_NONE}, 2, k, shape_column, NULL);
            keep_better(&shape, (struct tt_extra){.kind = TT_EXTRA_SHAPE, .block = b, .order = k, .n_unknowns = 2, .taken = taken});
        }
    }
    shape.rivals = model->n_blocks * (TT_MOST_ORDER - 1);
    reversed.rivals = model->n_blocks;
    keep_better(&best[TT_EXTRA_SHAPE], shape);
    keep_better(&best[TT_EXTRA_REVERSED], reversed);
}

/* Each edge in turn: would the touches rather have it elsewhere? */
static void judge_edges(struct judge *judge, struct tt_extra *best)
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
    keep_better(best, found);
}

/* ---- from what is taken away to a probability ---- */

/* The candidate's columns: value for touch @i, and for a sighting's coordinate. */
static double touch_value(const struct tt_model *model, const struct tt_extra *extra, size_t i, unsigned which)
{
    const struct tt_cell *cell = &model->cells[model->cell_of[i]];
    double n = which == 0 ? cell->site.n_x : cell->site.n_y;

    switch (extra->kind) {
    case TT_EXTRA_MOVED:
        return model->row[i] >= extra->row && cell->setup == model->run->observations[extra->row].setup ? -n : 0;
    case TT_EXTRA_DRIFT:
        return -n * model->clock[i];
    case TT_EXTRA_REVERSED:
        return cell->block == extra->block ? reversed_column(model, cell, i, 0, which) : 0;
    case TT_EXTRA_SHAPE:
        return cell->block == extra->block ? shape_column(model, cell, i, extra->order, which) : 0;
    case TT_EXTRA_LOST_MOTION:
        return lost_motion_column(model, cell, i, 0, which);
    case TT_EXTRA_LATENCY:
        return latency_column(model, cell, i, 0, which);
    case TT_EXTRA_EDGE:
        return cell->edge == extra->edge ? 1 : 0;
    case TT_EXTRA_KINDS:
        break;
    }
    return 0;
}

static double sight_value(const struct tt_model *model, const struct tt_extra *extra, const struct tt_sight *sight)
{
    if (extra->kind == TT_EXTRA_MOVED) {
        return sight->row >= extra->row && sight->setup == model->run->observations[extra->row].setup ? -1 : 0;
    }
    return extra->kind == TT_EXTRA_DRIFT ? -sight->clock : 0;
}

/* Products of the candidate's columns with the design, into judge->vector (first column) and @second. */
static void products(struct judge *judge, const struct tt_extra *extra, unsigned m, double second[], double zz[3], double g[2])
{
    const struct tt_model *model = judge->model;
    double *q[2] = {judge->vector, second};

    memset(q[0], 0, model->n_unknowns * sizeof *q[0]);
    memset(q[1], 0, model->n_unknowns * sizeof *q[1]);
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *slope = model->slope + i * model->stride;
        double z[2] = {touch_value(model, extra, i, 0), m == 2 ? touch_value(model, extra, i, 1) : 0}, w = judge->weight[i];
        zz[0] += w * z[0] * z[0];
        zz[1] += w * z[0] * z[1];
        zz[2] += w * z[1] * z[1];
        for (unsigned a = 0; a < m; a++) {
            g[a] += w * z[a] * judge->residual[i];
            for (size_t k = 0; k < cell->n_entries; k++) {
                const struct tt_entry *e = &cell->entries[k];
                q[a][tt_unknown(model, cell->block, e->place)] += w * z[a] * e->value * slope[e->column];
            }
        }
    }
    for (size_t i = 0; i < model->n_sights && m == 2; i++) {
        const struct tt_sight *sight = &model->sights[i];
        double z = sight_value(model, extra, sight), w = 1 / judge->fit->sight_var_mm2;
        for (size_t axis = 0; axis < 2 && z != 0; axis++) {
            double r = sight->residual[axis];
            for (size_t k = 0; k < sight->n_entries; k++) {
                q[axis][sight->entries[axis][k].place] += w * z * sight->entries[axis][k].value;
                r -= sight->entries[axis][k].value * judge->step_mm[sight->entries[axis][k].place];
            }
            zz[axis == 0 ? 0 : 2] += w * z * z;
            g[axis] += w * z * r;
        }
    }
}

/* How much of what a candidate takes away (in variances of the present fit) it takes from the touches' residuals; the rest comes
 * from sightings and priors, whose variances are stated. */
static double taken_from_touches(struct judge *judge, const struct tt_extra *extra)
{
    const struct tt_model *model = judge->model;
    unsigned m = extra->n_unknowns == 1 ? 1 : 2;
    double zz[3] = {0}, g[2] = {0}, s[3], *second = judge->spare, *v[2] = {judge->solved, judge->fit->step_mm}, before = 0,
           after = 0;

    products(judge, extra, m, second, zz, g);
    tt_system_solve(&model->system, judge->vector, v[0]);
    tt_system_solve(&model->system, second, v[1]);
    s[0] = zz[0], s[1] = zz[1], s[2] = zz[2];
    for (size_t k = 0; k < model->n_unknowns; k++) {
        s[0] -= judge->vector[k] * v[0][k];
        s[1] -= judge->vector[k] * v[1][k];
        s[2] -= second[k] * v[1][k];
    }
    double estimate[2] = {m == 1 ? g[0] / s[0] : 0, 0}, det = s[0] * s[2] - s[1] * s[1];
    if (m == 2 && det > LEAST_OWN_SHARE * s[0] * s[2]) {
        estimate[0] = (s[2] * g[0] - s[1] * g[1]) / det;
        estimate[1] = (s[0] * g[1] - s[1] * g[0]) / det;
    } else if (m == 2) {
        return extra->taken; /* one direction only: be content with the whole */
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *slope = model->slope + i * model->stride;
        double r = judge->residual[i];
        before += judge->weight[i] * r * r;
        for (unsigned a = 0; a < m; a++) {
            double own = touch_value(model, extra, i, a);
            for (size_t k = 0; k < cell->n_entries; k++) {
                const struct tt_entry *e = &cell->entries[k];
                own -= slope[e->column] * e->value * v[a][tt_unknown(model, cell->block, e->place)];
            }
            r -= own * estimate[a];
        }
        after += judge->weight[i] * r * r;
    }
    return fmin(fmax((before - after) / judge->scale, 0), extra->taken);
}

/* Likelihood ratio and probability of a candidate. Where the scatter is the run's own, the candidate's absence is in it: the part
 * taken from the touches is measured against what would be left. */
static void finish(struct judge *judge, struct tt_extra *extra)
{
    unsigned m = extra->n_unknowns == 1 ? 1 : 2;
    double touches = 0, left = judge->dof, rest = fmax(judge->dof - m, 1), factor = 1, dof = 1e6;

    if (!(extra->taken > WORTH_A_LOOK)) {
        return;
    }
    if (judge->own_scatter) {
        touches = taken_from_touches(judge, extra);
        left = fmax(judge->dof - touches, 1e-3 * judge->dof);
        double share = touches / extra->taken;
        factor = rest / left;
        dof = share > 1e-3 ? rest / (share * share) : 1e6;
    }
    extra->gain = judge->dof * log(judge->dof / left) + extra->taken - touches;
    extra->log_p = tt_log_p_of_f((touches * factor + extra->taken - touches) / m, m, dof);
    extra->log_p = fmin(extra->log_p + log((double)(extra->rivals > 0 ? extra->rivals : 1)), 0);
}

static enum tiptrue_status judge_all(struct judge *judge, struct tt_arena *arena, bool good_only,
                                     struct tt_extra overall[TT_EXTRA_KINDS])
{
    struct tt_extra best[TT_EXTRA_KINDS];
    struct tt_model *model = judge->model;
    struct timeline line;
    enum tiptrue_status status;

    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        best[k] = (struct tt_extra){.kind = (enum tt_extra_kind)k, .row = TT_NONE, .edge = TT_NONE};
    }
    tt_model_linearise(model);
    if ((status = prepare(judge, good_only)) != TIPTRUE_OK) {
        return status == TIPTRUE_E_DEGENERATE ? TIPTRUE_OK : status;
    }
    if (model->terms.moved_at == TT_NONE || !model->terms.drift) {
        if ((status = timeline_init(&line, judge, arena)) != TIPTRUE_OK ||
            (model->terms.moved_at == TT_NONE && (status = scan_moves(&line, arena, &best[TT_EXTRA_MOVED])) != TIPTRUE_OK) ||
            (!model->terms.drift && (status = judge_drift(&line, arena, &best[TT_EXTRA_DRIFT])) != TIPTRUE_OK)) {
            return status;
        }
    }
    judge_tips(judge, best);
    judge_edges(judge, &best[TT_EXTRA_EDGE]);
    if (!model->terms.lost_motion) {
        double taken = judge_touches(judge, ACTS_ON_ALL, 1, 0, lost_motion_column, NULL);
        keep_better(&best[TT_EXTRA_LOST_MOTION], (struct tt_extra){.kind = TT_EXTRA_LOST_MOTION, .n_unknowns = 1, .taken = taken});
    }
    if (!model->terms.latency && several_feeds(model)) {
        double taken = judge_touches(judge, ACTS_ON_ALL, 1, 0, latency_column, NULL);
        keep_better(&best[TT_EXTRA_LATENCY], (struct tt_extra){.kind = TT_EXTRA_LATENCY, .n_unknowns = 1, .taken = taken});
    }
    for (size_t k = 0; k < TT_EXTRA_KINDS; k++) {
        finish(judge, &best[k]);
        if (best[k].log_p < overall[k].log_p) {
            overall[k] = best[k];
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_extra_judge(struct tt_fit *fit, struct tt_arena *arena, struct tt_extra best[TT_EXTRA_KINDS])
{
    struct judge judge = {.fit = fit, .model = fit->model};
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
