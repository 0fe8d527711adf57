/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the search for changes reckons with, to seven digits, for a history with each kind of
 * change: scales, autocorrelations, prices, criteria, probabilities, weights, forecasts, tracks.
 * evidence.txt beside this file holds them; no result shows most of them, and a prior or a price
 * that is off by a per cent changes little else. Whether they are right, the other tests of this
 * folder and the simulations ask. When they are meant to change: recorded.h. */
#include "config.h"

#include "history/series/changes_parts.h"
#include "history/series/search.h"
#include "history/series/tracks.h"
#include "history/series/trend.h"
#include "history/weeks.h"
#include "output/drawings.h"
#include "output/text/sentences.h"
#include "recorded.h"

enum { EDGES = 5, RUNS = 41, AT = 23, FILMED = 15, MIXED = 40 };
#define FILM_MM (-0.021)
#define LOST_MM 0.014

/* What happens in the weeks of each case; a bit each. */
enum {
    CAMERA = 1 << 0, /* at run AT, unless another one is said */
    SEAT = 1 << 1,
    BENT = 1 << 2,
    POSE = 1 << 3,
    FILM = 1 << 4,
    LOST_MOTION = 1 << 5,
    HEIGHTS = 1 << 6, /* are there, and all move */
    DRIFT = 1 << 7,   /* of the last tip */
    WEAR = 1 << 8,
    PLATES = 1 << 9, /* another one from run 30 on */
    WARMTH = 1 << 10,
    SWING = 1 << 11,   /* of ten weeks */
    LATEST = 1 << 12,  /* the last run is off */
    APART = 1 << 13,   /* runs 9 and 10 are */
    WANDERS = 1 << 14, /* runs correlate */
    NOISY =
        1 << 15,   /* runs 12 to 20 repeat worse, edge 1 triggers late oftener from week to week */
    FEW = 1 << 16, /* runs: six */
    SMALL = 1 << 18, /* half the step, and few runs */
    RAMP = 1 << 19,  /* of the first tip, over runs 14 to 26 */
    BOTH = 1 << 20,  /* besides, the second tip moves at AT */
    GAPS = 1 << 17   /* the first tip is in every second run, no run knows the second's radius */
};

static const int CASES[] = {0,
                            CAMERA,
                            CAMERA | POSE,
                            SEAT | WARMTH,
                            BENT | HEIGHTS,
                            POSE | PLATES,
                            FILM | SEAT,
                            LOST_MOTION | WANDERS,
                            HEIGHTS | DRIFT,
                            DRIFT | SEAT,
                            WEAR | APART,
                            PLATES | WARMTH | SEAT,
                            WARMTH | HEIGHTS,
                            SWING | CAMERA,
                            LATEST | WANDERS,
                            LATEST | HEIGHTS | APART,
                            NOISY | FILM,
                            FEW | DRIFT,
                            GAPS | CAMERA | HEIGHTS,
                            SMALL | CAMERA,
                            SMALL | SEAT | DRIFT,
                            SMALL | SEAT | POSE,
                            SMALL | HEIGHTS | BENT,
                            RAMP,
                            RAMP | WANDERS,
                            CAMERA | BOTH,
                            SEAT | BOTH,
                            HEIGHTS | POSE | BOTH,
                            SMALL | BOTH | CAMERA};

/* What happens is so many times as large as it says here. */
static double times = 1;

static struct weeks weeks_of(int what)
{
    bool stepped = (what & (CAMERA | SEAT | BENT)) != 0;

    return (struct weeks){.tips = 3,
                          .runs = what & FEW     ? 6
                                  : what & SMALL ? 30
                                                 : RUNS,
                          .between_mm = 0.003,
                          .sighting_mm = 0.002,
                          .touch_mm = 0.00065,
                          .correlation = what & WANDERS ? 0.5 : 0,
                          .from = stepped || what & POSE ? AT : 0,
                          .all = (what & CAMERA) != 0,
                          .pose = (what & POSE) != 0,
                          .step_x_mm = (stepped ? 0.014 * times : 0) * (what & SMALL ? 0.5 : 1),
                          .step_y_mm = stepped ? -0.009 * times : 0,
                          .runout_step_mm = what & BENT ? 0.007 * times : 0,
                          .mark_step_mm = what & POSE ? 0.031 * times : 0,
                          .drift_mm_per_week = what & DRIFT ? 0.0023 * times : 0,
                          .wear_mm_per_week = what & WEAR ? 0.0007 * times : 0,
                          .permitted_mm = what & DRIFT ? 0.025 : 0};
}

/* How the solution answers to its edges; the last one: to lost motion, which is as if each edge lay
 * elsewhere by half of it times n_x^2 - n_y^2 of its normal (geometry/touch.c). */
static void fill_response(struct tt_series *series)
{
    static const char *const NAMES[EDGES] = {"n0", "n1", "n2", "n3", "n4"};
    struct tt_series_response *all =
                                  TT_ARENA_NEW(series->arena, EDGES + 1, struct tt_series_response),
                              *lost = &all[EDGES];

    for (size_t k = 0; k <= EDGES; k++) {
        all[k].offset = TT_ARENA_NEW(series->arena, series->n_tip_names, struct tt_machine_xy);
        all[k].radius = TT_ARENA_NEW(series->arena, series->n_tip_names, double);
        all[k].edge = TT_ARENA_NEW(series->arena, EDGES, double);
    }
    for (size_t k = 0; k < EDGES; k++) {
        double turn = 1.27 * (double)k + 0.3, of_edge = 0.5 * cos(2 * turn);
        ck_assert_uint_eq(tt_series_edge_index(series, NAMES[k]), k);
        for (size_t tip = 0; tip < series->n_tip_names; tip++) {
            all[k].offset[tip] = (struct tt_machine_xy){0.31 * cos(turn), 0.34 * sin(turn)};
            all[k].radius[tip] = -0.17 - 0.01 * (double)tip;
            lost->offset[tip].x_mm += of_edge * all[k].offset[tip].x_mm;
            lost->offset[tip].y_mm += of_edge * all[k].offset[tip].y_mm;
            lost->radius[tip] += of_edge * all[k].radius[tip];
        }
        for (size_t i = 0; i < EDGES; i++) {
            all[k].edge[i] = (double)(i == k) - 0.3 * cos(1.27 * ((double)i - (double)k)) - 0.15;
            lost->edge[i] += of_edge * all[k].edge[i];
        }
    }
    series->response = all;
    series->lost_motion = lost;
}

/* The edges of a run: an error @in_mm that goes into the solution by @r; or the film of edge 2, if
 * the run found it itself. */
static void put_edges_of(int what, struct tt_series *series, size_t at, double in_mm,
                         const struct tt_series_response *r, gsl_rng *rng)
{
    struct tt_series_run *run = &series->runs[at];
    bool found = what & FILM && at >= FILMED && at % 3 == 1;

    run->edges = TT_ARENA_NEW(series->arena, EDGES, struct tt_series_edge);
    run->n_edges = EDGES;
    for (size_t i = 0; i < EDGES; i++) {
        double late = what & NOISY && i == 1 ? 0.4 * (double)at / RUNS : 0.02;
        bool freed = found && i == 2;
        run->edges[i] = (struct tt_series_edge){.edge = i,
                                                .shift_mm = gsl_ran_gaussian(rng, 0.0004) +
                                                            (freed ? FILM_MM : in_mm * r->edge[i]),
                                                .u_shift_mm = 0.004,
                                                .touches = 12,
                                                .late = gsl_ran_binomial(rng, late, 12),
                                                .freed = freed};
    }
    for (size_t k = 0; k < run->n_tips; k++) {
        run->tips[k].offset.x_mm += in_mm * r->offset[k].x_mm;
        run->tips[k].offset.y_mm += in_mm * r->offset[k].y_mm;
        run->tips[k].radius_mm += in_mm * r->radius[k];
        run->tips[k].doubted = found;
        run->tips[k].verdict = found ? TIPTRUE_REPEAT : run->tips[k].verdict;
    }
}

/* Every third run finds itself what its edges or its axes do. */
static void put_edges(int what, struct tt_series *series, gsl_rng *rng)
{
    fill_response(series);
    for (size_t at = 0; at < series->n_runs; at++) {
        bool lost = what & LOST_MOTION && at >= AT, filmed = what & FILM && at >= FILMED,
             found = at % 3 == 1;
        double in_mm = found ? 0 : lost ? LOST_MM * times : filmed ? FILM_MM * times : 0;
        series->runs[at].lost_motion_mm = lost && found ? LOST_MM : 0;
        put_edges_of(what, series, at, in_mm, &series->response[lost ? EDGES : 2], rng);
    }
}

static void put_height(int what, size_t at, size_t k, gsl_rng *rng, struct tt_series_tip *tip)
{
    tip->has_height = true;
    tip->height_mm = -20.7 + 1.16 * (double)k + gsl_ran_gaussian(rng, 8e-4) +
                     (at >= AT ? 0.0118 * times : 0) +
                     (what & DRIFT && k == 1 ? 0.0011 * times * (double)weeks_day(at) / 7 : 0);
    tip->u_height_mm = 9e-4;
    tip->common_u_height_mm = 4e-4;
    tip->has_present_height = tip->has_permitted_height = what & DRIFT;
    tip->present_height_mm = -20.7 + 1.16 * (double)k;
    tip->permitted_height_mm = 0.02;
}

/* What else happens to a run and its tips. */
static void put_rest(int what, struct tt_series *series, gsl_rng *rng)
{
    for (size_t at = 0; at < series->n_runs; at++) {
        struct tt_series_run *run = &series->runs[at];
        double warm = 1.7 * sin(0.37 * (double)at),
               off_mm = (what & WARMTH ? 0.0021 * warm : 0) +
                        (what & SWING ? 0.008 * sin(2 * TT_PI * (double)weeks_day(at) / 35) : 0) +
                        (what & LATEST && at + 1 == series->n_runs ? 0.022 * times : 0) +
                        (what & APART && (at == 9 || at == 10) ? -0.026 * times : 0);
        run->has_temperature = what & WARMTH;
        run->temperature_C = 21.4 + warm;
        run->own_touch_dof = 33.4;
        run->own_touch_mm = 0.0027 * sqrt(gsl_ran_chisq(rng, 33.4) / 33.4) *
                            (what & NOISY && at >= 12 && at < 21 ? 1.9 : 1);
        run->own_sighting_dof = 7.2;
        run->own_sighting_mm = 0.0016 * sqrt(gsl_ran_chisq(rng, 7.2) / 7.2);
        if (what & PLATES && at >= 30) {
            run->plate = "another";
            run->mark.x_mm += 3.1;
            off_mm += 0.011;
        }
        for (size_t k = 0; k < run->n_tips; k++) {
            run->tips[k].offset.x_mm += off_mm;
            run->tips[k].offset.y_mm -= 0.7 * off_mm;
            if (what & HEIGHTS) {
                put_height(what, at, k, rng, &run->tips[k]);
            }
        }
        run->tips[0].offset.x_mm +=
            what & RAMP ? 0.011 * times * fmin(fmax((double)at - 14, 0) / 12, 1) : 0;
        run->tips[1].offset.x_mm -= what & BOTH && at >= AT ? 0.012 * times : 0;
        run->tips[1].offset.y_mm += what & BOTH && at >= AT ? 0.007 * times : 0;
        run->tips[0].has_offset = !(what & GAPS) || at % 2 == 0;
        run->tips[1].has_radius = !(what & GAPS);
    }
}

static void put_moved(struct tt_buffer *to, const char *name, const struct tt_moved_by *m)
{
    if (m->there) {
        tt_buffer_printf(to, " %s", name);
        recorded_put(to, m->x);
        recorded_put(to, m->y);
        recorded_put(to, 1e6 * m->xx);
        recorded_put(to, 1e6 * m->xy);
        recorded_put(to, 1e6 * m->yy);
    }
}

static void put_change(struct tt_buffer *to, const struct tt_change *c)
{
    tt_buffer_printf(to, "change %d of %zd from %zu to %zu, %zu to %zu%s%s,", (int)c->what,
                     (ssize_t)c->who, c->from, c->to, c->first, c->last, c->plate ? ", plate" : "",
                     c->drift_alike ? ", drift alike" : "");
    recorded_put(to, c->log_p);
    recorded_put(to, c->weight);
    put_moved(to, "offset", &c->offset);
    put_moved(to, "runout", &c->runout);
    put_moved(to, "radius", &c->radius);
    put_moved(to, "mark", &c->mark);
    put_moved(to, "yaw", &c->yaw);
    put_moved(to, "height", &c->height);
    put_moved(to, "edge", &c->edge);
    tt_buffer_putc(to, '\n');
}

static void put_scales(struct tt_buffer *to, const struct tt_values *v,
                       const struct tt_series_noise *noise)
{
    tt_buffer_printf(to, "noise");
    for (int k = 0; k < TT_CLASSES; k++) {
        recorded_put(to, noise->phi[k]);
        recorded_put(to, noise->nu[k]);
    }
    tt_buffer_printf(to, "\nbetween");
    for (size_t k = 0; k < v->p; k++) {
        recorded_put(to, 1e6 * noise->between[k]);
    }
    for (size_t axis = 0; axis < v->axes; axis++) {
        recorded_put(to, 1e6 * noise->shared[axis]);
    }
    tt_buffer_putc(to, '\n');
}

/* Scales, from differences and from residuals, and prices. */
static void put_noise(struct tt_buffer *to, const struct tt_changes *c)
{
    struct tt_series_noise first;

    if (c->problem != NULL) {
        first.between = TT_ARENA_NEW(c->arena, c->values.p, double);
        ck_assert_int_eq(tt_noise_from_differences(&first, &c->values, c->arena), TIPTRUE_OK);
        put_scales(to, &c->values, &first);
    }
    put_scales(to, &c->values, &c->noise);
    tt_buffer_printf(to, "period");
    recorded_put(to, c->values.period_weeks);
    for (size_t h = 0; c->problem != NULL && h < c->problem->n_hypotheses; h++) {
        const struct tt_hypothesis_of *of = &c->problem->hypothesis[h];
        tt_buffer_printf(to, "\nprices %d", (int)of->what);
        recorded_put(to, of->nu);
        recorded_put(to, of->price);
        recorded_put(to, of->price_same);
        recorded_put(to, of->price_one_look);
        recorded_put(to, of->price_drift);
        recorded_put(to, of->price_temperature);
        recorded_put(to, of->price_season);
    }
    if (c->problem != NULL) {
        tt_buffer_printf(to, "\nplate");
        recorded_put(to, c->problem->looks);
        recorded_put(to, c->problem->plate);
        recorded_put(to, c->problem->plate_same);
        recorded_put(to, c->problem->plate_one_look);
        recorded_put(to, c->problem->more_places[1]);
        recorded_put(to, c->problem->more_places[3]);
        tt_buffer_printf(to, "\nfit");
        recorded_put(to, c->fit.rss);
        recorded_put(to, tt_events_criterion(&c->fit));
    }
    tt_buffer_putc(to, '\n');
}

static void put_drift(struct tt_buffer *to, const char *name, const struct tt_tip_drift *d)
{
    tt_buffer_printf(to, "%s %d%d%d", name, d->known, d->shows, d->step_alike);
    recorded_put(to, d->x);
    recorded_put(to, d->y);
    recorded_put(to, 1e6 * d->xx);
    recorded_put(to, 1e6 * d->xy);
    recorded_put(to, 1e6 * d->yy);
    recorded_put(to, d->p);
    tt_buffer_putc(to, '\n');
}

static void put_changes(struct tt_buffer *to, const struct tt_series *series)
{
    struct tt_arena arena = {0};
    struct tt_changes c;

    ck_assert_int_eq(tt_changes_find(&c, series, &arena), TIPTRUE_OK);
    put_noise(to, &c);
    for (size_t i = 0; i < c.n_changes; i++) {
        put_change(to, &c.change[i]);
    }
    for (size_t tip = 0; tip < c.values.tips; tip++) {
        put_drift(to, "drift", &c.drift[tip]);
        put_drift(to, c.wears[tip] ? "height, wears" : "height", &c.height_drift[tip]);
    }
    for (size_t edge = 0; edge < c.values.edges; edge++) {
        put_moved(to, "edge drift", &c.edge_drift[edge]);
    }
    put_moved(to, "temperature", &c.temperature);
    put_moved(to, "height temperature", &c.height_temperature);
    tt_buffer_printf(to, "latest %d%d\n", c.latest.judged, c.latest.differs);
    if (c.latest.judged) {
        put_change(to, &c.latest.change);
    }
    for (size_t i = 0; i < c.n_rivals; i++) {
        struct tt_prediction *p = &c.rival[2 * i * c.values.tips];
        struct tt_moved_by at = tt_prediction_at(p, c.values.weeks[c.values.n - 1] + 1.7);
        at.there = true;
        tt_buffer_printf(to, "rival");
        recorded_put(to, c.rival_weight[i]);
        put_moved(to, "", &at);
        tt_buffer_putc(to, '\n');
    }
    tt_arena_clear(&arena);
}

static void put_forecast(struct tt_buffer *to, const struct tt_forecast *f)
{
    const double start_s = WEEKS_START_S;

    tt_buffer_printf(to, " forecast %d%d%d%d%d", (int)f->state, f->over_now, f->from_present,
                     f->has_from, f->has_to);
    recorded_put(to, f->state == TT_FORECAST_DATE ? (f->date_s - start_s) / 86400 : 0);
    recorded_put(to, f->has_from ? (f->from_s - start_s) / 86400 : 0);
    recorded_put(to, f->has_to ? (f->to_s - start_s) / 86400 : 0);
}

static void put_tip(struct tt_buffer *to, const struct tt_trend_tip *t)
{
    tt_buffer_printf(to, "tip");
    recorded_put(to, 1e3 * t->within_u_x_mm);
    recorded_put(to, 1e3 * t->between.x_mm);
    recorded_put(to, 1e3 * t->between.u_y_mm);
    recorded_put(to, t->between.dof_x);
    put_forecast(to, &t->forecast);
    if (t->height.n_points > 0) {
        recorded_put(to, 1e3 * t->height.within_u_mm);
        recorded_put(to, 1e3 * t->height.between_mm);
        recorded_put(to, 1e3 * t->height.u_between_mm);
        put_forecast(to, &t->height.forecast);
    }
    tt_buffer_printf(to, "\nsignals %zu:", t->baseline_runs);
    for (size_t i = 0; i < t->n_signals; i++) {
        const struct tt_signal *s = &t->signals[i];
        tt_buffer_printf(to, " %zu/%d/%d/%zu", s->point, (int)s->chart, s->axis, s->runs);
        recorded_put(to, 1e3 * s->off_mm);
    }
    const struct tt_trend_point *last = &t->points[t->n_points - 1];
    tt_buffer_printf(to, "\nlimits");
    recorded_put(to, 1e3 * last->limit_x_mm);
    recorded_put(to, 1e3 * last->ewma_limit_y_mm);
    recorded_put(to, 1e3 * (last->ewma.x_mm - last->centre.x_mm));
    recorded_put(to, last->t2);
    recorded_put(to, last->t2_limit);
    tt_buffer_putc(to, '\n');
}

static void put_trend(struct tt_buffer *to, const struct tt_series *series)
{
    static const struct tiptrue_trend_options OPTIONS = {.baseline_runs = 12};
    struct tiptrue_trend *trend = NULL;

    ck_assert_int_eq(tt_trend_make(series, series->n_runs, &OPTIONS, &trend, NULL), TIPTRUE_OK);
    for (size_t i = 0; i < trend->n_tips; i++) {
        put_tip(to, &trend->tips[i]);
    }
    for (size_t i = 0; i < trend->n_changes; i++) {
        const struct tt_trend_change *c = &trend->changes[i];
        tt_buffer_printf(to, "told %d/%d %d%d%d", (int)c->code, (int)c->moved, c->runout_shows,
                         c->radius_shows, c->yaw_shows);
        recorded_put(to, c->confidence);
        recorded_put(to, c->attribution);
        recorded_put(to, (c->after_s - WEEKS_START_S) / 86400);
        recorded_put(to, (c->before_s - WEEKS_START_S) / 86400);
        const double numbers[] = {
            c->shift.x_mm,        c->u_shift_x_mm,        c->shift.y_mm,
            c->u_shift_y_mm,      c->runout_shift.x_mm,   c->u_runout_shift_x_mm,
            c->runout_shift.y_mm, c->u_runout_shift_y_mm, c->radius_shift_mm,
            c->u_radius_shift_mm, c->mark_shift.x_mm,     c->u_mark_shift_x_mm,
            c->mark_shift.y_mm,   c->u_mark_shift_y_mm,   c->yaw_shift_rad,
            c->edge_shift_mm,     c->u_edge_shift_mm,     c->height_shift_mm,
            c->u_height_shift_mm};
        for (size_t n = 0; n < sizeof numbers / sizeof numbers[0]; n++) {
            recorded_put(to, 1e3 * numbers[n]);
        }
        tt_buffer_putc(to, '\n');
    }
    const double numbers[] = {trend->pose_drifts,
                              trend->has_season,
                              trend->has_temperature,
                              1e3 * trend->temperature_x_mm_per_K,
                              1e3 * trend->temperature_y_mm_per_K,
                              1e3 * trend->u_temperature_x_mm_per_K,
                              1e3 * trend->u_temperature_y_mm_per_K,
                              1e3 * trend->height_mm_per_K,
                              1e3 * trend->u_height_mm_per_K};
    tt_buffer_printf(to, "trend");
    for (size_t n = 0; n < sizeof numbers / sizeof numbers[0]; n++) {
        recorded_put(to, numbers[n]);
    }
    for (size_t i = 0; i < trend->n_edges; i++) {
        recorded_put(to, 1e3 * trend->edges[i].last_mm);
        recorded_put(to, 1e3 * trend->edges[i].drift_mm_per_week);
        recorded_put(to, 1e3 * trend->edges[i].u_drift_mm_per_week);
    }
    tt_buffer_putc(to, '\n');
    for (size_t i = 0; i < trend->n_tracks; i++) {
        const struct tt_trend_track *t = &trend->tracks[i];
        tt_buffer_printf(to, "track %d", (int)t->kind);
        recorded_put(to, t->value);
        for (size_t k = 0; k < t->n_events; k++) {
            tt_buffer_printf(to, " %d/%zu", (int)t->events[k].code, t->events[k].runs);
            recorded_put(to, t->events[k].value);
            recorded_put(to, t->events[k].otherwise);
            recorded_put(to, log(t->events[k].p));
        }
        tt_buffer_putc(to, '\n');
    }
    tiptrue_trend_free(trend);
}

/* The steps of the machine's own numbers that are told, in a history of @runs with a step of @size
 * of each at run 13. */
static size_t steps_told(size_t runs, double size, double u)
{
    struct weeks w = {.tips = 1, .runs = runs, .between_mm = 0.003, .touch_mm = 0.001};
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    struct tiptrue_trend trend = {0};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    gsl_rng_set(rng, 77);
    weeks_draw(&w, rng, &series);
    for (size_t i = 0; i < series.n_runs; i++) {
        struct tt_series_run *run = &series.runs[i];
        for (int k = 0; k < TT_SERIES_NUMBERS; k++) {
            bool of_scale = k <= TT_SERIES_SCALE_Y;
            double one = of_scale ? 0.0173 : 1;
            run->machine[k] = (of_scale ? one : 0) + one * (i >= 13 ? size : 0) +
                              one * gsl_ran_gaussian(rng, 1e-4);
            run->u_machine[k] = one * u;
        }
        run->marks = 3;
    }
    ck_assert_int_eq(tt_machine_events(&trend, &series), TIPTRUE_OK);
    size_t told = trend.n_events;
    tt_arena_clear(&trend.arena);
    gsl_rng_free(rng);
    tt_arena_clear(&arena);
    return told;
}

/* The size of steps at which the first, the third and the fifth of the machine's numbers is told:
 * where their u says less than they scatter by, more, and of the last run. */
static void put_steps(struct tt_buffer *to)
{
    static const struct {
        size_t runs;
        double u;
    } HISTORIES[] = {{20, 1e-5}, {20, 3e-4}, {14, 2e-4}};

    for (size_t k = 0; k < sizeof HISTORIES / sizeof HISTORIES[0]; k++) {
        tt_buffer_printf(to, "case steps of the machine %zu:", k);
        for (size_t n = 1; n <= 5; n += 2) {
            double low = 0, high = 0.01;
            while (high - low > 1e-7) {
                double middle = 0.5 * (low + high);
                bool on = steps_told(HISTORIES[k].runs, middle, HISTORIES[k].u) >= n;
                low = on ? low : middle;
                high = on ? middle : high;
            }
            recorded_put(to, 1e3 * high);
        }
        tt_buffer_putc(to, '\n');
    }
}

/* A step of the camera's turn beside one of the offsets: of all tips, or of the only one. */
START_TEST(a_camera_that_turned_with_the_offsets)
{
    static const struct {
        size_t tips, tip, from; /* of the trend; that moved; at which run */
        bool with;
    } STEPS[] = {{1, 0, 13, true},
                 {2, 0, 13, false},
                 {2, TT_NONE, 13, true},
                 {2, TT_NONE, 12, false},
                 {2, TT_NONE, 14, false}};

    for (size_t k = 0; k < sizeof STEPS / sizeof STEPS[0]; k++) {
        struct weeks w = {.tips = STEPS[k].tips, .runs = 20, .touch_mm = 0.001};
        struct tt_arena arena = {0};
        struct tt_series series = {.arena = &arena};
        gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
        gsl_rng_set(rng, 5);
        weeks_draw(&w, rng, &series);
        for (size_t i = 0; i < series.n_runs; i++) {
            series.runs[i].machine[TT_SERIES_TURN] = 0.02 + (i >= 13 ? 0.005 : 0);
            series.runs[i].u_machine[TT_SERIES_TURN] = 1e-4;
        }
        struct tt_trend_change change = {.tip = STEPS[k].tip,
                                         .has_shift = true,
                                         .after_s = series.runs[STEPS[k].from - 1].time_s,
                                         .before_s = series.runs[STEPS[k].from].time_s};
        struct tiptrue_trend trend = {.n_tips = STEPS[k].tips, .changes = &change, .n_changes = 1};
        ck_assert_int_eq(tt_machine_events(&trend, &series), TIPTRUE_OK);
        ck_assert_uint_eq(trend.n_events, 1);
        ck_assert_int_eq(trend.events[0].code, TT_EVENT_CAMERA_TURNED);
        ck_assert_double_eq_tol(trend.events[0].change, 0.005, 1e-12);
        ck_assert_msg(trend.events[0].with_offsets == STEPS[k].with, "case %zu", k);
        tt_arena_clear(&trend.arena);
        gsl_rng_free(rng);
        tt_arena_clear(&arena);
    }
}
END_TEST

/* What is written and drawn of them. */
static void say(const struct tt_series *series, size_t k, struct tt_buffer *to)
{
    static const struct tiptrue_trend_options OPTIONS = {.baseline_runs = 12};
    struct tiptrue_text_options options = {.utf8 = k % 3 > 0,
                                           .observations = k % 10 == 0,
                                           .charts = k % 4 == 0,
                                           .columns = 80,
                                           .rows = 40,
                                           .units =
                                               k % 5 == 4 ? TIPTRUE_UNITS_INCH : TIPTRUE_UNITS_MM};
    struct tiptrue_trend *trend = NULL;
    struct tiptrue_report *report = NULL;
    char *text = NULL;

    ck_assert_int_eq(tt_trend_make(series, series->n_runs, &OPTIONS, &trend, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_trend_say_changes(trend), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_trend_text(trend, false, &options, &text, NULL, NULL), TIPTRUE_OK);
    tt_buffer_puts(to, text);
    free(text);
    if (k % 10 == 3) {
        ck_assert_int_eq(tiptrue_trend_text(trend, true, &options, &text, NULL, NULL), TIPTRUE_OK);
        for (char *at = strtok(text, "{"); at != NULL; at = strtok(NULL, "{")) {
            tt_buffer_printf(to, "{%s\n", at);
        }
        free(text);
    }
    ck_assert_int_eq(tiptrue_report_new(NULL, &report, NULL), TIPTRUE_OK);
    tiptrue_report_units(report, options.units);
    ck_assert_int_eq(tiptrue_report_add_trend(report, trend, NULL), TIPTRUE_OK);
    drawn_put_all(to, report);
    tiptrue_report_free(report);
    tiptrue_trend_free(trend);
}

/* Weeks in which @what happens, into @to; what is said of them into @said, unless NULL. */
static void judge(int what, unsigned long seed, struct tt_buffer *to, struct tt_buffer *said)
{
    struct weeks w = weeks_of(what);
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    gsl_rng_set(rng, seed);
    weeks_draw(&w, rng, &series);
    put_edges(what, &series, rng);
    put_rest(what, &series, rng);
    tt_series_sort(&series);
    put_changes(to, &series);
    put_trend(to, &series);
    if (said != NULL) {
        say(&series, seed, said);
    }
    gsl_rng_free(rng);
    tt_arena_clear(&arena);
}

START_TEST(as_before)
{
    struct tt_buffer found = {0};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        tt_buffer_printf(&found, "case %zu\n", k);
        judge(CASES[k], 271 + k, &found, NULL);
    }
    put_steps(&found);
    recorded_compare(&found, "tests/unit/history/evidence.txt", 0.1);
    tt_buffer_clear(&found);
}
END_TEST

/* Several changes of any size, and what is said of them. */
START_TEST(mixed_as_before)
{
    struct tt_buffer found = {0}, said = {0};
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);

    for (size_t k = 0; k < MIXED; k++) {
        int what = (int)(gsl_rng_get(random) & gsl_rng_get(random)) & (BOTH * 2 - 1);
        what &= k % 3 > 0 ? ~FEW : what;
        times = 0.2 + 1.1 * gsl_rng_uniform(random);
        tt_buffer_printf(&found, "case mixed %zu, %d\n", k, what);
        tt_buffer_printf(&said, "case mixed %zu, %d\n", k, what);
        judge(what, 2000 + k, &found, k % 3 > 0 ? &said : NULL);
    }
    recorded_compare_by(&found, "tests/unit/history/mixed.txt",
                        (struct recorded_rule){2e-4, 0.1, false});
    recorded_compare_by(&said, "tests/unit/history/said.txt",
                        (struct recorded_rule){2e-4, 1, true});
    tt_buffer_clear(&found);
    tt_buffer_clear(&said);
    gsl_rng_free(random);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/evidence");
    TCase *tcase = tcase_create("evidence");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, as_before);
    tcase_add_test(tcase, mixed_as_before);
    tcase_add_test(tcase, a_camera_that_turned_with_the_offsets);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
