/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Rows of the run as rows of the model: touches sorted into cells, sightings. */
#include "config.h"

#include "adjust/model.h"

#include <math.h>
#include <string.h>

/* The rows that count, by kind. */
struct counts {
    size_t of[TT_VIEW + 1];
};

static struct counts count_rows(const struct tiptrue_run *run)
{
    struct counts counts = {{0}};

    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        counts.of[o->kind] += o->use == TT_USE;
    }
    return counts;
}

static double thermal_scale(const struct tiptrue_plate *plate, const struct tt_observation *o)
{
    return o->has_temperature ? tt_plate_scale(plate, o->temperature_C) : 1;
}

/* Does the movement act on a row? That of the plate on those from it on; those of the camera and
 * of a tip on those before, so that offsets are the later ones. */
static bool is_moved(const struct tt_model *model, size_t row)
{
    const struct tt_terms *terms = &model->terms;
    const struct tt_observation *o = &model->run->observations[row];

    if (terms->moved_at == TT_NONE) {
        return false;
    }
    switch (terms->mover) {
    case TT_MOVER_CAMERA:
        return row < terms->moved_at && tt_is_sighting(o->kind);
    case TT_MOVER_TIP:
        return row < terms->moved_at && o->kind == TT_TOUCH &&
               (terms->moved_tip == TT_NONE || o->tip == terms->moved_tip);
    default:
        return row >= terms->moved_at && o->setup == model->moved_setup;
    }
}

static double clock_of(const struct tt_model *model, size_t row)
{
    return model->run->n_observations > 1
               ? (double)row / (double)(model->run->n_observations - 1) - 0.5
               : 0;
}

static size_t find_cell(struct tt_model *model, const struct tt_observation *o, bool moved,
                        size_t guess)
{
    size_t block = model->tip_block[o->tip];
    double feed = model->terms.latency ? o->feed_mm_s : 0;

    for (size_t i = 0; i < model->n_cells; i++) {
        size_t c = (guess + i) % model->n_cells;
        const struct tt_cell *cell = &model->cells[c];
        if (cell->setup == o->setup && cell->edge == o->target && cell->block == block &&
            cell->moved == moved && cell->feed_mm_s == feed) {
            return c;
        }
    }
    return TT_NONE;
}

/* Cells in order of appearance; the touches' rows grouped by cell. */
static enum tiptrue_status sort_touches(struct tt_model *model, struct tt_arena *arena, size_t n)
{
    const struct tiptrue_run *run = model->run;
    size_t capacity = 8, guess = 0, k = 0; /* few cells hold many touches */
    size_t *cell_in_order = TT_ARENA_ROOM(arena, n, size_t);

    model->cells = TT_ARENA_NEW(arena, capacity, struct tt_cell);
    if (cell_in_order == NULL || model->cells == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->kind != TT_TOUCH || o->use != TT_USE) {
            continue;
        }
        bool after = is_moved(model, i);
        size_t c = find_cell(model, o, after, guess);
        if (c == TT_NONE) {
            if (model->n_cells == capacity) {
                struct tt_cell *larger = TT_ARENA_NEW(arena, 2 * capacity, struct tt_cell);
                if (larger == NULL) {
                    return TIPTRUE_E_MEMORY;
                }
                memcpy(larger, model->cells, capacity * sizeof *larger);
                model->cells = larger;
                capacity *= 2;
            }
            c = model->n_cells++;
            struct tt_cell *cell = &model->cells[c];
            cell->setup = o->setup;
            cell->edge = o->target;
            cell->block = model->tip_block[o->tip];
            cell->moved = after;
            cell->feed_mm_s = model->terms.latency ? o->feed_mm_s : 0;
        }
        model->cells[c].count++;
        cell_in_order[k++] = guess = c;
    }
    for (size_t c = 0, first = 0; c < model->n_cells; c++) {
        model->cells[c].first = first;
        first += model->cells[c].count;
        model->cells[c].count = 0;
    }
    double sense = model->machine->clockwise != model->terms.reversed ? -1 : 1;
    k = 0;
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->kind != TT_TOUCH || o->use != TT_USE) {
            continue;
        }
        struct tt_cell *cell = &model->cells[cell_in_order[k]];
        size_t at = cell->first + cell->count++;
        model->row[at] = i;
        model->cell_of[at] = cell_in_order[k++];
        model->clock[at] = clock_of(model, i);
        model->touch[at] = (struct tt_touch){.h = o->h,
                                             .cos_rotation = cos(o->rotation_rad),
                                             .sin_rotation = sense * sin(o->rotation_rad),
                                             .scale = thermal_scale(model->plate, o),
                                             .feed_mm_s = o->feed_mm_s};
        model->middle.x_mm += o->h.x_mm / (double)n;
        model->middle.y_mm += o->h.y_mm / (double)n;
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status group_cells(struct tt_model *model, struct tt_arena *arena)
{
    size_t *next = TT_ARENA_NEW(arena, model->n_blocks + 1, size_t);

    model->cells_by_block = TT_ARENA_NEW(arena, model->n_cells, size_t);
    if (next == NULL || model->cells_by_block == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t c = 0; c < model->n_cells; c++) {
        next[model->cells[c].block + 1]++;
    }
    for (size_t b = 1; b < model->n_blocks; b++) {
        next[b] += next[b - 1];
    }
    for (size_t c = 0; c < model->n_cells; c++) {
        model->cells_by_block[next[model->cells[c].block]++] = c;
    }
    return TIPTRUE_OK;
}

/* Columns of the rows, by what the model holds. */
static void lay_out_columns(struct tt_model *model)
{
    model->drift_column = TT_COLUMN_MORE;
    model->slip_column = model->drift_column + (model->terms.drift ? 1 : 0);
    model->axis_column = model->slip_column + (model->terms.slipped_at != TT_NONE ? 2 : 0);
    model->shape_column = model->axis_column + model->n_axis;
    model->stride = model->shape_column;
    for (size_t b = 0; b < model->n_blocks; b++) {
        size_t columns = model->shape_column + model->block_size[b] - TT_TIP_SHAPE;
        model->stride = columns > model->stride ? columns : model->stride;
    }
}

static enum tiptrue_status collect_sights(struct tt_model *model, struct tt_arena *arena,
                                          size_t sights)
{
    const struct tiptrue_run *run = model->run;
    const double *extra_mm = model->terms.sight_extra_mm;

    model->sights = TT_ARENA_NEW(arena, sights, struct tt_sight);
    model->setup_sighted = TT_ARENA_NEW(arena, run->n_setups, bool);
    if (model->sights == NULL || model->setup_sighted == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < run->n_observations && model->n_sights < sights; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (tt_is_sighting(o->kind) && o->use == TT_USE) {
            double extra = extra_mm != NULL ? extra_mm[model->n_sights] : 0;
            struct tt_sight *sight = &model->sights[model->n_sights++];
            sight->row = i;
            sight->setup = o->setup;
            sight->mark = o->target;
            sight->view = o->kind == TT_VIEW;
            sight->place = o->h;
            sight->ratio = sight->share = 1;
            sight->moved = is_moved(model, i);
            sight->scale = thermal_scale(model->plate, o);
            sight->clock = clock_of(model, i);
            sight->extra_mm2 = extra * extra;
            model->setup_sighted[o->setup] = true;
        }
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status collect_touches(struct tt_model *model, struct tt_arena *arena)
{
    size_t n = model->n_touches;

    model->row = TT_ARENA_ROOM(arena, n, size_t);
    model->cell_of = TT_ARENA_ROOM(arena, n, size_t);
    model->touch = TT_ARENA_ROOM(arena, n, struct tt_touch);
    model->clock = TT_ARENA_ROOM(arena, n, double);
    if (model->row == NULL || model->cell_of == NULL || model->touch == NULL ||
        model->clock == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    enum tiptrue_status status = sort_touches(model, arena, n);
    return status == TIPTRUE_OK ? group_cells(model, arena) : status;
}

/* The row at which a movement parts touches of a cell, of which tip; TT_NONE: it does not, or of
 * all. */
static size_t parted_at(const struct tt_terms *terms)
{
    return terms->mover == TT_MOVER_CAMERA ? TT_NONE : terms->moved_at;
}

static size_t parted_tip(const struct tt_terms *terms)
{
    return terms->mover == TT_MOVER_TIP ? terms->moved_tip : TT_NONE;
}

/* Are touches sorted into the same cells, at the same rotations? */
static bool sorts_alike(const struct tt_model *model, const struct tt_model *other)
{
    const struct tt_terms *a = &model->terms, *b = &other->terms;

    return parted_at(a) == parted_at(b) && parted_tip(a) == parted_tip(b) &&
           (a->mover == TT_MOVER_TIP) == (b->mover == TT_MOVER_TIP) && a->latency == b->latency &&
           a->reversed == b->reversed;
}

/* The touches of @like, the cells' places and entries of its own. */
static enum tiptrue_status share_touches(struct tt_model *model, struct tt_arena *arena,
                                         const struct tt_model *like)
{
    model->row = like->row;
    model->cell_of = like->cell_of;
    model->touch = like->touch;
    model->clock = like->clock;
    model->middle = like->middle;
    model->cells_by_block = like->cells_by_block;
    model->n_cells = like->n_cells;
    model->cells = TT_ARENA_ROOM(arena, like->n_cells, struct tt_cell);
    if (model->cells == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t c = 0; c < like->n_cells; c++) {
        const struct tt_cell *cell = &like->cells[c];
        model->cells[c] = (struct tt_cell){.setup = cell->setup,
                                           .edge = cell->edge,
                                           .block = cell->block,
                                           .moved = cell->moved,
                                           .feed_mm_s = cell->feed_mm_s,
                                           .first = cell->first,
                                           .count = cell->count};
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_model_collect_rows(struct tt_model *model, struct tt_arena *arena,
                                          const struct tt_model *like)
{
    struct counts counts = count_rows(model->run);
    size_t n = counts.of[TT_TOUCH];

    if (n == 0) {
        return TIPTRUE_E_DATA;
    }
    lay_out_columns(model);
    model->n_touches = n;
    model->slope = TT_ARENA_ROOM(arena, n * model->stride, double);
    model->residual = TT_ARENA_ROOM(arena, n, double);
    if (model->slope == NULL || model->residual == NULL ||
        collect_sights(model, arena, counts.of[TT_SIGHT] + counts.of[TT_VIEW]) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    return like != NULL && sorts_alike(model, like) ? share_touches(model, arena, like)
                                                    : collect_touches(model, arena);
}

size_t *tt_model_touch_by_row(const struct tt_model *model, struct tt_arena *arena)
{
    size_t rows = model->run->n_observations, *touch = TT_ARENA_ROOM(arena, rows, size_t);

    for (size_t i = 0; i < rows && touch != NULL; i++) {
        touch[i] = TT_NONE;
    }
    for (size_t i = 0; i < model->n_touches && touch != NULL; i++) {
        touch[model->row[i]] = i;
    }
    return touch;
}

/* How far the plate stands from its pose at a row, by the movement and the drift that the model
 * holds, its turn aside. */
static struct tt_machine_xy moved_by(const struct tt_model *model, bool after, double clock)
{
    struct tt_machine_xy moved = {0, 0};

    if (after) {
        moved.x_mm += model->x[model->at_moved];
        moved.y_mm += model->x[model->at_moved + 1];
    }
    if (model->at_drift != TT_NONE) {
        moved.x_mm += clock * model->x[model->at_drift];
        moved.y_mm += clock * model->x[model->at_drift + 1];
    }
    return moved;
}

static double turned_by(const struct tt_model *model, bool after)
{
    return after && model->at_turned != TT_NONE ? model->x[model->at_turned] : 0;
}

double tt_touch_moved(const struct tt_model *model, size_t touch)
{
    const struct tt_cell *cell = &model->cells[model->cell_of[touch]];
    struct tt_machine_xy moved = moved_by(model, cell->moved, model->clock[touch]);

    return cell->site.n_x * moved.x_mm + cell->site.n_y * moved.y_mm -
           turned_by(model, cell->moved) * model->slope[touch * model->stride + TT_COLUMN_YAW];
}

struct tt_machine_xy tt_sight_moved(const struct tt_model *model, const struct tt_sight *sight)
{
    struct tt_machine_xy moved = moved_by(model, sight->moved, sight->clock);
    double turned = turned_by(model, sight->moved);

    moved.x_mm -= turned * sight->entries[0][1].value; /* by the pose's yaw */
    moved.y_mm -= turned * sight->entries[1][1].value;
    return moved;
}
