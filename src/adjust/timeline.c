/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Candidates that act on rows in the order of the file: a plate that moved, and one that drifts. The half solution of every row's
 * design is summed along the rows, so that all splits of a run cost as much as one pass over it. */
#include "config.h"

#include "adjust/judge.h"

#include <string.h>

/* A move is looked for where at least this many rows lie on either side. */
#define LEAST_ROWS 3

struct timeline {
    struct tt_judge *judge;
    double *y; /* per touch and sighting coordinate: half solution of its design row, border part, then its block's part */
    size_t stride;
    size_t *row_touch; /* row of the run -> touch, TT_NONE = none */
    size_t *row_sight;
};

static void sight_half(const struct timeline *line, const struct tt_sight *sight, size_t axis, double y[])
{
    struct tt_judge *judge = line->judge;
    memset(judge->vector, 0, judge->model->n_border * sizeof *judge->vector);
    for (size_t k = 0; k < sight->n_entries; k++) {
        judge->vector[sight->entries[axis][k].place] += sight->entries[axis][k].value;
    }
    tt_system_half_solve(&judge->model->system, TT_NONE, judge->vector, NULL, y);
}

/* Half solutions of every touch's design row, from those of its cell's few columns. */
static void touch_halves(struct timeline *line)
{
    struct tt_judge *judge = line->judge;
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

static enum tiptrue_status timeline_init(struct timeline *line, struct tt_judge *judge, struct tt_arena *arena)
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

/* Add the row @row of the run. */
static void add_row(struct running *sum, const struct timeline *line, size_t row, double y[])
{
    const struct tt_judge *judge = line->judge;
    const struct tt_model *model = judge->model;
    size_t touch = line->row_touch[row], sight = line->row_sight[row];

    if (touch != TT_NONE) {
        const struct tt_cell *cell = &model->cells[model->cell_of[touch]];
        const double z[2] = {-cell->site.n_x, -cell->site.n_y};
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
            const double z[2] = {axis == 0 ? -1 : 0, axis == 1 ? -1 : 0};
            double r = model->sights[sight].residual[axis];
            for (size_t k = 0; k < model->sights[sight].n_entries; k++) {
                const struct tt_entry *e = &model->sights[sight].entries[axis][k];
                r -= e->value * judge->step_mm[e->place];
            }
            sum->zz[axis == 0 ? 0 : 2] += w;
            sum->g[axis] -= w * r;
            sight_half(line, &model->sights[sight], axis, y);
            add_half(sum, model, TT_NONE, y, w, z);
        }
        sum->n++;
    }
}

static double running_score(const struct running *sum, const struct tt_judge *judge)
{
    size_t nb = judge->model->n_border;
    double imitated[3] = {sum->in_blocks[0], sum->in_blocks[1], sum->in_blocks[2]};

    for (size_t k = 0; k < nb; k++) {
        imitated[0] += sum->border[k] * sum->border[k];
        imitated[1] += sum->border[k] * sum->border[nb + k];
        imitated[2] += sum->border[nb + k] * sum->border[nb + k];
    }
    return tt_judge_score(judge, 2, sum->zz, sum->g, imitated);
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
            add_row(&sum, line, i, y);
            if (sum.n < LEAST_ROWS || rows - sum.n < LEAST_ROWS) {
                continue;
            }
            splits++;
            tt_extra_keep_better(
                &found,
                (struct tt_extra){.kind = TT_EXTRA_MOVED, .row = i, .n_unknowns = 2, .taken = running_score(&sum, line->judge)});
        }
        found.rivals = splits * model->n_setups;
        tt_extra_keep_better(best, found);
    }
    return y == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;
}

/* Products of the drift's columns over one cell into @vector (x) and @second (y). */
static void drift_of_cell(const struct tt_judge *judge, const struct tt_cell *cell, double vector[], double second[], double zz[3],
                          double g[2])
{
    const struct tt_model *model = judge->model;
    const double n[2] = {cell->site.n_x, cell->site.n_y};
    double q[TT_MOST_COLUMNS] = {0}, squares = 0, score = 0;

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        double wc = judge->weight[i] * model->clock[i];
        squares += wc * model->clock[i];
        score += wc * judge->residual[i];
        for (size_t c = 0; c < cell->n_columns; c++) {
            q[c] += wc * slope[c];
        }
    }
    zz[0] += n[0] * n[0] * squares;
    zz[1] += n[0] * n[1] * squares;
    zz[2] += n[1] * n[1] * squares;
    g[0] -= n[0] * score;
    g[1] -= n[1] * score;
    for (size_t k = 0; k < cell->n_entries; k++) {
        const struct tt_entry *e = &cell->entries[k];
        size_t at = tt_unknown(model, cell->block, e->place);
        vector[at] -= n[0] * e->value * q[e->column];
        second[at] -= n[1] * e->value * q[e->column];
    }
}

static void drift_of_sight(const struct tt_judge *judge, const struct tt_sight *sight, double *vectors[2], double zz[3],
                           double g[2])
{
    double w = 1 / judge->fit->sight_var_mm2, z = -sight->clock;

    for (size_t axis = 0; axis < 2; axis++) {
        double r = sight->residual[axis];
        for (size_t k = 0; k < sight->n_entries; k++) {
            const struct tt_entry *e = &sight->entries[axis][k];
            r -= e->value * judge->step_mm[e->place];
            vectors[axis][e->place] += w * z * e->value;
        }
        zz[axis == 0 ? 0 : 2] += w * z * z;
        g[axis] += w * z * r;
    }
}

static void judge_drift(struct tt_judge *judge, struct tt_extra *best)
{
    const struct tt_model *model = judge->model;
    double zz[3] = {0}, g[2] = {0}, imitated[3] = {0}, *vectors[2] = {judge->vector, judge->spare}, *solved = judge->fit->step_mm;

    memset(vectors[0], 0, model->n_unknowns * sizeof *vectors[0]);
    memset(vectors[1], 0, model->n_unknowns * sizeof *vectors[1]);
    for (size_t c = 0; c < model->n_cells; c++) {
        drift_of_cell(judge, &model->cells[c], vectors[0], vectors[1], zz, g);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        drift_of_sight(judge, &model->sights[i], vectors, zz, g);
    }
    tt_system_solve(&model->system, vectors[0], solved);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        imitated[0] += solved[k] * vectors[0][k];
        imitated[1] += solved[k] * vectors[1][k];
    }
    tt_system_solve(&model->system, vectors[1], solved);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        imitated[2] += solved[k] * vectors[1][k];
    }
    double taken = tt_judge_score(judge, 2, zz, g, imitated);
    tt_extra_keep_better(best, (struct tt_extra){.kind = TT_EXTRA_DRIFT, .n_unknowns = 2, .taken = taken});
}

enum tiptrue_status tt_judge_timeline(struct tt_judge *judge, struct tt_arena *arena, struct tt_extra *moved,
                                      struct tt_extra *drift)
{
    const struct tt_model *model = judge->model;
    struct timeline line;
    enum tiptrue_status status = TIPTRUE_OK;

    if (!model->terms.drift) {
        judge_drift(judge, drift);
    }
    if (model->terms.moved_at == TT_NONE && (status = timeline_init(&line, judge, arena)) == TIPTRUE_OK) {
        status = scan_moves(&line, arena, moved);
    }
    return status;
}
