/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/values.h"

#include <math.h>
#include <string.h>

#include "history/series/edges.h"
#include "history/series/series.h"

#define WEEK_S (7 * 86400.0)
/* Temperatures that differ by less (K, standard deviation) say nothing of what temperature does:
 * thermometers are no better. */
#define LEAST_TEMPERATURE_K 0.1
/* A swing is looked for in at least so many runs over so many weeks: less of a season is a drift.
 * Periods from twice the time there is down to a quarter of it, so near to one another that the
 * phase at the ends is out by a twentieth of a turn at most. */
#define SWING_RUNS 30
#define SWING_WEEKS (40.0 / 7)
#define LONGEST 2.0
#define SHORTEST 0.25
#define PERIOD_RATIO 0.97
/* (10 pm)^2, (10 nrad)^2: keeps a variance above 0 where a run states none. */
#define LEAST_VARIANCE 1e-16

enum tt_class tt_class_of(const struct tt_values *v, size_t column)
{
    size_t kind = column / v->tips;

    return kind < v->axes           ? tt_own_class(kind)
           : kind < v->axes + 2     ? TT_RUNOUT
           : kind < v->axes + 3     ? TT_RADIUS
           : column < tt_at_yaw(v)  ? TT_MARK
           : column == tt_at_yaw(v) ? TT_YAW
                                    : TT_EDGES;
}

static bool is_used(const struct tt_series_tip *tip)
{
    return tip->has_offset && (tip->verdict != TIPTRUE_REPEAT || tip->doubted);
}

bool tt_values_uses(const struct tt_series_run *run)
{
    for (size_t i = 0; i < run->n_tips; i++) {
        if (is_used(&run->tips[i])) {
            return !run->left_out;
        }
    }
    return false;
}

static void set(struct tt_values *v, size_t run, size_t column, double value, double variance)
{
    size_t at = run * v->p + column;

    v->there[at] = true;
    v->y[at] = value;
    v->stated[at] = fmax(variance, LEAST_VARIANCE);
}

/* Of the variance along @axis that is in a doubted run for what its explanations differ by, the
 * part that all tips share: an edge that lies elsewhere moves all of them alike. */
static double shared_doubt(const struct tt_series_run *run, size_t axis)
{
    double least = HUGE_VAL;

    for (size_t i = 0; i < run->n_tips; i++) {
        const struct tt_series_tip *tip = &run->tips[i];
        if (is_used(tip)) {
            double u = axis == 0 ? tip->u_rivals_x_mm : tip->u_rivals_y_mm;
            least = fmin(least, tip->doubted ? u * u : 0);
        }
    }
    return least;
}

/* What explanations that were not excluded differ by is not how the runs scatter: mostly it is the
 * plate's own errors, the same in each run, told of in some and not in others. */
static void fill_tip(struct tt_values *v, size_t run, const struct tt_series_tip *tip)
{
    const double runout[] = {tip->runout.x_mm, tip->runout.y_mm};
    double offset[] = {tip->offset.x_mm, tip->offset.y_mm}, radius_mm = tip->radius_mm;
    double u2[] = {tip->same_plate_cov.xx_mm2, tip->same_plate_cov.yy_mm2};
    const double rivals_u[] = {tip->u_rivals_x_mm, tip->u_rivals_y_mm};
    const double runout_u2[] = {tip->runout_cov.xx_mm2, tip->runout_cov.yy_mm2};
    const double common_u[] = {tip->common_u_x_mm, tip->common_u_y_mm};
    const double full[] = {tip->cov.xx_mm2, tip->cov.yy_mm2};

    tt_put_edges_back(v->series, v->run[run], tip->tip, offset, &radius_mm);
    for (size_t axis = 0; axis < 2; axis++) {
        double *plate = &v->plate_u2[2 * v->plate[run] + axis];
        *plate = fmax(*plate, full[axis] - u2[axis]);
        u2[axis] -= tip->doubted ? 0 : rivals_u[axis] * rivals_u[axis];
        double common = common_u[axis] * common_u[axis] + shared_doubt(v->run[run], axis);
        common = v->tips > 1 ? fmin(common, u2[axis]) : 0;
        v->common[v->axes * run + axis] = common;
        set(v, run, tt_at_offset(v, tip->tip, axis), offset[axis], u2[axis] - common);
        if (tip->has_runout) {
            set(v, run, tt_at_runout(v, tip->tip, axis), runout[axis], runout_u2[axis]);
        }
    }
    if (v->axes > 2 && tip->has_height && tt_series_same_place(tip, v->height)) {
        double all = tip->u_height_mm * tip->u_height_mm, *common = &v->common[v->axes * run + 2];
        *common = v->tips > 1 ? fmin(tip->common_u_height_mm * tip->common_u_height_mm, all) : 0;
        set(v, run, tt_at_offset(v, tip->tip, 2), tip->height_mm, all - *common);
    }
    if (tip->has_radius) {
        set(v, run, tt_at_radius(v, tip->tip), radius_mm, tip->u_radius_mm * tip->u_radius_mm);
    }
}

static void fill_run(struct tt_values *v, size_t at)
{
    const struct tt_series_run *run = v->run[at];

    for (size_t i = 0; i < run->n_tips; i++) {
        if (is_used(&run->tips[i])) {
            fill_tip(v, at, &run->tips[i]);
        }
    }
    if (run->has_pose) {
        set(v, at, tt_at_mark(v, 0), run->mark.x_mm, run->u_mark_x_mm * run->u_mark_x_mm);
        set(v, at, tt_at_mark(v, 1), run->mark.y_mm, run->u_mark_y_mm * run->u_mark_y_mm);
        set(v, at, tt_at_yaw(v), run->yaw_rad, run->u_yaw_rad * run->u_yaw_rad);
    }
}

/* Everything counted from the first one of its column, so that sums of squares keep their digits.
 */
static void centre(struct tt_values *v)
{
    for (size_t column = 0; column < v->p; column++) {
        double origin = 0;
        bool found = false;
        for (size_t run = 0; run < v->n; run++) {
            size_t at = run * v->p + column;
            if (v->there[at]) {
                origin = found ? origin : v->y[at];
                found = true;
                v->y[at] -= origin;
                v->y[at] = column == tt_at_yaw(v) ? remainder(v->y[at], 2 * TT_PI) : v->y[at];
            }
        }
    }
}

/* Plates are counted from the last run back, so that those of now come first. */
static void number_plates(struct tt_values *v)
{
    for (size_t run = v->n; run-- > 0;) {
        size_t k = 0;
        while (k < v->n_plates && strcmp(v->plates[k], v->run[run]->plate) != 0) {
            k++;
        }
        if (k == v->n_plates) {
            v->plates[v->n_plates++] = v->run[run]->plate;
        }
        v->plate[run] = k;
    }
}

static void fill_temperature(struct tt_values *v)
{
    double mean = 0, spread = 0;

    for (size_t run = 0; run < v->n; run++) {
        if (!v->run[run]->has_temperature) {
            v->temperature = NULL;
            return;
        }
        mean += v->run[run]->temperature_C / (double)v->n;
    }
    for (size_t run = 0; run < v->n; run++) {
        v->temperature[run] = v->run[run]->temperature_C - mean;
        spread += v->temperature[run] * v->temperature[run];
    }
    if (!(sqrt(spread / (double)v->n) > LEAST_TEMPERATURE_K)) {
        v->temperature = NULL;
    }
}

/* Sum of squares that a swing of @period takes from @y (mean 0). */
static double swing_gain(const struct tt_values *v, const double *y, double period)
{
    double n = (double)v->n, s = 0, c = 0, ss = 0, sc = 0, cc = 0, ys = 0, yc = 0;

    for (size_t run = 0; run < v->n; run++) {
        double turn = 2 * TT_PI * v->weeks[run] / period, sine = sin(turn), cosine = cos(turn);
        s += sine;
        c += cosine;
        ss += sine * sine;
        sc += sine * cosine;
        cc += cosine * cosine;
        ys += y[run] * sine;
        yc += y[run] * cosine;
    }
    ss -= s * s / n;
    sc -= s * c / n;
    cc -= c * c / n;
    double det = ss * cc - sc * sc;
    return det > 1e-6 * ss * cc ? (cc * ys * ys - 2 * sc * ys * yc + ss * yc * yc) / det : 0;
}

/* The period that takes most of the mean of the tips' offsets, each from its own mean. @y: 2 n
 * numbers of work. */
static void choose_period(struct tt_values *v, double *y)
{
    double span = v->weeks[v->n - 1] - v->weeks[0], most = 0;

    if (v->n < SWING_RUNS || !(span > SWING_WEEKS)) {
        return;
    }
    for (size_t axis = 0; axis < 2; axis++) {
        double *to = y + axis * v->n, mean = 0;
        for (size_t tip = 0; tip < v->tips; tip++) {
            double sum = 0, n = 0;
            for (size_t run = 0; run < v->n; run++) {
                size_t at = run * v->p + tt_at_offset(v, tip, axis);
                sum += v->there[at] ? v->y[at] : 0;
                n += v->there[at];
            }
            for (size_t run = 0; run < v->n; run++) {
                size_t at = run * v->p + tt_at_offset(v, tip, axis);
                to[run] += v->there[at] ? (v->y[at] - sum / n) / (double)v->tips : 0;
            }
        }
        for (size_t run = 0; run < v->n; run++) {
            mean += to[run] / (double)v->n;
        }
        for (size_t run = 0; run < v->n; run++) {
            to[run] -= mean;
        }
    }
    for (double period = LONGEST * span; period > SHORTEST * span; period *= PERIOD_RATIO) {
        double gain = swing_gain(v, y, period) + swing_gain(v, y + v->n, period);
        if (gain > most) {
            most = gain;
            v->period_weeks = period;
        }
    }
}

/* Only of the plate of the last run, and where all edges were touched that have a part in it. What
 * a run states of its edges is mostly the plate's own error, the same in each run: how well they
 * repeat only the runs show. */
static void fill_contrasts(struct tt_values *v, size_t at)
{
    const struct tt_series_run *run = v->run[at];
    size_t n = v->series->n_edge_names;

    for (size_t k = 0; k < v->contrasts && v->plate[at] == 0; k++) {
        double sum = 0, missing = 0;
        for (size_t i = 0; i < n; i++) {
            missing += v->contrast[k * n + i] * v->contrast[k * n + i];
        }
        double whole = missing;
        for (size_t i = 0; i < run->n_edges; i++) {
            if (run->edges[i].edge < n) {
                double f = v->contrast[k * n + run->edges[i].edge];
                sum += f * tt_shift_in(v->series, run, i);
                missing -= f * f;
            }
        }
        if (missing < 1e-9 * whole) {
            set(v, at, tt_at_contrast(v, k), sum, 0);
        }
    }
}

/* Returns how much of it the contrasts show. */
static double fill_response_of(const struct tt_values *v, const struct tt_series_response *from,
                               double *to)
{
    size_t n = v->series->n_edge_names;
    double seen = 0;

    for (size_t tip = 0; tip < v->tips; tip++) {
        to[tt_at_offset(v, tip, 0)] = from->offset[tip].x_mm;
        to[tt_at_offset(v, tip, 1)] = from->offset[tip].y_mm;
        to[tt_at_radius(v, tip)] = from->radius[tip];
    }
    for (size_t k = 0; k < v->contrasts; k++) {
        for (size_t i = 0; i < n; i++) {
            to[tt_at_contrast(v, k)] += v->contrast[k * n + i] * from->edge[i];
        }
        seen = hypot(seen, to[tt_at_contrast(v, k)]);
    }
    return seen;
}

/* What the columns do when an edge shifts, or motion is lost, as the solution does. */
static void fill_response(struct tt_values *v)
{
    for (size_t edge = 0; edge < v->edges; edge++) {
        (void)fill_response_of(v, &v->series->response[edge], v->response + edge * v->p);
    }
    if (v->series->lost_motion != NULL) {
        double *to = v->response + v->edges * v->p;
        v->lost_motion =
            fill_response_of(v, v->series->lost_motion, to) > TT_LEAST_RESPONSE ? to : NULL;
    }
}

/* Whether a run knows the height of some tip. */
static bool knows_height(const struct tt_values *v, size_t run)
{
    bool some = false;

    for (size_t tip = 0; tip < v->tips; tip++) {
        some = some || v->there[run * v->p + tt_at_offset(v, tip, 2)];
    }
    return some;
}

static void find_doubted(struct tt_values *v)
{
    bool some = false;

    for (size_t run = 0; run < v->n; run++) {
        for (size_t i = 0; i < v->run[run]->n_tips; i++) {
            v->doubted[run] = v->doubted[run] || v->run[run]->tips[i].doubted;
        }
        some = some || (tt_values_uses(v->run[run]) && !v->doubted[run]);
    }
    for (size_t run = 0; run < v->n && !some; run++) {
        v->doubted[run] = false;
    }
}

static void take_means(struct tt_values *v)
{
    for (size_t column = 0; column < v->p; column++) {
        double sum = 0, n = 0;
        for (size_t run = 0; run < v->n; run++) {
            if (!v->doubted[run]) {
                sum += v->stated[run * v->p + column];
                n += v->there[run * v->p + column];
            }
        }
        v->mean_stated[column] = n > 0 ? sum / n : LEAST_VARIANCE;
    }
    for (size_t axis = 0; axis < v->axes; axis++) {
        double sum = 0, n = 0;
        for (size_t run = 0; run < v->n; run++) {
            if (!v->doubted[run]) {
                sum += v->common[v->axes * run + axis];
                n += axis < 2 || knows_height(v, run);
            }
        }
        v->mean_common[axis] = n > 0 ? sum / n : 0;
    }
}

static bool allocate(struct tt_values *v, struct tt_arena *arena)
{
    size_t cells = v->n * v->p;

    v->y = TT_ARENA_NEW(arena, cells, double);
    v->stated = TT_ARENA_NEW(arena, cells, double);
    v->there = TT_ARENA_NEW(arena, cells, bool);
    v->common = TT_ARENA_NEW(arena, v->axes * v->n, double);
    v->mean_stated = TT_ARENA_NEW(arena, v->p, double);
    v->weeks = TT_ARENA_NEW(arena, v->n, double);
    v->temperature = TT_ARENA_NEW(arena, v->n, double);
    v->plate = TT_ARENA_NEW(arena, v->n, size_t);
    v->doubted = TT_ARENA_NEW(arena, v->n, bool);
    v->plates = TT_ARENA_NEW(arena, v->n, const char *);
    v->plate_u2 = TT_ARENA_NEW(arena, 2 * v->n, double);
    v->response = TT_ARENA_NEW(arena, (v->edges + 1) * v->p, double);
    return v->y && v->stated && v->there && v->common && v->mean_stated && v->weeks &&
           v->temperature && v->plate && v->doubted && v->plates && v->plate_u2 && v->response;
}

/* Whether some run knows a height, and the last one: heights at another place are not compared with
 * it. */
static bool find_heights(const struct tt_series *series, const struct tt_series_tip **height)
{
    for (size_t i = series->n_runs; i-- > 0;) {
        for (size_t k = 0; k < series->runs[i].n_tips; k++) {
            const struct tt_series_tip *tip = &series->runs[i].tips[k];
            if (tip->has_height && !series->runs[i].left_out && is_used(tip)) {
                *height = tip;
                return true;
            }
        }
    }
    return false;
}

enum tiptrue_status tt_values_make(struct tt_values *v, const struct tt_series *series,
                                   struct tt_arena *arena)
{
    *v = (struct tt_values){.series = series, .tips = series->n_tip_names};
    v->edges = series->response != NULL ? series->n_edge_names : 0;
    v->contrast = tt_edge_contrasts(series, &v->contrasts, arena);
    if (v->contrast == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    v->axes = find_heights(series, &v->height) ? 3 : 2;
    v->p = (3 + v->axes) * v->tips + 3 + v->contrasts;
    v->run = TT_ARENA_NEW(arena, series->n_runs, const struct tt_series_run *);
    if (v->run == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < series->n_runs; i++) {
        const struct tt_series_run *run = &series->runs[i];
        /* where an edge is off nothing of the offsets may be used, but the edges still tell which
         * one, and since when */
        if (tt_values_uses(run) || (v->contrasts > 0 && run->n_edges > 0 && !run->left_out)) {
            v->run[v->n++] = run;
        }
    }
    if (!allocate(v, arena)) {
        return TIPTRUE_E_MEMORY;
    }
    if (v->n == 0) {
        return TIPTRUE_OK;
    }
    number_plates(v);
    double middle_s = 0.5 * (v->run[0]->time_s + v->run[v->n - 1]->time_s);
    for (size_t i = 0; i < v->n; i++) {
        v->weeks[i] = (v->run[i]->time_s - middle_s) / WEEK_S;
        fill_run(v, i);
        fill_contrasts(v, i);
    }
    centre(v);
    find_doubted(v);
    take_means(v);
    double *y = TT_ARENA_NEW(arena, 2 * v->n, double);
    if (y == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    choose_period(v, y);
    fill_temperature(v);
    fill_response(v);
    return TIPTRUE_OK;
}
