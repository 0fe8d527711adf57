/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/series.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/time.h"

/* What tells plates apart: the serial, else the name, else "". */
static const char *plate_key(const char *serial, const char *name)
{
    return serial != NULL ? serial : name != NULL ? name : "";
}

/* The index of a name in a list that grows. */
static size_t index_of(struct tt_arena *arena, const char *name, const char ***names, size_t *n)
{
    for (size_t i = 0; i < *n; i++) {
        if (strcmp((*names)[i], name) == 0) {
            return i;
        }
    }
    const char *copy = tt_arena_copy(arena, name),
               **to = copy != NULL ? tt_arena_more(arena, names, n, sizeof *to) : NULL;
    if (to == NULL) {
        return TT_NONE;
    }
    *to = copy;
    return *n - 1;
}

size_t tt_series_tip_index(struct tt_series *series, const char *name)
{
    return index_of(series->arena, name, &series->tip_names, &series->n_tip_names);
}

size_t tt_series_edge_index(struct tt_series *series, const char *name)
{
    return index_of(series->arena, name, &series->edge_names, &series->n_edge_names);
}

struct tt_series_run *tt_series_new_run(struct tt_series *series, size_t n_tips, size_t n_edges)
{
    struct tt_series_tip *tips = TT_ARENA_NEW(series->arena, n_tips, struct tt_series_tip);
    struct tt_series_edge *edges = TT_ARENA_NEW(series->arena, n_edges, struct tt_series_edge);
    struct tt_series_run *run =
        tips != NULL && edges != NULL
            ? tt_arena_more(series->arena, &series->runs, &series->n_runs, sizeof *run)
            : NULL;
    if (run != NULL) {
        *run = (struct tt_series_run){
            .tips = tips, .n_tips = n_tips, .edges = edges, .n_edges = n_edges};
    }
    return run;
}

/* From radial and tangential uncertainty back to the axes: what a result says of a runout. */
static struct tt_cov2 runout_cov(const struct tt_tip_result *tip)
{
    double radial = tip->u_eccentricity_mm * tip->u_eccentricity_mm,
           across = tip->eccentricity_mm * tip->u_runout_angle_rad;
    double c = cos(tip->runout_angle_rad), s = sin(tip->runout_angle_rad);

    /* an angle that is anything says nothing of the tangential direction: a runout near 0 is known
     * alike in all directions */
    double tangential = tip->u_runout_angle_rad < 1 ? across * across : radial;
    return (struct tt_cov2){c * c * radial + s * s * tangential, c * s * (radial - tangential),
                            s * s * radial + c * c * tangential};
}

/* The held offset's covariance with the plate's errors in it: what it is worth against runs on
 * another plate. */
static struct tt_cov2 held_in_full(const struct tiptrue_solution *solution,
                                   const struct tt_tip_result *tip)
{
    struct tt_cov2 cov = tip->same_plate_cov;

    if (tip->plate_effect_x == NULL || tip->plate_effect_y == NULL) {
        return tip->cov;
    }
    for (size_t i = 0; i < solution->n_features; i++) {
        double x = tip->plate_effect_x[i] * solution->features[i].u_mm,
               y = tip->plate_effect_y[i] * solution->features[i].u_mm;
        cov.xx_mm2 += x * x;
        cov.xy_mm2 += x * y;
        cov.yy_mm2 += y * y;
    }
    return cov;
}

/* Of the variances of two heights, the part that is not in that of their difference: half of what
 * both have together beyond it. Mean over the differences that @tip is in. */
static double common_height_u(const struct tiptrue_solution *solution,
                              const struct tt_tip_result *tip)
{
    double u2 = tip->height->same_plate_u_mm * tip->height->same_plate_u_mm, sum = 0, n = 0;

    for (size_t i = 0; i < solution->n_between_tips; i++) {
        const struct tt_tip_difference *d = &solution->between_tips[i];
        bool is_tip = strcmp(d->tip, tip->name) == 0;
        const char *name = is_tip ? d->over : d->tip;
        for (size_t k = 0; k < solution->n_tips; k++) {
            const struct tt_tip_result *other = &solution->tips[k];
            if (d->height_determined && (is_tip || strcmp(d->over, tip->name) == 0) &&
                strcmp(other->name, name) == 0 && other->height != NULL) {
                double u = other->height->same_plate_u_mm;
                sum += 0.5 * (u2 + u * u - d->u_height_mm * d->u_height_mm);
                n++;
            }
        }
    }
    return n > 0 ? sqrt(fmin(fmax(sum / n, 0), u2)) : 0;
}

bool tt_series_same_place(const struct tt_series_tip *a, const struct tt_series_tip *b)
{
    return a->pads == b->pads ||
           (a->pads != NULL && b->pads != NULL && strcmp(a->pads, b->pads) == 0);
}

/* The pads of the first setup, one a line; NULL: the slope is known, or there is no memory for it.
 */
static const char *pads_of(struct tt_series *series, const struct tiptrue_solution *solution,
                           bool *good)
{
    const struct tt_surface_result *surface = solution->surface;
    size_t length = 1;

    if (solution->n_surface == 0 || surface->slope_determined) {
        return NULL;
    }
    for (size_t i = 0; i < surface->n_pads; i++) {
        length += strlen(surface->pads[i].name) + 1;
    }
    char *text = TT_ARENA_NEW(series->arena, length, char);
    *good = *good && text != NULL;
    for (size_t i = 0; text != NULL && i < surface->n_pads; i++) {
        strcat(strcat(text, surface->pads[i].name), "\n");
    }
    return text;
}

static void fill_height(const struct tiptrue_solution *solution, const struct tt_tip_result *from,
                        struct tt_series_tip *tip)
{
    const struct tt_height_result *h = from->height;

    if (h == NULL || !h->determined || (h->has_verdict && h->verdict == TIPTRUE_REPEAT)) {
        return;
    }
    tip->has_height = true;
    tip->height_mm = h->value_mm;
    tip->u_height_mm = h->same_plate_u_mm;
    tip->full_u_height_mm = h->u_mm;
    tip->common_u_height_mm = common_height_u(solution, from);
    tip->has_present_height = h->has_present;
    tip->present_height_mm = h->present_mm;
    tip->has_permitted_height = h->has_conformity;
    tip->permitted_height_mm = h->permitted_error_mm;
}

static bool is_of(const struct tiptrue_solution *solution, const struct tt_finding *finding,
                  const struct tt_tip_result *tip)
{
    return finding->tip == TT_NONE || (finding->tip < solution->n_tip_names &&
                                       strcmp(solution->tip_names[finding->tip], tip->name) == 0);
}

/* See tt_series_tip. */
static bool is_doubted(const struct tiptrue_solution *solution, const struct tt_tip_result *tip)
{
    bool other = false, doubted = false;

    for (size_t i = 0; i < solution->n_findings; i++) {
        const struct tt_finding *finding = &solution->findings[i];
        bool known = finding->code == TT_FINDING_AMBIGUOUS || finding->code == TT_FINDING_EDGE_FILM;
        if (finding->severity == TIPTRUE_ERROR && !tt_finding_is_of_heights(finding) &&
            is_of(solution, finding, tip)) {
            doubted = doubted || known;
            other = other || !known;
        }
    }
    return doubted && !other;
}

static void fill_tip(const struct tiptrue_solution *solution, const struct tt_tip_result *from,
                     struct tt_series_tip *tip)
{
    tip->verdict = from->offset_verdict;
    tip->doubted = tip->verdict == TIPTRUE_REPEAT && is_doubted(solution, from);
    tip->has_offset = from->offset_determined_x && from->offset_determined_y;
    tip->offset = from->held;
    tip->full = from->offset;
    tip->cov = held_in_full(solution, from);
    tip->same_plate_cov = from->same_plate_cov;
    for (size_t i = 0; i < from->n_budget; i++) {
        const struct tt_budget_line *line = &from->budget[i];
        if (line->code == TT_BUDGET_BETWEEN_RUNS) {
            double x = line->u_x_mm * line->u_x_mm, y = line->u_y_mm * line->u_y_mm;
            tip->cov.xx_mm2 -= x;
            tip->cov.yy_mm2 -= y;
            tip->same_plate_cov.xx_mm2 -= x;
            tip->same_plate_cov.yy_mm2 -= y;
        } else if (line->code == TT_BUDGET_RIVALS) {
            tip->u_rivals_x_mm = line->u_x_mm;
            tip->u_rivals_y_mm = line->u_y_mm;
        }
    }
    tip->common_u_x_mm = from->common_u_x_mm;
    tip->common_u_y_mm = from->common_u_y_mm;
    tip->has_runout = from->runout_determined;
    tip->runout = from->runout;
    tip->runout_cov = runout_cov(from);
    tip->has_radius = from->radius_determined;
    tip->radius_mm = from->contact_radius_mm;
    tip->u_radius_mm = from->same_plate_u_radius_mm;
    tip->has_present = from->has_present;
    tip->present = from->present;
    fill_height(solution, from, tip);
}

static void fill_pose(const struct tiptrue_solution *solution, struct tt_series_run *run)
{
    for (size_t i = 0; i < solution->n_poses && !run->has_pose; i++) {
        const struct tt_pose_result *pose = &solution->poses[i];
        if (pose->mark_determined && pose->yaw_determined) {
            run->has_pose = true;
            run->setup = pose->setup;
            run->mark = pose->mark;
            run->u_mark_x_mm = pose->u_mark_x_mm;
            run->u_mark_y_mm = pose->u_mark_y_mm;
            run->yaw_rad = pose->yaw_rad;
            run->u_yaw_rad = pose->u_yaw_rad;
        }
    }
}

/* What an edge's own shift is, and how many of the touches made with it came late. */
static void fill_edge(const struct tiptrue_solution *solution, const struct tt_edge_result *from,
                      struct tt_series_edge *edge)
{
    edge->shift_mm = from->shift_mm;
    edge->u_shift_mm = from->u_shift_mm;
    edge->touches = from->touches;
    for (size_t i = 0; i < solution->n_findings; i++) {
        const struct tt_finding *finding = &solution->findings[i];
        edge->freed = edge->freed || (finding->code == TT_FINDING_EDGE_OFF &&
                                      finding->edge < solution->n_edge_names &&
                                      strcmp(solution->edge_names[finding->edge], from->name) == 0);
    }
    edge->late = solution->n_rows == 0 ? from->touches - from->used
                                       : 0; /* a result without its rows does not say which way */
    for (size_t i = 0; i < solution->n_rows; i++) {
        const struct tt_row_result *row = &solution->rows[i];
        edge->late += row->set_aside && row->residual_mm < 0 && row->target != NULL &&
                      strcmp(row->target, from->name) == 0;
    }
}

static void fill_conditions(const struct tiptrue_solution *solution, struct tt_series_run *run)
{
    run->has_u_touch = solution->has_u_touch;
    run->u_touch_mm = solution->u_touch_mm;
    run->has_u_sighting = solution->has_u_sighting;
    run->u_sighting_mm = solution->u_sighting_mm;
    run->has_temperature = solution->has_temperature;
    run->temperature_C = solution->temperature_C;
}

static void fill_machine(const struct tiptrue_solution *solution, struct tt_series_run *run)
{
    const struct tt_camera_result *c = &solution->camera;
    const struct tt_axes_result *a = &solution->axes;
    const double picture[3] = {c->scale_x_mm, c->scale_y_mm, c->turn_rad},
                 u_picture[3] = {c->u_scale_x_mm, c->u_scale_y_mm, c->u_turn_rad},
                 axes[3] = {a->scale_x, a->scale_y, a->square_rad},
                 u_axes[3] = {a->u_scale_x, a->u_scale_y, a->u_square_rad};

    for (size_t k = 0; k < 3; k++) {
        if (c->views > 0 && c->determined) {
            run->machine[k] = picture[k];
            run->u_machine[k] = u_picture[k];
        }
        if (a->found) {
            run->machine[TT_SERIES_AXIS_X + k] = axes[k];
            run->u_machine[TT_SERIES_AXIS_X + k] = u_axes[k];
        }
    }
    run->marks = solution->n_marks;
    run->lost_motion_mm = solution->has_lost_motion ? solution->lost_motion_mm : 0;
}

enum tiptrue_status tt_series_add(struct tt_series *series, const struct tiptrue_solution *solution,
                                  double entered_s, struct tiptrue_error *error)
{
    struct tt_series_run *run = tt_series_new_run(series, solution->n_tips, solution->n_edges);
    bool good = run != NULL;

    if (!good) {
        return tt_fail_memory(error);
    }
    run->id = tt_arena_keep(series->arena, solution->run_id, &good);
    run->plate =
        tt_arena_keep(series->arena, plate_key(solution->plate_serial, solution->plate), &good);
    run->time_stated = solution->started != NULL &&
                       tt_time_read(solution->started, strlen(solution->started), &run->time_s);
    run->time_s = run->time_stated ? run->time_s : entered_s;
    run->verdict = solution->verdict;
    run->has_permitted_error = solution->has_permitted_error;
    run->permitted_error_mm = solution->permitted_error_mm;
    fill_pose(solution, run);
    fill_conditions(solution, run);
    fill_machine(solution, run);
    run->setup = tt_arena_keep(series->arena, run->setup, &good);
    run->n_tips = 0;
    const char *pads = good ? pads_of(series, solution, &good) : NULL;
    for (size_t i = 0; i < solution->n_tips && good; i++) {
        if (solution->tips[i].verdict == TIPTRUE_NOT_MEASURED) {
            continue;
        }
        struct tt_series_tip *tip = &run->tips[run->n_tips++];
        fill_tip(solution, &solution->tips[i], tip);
        tip->pads = tip->has_height ? pads : NULL;
        tip->tip = tt_series_tip_index(series, solution->tips[i].name);
        good = tip->tip != TT_NONE;
    }
    for (size_t i = 0; i < solution->n_edges && good; i++) {
        fill_edge(solution, &solution->edges[i], &run->edges[i]);
        run->edges[i].edge = tt_series_edge_index(series, solution->edges[i].name);
        good = run->edges[i].edge != TT_NONE;
    }
    if (!good) {
        series->n_runs--;
        return tt_fail_memory(error);
    }
    return TIPTRUE_OK;
}

static int by_time(const void *a, const void *b)
{
    const struct tt_series_run *first = a, *second = b;

    if (first->time_s != second->time_s) {
        return first->time_s < second->time_s ? -1 : 1;
    }
    return strcmp(first->id != NULL ? first->id : "", second->id != NULL ? second->id : "");
}

void tt_series_sort(struct tt_series *series)
{
    if (series->n_runs > 1) {
        qsort(series->runs, series->n_runs, sizeof *series->runs, by_time);
    }
}
