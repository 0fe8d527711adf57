/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/model.h"

#include <math.h>
#include <string.h>

/* Weak priors stand in for what nothing determines, so that the rest can be solved: a tip is within 10 mm, a yaw within 20 degrees
 * of where the search starts. What rests on them is reported as undetermined. Ten times wider, and double precision would show in
 * the rest; ten times tighter, and they would pull visibly at what is only poorly determined. */
#define WEAK_LENGTH_MM 10.0
#define WEAK_YAW_RAD 0.35
/* Where the reference mark is if nothing was sighted and the machine file gives no uncertainty: homing on limit switches is good
 * to 0.1 to 0.2 mm (common practice, no source). */
#define HOMING_U_MM 0.2
/* A stated nominal yaw that the sightings contradict by more than this many of its standard uncertainties belongs to another
 * placement of the plate (one turned by 180 degrees, for example) and is not used for this one. */
#define YAW_CONTRADICTED 5.0
/* Columns of a cell without drift or shape. */
#define PLAIN_COLUMNS 4

static size_t count_use(const struct tiptrue_run *run, enum tt_kind kind)
{
    size_t n = 0;
    for (size_t i = 0; i < run->n_observations; i++) {
        n += run->observations[i].kind == kind && run->observations[i].use == TT_USE;
    }
    return n;
}

/* ---- layout ---- */

static enum tiptrue_status find_blocks(struct tt_model *model, struct tt_arena *arena)
{
    const struct tiptrue_run *run = model->run;

    model->tip_block = TT_ARENA_NEW(arena, run->n_tips, size_t);
    model->block_tip = TT_ARENA_NEW(arena, run->n_tips, size_t);
    model->block_size = TT_ARENA_NEW(arena, run->n_tips, size_t);
    if (model->tip_block == NULL || model->block_tip == NULL || model->block_size == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t t = 0; t < run->n_tips; t++) {
        model->tip_block[t] = TT_NONE;
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->kind == TT_TOUCH && o->use == TT_USE && model->tip_block[o->tip] == TT_NONE) {
            model->tip_block[o->tip] = 0;
        }
    }
    for (size_t t = 0; t < run->n_tips; t++) {
        if (model->tip_block[t] == TT_NONE) {
            continue;
        }
        size_t block = model->n_blocks++, orders = 0;
        for (unsigned k = 2; k <= TT_MOST_ORDER && model->terms.orders != NULL; k++) {
            orders += model->terms.orders[block] >> k & 1U;
        }
        model->tip_block[t] = block;
        model->block_tip[block] = t;
        model->block_size[block] = TT_TIP_SHAPE + 2 * orders;
    }
    return TIPTRUE_OK;
}

/* Features of the plate that the run saw become unknowns where they are uncertain. */
static enum tiptrue_status lay_out(struct tt_model *model, struct tt_arena *arena)
{
    const struct tiptrue_plate *plate = model->plate;
    const struct tiptrue_run *run = model->run;
    size_t next;

    model->n_setups = run->n_setups;
    model->at_edge = TT_ARENA_NEW(arena, plate->n_edges, size_t);
    model->at_group = TT_ARENA_NEW(arena, plate->n_groups, size_t);
    model->at_mark = TT_ARENA_NEW(arena, plate->n_marks, size_t);
    bool *edge_seen = TT_ARENA_NEW(arena, plate->n_edges, bool), *mark_seen = TT_ARENA_NEW(arena, plate->n_marks, bool);
    bool *group_seen = TT_ARENA_NEW(arena, plate->n_groups, bool);
    if (model->at_edge == NULL || model->at_group == NULL || model->at_mark == NULL || edge_seen == NULL || mark_seen == NULL ||
        group_seen == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->use != TT_USE) {
            continue;
        }
        bool *seen = o->kind == TT_TOUCH ? edge_seen : mark_seen;
        size_t group = o->kind == TT_TOUCH ? plate->edges[o->target].group : plate->marks[o->target].group;
        seen[o->target] = true;
        if (group != TT_NONE) {
            group_seen[group] = true;
        }
    }
    model->edge_seen = edge_seen;
    next = tt_at_pose(model->n_setups);
    for (size_t g = 0; g < plate->n_groups; g++) {
        model->at_group[g] = group_seen[g] ? next : TT_NONE;
        next += group_seen[g] ? 2 : 0;
    }
    for (size_t j = 0; j < plate->n_edges; j++) {
        bool free = model->terms.edge_free != NULL && model->terms.edge_free[j];
        bool unknown = edge_seen[j] && (plate->edges[j].u_mm > 0 || free);
        model->at_edge[j] = unknown ? next++ : TT_NONE;
    }
    for (size_t k = 0; k < plate->n_marks; k++) {
        bool unknown = mark_seen[k] && plate->marks[k].u_mm > 0;
        model->at_mark[k] = unknown ? next : TT_NONE;
        next += unknown ? 2 : 0;
    }
    model->at_lost_motion = model->terms.lost_motion ? next++ : TT_NONE;
    model->at_latency = model->terms.latency ? next++ : TT_NONE;
    model->at_drift = TT_NONE;
    if (model->terms.drift) {
        model->at_drift = next;
        next += 2;
    }
    model->at_moved = TT_NONE;
    if (model->terms.moved_at != TT_NONE) {
        model->moved_setup = run->observations[model->terms.moved_at].setup;
        model->at_moved = next;
        next += 2;
    }
    model->n_border = next;
    return TIPTRUE_OK;
}

/* ---- rows ---- */

static double thermal_scale(const struct tiptrue_plate *plate, const struct tt_observation *o)
{
    if (!plate->has_expansion || !o->has_temperature) {
        return 1;
    }
    return 1 + plate->expansion_per_K * (o->temperature_C - plate->measured_at_C);
}

static bool is_after(const struct tt_model *model, size_t row)
{
    return model->terms.moved_at != TT_NONE && row >= model->terms.moved_at &&
           model->run->observations[row].setup == model->moved_setup;
}

static double clock_of(const struct tt_model *model, size_t row)
{
    return model->run->n_observations > 1 ? (double)row / (double)(model->run->n_observations - 1) - 0.5 : 0;
}

static size_t find_cell(struct tt_model *model, const struct tt_observation *o, bool after, size_t guess)
{
    size_t block = model->tip_block[o->tip];
    double feed = model->terms.latency ? o->feed_mm_s : 0;

    for (size_t i = 0; i < model->n_cells; i++) {
        size_t c = (guess + i) % model->n_cells;
        const struct tt_cell *cell = &model->cells[c];
        if (cell->setup == o->setup && cell->edge == o->target && cell->block == block && cell->after == after &&
            cell->feed_mm_s == feed) {
            return c;
        }
    }
    return TT_NONE;
}

/* Cells in order of appearance; the touches' rows grouped by cell. */
static enum tiptrue_status sort_touches(struct tt_model *model, struct tt_arena *arena, size_t n)
{
    const struct tiptrue_run *run = model->run;
    size_t capacity = 64, guess = 0, k = 0; /* few cells hold many touches */
    size_t *cell_in_order = TT_ARENA_NEW(arena, n, size_t);

    model->cells = TT_ARENA_NEW(arena, capacity, struct tt_cell);
    if (cell_in_order == NULL || model->cells == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->kind != TT_TOUCH || o->use != TT_USE) {
            continue;
        }
        bool after = is_after(model, i);
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
            cell->after = after;
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
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status collect_rows(struct tt_model *model, struct tt_arena *arena)
{
    const struct tiptrue_run *run = model->run;
    size_t n = count_use(run, TT_TOUCH), sights = count_use(run, TT_SIGHT);

    if (n == 0) {
        return TIPTRUE_E_DATA;
    }
    model->n_touches = n;
    model->shape_column = model->terms.drift ? TT_COLUMN_DRIFT + 1 : TT_COLUMN_DRIFT;
    model->stride = model->shape_column;
    for (size_t b = 0; b < model->n_blocks; b++) {
        size_t columns = model->shape_column + model->block_size[b] - TT_TIP_SHAPE;
        model->stride = columns > model->stride ? columns : model->stride;
    }
    model->row = TT_ARENA_NEW(arena, n, size_t);
    model->cell_of = TT_ARENA_NEW(arena, n, size_t);
    model->touch = TT_ARENA_NEW(arena, n, struct tt_touch);
    model->clock = TT_ARENA_NEW(arena, n, double);
    model->slope = TT_ARENA_NEW(arena, n * model->stride, double);
    model->residual = TT_ARENA_NEW(arena, n, double);
    model->sights = TT_ARENA_NEW(arena, sights, struct tt_sight);
    model->setup_sighted = TT_ARENA_NEW(arena, run->n_setups, bool);
    if (model->row == NULL || model->cell_of == NULL || model->touch == NULL || model->clock == NULL || model->slope == NULL ||
        model->residual == NULL || model->sights == NULL || model->setup_sighted == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->kind == TT_SIGHT && o->use == TT_USE) {
            model->sights[model->n_sights++] = (struct tt_sight){.row = i,
                                                                 .setup = o->setup,
                                                                 .mark = o->target,
                                                                 .after = is_after(model, i),
                                                                 .scale = thermal_scale(model->plate, o),
                                                                 .clock = clock_of(model, i)};
            model->setup_sighted[o->setup] = true;
        }
    }
    return sort_touches(model, arena, n);
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

/* ---- start values ---- */

/* The pose of a setup from its sightings; from one place only the mark, with the nominal yaw; without any, the machine file's mark.
 */
static enum tiptrue_status start_pose(struct tt_model *model, struct tt_arena *arena, size_t setup)
{
    const struct tiptrue_machine *machine = model->machine;
    struct tt_plate_xy *plate = TT_ARENA_NEW(arena, model->n_sights, struct tt_plate_xy);
    struct tt_machine_xy *seen = TT_ARENA_NEW(arena, model->n_sights, struct tt_machine_xy);
    double *scale = TT_ARENA_NEW(arena, model->n_sights, double);
    double *x = model->x + tt_at_pose(setup);
    double turned = model->terms.turned_rad != NULL ? model->terms.turned_rad[setup] : 0;
    struct tt_pose pose = tt_pose_make(machine->mark, (machine->has_yaw ? machine->yaw_rad : 0) + turned);
    size_t n = 0;

    if (plate == NULL || seen == NULL || scale == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        if (model->sights[i].setup == setup && !model->sights[i].after) {
            plate[n] = model->plate->marks[model->sights[i].mark].at;
            seen[n] = model->run->observations[model->sights[i].row].h;
            scale[n++] = model->sights[i].scale;
        }
    }
    /* 1 µm: marks closer than that give no direction. */
    model->yaw_sighted[setup] = n >= 2 && tt_pose_fit(plate, seen, scale, n, 1e-3, &pose) == TIPTRUE_OK;
    if (!model->yaw_sighted[setup] && n > 0) {
        struct tt_machine_xy arm = tt_pose_turn(&pose, plate[0]);
        pose.mark = (struct tt_machine_xy){seen[0].x_mm - scale[0] * arm.x_mm, seen[0].y_mm - scale[0] * arm.y_mm};
    }
    model->yaw_seen_rad[setup] = pose.yaw_rad;
    if (machine->has_yaw && model->yaw_sighted[setup]) { /* keep beta near the nominal one, not a turn away */
        pose.yaw_rad = machine->yaw_rad + tt_angle_wrap(pose.yaw_rad - machine->yaw_rad);
    }
    x[0] = pose.mark.x_mm;
    x[1] = pose.mark.y_mm;
    x[2] = pose.yaw_rad;
    return TIPTRUE_OK;
}

/* A tip starts where its touches are in the middle of their edges: some millimetres off, which is near enough for the arm of the
 * yaw and for the weak priors, whatever offset the machine file states. */
static void start_tip(struct tt_model *model, size_t block)
{
    size_t tip = model->block_tip[block], n = 0;
    double *x = model->x + model->system.first[block], sum_x = 0, sum_y = 0;

    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        const struct tt_edge *edge = &model->plate->edges[cell->edge];
        const double *pose_x = model->x + tt_at_pose(cell->setup);
        if (cell->block != block) {
            continue;
        }
        struct tt_pose pose = tt_pose_make((struct tt_machine_xy){pose_x[0], pose_x[1]}, pose_x[2]);
        struct tt_plate_xy middle = {0.5 * (edge->from.x_mm + edge->to.x_mm), 0.5 * (edge->from.y_mm + edge->to.y_mm)};
        struct tt_machine_xy q = tt_pose_place(&pose, 1, middle);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            sum_x += q.x_mm - model->touch[i].h.x_mm;
            sum_y += q.y_mm - model->touch[i].h.y_mm;
        }
        n += cell->count;
    }
    x[TT_TIP_O_X] = sum_x / (double)n;
    x[TT_TIP_O_Y] = sum_y / (double)n;
    if (tip < model->machine->n_tips && model->machine->tips[tip].has_radius) {
        x[TT_TIP_R] = model->machine->tips[tip].radius_mm;
    }
}

/* ---- priors ---- */

static void add_prior(struct tt_model *model, enum tt_prior_kind kind, size_t block, size_t place, double value, double u,
                      size_t what)
{
    model->priors[model->n_priors++] =
        (struct tt_prior){.kind = kind, .block = block, .place = place, .value = value, .u = u, .what = what};
}

static void plate_priors(struct tt_model *model)
{
    const struct tiptrue_plate *plate = model->plate;

    for (size_t g = 0; g < plate->n_groups; g++) {
        for (size_t axis = 0; axis < 2 && model->at_group[g] != TT_NONE; axis++) {
            add_prior(model, TT_PRIOR_GROUP, TT_NONE, model->at_group[g] + axis, 0, plate->groups[g].u_mm, g);
        }
    }
    for (size_t j = 0; j < plate->n_edges; j++) {
        bool free = model->terms.edge_free != NULL && model->terms.edge_free[j];
        if (model->at_edge[j] != TT_NONE) {
            add_prior(model, free ? TT_PRIOR_WEAK : TT_PRIOR_EDGE, TT_NONE, model->at_edge[j], 0,
                      free ? WEAK_LENGTH_MM : plate->edges[j].u_mm, j);
        }
    }
    for (size_t k = 0; k < plate->n_marks; k++) {
        for (size_t axis = 0; axis < 2 && model->at_mark[k] != TT_NONE; axis++) {
            add_prior(model, TT_PRIOR_MARK, TT_NONE, model->at_mark[k] + axis, 0, plate->marks[k].u_mm, k);
        }
    }
}

static void machine_priors(struct tt_model *model)
{
    const struct tiptrue_machine *machine = model->machine;

    for (size_t s = 0; s < model->n_setups; s++) {
        if (model->n_sights == 0) { /* with marks sighted in another setup, this one's touches say where it lies */
            double u = machine->has_u_mark ? machine->u_mark_mm : HOMING_U_MM;
            add_prior(model, TT_PRIOR_PLACE, TT_NONE, tt_at_pose(s), machine->mark.x_mm, u, s);
            add_prior(model, TT_PRIOR_PLACE, TT_NONE, tt_at_pose(s) + 1, machine->mark.y_mm, u, s);
        }
        bool contradicted = machine->has_yaw && model->yaw_sighted[s] &&
                            fabs(tt_angle_wrap(model->yaw_seen_rad[s] - machine->yaw_rad)) > YAW_CONTRADICTED * machine->u_yaw_rad;
        bool free = model->terms.yaw_free != NULL && model->terms.yaw_free[s];
        model->yaw_prior_used[s] = machine->has_yaw && !contradicted && !free;
        if (model->yaw_prior_used[s]) {
            add_prior(model, TT_PRIOR_YAW, TT_NONE, tt_at_pose(s) + 2, machine->yaw_rad, machine->u_yaw_rad, s);
        }
    }
    for (size_t b = 0; b < model->n_blocks; b++) {
        size_t tip = model->block_tip[b];
        if (tip < machine->n_tips && machine->tips[tip].has_radius && machine->tips[tip].u_radius_mm > 0) {
            add_prior(model, TT_PRIOR_RADIUS, b, model->n_border + TT_TIP_R, machine->tips[tip].radius_mm,
                      machine->tips[tip].u_radius_mm, tip);
        }
    }
}

static void weak_priors(struct tt_model *model)
{
    for (size_t s = 0; s < model->n_setups; s++) {
        for (size_t k = 0; k < 3; k++) {
            size_t place = tt_at_pose(s) + k;
            add_prior(model, TT_PRIOR_WEAK, TT_NONE, place, model->x[place], k < 2 ? WEAK_LENGTH_MM : WEAK_YAW_RAD, s);
        }
    }
    for (size_t b = 0; b < model->n_blocks; b++) {
        for (size_t k = 0; k < model->block_size[b]; k++) {
            double value = model->x[model->system.first[b] + k];
            add_prior(model, TT_PRIOR_WEAK, b, model->n_border + k, value, WEAK_LENGTH_MM, model->block_tip[b]);
        }
    }
    for (size_t k = model->at_lost_motion != TT_NONE ? model->at_lost_motion : model->n_border; k < model->n_border; k++) {
        add_prior(model, TT_PRIOR_WEAK, TT_NONE, k, 0, WEAK_LENGTH_MM, 0);
    }
}

enum tiptrue_status tt_model_build(struct tt_model *model, struct tt_arena *arena, const struct tiptrue_plate *plate,
                                   const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                                   const struct tt_terms *terms, bool weak)
{
    enum tiptrue_status status;

    *model = (struct tt_model){.plate = plate, .machine = machine, .run = run, .terms = *terms, .weak = weak};
    if ((status = find_blocks(model, arena)) != TIPTRUE_OK || (status = lay_out(model, arena)) != TIPTRUE_OK ||
        (status = collect_rows(model, arena)) != TIPTRUE_OK || (status = group_cells(model, arena)) != TIPTRUE_OK ||
        (status = tt_system_init(&model->system, arena, model->n_border, model->n_blocks, model->block_size)) != TIPTRUE_OK) {
        return status;
    }
    model->n_unknowns = model->system.n_unknowns;
    model->x = TT_ARENA_NEW(arena, model->n_unknowns, double);
    model->yaw_sighted = TT_ARENA_NEW(arena, model->n_setups, bool);
    model->yaw_seen_rad = TT_ARENA_NEW(arena, model->n_setups, double);
    model->yaw_prior_used = TT_ARENA_NEW(arena, model->n_setups, bool);
    model->priors = TT_ARENA_NEW(arena, 2 * model->n_unknowns + 3 * model->n_setups, struct tt_prior);
    if (model->x == NULL || model->yaw_sighted == NULL || model->yaw_seen_rad == NULL || model->yaw_prior_used == NULL ||
        model->priors == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t s = 0; s < model->n_setups; s++) {
        if ((status = start_pose(model, arena, s)) != TIPTRUE_OK) {
            return status;
        }
    }
    for (size_t b = 0; b < model->n_blocks; b++) {
        start_tip(model, b);
    }
    plate_priors(model);
    machine_priors(model);
    if (weak) {
        weak_priors(model);
    }
    return TIPTRUE_OK;
}

/* ---- linearisation ---- */

static struct tt_plate_xy group_shift(const struct tt_model *model, size_t group)
{
    if (group == TT_NONE || model->at_group[group] == TT_NONE) {
        return (struct tt_plate_xy){0, 0};
    }
    return (struct tt_plate_xy){model->x[model->at_group[group]], model->x[model->at_group[group] + 1]};
}

static void enter(struct tt_cell *cell, size_t column, size_t place, double value)
{
    cell->entries[cell->n_entries++] = (struct tt_entry){.column = column, .place = place, .value = value};
}

/* Which unknowns a cell's columns act on, in ascending order of place. */
static void connect_cell(const struct tt_model *model, struct tt_cell *cell)
{
    const struct tt_site *site = &cell->site;
    size_t pose = tt_at_pose(cell->setup), group = model->plate->edges[cell->edge].group, tip = model->n_border;

    cell->n_entries = 0;
    cell->n_columns = model->shape_column + model->block_size[cell->block] - TT_TIP_SHAPE;
    enter(cell, TT_COLUMN_ONE, pose, -site->n_x);
    enter(cell, TT_COLUMN_ONE, pose + 1, -site->n_y);
    enter(cell, TT_COLUMN_YAW, pose + 2, 1);
    if (group != TT_NONE) {
        enter(cell, TT_COLUMN_ONE, model->at_group[group], -site->plate_n_x);
        enter(cell, TT_COLUMN_ONE, model->at_group[group] + 1, -site->plate_n_y);
    }
    if (model->at_edge[cell->edge] != TT_NONE) {
        enter(cell, TT_COLUMN_ONE, model->at_edge[cell->edge], -1);
    }
    if (model->at_lost_motion != TT_NONE) {
        enter(cell, TT_COLUMN_ONE, model->at_lost_motion, -0.5 * (site->n_x * site->n_x - site->n_y * site->n_y));
    }
    if (model->at_latency != TT_NONE) {
        enter(cell, TT_COLUMN_ONE, model->at_latency, cell->feed_mm_s);
    }
    if (model->at_drift != TT_NONE) {
        enter(cell, TT_COLUMN_DRIFT, model->at_drift, -site->n_x);
        enter(cell, TT_COLUMN_DRIFT, model->at_drift + 1, -site->n_y);
    }
    if (cell->after) {
        enter(cell, TT_COLUMN_ONE, model->at_moved, -site->n_x);
        enter(cell, TT_COLUMN_ONE, model->at_moved + 1, -site->n_y);
    }
    enter(cell, TT_COLUMN_ONE, tip + TT_TIP_O_X, site->n_x);
    enter(cell, TT_COLUMN_ONE, tip + TT_TIP_O_Y, site->n_y);
    enter(cell, TT_COLUMN_E_X, tip + TT_TIP_E_X, 1);
    enter(cell, TT_COLUMN_E_Y, tip + TT_TIP_E_Y, 1);
    enter(cell, TT_COLUMN_ONE, tip + TT_TIP_R, -1);
    for (size_t k = model->shape_column; k < cell->n_columns; k++) {
        enter(cell, k, tip + TT_TIP_SHAPE + k - model->shape_column, 1);
    }
}

static void linearise_cell(struct tt_model *model, struct tt_cell *cell)
{
    const double *x = model->x, *tip = x + model->system.first[cell->block], *pose_x = x + tt_at_pose(cell->setup);
    const struct tt_edge *edge = &model->plate->edges[cell->edge];
    struct tt_pose pose = tt_pose_make((struct tt_machine_xy){pose_x[0], pose_x[1]}, pose_x[2]);
    unsigned orders[TT_MOST_ORDER];
    struct tt_touch_state state = {.offset = {tip[TT_TIP_O_X], tip[TT_TIP_O_Y]},
                                   .runout = {tip[TT_TIP_E_X], tip[TT_TIP_E_Y]},
                                   .radius_mm = tip[TT_TIP_R],
                                   .group_shift = group_shift(model, edge->group),
                                   .shape_mm = tip + TT_TIP_SHAPE,
                                   .orders = orders};

    for (unsigned k = 2; k <= TT_MOST_ORDER && model->terms.orders != NULL; k++) {
        if (model->terms.orders[cell->block] >> k & 1U) {
            orders[state.n_orders++] = k;
        }
    }
    state.shift_mm = model->at_edge[cell->edge] != TT_NONE ? x[model->at_edge[cell->edge]] : 0;
    state.lost_motion_mm = model->at_lost_motion != TT_NONE ? x[model->at_lost_motion] : 0;
    state.latency_s = model->at_latency != TT_NONE ? x[model->at_latency] : 0;
    if (cell->after) {
        pose.mark.x_mm += x[model->at_moved];
        pose.mark.y_mm += x[model->at_moved + 1];
    }
    cell->site = tt_site_make(&pose, edge->n_x, edge->n_y, edge->d_mm);
    connect_cell(model, cell);
    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        double *slope = model->slope + i * model->stride;
        struct tt_touch_slope out = {.shape = slope + model->shape_column};
        state.mark = pose.mark;
        if (model->at_drift != TT_NONE) {
            state.mark.x_mm += model->clock[i] * x[model->at_drift];
            state.mark.y_mm += model->clock[i] * x[model->at_drift + 1];
        }
        model->residual[i] = tt_touch_residual(&cell->site, &model->touch[i], &state, &out);
        slope[TT_COLUMN_ONE] = 1;
        slope[TT_COLUMN_YAW] = out.yaw_mm;
        slope[TT_COLUMN_E_X] = out.runout_x;
        slope[TT_COLUMN_E_Y] = out.runout_y;
        if (model->at_drift != TT_NONE) {
            slope[TT_COLUMN_DRIFT] = model->clock[i];
        }
    }
}

/* h - m - R(beta) (s u + shift + g), x and y. */
static void linearise_sight(const struct tt_model *model, struct tt_sight *sight)
{
    const double *x = model->x, *pose_x = x + tt_at_pose(sight->setup);
    const struct tt_mark *mark = &model->plate->marks[sight->mark];
    struct tt_pose pose = tt_pose_make((struct tt_machine_xy){pose_x[0], pose_x[1]}, pose_x[2]);
    struct tt_plate_xy g = group_shift(model, mark->group);
    size_t at = model->at_mark[sight->mark];
    double scale = sight->scale, c = pose.cos_yaw, s = pose.sin_yaw;
    struct tt_plate_xy u = {scale * mark->at.x_mm + g.x_mm + (at != TT_NONE ? x[at] : 0),
                            scale * mark->at.y_mm + g.y_mm + (at != TT_NONE ? x[at + 1] : 0)};
    const double row_x[2] = {-c, s}, row_y[2] = {-s, -c};

    if (sight->after) {
        pose.mark.x_mm += x[model->at_moved];
        pose.mark.y_mm += x[model->at_moved + 1];
    }
    if (model->at_drift != TT_NONE) {
        pose.mark.x_mm += sight->clock * x[model->at_drift];
        pose.mark.y_mm += sight->clock * x[model->at_drift + 1];
    }
    struct tt_machine_xy q = tt_pose_place(&pose, 1, u), h = model->run->observations[sight->row].h;
    sight->residual[0] = h.x_mm - q.x_mm;
    sight->residual[1] = h.y_mm - q.y_mm;
    for (size_t axis = 0; axis < 2; axis++) {
        struct tt_entry *e = sight->entries[axis];
        const double *row = axis == 0 ? row_x : row_y;
        size_t n = 0;
        e[n++] = (struct tt_entry){.place = tt_at_pose(sight->setup) + axis, .value = -1};
        e[n++] = (struct tt_entry){.place = tt_at_pose(sight->setup) + 2,
                                   .value = axis == 0 ? s * u.x_mm + c * u.y_mm : -c * u.x_mm + s * u.y_mm};
        for (size_t k = 0; k < 2 && mark->group != TT_NONE; k++) {
            e[n++] = (struct tt_entry){.place = model->at_group[mark->group] + k, .value = row[k]};
        }
        for (size_t k = 0; k < 2 && at != TT_NONE; k++) {
            e[n++] = (struct tt_entry){.place = at + k, .value = row[k]};
        }
        if (model->at_drift != TT_NONE) {
            e[n++] = (struct tt_entry){.place = model->at_drift + axis, .value = -sight->clock};
        }
        if (sight->after) {
            e[n++] = (struct tt_entry){.place = model->at_moved + axis, .value = -1};
        }
        sight->n_entries = n;
    }
}

void tt_model_linearise(struct tt_model *model)
{
    for (size_t c = 0; c < model->n_cells; c++) {
        linearise_cell(model, &model->cells[c]);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        linearise_sight(model, &model->sights[i]);
    }
}

void tt_model_move(struct tt_model *model, const double dx[])
{
    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        double by_column[TT_MOST_COLUMNS];
        tt_cell_columns(model, cell, dx, by_column);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            model->residual[i] -= tt_cell_product(model, cell, i, by_column);
        }
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        struct tt_sight *sight = &model->sights[i];
        for (size_t axis = 0; axis < 2; axis++) {
            for (size_t k = 0; k < sight->n_entries; k++) {
                sight->residual[axis] -= sight->entries[axis][k].value * dx[sight->entries[axis][k].place];
            }
        }
    }
    for (size_t k = 0; k < model->n_unknowns; k++) {
        model->x[k] -= dx[k];
    }
}

/* ---- normal equations ---- */

/* Weighted Gram matrix (lower triangle) of @n columns and their products with the residuals. Called with a constant @n where it can
 * be, so that the loops are unrolled. */
static inline void gram_of(const struct tt_model *model, const struct tt_cell *cell, const double weight[], size_t n, double gram[],
                           double right[])
{
    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        double w = weight[i], r = model->residual[i];
        for (size_t j = 0; j < n; j++) {
            double ws = w * slope[j];
            right[j] += ws * r;
            for (size_t k = 0; k <= j; k++) {
                gram[j * n + k] += ws * slope[k];
            }
        }
    }
}

static void accumulate_cell(struct tt_model *model, const struct tt_cell *cell, const double weight[])
{
    double gram[TT_MOST_COLUMNS * TT_MOST_COLUMNS], right[TT_MOST_COLUMNS];
    size_t n = cell->n_columns;

    memset(gram, 0, n * n * sizeof *gram);
    memset(right, 0, n * sizeof *right);
    if (n == PLAIN_COLUMNS) {
        gram_of(model, cell, weight, PLAIN_COLUMNS, gram, right);
    } else {
        gram_of(model, cell, weight, n, gram, right);
    }
    for (size_t j = 0; j < n; j++) {
        for (size_t k = 0; k < j; k++) {
            gram[k * n + j] = gram[j * n + k];
        }
    }
    tt_system_add_cell(&model->system, cell->block, cell->entries, cell->n_entries, gram, right, n);
}

void tt_model_accumulate(struct tt_model *model, const double weight[], double sight_weight, bool with_priors)
{
    tt_system_zero(&model->system);
    for (size_t c = 0; c < model->n_cells; c++) {
        accumulate_cell(model, &model->cells[c], weight);
    }
    for (size_t i = 0; i < model->n_sights && sight_weight > 0; i++) {
        const struct tt_sight *sight = &model->sights[i];
        for (size_t axis = 0; axis < 2; axis++) {
            tt_system_add_row(&model->system, TT_NONE, sight->entries[axis], sight->n_entries, sight_weight, sight->residual[axis]);
        }
    }
    for (size_t i = 0; i < model->n_priors && with_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        struct tt_entry entry = {.place = prior->place, .value = 1};
        double residual = model->x[tt_unknown(model, prior->block, prior->place)] - prior->value;
        tt_system_add_row(&model->system, prior->block, &entry, 1, 1 / (prior->u * prior->u), residual);
    }
}
