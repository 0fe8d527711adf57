/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/trend.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "history/series/tracks.h"

/* Runs of a baseline where none is asked for: enough to know a standard deviation to a fifth. */
#define DEFAULT_BASELINE 20

/* Runs that have an offset of @tip. */
static size_t count_runs_of(const struct tt_changes *c, size_t tip)
{
    size_t n = 0;

    for (size_t run = 0; run < c->values.n; run++) {
        n += tt_changes_has(c, run, tip);
    }
    return n;
}

/* That of all tips with runs enough, into *between (zeroed). */
static enum tiptrue_status all_between(const struct tt_changes *changes,
                                       struct tiptrue_between *between)
{
    const struct tt_series *series = changes->values.series;
    enum tiptrue_status status = TIPTRUE_OK;

    between->tips = TT_ARENA_NEW(&between->arena, series->n_tip_names, struct tt_between_tip);
    status = between->tips == NULL ? TIPTRUE_E_MEMORY : status;
    for (size_t tip = 0; status == TIPTRUE_OK && tip < changes->values.tips; tip++) {
        if (count_runs_of(changes, tip) < TT_FEWEST_TREND_RUNS) {
            continue;
        }
        struct tt_axis_scatter s = tt_changes_between(changes, tip);
        const char *name = tt_arena_copy(&between->arena, series->tip_names[tip]);
        if (name == NULL) {
            status = TIPTRUE_E_MEMORY;
        } else if (s.x_mm > 0 || s.y_mm > 0) {
            /* the axes' degrees of freedom add up; where one shows no scatter the other's stand */
            between->tips[between->n_tips++] =
                (struct tt_between_tip){name, s.x_mm, s.y_mm, fmax(s.dof_x + s.dof_y, 2) / 2};
        }
    }
    return status;
}

enum tiptrue_status tt_trend_all_between(const struct tt_series *series,
                                         struct tiptrue_between *between)
{
    struct tt_arena work = {0};
    struct tt_changes changes;
    enum tiptrue_status status = tt_changes_fit(&changes, series, &work);

    if (status == TIPTRUE_OK) {
        status = all_between(&changes, between);
    }
    tt_arena_clear(&work);
    return status;
}

enum tiptrue_status tt_trend_between_of(const struct tt_series *series, char of[17])
{
    struct tt_arena work = {0};
    struct tt_values values = {0};
    enum tiptrue_status status = tt_values_make(&values, series, &work);

    if (status == TIPTRUE_OK) {
        tt_values_digest(&values, of);
    }
    tt_arena_clear(&work);
    return status;
}

/* The fitted offset in the machine frame. */
static struct tt_machine_xy fitted_offset(const struct tt_changes *c, size_t run, size_t tip,
                                          const struct tt_series_tip *from)
{
    const double *r = c->residual + run * c->values.p;
    return (struct tt_machine_xy){from->offset.x_mm - r[tt_at_offset(&c->values, tip, 0)],
                                  from->offset.y_mm - r[tt_at_offset(&c->values, tip, 1)]};
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
    const struct tt_series_tip *from = tip_in(c->values.run[run], tip);

    *p = (struct tt_trend_point){.run = (size_t)(c->values.run[run] - c->values.series->runs),
                                 .time_s = c->values.run[run]->time_s,
                                 .id = c->values.run[run]->id,
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

static enum tiptrue_status fill_points(struct tiptrue_trend *trend, const struct tt_changes *c,
                                       size_t tip)
{
    struct tt_trend_tip *t = &trend->tips[tip];
    double xx = 0, yy = 0;

    t->name = tt_arena_copy(&trend->arena, c->values.series->tip_names[tip]);
    t->points = TT_ARENA_NEW(&trend->arena, c->values.n, struct tt_trend_point);
    if (t->name == NULL || t->points == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t run = 0; run < c->values.n; run++) {
        if (!tt_changes_has(c, run, tip)) {
            continue;
        }
        struct tt_trend_point *p = &t->points[t->n_points++];
        const struct tt_series_tip *from = tip_in(c->values.run[run], tip);
        fill_point(c, run, tip, p);
        p->id = tt_arena_copy(&trend->arena, p->id);
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
    t->between = tt_changes_between(c, tip);
    t->wears = c->wears[tip];
    t->step_alike = c->drift[tip].step_alike;
    return TIPTRUE_OK;
}

static void fill_drift(struct tt_trend_tip *t, const struct tt_tip_drift *d)
{
    t->has_drift = d->known;
    t->drift_x_mm_per_week = d->x;
    t->drift_y_mm_per_week = d->y;
    t->u_drift_x_mm_per_week = sqrt(d->xx);
    t->u_drift_y_mm_per_week = sqrt(d->yy);
    t->p_drift = d->p;
    t->drift_significant = d->shows;
}

static enum tiptrue_status fill_edges(struct tiptrue_trend *trend, const struct tt_changes *c)
{
    const struct tt_values *v = &c->values;

    trend->edges = TT_ARENA_NEW(&trend->arena, v->edges, struct tt_trend_edge);
    for (size_t i = 0; trend->edges != NULL && i < v->edges; i++) {
        struct tt_trend_edge *edge = &trend->edges[trend->n_edges++];
        const char *name = v->series->edge_names[i];
        edge->name = tt_arena_copy(&trend->arena, name);
        if (edge->name == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        edge->drifts = c->edge_drift[i].there;
        edge->drift_mm_per_week = c->edge_drift[i].x;
        edge->u_drift_mm_per_week = sqrt(c->edge_drift[i].xx);
        for (size_t run = 0; run < v->n; run++) {
            for (size_t k = 0; k < v->run[run]->n_edges && v->plate[run] == 0; k++) {
                const struct tt_series_edge *from = &v->run[run]->edges[k];
                if (from->edge == i) {
                    edge->runs++;
                    edge->last_mm = from->shift_mm;
                    edge->touches += from->touches;
                    edge->late += from->late;
                }
            }
        }
    }
    return trend->edges != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

static void fill_smooth(struct tiptrue_trend *trend, const struct tt_changes *c)
{
    trend->pose_drifts = c->pose_drifts;
    trend->has_season = c->has_season;
    trend->has_temperature = c->has_temperature;
    trend->temperature_x_mm_per_K = c->temperature.x;
    trend->temperature_y_mm_per_K = c->temperature.y;
    trend->u_temperature_x_mm_per_K = sqrt(c->temperature.xx);
    trend->u_temperature_y_mm_per_K = sqrt(c->temperature.yy);
    trend->has_height_temperature = c->height_temperature.there;
    trend->height_mm_per_K = c->height_temperature.x;
    trend->u_height_mm_per_K = sqrt(c->height_temperature.xx);
    for (size_t tip = 0; tip < trend->n_tips; tip++) {
        fill_drift(&trend->tips[tip], &c->drift[tip]);
        if (trend->tips[tip].n_points > 0 && c->problem != NULL) {
            tt_trend_forecast(c, tip, &trend->tips[tip]);
        }
    }
}

static enum tiptrue_status fill_plates(struct tiptrue_trend *trend, const struct tt_changes *c)
{
    const struct tt_values *v = &c->values;

    trend->plates = TT_ARENA_NEW(&trend->arena, v->n_plates, struct tt_trend_plate);
    if (trend->plates == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < v->n_plates; i++) { /* that of the first run first */
        struct tt_trend_plate *plate = &trend->plates[trend->n_plates++];
        size_t at = v->n_plates - 1 - i;
        plate->name = tt_arena_copy(&trend->arena, v->plates[at]);
        if (plate->name == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        for (size_t run = 0; run < c->values.n; run++) {
            plate->runs += v->plate[run] == at && tt_values_uses(v->run[run]);
        }
    }
    return TIPTRUE_OK;
}

static void count_runs(struct tiptrue_trend *trend, const struct tt_series *series, size_t stored)
{
    trend->runs_stored = stored;
    trend->runs = series->n_runs;
    for (size_t i = 0; i < series->n_runs; i++) {
        trend->runs_left_out += !tt_values_uses(&series->runs[i]);
        trend->times_missing += !series->runs[i].time_stated;
    }
    if (series->n_runs > 0) {
        trend->first_s = series->runs[0].time_s;
        trend->last_s = series->runs[series->n_runs - 1].time_s;
    }
}

/* What changed, and what does not stand still. */
static enum tiptrue_status fill_found(struct tiptrue_trend *trend, const struct tt_series *series,
                                      const struct tt_changes *changes)
{
    enum tiptrue_status status = tt_trend_name_changes(trend, changes);

    status = status == TIPTRUE_OK ? tt_machine_events(trend, series) : status;
    status = status == TIPTRUE_OK ? fill_edges(trend, changes) : status;
    status = status == TIPTRUE_OK ? tt_trend_tracks(trend, series) : status;
    if (status == TIPTRUE_OK) {
        fill_smooth(trend, changes);
    }
    return status;
}

static enum tiptrue_status fill(struct tiptrue_trend *trend, const struct tt_series *series,
                                size_t stored, size_t baseline_runs, struct tt_arena *work)
{
    struct tt_changes changes;
    enum tiptrue_status status = tt_changes_find(&changes, series, work);

    if (status != TIPTRUE_OK) {
        return status;
    }
    count_runs(trend, series, stored);
    trend->machine = tt_arena_copy(&trend->arena, series->machine);
    trend->tips = TT_ARENA_NEW(&trend->arena, changes.values.tips, struct tt_trend_tip);
    if (trend->tips == NULL || (series->machine != NULL && trend->machine == NULL)) {
        return TIPTRUE_E_MEMORY;
    }
    trend->n_tips = changes.values.tips;
    trend->baseline_runs = baseline_runs;
    trend->shown_tip = TT_NONE;
    tt_values_digest(&changes.values, trend->between_of);
    status = all_between(&changes, &trend->between);
    if (status == TIPTRUE_OK && changes.values.n > 0) {
        status = fill_plates(trend, &changes);
    }
    for (size_t tip = 0; tip < changes.values.tips && status == TIPTRUE_OK; tip++) {
        status = fill_points(trend, &changes, tip);
        status = status == TIPTRUE_OK ? tt_trend_height(trend, &changes, tip) : status;
        if (status == TIPTRUE_OK) {
            status = tt_trend_judge_points(trend, &changes, tip, baseline_runs);
        }
    }
    if (status == TIPTRUE_OK && changes.values.n > 0) {
        status = fill_found(trend, series, &changes);
    }
    return status == TIPTRUE_OK ? tt_trend_events(trend, series) : status;
}

enum tiptrue_status tt_trend_make(const struct tt_series *series, size_t stored,
                                  const struct tiptrue_trend_options *options,
                                  struct tiptrue_trend **trend, struct tiptrue_error *error)
{
    struct tiptrue_trend *made = calloc(1, sizeof *made);
    struct tt_arena work = {0};
    enum tiptrue_status status;

    if (made == NULL) {
        return tt_fail_memory(error);
    }
    status = fill(made, series, stored,
                  options->baseline_runs > 0 ? options->baseline_runs : DEFAULT_BASELINE, &work);
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
        tt_arena_clear(&trend->between.arena);
        tt_arena_clear(&trend->arena);
        free(trend);
    }
}
