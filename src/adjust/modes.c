/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/modes.h"

#include <math.h>
#include <string.h>

#include "adjust/modes_parts.h"
#include "base/sums.h"

/* Rows at which a change is tried, at most, where all are; and
 * where least squares is asked whether there is anything to see. */
#define MOST_FINE_ROWS 1000
#define COARSE_ROWS 16

/* Tip candidates: the other sense of rotation, then the shape orders 2 to TT_MOST_ORDER, two
 * columns each. */
enum { TIP_CANDIDATES = TT_MOST_ORDER, TIP_COLUMNS = 2 * TIP_CANDIDATES };

static enum tiptrue_status table_init(struct tt_mode_table *t, struct tt_fit *fit,
                                      struct tt_arena *arena, enum tt_modes_depth depth,
                                      struct tt_modes *modes)
{
    struct tt_model *model = fit->model;
    size_t largest = 0, setups = model->n_setups, tips = model->n_blocks;
    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    *t = (struct tt_mode_table){.fit = fit,
                                .model = model,
                                .arena = arena,
                                .modes = modes,
                                .touches = depth != TT_MODES_OF_SIGHTINGS,
                                .most_rows = depth == TT_MODES_FINE ? MOST_FINE_ROWS : COARSE_ROWS,
                                .length = model->n_border + largest};
    size_t rows = model->run->n_observations;
    rows = 2 * t->most_rows < rows ? 2 * t->most_rows : rows;
    size_t most = 2 * (model->plate->n_edges + model->plate->n_marks) + 3 * model->n_sights +
                  rows * (setups + 1) + (2 * rows + TIP_CANDIDATES + 1) * tips + 8;
    modes->n = 0;
    modes->mode = TT_ARENA_NEW(arena, most, struct tt_mode);
    t->halves = TT_ARENA_ROOM(arena, model->n_cells * model->stride * t->length, double);
    t->sums = TT_ARENA_NEW(arena, model->n_cells * model->stride, double);
    t->scores = TT_ARENA_NEW(arena, model->n_cells, double);
    t->sight_halves = TT_ARENA_ROOM(arena, 2 * model->n_sights * model->n_border, double);
    t->half = TT_ARENA_NEW(arena, t->length, double);
    t->unit = TT_ARENA_NEW(arena, t->length, double);
    t->v[0] = TT_ARENA_NEW(arena, 2 * model->n_unknowns, double);
    if (modes->mode == NULL || t->halves == NULL || t->sums == NULL || t->scores == NULL ||
        t->sight_halves == NULL || t->half == NULL || t->unit == NULL || t->v[0] == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    t->v[1] = t->v[0] + model->n_unknowns;
    return TIPTRUE_OK;
}

/* Half solutions of every cell's columns, and the cell's sums. */
static void prepare_cells(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;

    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        double *sums = t->sums + k * model->stride;
        for (size_t c = 0; c < cell->n_columns; c++) {
            memset(t->unit, 0, t->length * sizeof *t->unit);
            for (size_t e = 0; e < cell->n_entries; e++) {
                if (cell->entries[e].column == c) {
                    t->unit[cell->entries[e].place] += cell->entries[e].value;
                }
            }
            tt_system_half_solve(&model->system, cell->block, t->unit, t->unit + model->n_border,
                                 tt_mode_half(t, k, c));
        }
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            const double *slope = model->slope + i * model->stride;
            double w = t->fit->weight[i];
            t->scores[k] += w * model->residual[i];
            for (size_t c = 0; c < cell->n_columns; c++) {
                sums[c] += w * slope[c];
            }
        }
    }
}

/* ---- one candidate ---- */

static void begin(struct tt_mode_table *t, unsigned m)
{
    memset(t->zz, 0, sizeof t->zz);
    memset(t->g, 0, sizeof t->g);
    memset(t->v[0], 0, m * t->model->n_unknowns * sizeof *t->v[0]);
}

/* Add @weight times a half solution (border, then the part of @block) to that of column @a. */
static void add_half(struct tt_mode_table *t, unsigned a, size_t block, const double half[],
                     double weight)
{
    size_t nb = t->model->n_border;
    double *v = t->v[a];

    tt_add_times(v, weight, half, nb);
    if (block != TT_NONE) {
        tt_add_times(v + t->model->system.first[block], weight, half + nb,
                     t->model->block_size[block]);
    }
}

/* ---- edges, lost motion: columns that are the same for all touches of a cell ---- */

static void add_cell(struct tt_mode_table *t, size_t k, double z)
{
    const struct tt_cell *cell = &t->model->cells[k];
    const double *sums = t->sums + k * t->model->stride;

    t->zz[0] += z * z * sums[TT_COLUMN_ONE];
    t->g[0] += z * t->scores[k];
    for (size_t c = 0; c < cell->n_columns; c++) {
        add_half(t, 0, cell->block, tt_mode_half(t, k, c), z * sums[c]);
    }
}

static bool is_set(const double *extra, size_t index)
{
    return extra != NULL && extra[index] > 0;
}

static void score_edges(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;
    double seen = 0;

    for (size_t j = 0; j < model->plate->n_edges; j++) {
        seen += model->edge_seen[j];
    }
    for (size_t j = 0; j < model->plate->n_edges; j++) {
        bool out = model->terms.edge_out != NULL && model->terms.edge_out[j];
        if (!model->edge_seen[j] || out || is_set(model->terms.edge_extra_mm, j)) {
            continue;
        }
        begin(t, 1);
        for (size_t k = 0; k < model->n_cells; k++) {
            if (model->cells[k].edge == j) {
                add_cell(t, k, -1);
            }
        }
        tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_FILM, .index = j}, 1, TT_NONE, seen);
        tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_EDGE, .index = j}, 1, TT_NONE, seen);
    }
}

static void score_lost_motion(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;

    begin(t, 1);
    for (size_t k = 0; k < model->n_cells && model->at_lost_motion == TT_NONE; k++) {
        const struct tt_site *site = &model->cells[k].site;
        add_cell(t, k, -0.5 * (site->n_x * site->n_x - site->n_y * site->n_y));
    }
    if (model->at_lost_motion == TT_NONE) {
        tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_LOST_MOTION}, 1, TT_NONE, 1);
    }
}

/* ---- columns with a value of their own for each touch ---- */

/* Value of up to two columns for touch @i of @cell. */
typedef void column_of(const struct tt_mode_table *t, const struct tt_cell *cell, size_t i,
                       double z[2]);

static void add_touches(struct tt_mode_table *t, unsigned m, column_of *column)
{
    const struct tt_model *model = t->model;

    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        double q[2][TT_MOST_COLUMNS] = {{0}};
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            const double *slope = model->slope + i * model->stride;
            double z[2] = {0}, w = t->fit->weight[i];
            column(t, cell, i, z);
            t->zz[0] += w * z[0] * z[0];
            t->zz[1] += w * z[0] * z[1];
            t->zz[2] += w * z[1] * z[1];
            for (unsigned a = 0; a < m; a++) {
                t->g[a] += w * z[a] * model->residual[i];
                for (size_t c = 0; c < cell->n_columns; c++) {
                    q[a][c] += w * z[a] * slope[c];
                }
            }
        }
        for (unsigned a = 0; a < m; a++) {
            for (size_t c = 0; c < cell->n_columns; c++) {
                add_half(t, a, cell->block, tt_mode_half(t, k, c), q[a][c]);
            }
        }
    }
}

/* Half solution of a coordinate of a sighting. */
static void prepare_sights(struct tt_mode_table *t)
{
    size_t nb = t->model->n_border;

    for (size_t i = 0; i < 2 * t->model->n_sights; i++) {
        const struct tt_sight *sight = &t->model->sights[i / 2];
        memset(t->unit, 0, nb * sizeof *t->unit);
        for (size_t k = 0; k < sight->n_entries; k++) {
            t->unit[sight->entries[i % 2][k].place] += sight->entries[i % 2][k].value;
        }
        tt_system_half_solve(&t->model->system, TT_NONE, t->unit, NULL, t->sight_halves + i * nb);
    }
}

/* Add a sighting's coordinate, on which the columns have the values @z. */
static void add_sight(struct tt_mode_table *t, const struct tt_sight *sight, size_t axis,
                      unsigned m, const double z[2])
{
    double w = tt_sight_weight(sight, 1 / t->fit->sight_var_mm2);

    t->zz[0] += w * z[0] * z[0];
    t->zz[1] += m == 2 ? w * z[0] * z[1] : 0;
    t->zz[2] += m == 2 ? w * z[1] * z[1] : 0;
    for (unsigned a = 0; a < m; a++) {
        t->g[a] += w * z[a] * sight->residual[axis];
        if (z[a] != 0) {
            add_half(t, a, TT_NONE, tt_mode_sight_half(t, sight, axis), w * z[a]);
        }
    }
}

static void column_drift(const struct tt_mode_table *t, const struct tt_cell *cell, size_t i,
                         double z[2])
{
    z[0] = -cell->site.n_x * t->model->clock[i];
    z[1] = -cell->site.n_y * t->model->clock[i];
}

static void score_drift(struct tt_mode_table *t)
{
    if (t->model->at_drift != TT_NONE) {
        return;
    }
    begin(t, 2);
    add_touches(t, 2, column_drift);
    for (size_t i = 0; i < t->model->n_sights; i++) {
        const struct tt_sight *sight = &t->model->sights[i];
        add_sight(t, sight, 0, 2, (double[2]){-sight->clock, 0});
        add_sight(t, sight, 1, 2, (double[2]){0, -sight->clock});
    }
    tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_DRIFT}, 2, TT_NONE, 1);
}

static void column_latency(const struct tt_mode_table *t, const struct tt_cell *cell, size_t i,
                           double z[2])
{
    (void)cell;
    z[0] = t->model->touch[i].feed_mm_s;
}

static void score_latency(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;
    double least = INFINITY, most = 0;

    for (size_t i = 0; i < model->n_touches; i++) {
        least = fmin(least, model->touch[i].feed_mm_s);
        most = fmax(most, model->touch[i].feed_mm_s);
    }
    if (model->at_latency != TT_NONE || !(least > 0) || !(most > least)) {
        return;
    }
    begin(t, 1);
    add_touches(t, 1, column_latency);
    tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_LATENCY}, 1, TT_NONE, 1);
}

/* ---- sightings, marks, radii ---- */

static void score_sightings(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;
    double share = (double)model->n_sights;

    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        if (sight->extra_mm2 > 0) {
            continue;
        }
        begin(t, 2);
        add_sight(t, sight, 0, 2, (double[2]){1, 0});
        add_sight(t, sight, 1, 2, (double[2]){0, 1});
        tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_SIGHT, .index = i}, 2, TT_NONE, share);
        tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_SIGHT_GROSS, .index = i}, 2, TT_NONE,
                      share);
    }
}

static void score_mark(struct tt_mode_table *t, size_t mark, double share)
{
    const struct tt_model *model = t->model;

    begin(t, 2);
    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        double yaw = model->x[tt_at_pose(sight->setup) + 2], c = cos(yaw), s = sin(yaw);
        if (sight->mark == mark) {
            add_sight(t, sight, 0, 2, (double[2]){-c, s});
            add_sight(t, sight, 1, 2, (double[2]){-s, -c});
        }
    }
    tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_MARK, .index = mark}, 2, TT_NONE, share);
    tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_MARK_GROSS, .index = mark}, 2, TT_NONE,
                  share);
}

static bool is_sighted(const struct tt_model *model, size_t mark)
{
    bool seen = false;
    for (size_t i = 0; i < model->n_sights; i++) {
        seen = seen || model->sights[i].mark == mark;
    }
    return seen;
}

static void score_marks(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;
    double seen = 0;

    for (size_t k = 0; k < model->plate->n_marks; k++) {
        seen += is_sighted(model, k);
    }
    for (size_t k = 0; k < model->plate->n_marks; k++) {
        if (is_sighted(model, k) && !is_set(model->terms.mark_extra_mm, k)) {
            score_mark(t, k, seen);
        }
    }
}

static void score_radii(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;
    double stated = 0;

    for (size_t i = 0; i < model->n_priors; i++) {
        stated += model->priors[i].kind == TT_PRIOR_RADIUS;
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        double w = 1 / (prior->u * prior->u);
        if (prior->kind != TT_PRIOR_RADIUS || prior->extra > 0) {
            continue;
        }
        begin(t, 1);
        memset(t->unit, 0, t->length * sizeof *t->unit);
        t->unit[prior->place] = 1;
        tt_system_half_solve(&model->system, prior->block, t->unit, t->unit + model->n_border,
                             t->half);
        add_half(t, 0, prior->block, t->half, w);
        t->zz[0] = w;
        t->g[0] = w * (model->x[tt_unknown(model, prior->block, prior->place)] - prior->value);
        tt_mode_enter(t, (struct tt_mode){.kind = TT_MODE_RADIUS, .index = prior->what}, 1,
                      prior->block, stated);
    }
}

/* ---- a tip's shape and sense ---- */

static void tip_columns(const struct tt_model *model, const struct tt_cell *cell, size_t i,
                        double z[TIP_COLUMNS])
{
    double c = model->touch[i].cos_rotation, s = model->touch[i].sin_rotation, c1, s1;

    z[0] = cell->site.n_x * c - cell->site.n_y * s;
    z[1] = cell->site.n_y * c + cell->site.n_x * s;
    tt_touch_shape_angle(&cell->site, &model->touch[i], 1, &c1, &s1);
    double ck = c1, sk = s1;
    for (size_t k = 2; k < TIP_COLUMNS; k += 2) {
        double next = ck * c1 - sk * s1;
        sk = sk * c1 + ck * s1;
        ck = next;
        z[k] = ck;
        z[k + 1] = sk;
    }
}

/* Sums of a tip's candidates over its touches. */
struct tip_sums {
    double zz[TIP_CANDIDATES][3], g[TIP_CANDIDATES][2];
    double q[TT_MOST_COLUMNS][TIP_COLUMNS]; /* of the present cell */
};

static void sum_tip_cell(const struct tt_mode_table *t, const struct tt_cell *cell,
                         struct tip_sums *sums)
{
    const struct tt_model *model = t->model;

    memset(sums->q, 0, sizeof sums->q);
    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        double z[TIP_COLUMNS], w = t->fit->weight[i], wr = w * model->residual[i];
        tip_columns(model, cell, i, z);
        for (size_t p = 0; p < TIP_CANDIDATES; p++) {
            sums->zz[p][0] += w * z[2 * p] * z[2 * p];
            sums->zz[p][1] += w * z[2 * p] * z[2 * p + 1];
            sums->zz[p][2] += w * z[2 * p + 1] * z[2 * p + 1];
            sums->g[p][0] += wr * z[2 * p];
            sums->g[p][1] += wr * z[2 * p + 1];
        }
        for (size_t c = 0; c < cell->n_columns; c++) {
            double ws = w * slope[c];
            for (size_t j = 0; j < TIP_COLUMNS; j++) {
                sums->q[c][j] += ws * z[j];
            }
        }
    }
}

/* Scores of the tip of @block: all its candidates in one pass over its touches. @vectors:
 * TIP_COLUMNS half solutions. */
static void score_tip(struct tt_mode_table *t, size_t block, double vectors[])
{
    const struct tt_model *model = t->model;
    size_t nb = model->n_border, size = model->block_size[block], tips = model->n_blocks;
    struct tip_sums sums = {0};

    memset(vectors, 0, TIP_COLUMNS * t->length * sizeof *vectors);
    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        if (cell->block != block) {
            continue;
        }
        sum_tip_cell(t, cell, &sums);
        for (size_t c = 0; c < cell->n_columns; c++) {
            const double *half = tt_mode_half(t, k, c);
            for (size_t j = 0; j < TIP_COLUMNS; j++) {
                tt_add_times(vectors + j * t->length, sums.q[c][j], half, nb + size);
            }
        }
    }
    for (unsigned p = 0; p < TIP_CANDIDATES; p++) {
        bool held =
            p == 0 ? model->terms.reversed
                   : model->terms.orders != NULL && (model->terms.orders[block] >> (p + 1) & 1U);
        if (held) {
            continue;
        }
        begin(t, 2);
        memcpy(t->zz, sums.zz[p], sizeof t->zz);
        memcpy(t->g, sums.g[p], sizeof t->g);
        add_half(t, 0, block, vectors + 2 * p * t->length, 1);
        add_half(t, 1, block, vectors + (2 * p + 1) * t->length, 1);
        struct tt_mode mode = {.kind = p == 0 ? TT_MODE_REVERSED : TT_MODE_SHAPE,
                               .index = model->block_tip[block],
                               .order = p + 1};
        tt_mode_enter(t, mode, 2, block, (double)tips * (p == 0 ? 1 : TIP_CANDIDATES - 1));
    }
}

enum tiptrue_status tt_modes_score(struct tt_fit *fit, struct tt_arena *arena,
                                   enum tt_modes_depth depth, struct tt_modes *modes)
{
    struct tt_mode_table t;
    double *vectors;
    enum tiptrue_status status = table_init(&t, fit, arena, depth, modes);

    if (status != TIPTRUE_OK ||
        (vectors = TT_ARENA_NEW(arena, TIP_COLUMNS * t.length, double)) == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    prepare_sights(&t);
    score_sightings(&t);
    score_marks(&t);
    if (depth == TT_MODES_OF_SIGHTINGS) { /* touches have no weight then: what is left of a change
                                             is a plate that moved */
        return tt_modes_score_axes(fit, arena, 0, modes) ? tt_modes_score_changes(&t)
                                                         : TIPTRUE_E_MEMORY;
    }
    score_radii(&t);
    prepare_cells(&t);
    t.own_dof = fmax(fit->dof_touch, 1) + (fit->scattered ? 0 : fit->noise->touch_dof);
    score_edges(&t);
    score_lost_motion(&t);
    score_drift(&t);
    score_latency(&t);
    if (!tt_modes_score_axes(fit, arena, t.own_dof, modes)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t b = 0; b < fit->model->n_blocks; b++) {
        score_tip(&t, b, vectors);
    }
    return tt_modes_score_changes(&t);
}
