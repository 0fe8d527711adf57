/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Residuals and design rows at given unknowns, and the normal equations made of them. */
#include "config.h"

#include "adjust/model.h"

#include <string.h>

#include "adjust/views.h"
#include "base/sums.h"

static struct tt_plate_xy group_shift(const struct tt_model *model, size_t group)
{
    if (group == TT_NONE || model->at_group[group] == TT_NONE) {
        return (struct tt_plate_xy){0, 0};
    }
    return (struct tt_plate_xy){model->x[model->at_group[group]],
                                model->x[model->at_group[group] + 1]};
}

static void enter(struct tt_cell *cell, size_t column, size_t place, double value)
{
    cell->entries[cell->n_entries++] =
        (struct tt_entry){.column = column, .place = place, .value = value};
}

/* By the offset: it is in the machine's own units of motion where the axes are wrong. */
static struct tt_machine_xy offset_slope(const struct tt_model *model, const struct tt_site *site)
{
    struct tt_machine_xy slope = {site->n_x, site->n_y};

    if (model->terms.axes == TT_AXES_ALL) {
        const double *axes = model->x + model->at_axis;
        slope.x_mm += axes[TT_AXIS_X] * site->n_x;
        slope.y_mm += axes[TT_AXIS_Y] * site->n_y - axes[TT_AXIS_SQUARE] * site->n_x;
    }
    return slope;
}

/* Which unknowns a cell's columns act on, in ascending order of place. */
static void connect_cell(const struct tt_model *model, struct tt_cell *cell)
{
    const struct tt_site *site = &cell->site;
    size_t pose = tt_at_pose(cell->setup), group = model->plate->edges[cell->edge].group,
           tip = model->n_border;

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
        enter(cell, TT_COLUMN_ONE, model->at_lost_motion,
              -0.5 * (site->n_x * site->n_x - site->n_y * site->n_y));
    }
    if (model->at_latency != TT_NONE) {
        enter(cell, TT_COLUMN_ONE, model->at_latency, cell->feed_mm_s);
    }
    for (size_t k = 0; k < model->n_axis; k++) {
        enter(cell, model->axis_column + k, model->at_axis + k, 1);
    }
    if (model->at_drift != TT_NONE) {
        enter(cell, model->drift_column, model->at_drift, -site->n_x);
        enter(cell, model->drift_column, model->at_drift + 1, -site->n_y);
    }
    if (cell->moved) {
        enter(cell, TT_COLUMN_ONE, model->at_moved, -site->n_x);
        enter(cell, TT_COLUMN_ONE, model->at_moved + 1, -site->n_y);
        if (model->at_turned != TT_NONE) {
            enter(cell, TT_COLUMN_YAW, model->at_turned, 1);
        }
    }
    for (size_t k = 0; k < 2 && model->at_slip != TT_NONE; k++) {
        enter(cell, model->slip_column + k, model->at_slip + k, 1);
    }
    struct tt_machine_xy by_offset = offset_slope(model, site);
    enter(cell, TT_COLUMN_ONE, tip + TT_TIP_O_X, by_offset.x_mm);
    enter(cell, TT_COLUMN_ONE, tip + TT_TIP_O_Y, by_offset.y_mm);
    enter(cell, TT_COLUMN_E_X, tip + TT_TIP_E_X, 1);
    enter(cell, TT_COLUMN_E_Y, tip + TT_TIP_E_Y, 1);
    enter(cell, TT_COLUMN_ONE, tip + TT_TIP_R, -1);
    for (size_t k = model->shape_column; k < cell->n_columns; k++) {
        enter(cell, k, tip + TT_TIP_SHAPE + k - model->shape_column, 1);
    }
}

struct tt_machine_xy tt_axis_column(enum tt_axis_fault fault, size_t k, struct tt_machine_xy h,
                                    struct tt_machine_xy middle)
{
    double x = h.x_mm - middle.x_mm, y = h.y_mm - middle.y_mm;

    switch (fault) {
    case TT_AXES_NOT_SQUARE:
        return (struct tt_machine_xy){y, 0};
    case TT_AXES_SCALE:
        return (struct tt_machine_xy){0.5 * x, -0.5 * y};
    case TT_AXES_ALL:
        return (struct tt_machine_xy){k == TT_AXIS_X        ? x
                                      : k == TT_AXIS_SQUARE ? -y
                                                            : 0,
                                      k == TT_AXIS_Y ? y : 0};
    case TT_AXES_RIGHT:
        break;
    }
    return (struct tt_machine_xy){0, 0};
}

struct tt_machine_xy tt_axis_point(const struct tt_model *model, enum tt_axis_fault fault,
                                   const struct tt_cell *cell, size_t i)
{
    const double *tip = model->x + model->system.first[cell->block];
    struct tt_machine_xy h = model->touch[i].h;

    if (fault == TT_AXES_ALL) {
        h.x_mm += tip[TT_TIP_O_X];
        h.y_mm += tip[TT_TIP_O_Y];
    }
    return h;
}

/* The columns that depend on the row: drift, slip, axes; what they put into the residual is
 * returned. */
static double row_columns(const struct tt_model *model, const struct tt_cell *cell, size_t i,
                          double slope[])
{
    const double *x = model->x;
    double sum = 0;

    if (model->at_drift != TT_NONE) {
        slope[model->drift_column] = model->clock[i];
    }
    if (model->at_slip != TT_NONE) {
        bool before = model->row[i] < model->terms.slipped_at &&
                      model->block_tip[cell->block] == model->terms.slipped_tip;
        for (size_t k = 0; k < 2; k++) {
            slope[model->slip_column + k] = before ? slope[TT_COLUMN_E_X + k] : 0;
            sum += slope[model->slip_column + k] * x[model->at_slip + k];
        }
        if (before) { /* by the yaw, the column of e_x turns into less that of e_y, and that of e_y
                         into that of e_x */
            slope[TT_COLUMN_YAW] += slope[TT_COLUMN_E_X] * x[model->at_slip + 1] -
                                    slope[TT_COLUMN_E_Y] * x[model->at_slip];
        }
    }
    for (size_t k = 0; k < model->n_axis; k++) {
        struct tt_machine_xy point = tt_axis_point(model, model->terms.axes, cell, i);
        struct tt_machine_xy v = tt_axis_column(model->terms.axes, k, point, model->middle);
        double *column = &slope[model->axis_column + k], value = x[model->at_axis + k];
        *column = cell->site.n_x * v.x_mm + cell->site.n_y * v.y_mm;
        sum += *column * value;
        slope[TT_COLUMN_YAW] += value * (cell->site.n_x * v.y_mm - cell->site.n_y * v.x_mm);
    }
    return sum;
}

/* The pose that starts at @pose_x; @after the plate moved, as it stands then. */
static struct tt_pose pose_at(const struct tt_model *model, const double pose_x[], bool after)
{
    const double *by = after ? model->x + model->at_moved : NULL;
    struct tt_machine_xy mark = {pose_x[0] + (after ? by[0] : 0), pose_x[1] + (after ? by[1] : 0)};

    return tt_pose_make(
        mark, pose_x[2] + (after && model->at_turned != TT_NONE ? model->x[model->at_turned] : 0));
}

static void linearise_cell(struct tt_model *model, struct tt_cell *cell)
{
    const double *x = model->x, *tip = x + model->system.first[cell->block],
                 *pose_x = x + tt_at_pose(cell->setup);
    const struct tt_edge *edge = &model->plate->edges[cell->edge];
    struct tt_pose pose = pose_at(model, pose_x, cell->moved);
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
        model->residual[i] += row_columns(model, cell, i, slope);
    }
}

/* The terms of the run in a sighting of the head at @h, behind its pose and its features. */
static void sight_terms(const struct tt_model *model, struct tt_sight *sight,
                        struct tt_machine_xy h)
{
    size_t n = sight->n_entries;

    for (size_t axis = 0; axis < 2; axis++) {
        struct tt_entry *e = sight->entries[axis];
        n = sight->n_entries;
        for (size_t k = 0; k < model->n_axis; k++) {
            struct tt_machine_xy v = tt_axis_column(model->terms.axes, k, h, model->middle);
            double value = axis == 0 ? v.x_mm : v.y_mm;
            sight->residual[axis] += model->x[model->at_axis + k] * value;
            e[n++] = (struct tt_entry){.place = model->at_axis + k, .value = value};
        }
        if (model->at_drift != TT_NONE) {
            e[n++] = (struct tt_entry){.place = model->at_drift + axis, .value = -sight->clock};
        }
        if (sight->moved) {
            e[n++] = (struct tt_entry){.place = model->at_moved + axis, .value = -1};
            if (model->at_turned != TT_NONE) { /* as by the yaw, the second of the pose's */
                e[n++] = (struct tt_entry){.place = model->at_turned, .value = e[1].value};
            }
        }
    }
    sight->n_entries = n;
}

/* h - m - R(beta) (s u + shift + g), x and y; of a view, A v more. */
static void linearise_sight(const struct tt_model *model, struct tt_sight *sight)
{
    const double *x = model->x, *pose_x = x + tt_at_pose(sight->setup);
    const struct tt_mark *mark = &model->plate->marks[sight->mark];
    struct tt_pose pose = pose_at(model, pose_x, sight->moved);
    struct tt_plate_xy g = group_shift(model, mark->group);
    size_t at = model->at_mark[sight->mark];
    double scale = sight->scale, c = pose.cos_yaw, s = pose.sin_yaw;
    struct tt_plate_xy u = {scale * mark->at.x_mm + g.x_mm + (at != TT_NONE ? x[at] : 0),
                            scale * mark->at.y_mm + g.y_mm + (at != TT_NONE ? x[at + 1] : 0)};
    const double row_x[2] = {-c, s}, row_y[2] = {-s, -c};

    if (model->at_drift != TT_NONE) {
        pose.mark.x_mm += sight->clock * x[model->at_drift];
        pose.mark.y_mm += sight->clock * x[model->at_drift + 1];
    }
    struct tt_machine_xy q = tt_pose_place(&pose, 1, u), h = model->run->observations[sight->row].h;
    sight->residual[0] = h.x_mm - q.x_mm;
    sight->residual[1] = h.y_mm - q.y_mm;
    for (size_t a = 0; a < 2; a++) {
        struct tt_entry *e = sight->entries[a];
        const double *row = a == 0 ? row_x : row_y;
        size_t n = 0;
        e[n++] = (struct tt_entry){.place = tt_at_pose(sight->setup) + a, .value = -1};
        e[n++] =
            (struct tt_entry){.place = tt_at_pose(sight->setup) + 2,
                              .value = a == 0 ? s * u.x_mm + c * u.y_mm : -c * u.x_mm + s * u.y_mm};
        for (size_t k = 0; k < 2 && mark->group != TT_NONE; k++) {
            e[n++] = (struct tt_entry){.place = model->at_group[mark->group] + k, .value = row[k]};
        }
        for (size_t k = 0; k < 2 && at != TT_NONE; k++) {
            e[n++] = (struct tt_entry){.place = at + k, .value = row[k]};
        }
        sight->n_entries = n;
    }
    sight_terms(model, sight, h);
    if (sight->view) {
        tt_view_linearise(model, sight);
    }
}

/* A problem that is linear already (published data sets): the slopes stand. */
static void linear_residuals(struct tt_model *model)
{
    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        double by_column[TT_MOST_COLUMNS];
        tt_cell_columns(model, cell, model->x, by_column);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            model->residual[i] = model->linear_mm[i] + tt_cell_product(model, cell, i, by_column);
        }
    }
}

void tt_model_linearise(struct tt_model *model)
{
    if (model->linear_mm != NULL) {
        linear_residuals(model);
        return;
    }
    for (size_t c = 0; c < model->n_cells; c++) {
        linearise_cell(model, &model->cells[c]);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        linearise_sight(model, &model->sights[i]);
    }
}

void tt_cell_move(struct tt_model *model, const struct tt_cell *cell, const double by_column[])
{
    double a = by_column[0], b = by_column[1], c = by_column[2], d = by_column[3];

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        double sum = slope[0] * a + slope[1] * b + slope[2] * c + slope[3] * d;
        for (size_t k = TT_COLUMN_MORE; k < cell->n_columns; k++) {
            sum += slope[k] * by_column[k];
        }
        model->residual[i] -= sum;
    }
}

void tt_model_move_sights(struct tt_model *model, const double dx[])
{
    for (size_t i = 0; i < model->n_sights; i++) {
        struct tt_sight *sight = &model->sights[i];
        for (size_t axis = 0; axis < 2; axis++) {
            for (size_t k = 0; k < sight->n_entries; k++) {
                sight->residual[axis] -=
                    sight->entries[axis][k].value * dx[sight->entries[axis][k].place];
            }
        }
    }
}

void tt_model_move(struct tt_model *model, const double dx[])
{
    for (size_t c = 0; c < model->n_cells; c++) {
        double by_column[TT_MOST_COLUMNS];
        tt_cell_columns(model, &model->cells[c], dx, by_column);
        tt_cell_move(model, &model->cells[c], by_column);
    }
    tt_model_move_sights(model, dx);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        model->x[k] -= dx[k];
    }
}

/* ---- normal equations ---- */

/* Weighted Gram matrix (lower triangle) of @n columns and their products with the residuals. */
static void gram_of(const struct tt_model *model, const struct tt_cell *cell, const double weight[],
                    size_t n, double gram[], double right[])
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

/* The same of the four columns that every cell has, both triangles: with the sums in registers a
 * fourth of the instructions, and this is where a search spends its time. */
static void gram_of_plain(const struct tt_model *model, const struct tt_cell *cell,
                          const double weight[], double gram[], double right[])
{
    tt_pair a0 = {0}, a1 = {0}, b0 = {0}, b1 = {0}, c1 = {0}, d1 = {0}, r0 = {0}, r1 = {0};

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        tt_pair low = tt_pair_at(slope), high = tt_pair_at(slope + 2);
        tt_pair w_low = weight[i] * low, w_high = weight[i] * high;
        a0 += w_low[0] * low;
        a1 += w_low[0] * high;
        b0 += w_low[1] * low;
        b1 += w_low[1] * high;
        c1 += w_high[0] * high;
        d1 += w_high[1] * high;
        r0 += model->residual[i] * w_low;
        r1 += model->residual[i] * w_high;
    }
    const tt_pair c0 = {a1[0], b1[0]}, d0 = {a1[1], b1[1]};
    const tt_pair all[] = {a0, a1, b0, b1, c0, c1, d0, d1}, products[] = {r0, r1};
    memcpy(gram, all, sizeof all);
    memcpy(right, products, sizeof products);
}

void tt_cell_gram(const struct tt_model *model, const struct tt_cell *cell, const double weight[],
                  double gram[], double right[])
{
    size_t n = cell->n_columns;

    if (n == TT_COLUMN_MORE) {
        gram_of_plain(model, cell, weight, gram, right);
        return;
    }
    memset(gram, 0, n * n * sizeof *gram);
    memset(right, 0, n * sizeof *right);
    gram_of(model, cell, weight, n, gram, right);
    for (size_t j = 0; j < n; j++) {
        for (size_t k = 0; k < j; k++) {
            gram[k * n + j] = gram[j * n + k];
        }
    }
}

/* @whole: else the part of its block alone. */
static void accumulate_cell(struct tt_model *model, const struct tt_cell *cell,
                            const double weight[], bool whole)
{
    double gram[TT_MOST_COLUMNS * TT_MOST_COLUMNS], right[TT_MOST_COLUMNS];

    tt_cell_gram(model, cell, weight, gram, right);
    size_t first = 0; /* entry; those of the border come first */
    while (!whole && cell->entries[first].place < model->n_border) {
        first++;
    }
    tt_system_add_cell(&model->system, cell->block, cell->entries + first, cell->n_entries - first,
                       gram, right, cell->n_columns);
}

void tt_model_accumulate(struct tt_model *model, const double weight[], double sight_weight,
                         bool with_priors)
{
    tt_system_zero(&model->system);
    for (size_t c = 0; c < model->n_cells && weight != NULL; c++) {
        accumulate_cell(model, &model->cells[c], weight, true);
    }
    for (size_t i = 0; i < model->n_sights && sight_weight > 0; i++) {
        const struct tt_sight *sight = &model->sights[i];
        double w = tt_sight_weight(sight, sight_weight);
        for (size_t axis = 0; axis < 2; axis++) {
            tt_system_add_row(&model->system, TT_NONE, sight->entries[axis], sight->n_entries, w,
                              sight->residual[axis]);
        }
    }
    for (size_t i = 0; i < model->n_priors && with_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        double residual = model->x[tt_unknown(model, prior->block, prior->place)] - prior->value;
        tt_system_add_diagonal(&model->system, prior->block, prior->place,
                               1 / (prior->u * prior->u), residual);
    }
}

void tt_model_accumulate_blocks(struct tt_model *model, const double weight[])
{
    tt_system_zero(&model->system);
    for (size_t c = 0; c < model->n_cells; c++) {
        accumulate_cell(model, &model->cells[c], weight, false);
    }
}
