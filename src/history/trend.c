/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/trend.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "history/scatter.h"

#define WEEK_S (7 * 86400.0)
/* A forecast goes this far: beyond, nobody plans, and no drift stays the same. */
#define HORIZON_WEEKS (365.0 / 7)
/* Probability below which a drift is named, shared by the tips: one quiet machine in a hundred shows one. */
#define DRIFT_ALPHA 0.01
/* Runs of a baseline where none is asked for: enough to know a standard deviation to a fifth. */
#define DEFAULT_BASELINE 20
#define NORMAL_95 1.959963984540054

struct tt_axis_scatter tt_trend_between(const struct tt_changes *c, size_t tip)
{
    const struct tt_track *t = &c->offset;
    struct tt_axis_scatter scatter = {0};
    double *residual = TT_ARENA_NEW(c->arena, c->n, double), *u = TT_ARENA_NEW(c->arena, c->n, double);

    for (int axis = 0; axis < 2 && residual != NULL && u != NULL && !t->singular; axis++) {
        size_t n = 0;
        for (size_t run = 0; run < c->n; run++) {
            size_t at = run * t->members + tip;
            if (t->there[at]) {
                residual[n] = axis == 0 ? t->residual[at].x : t->residual[at].y;
                u[n++] = sqrt(fmax(axis == 0 ? t->stated[at].xx : t->stated[at].yy, 1e-16));
            }
        }
        struct tt_between between = tt_between_of_residuals(residual, u, n, (double)n - t->dof[tip]);
        *(axis == 0 ? &scatter.x_mm : &scatter.y_mm) = between.s;
        *(axis == 0 ? &scatter.u_x_mm : &scatter.u_y_mm) = between.u;
        *(axis == 0 ? &scatter.dof_x : &scatter.dof_y) = between.dof;
    }
    return scatter;
}

enum tiptrue_status tt_trend_all_between(const struct tt_series *series, size_t fewest, struct tiptrue_between *between)
{
    struct tt_arena work = {0};
    struct tt_changes changes;
    enum tiptrue_status status = tt_changes_find(&changes, series, &work);

    between->tips = TT_ARENA_NEW(&between->arena, series->n_tip_names, struct tt_between_tip);
    status = between->tips == NULL ? TIPTRUE_E_MEMORY : status;
    for (size_t tip = 0; status == TIPTRUE_OK && tip < changes.tips; tip++) {
        if (changes.n == 0 || tt_track_count(&changes.offset, tip, 0, changes.n) < fewest) {
            continue;
        }
        struct tt_axis_scatter s = tt_trend_between(&changes, tip);
        const char *name = tt_arena_copy_text(&between->arena, series->tip_names[tip], strlen(series->tip_names[tip]));
        if (name == NULL) {
            status = TIPTRUE_E_MEMORY;
        } else if (s.x_mm > 0 || s.y_mm > 0) {
            /* the axes' degrees of freedom add up; where one shows no scatter the other's stand */
            between->tips[between->n_tips++] = (struct tt_between_tip){name, s.x_mm, s.y_mm, fmax(s.dof_x + s.dof_y, 2) / 2};
        }
    }
    tt_arena_clear(&work);
    return status;
}

/* Where value - residual of the first value was put to 0 (centre() of changes.c): the fitted offset in the machine frame. */
static struct tt_machine_xy fitted_offset(const struct tt_changes *c, size_t run, size_t tip, const struct tt_series_tip *from)
{
    const struct tt_pair *r = &c->offset.residual[run * c->tips + tip];
    return (struct tt_machine_xy){from->offset.x_mm - r->x, from->offset.y_mm - r->y};
}

static const struct tt_series_tip *tip_in(const struct tt_series_run *run, size_t tip)
{
    for (size_t i = 0; i < run->n_tips; i++) {
        if (run->tips[i].tip == tip) {
            return &run->tips[i];
        }
    }
    return NULL;
}

static void fill_point(const struct tt_changes *c, size_t run, size_t tip, struct tt_trend_point *p)
{
    const struct tt_series_tip *from = tip_in(c->run[run], tip);

    *p = (struct tt_trend_point){.run = (size_t)(c->run[run] - c->series->runs),
                                 .time_s = c->run[run]->time_s,
                                 .id = c->run[run]->id,
                                 .offset = from->offset,
                                 .fitted = fitted_offset(c, run, tip, from),
                                 .u_x_mm = sqrt(fmax(from->same_plate_cov.xx_mm2, 0)),
                                 .u_y_mm = sqrt(fmax(from->same_plate_cov.yy_mm2, 0)),
                                 .runout = from->runout,
                                 .u_runout_x_mm = sqrt(fmax(from->runout_cov.xx_mm2, 0)),
                                 .u_runout_y_mm = sqrt(fmax(from->runout_cov.yy_mm2, 0)),
                                 .radius_mm = from->radius_mm,
                                 .u_radius_mm = from->u_radius_mm,
                                 .has_runout = from->has_runout,
                                 .has_radius = from->has_radius};
}

static enum tiptrue_status fill_points(struct tiptrue_trend *trend, const struct tt_changes *c, size_t tip)
{
    struct tt_trend_tip *t = &trend->tips[tip];
    double xx = 0, yy = 0;

    t->name = tt_arena_copy_text(&trend->arena, c->series->tip_names[tip], strlen(c->series->tip_names[tip]));
    t->points = TT_ARENA_NEW(&trend->arena, c->n, struct tt_trend_point);
    if (t->name == NULL || t->points == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t run = 0; run < c->n; run++) {
        if (!c->offset.there[run * c->tips + tip]) {
            continue;
        }
        struct tt_trend_point *p = &t->points[t->n_points++];
        const struct tt_series_tip *from = tip_in(c->run[run], tip);
        fill_point(c, run, tip, p);
        p->id = p->id != NULL ? tt_arena_copy_text(&trend->arena, p->id, strlen(p->id)) : NULL;
        xx += p->u_x_mm * p->u_x_mm;
        yy += p->u_y_mm * p->u_y_mm;
        t->last = from->offset;
        if (from->has_present) {
            t->has_present = true;
            t->present = from->present;
        }
    }
    t->runs = t->n_points;
    t->within_u_x_mm = t->runs > 0 ? sqrt(xx / (double)t->runs) : 0;
    t->within_u_y_mm = t->runs > 0 ? sqrt(yy / (double)t->runs) : 0;
    t->between = tt_trend_between(c, tip);
    t->wears = c->tip_wears[tip];
    return TIPTRUE_OK;
}

/* How far the offset is from the one it is compared with, @weeks after the last run, and the uncertainty along that direction. */
struct deviation {
    const struct tt_track *track;
    size_t tip, slope;
    double last_week;
    struct tt_pair reference; /* in the track's coordinates; the present offset */
    bool from_update;         /* no reference: an update at the last run */
};

static double deviation_at(const struct deviation *d, double weeks, double *u)
{
    struct tt_pair v;
    struct tt_sym2 cov;

    if (d->from_update) {
        struct tt_sym2 rate = tt_track_cov(d->track, d->slope);
        v = (struct tt_pair){weeks * d->track->coefficient[d->slope].x, weeks * d->track->coefficient[d->slope].y};
        cov = (struct tt_sym2){weeks * weeks * rate.xx, weeks * weeks * rate.xy, weeks * weeks * rate.yy};
    } else {
        tt_track_predict(d->track, d->tip, d->last_week + weeks, &v, &cov);
        v.x -= d->reference.x;
        v.y -= d->reference.y;
    }
    double size = hypot(v.x, v.y);
    *u = size > 0 ? sqrt(fmax(v.x * v.x * cov.xx + 2 * v.x * v.y * cov.xy + v.y * v.y * cov.yy, 0)) / size : sqrt(cov.xx);
    return size;
}

/* The first week at which the deviation plus @k of its uncertainties reaches @limit_mm; false: not within the horizon. */
static bool crossing(const struct deviation *d, double k, double limit_mm, double *weeks)
{
    const int steps = 730; /* half a day each; a slow drift does not turn within one */
    double u, low = 0, high = 0;

    for (int i = 0; i <= steps; i++) {
        high = HORIZON_WEEKS * i / steps;
        if (deviation_at(d, high, &u) + k * u >= limit_mm) {
            break;
        }
        if (i == steps) {
            return false;
        }
        low = high;
    }
    for (int i = 0; i < 40; i++) {
        double middle = 0.5 * (low + high);
        if (deviation_at(d, middle, &u) + k * u >= limit_mm) {
            high = middle;
        } else {
            low = middle;
        }
    }
    *weeks = high;
    return true;
}

static void make_forecast(const struct tt_changes *c, size_t tip, size_t slope, struct tt_trend_tip *t)
{
    const struct tt_series_run *last = c->run[c->n - 1];
    struct tt_forecast *f = &t->forecast;
    struct deviation d = {.track = &c->offset, .tip = tip, .slope = slope, .last_week = c->weeks[c->n - 1]};
    double u, weeks;

    for (size_t run = c->n; run-- > 0;) {
        if (c->run[run]->has_permitted_error) {
            f->permitted_error_mm = c->run[run]->permitted_error_mm;
            break;
        }
    }
    if (!(f->permitted_error_mm > 0)) {
        return;
    }
    f->state = TT_FORECAST_NO_DRIFT;
    d.from_update = true;
    if (t->has_present && t->n_points > 0) {
        /* the track counts from the first value (centre() of changes.c) */
        d.reference = (struct tt_pair){t->present.x_mm - t->points[0].offset.x_mm, t->present.y_mm - t->points[0].offset.y_mm};
        d.from_update = false;
        f->over_now = deviation_at(&d, 0, &u) >= f->permitted_error_mm;
        d.from_update = f->over_now;
    }
    f->from_present = !d.from_update;
    if (!t->drift_significant) {
        return;
    }
    f->state = TT_FORECAST_NOT_WITHIN;
    f->has_from = crossing(&d, NORMAL_95, f->permitted_error_mm, &weeks);
    f->from_s = f->has_from ? last->time_s + weeks * WEEK_S : 0;
    if (crossing(&d, 0, f->permitted_error_mm, &weeks)) {
        f->state = TT_FORECAST_DATE;
        f->date_s = last->time_s + weeks * WEEK_S;
        f->has_to = crossing(&d, -NORMAL_95, f->permitted_error_mm, &weeks);
        f->to_s = f->has_to ? last->time_s + weeks * WEEK_S : 0;
    }
}

/* Each tip's slope, after what else was found; the offset track is fitted with them, and stays so. */
static enum tiptrue_status fill_drift(struct tiptrue_trend *trend, struct tt_changes *c)
{
    size_t *slope = TT_ARENA_NEW(c->arena, c->tips, size_t);

    if (slope == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_changes_fit_slopes(c, slope);
    for (size_t tip = 0; tip < c->tips; tip++) {
        struct tt_trend_tip *t = &trend->tips[tip];
        if (slope[tip] == TT_NONE || c->offset.singular || !(c->offset.dof[tip] > 1)) {
            continue;
        }
        struct tt_sym2 cov = tt_track_cov(&c->offset, slope[tip]);
        t->has_drift = true;
        t->drift_x_mm_per_week = c->offset.coefficient[slope[tip]].x;
        t->drift_y_mm_per_week = c->offset.coefficient[slope[tip]].y;
        t->u_drift_x_mm_per_week = sqrt(cov.xx);
        t->u_drift_y_mm_per_week = sqrt(cov.yy);
        t->p_drift = exp(tt_log_p_chi2(tt_track_worth(&c->offset, slope[tip]), 2));
        t->drift_significant = t->p_drift < DRIFT_ALPHA / (double)c->tips;
    }
    for (size_t tip = 0; tip < c->tips; tip++) {
        if (trend->tips[tip].n_points > 0 && !c->offset.singular) {
            make_forecast(c, tip, slope[tip], &trend->tips[tip]);
        }
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status fill_plates(struct tiptrue_trend *trend, const struct tt_changes *c)
{
    trend->plates = TT_ARENA_NEW(&trend->arena, c->n_plates, struct tt_trend_plate);
    if (trend->plates == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < c->n_plates; i++) {
        struct tt_trend_plate *plate = &trend->plates[trend->n_plates++];
        plate->name = tt_arena_copy_text(&trend->arena, c->plates[i], strlen(c->plates[i]));
        if (plate->name == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        for (size_t run = 0; run < c->n; run++) {
            plate->runs += strcmp(c->run[run]->plate, c->plates[i]) == 0;
        }
    }
    return TIPTRUE_OK;
}

static void count_runs(struct tiptrue_trend *trend, const struct tt_series *series, const struct tt_changes *c, size_t stored)
{
    trend->runs_stored = stored;
    trend->runs = series->n_runs;
    trend->runs_left_out = series->n_runs - c->n;
    for (size_t i = 0; i < series->n_runs; i++) {
        trend->times_missing += !series->runs[i].time_stated;
    }
    if (series->n_runs > 0) {
        trend->first_s = series->runs[0].time_s;
        trend->last_s = series->runs[series->n_runs - 1].time_s;
    }
    trend->pose_drifts = c->pose_drifts;
}

static enum tiptrue_status fill(struct tiptrue_trend *trend, const struct tt_series *series, size_t stored, size_t baseline_runs,
                                struct tt_arena *work)
{
    struct tt_changes changes;
    enum tiptrue_status status = tt_changes_find(&changes, series, work);

    if (status != TIPTRUE_OK) {
        return status;
    }
    count_runs(trend, series, &changes, stored);
    trend->machine = series->machine != NULL ? tt_arena_copy_text(&trend->arena, series->machine, strlen(series->machine)) : NULL;
    trend->tips = TT_ARENA_NEW(&trend->arena, changes.tips, struct tt_trend_tip);
    if (trend->tips == NULL || (series->machine != NULL && trend->machine == NULL)) {
        return TIPTRUE_E_MEMORY;
    }
    trend->n_tips = changes.tips;
    trend->baseline_runs = baseline_runs;
    trend->shown_tip = TT_NONE;
    status = changes.n > 0 ? fill_plates(trend, &changes) : TIPTRUE_OK;
    for (size_t tip = 0; tip < changes.tips && status == TIPTRUE_OK; tip++) {
        status = fill_points(trend, &changes, tip);
        if (status == TIPTRUE_OK) {
            status = tt_trend_judge_points(trend, &changes, tip, baseline_runs);
        }
    }
    if (status == TIPTRUE_OK && changes.n > 0) {
        status = tt_trend_name_changes(trend, &changes);
    }
    if (status == TIPTRUE_OK && changes.n > 0) {
        status = fill_drift(trend, &changes);
    }
    return status;
}

enum tiptrue_status tt_trend_make(const struct tt_series *series, size_t stored, const struct tiptrue_trend_options *options,
                                  struct tiptrue_trend **trend, struct tiptrue_error *error)
{
    struct tiptrue_trend *made = calloc(1, sizeof *made);
    struct tt_arena work = {0};
    enum tiptrue_status status;

    if (made == NULL) {
        return tt_fail_memory(error);
    }
    status = fill(made, series, stored, options->baseline_runs > 0 ? options->baseline_runs : DEFAULT_BASELINE, &work);
    tt_arena_clear(&work);
    if (status != TIPTRUE_OK) {
        tiptrue_trend_free(made);
        return tt_fail_memory(error);
    }
    *trend = made;
    return TIPTRUE_OK;
}

void tiptrue_trend_free(struct tiptrue_trend *trend)
{
    if (trend != NULL) {
        tt_arena_clear(&trend->arena);
        free(trend);
    }
}
