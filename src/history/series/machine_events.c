/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A number begins a new level where it lies further from the weighted mean of the level so far than
 * chance takes it, and the next run that tells it agrees; one that nobody confirms is an outlier,
 * but for the last run. How runs scatter is the larger one of their own u and of what the
 * differences of neighbours show, by their median, which a step or two do not touch. */
#include "config.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#include "history/series/trend.h"

/* Standard deviations of a step, and of the run that confirms it: with 5, one of a million runs
 * begins a level without cause. */
#define STEP_SHOWN 5.0
#define STEP_CONFIRMED 3.0
/* Median of the difference of two normal deviates, in their standard deviation. */
#define MEDIAN_OF_DIFFERENCES 0.954
/* Fewer differences than this say nothing of the scatter. */
#define LEAST_DIFFERENCES 6

/* One number over the runs that tell it. */
struct track {
    const struct tt_series *series;
    size_t *run; /* of the series */
    double *value, *u, *sorted;
    size_t n;
    double scatter;
    size_t *step; /* of n: where a level begins; at first the first */
    double *before, *after;
    size_t n_steps;
};

struct level {
    double weight, mean;
};

static void add_to(struct level *level, double value, double u)
{
    double w = 1 / (u * u);

    level->mean = (level->weight * level->mean + w * value) / (level->weight + w);
    level->weight += w;
}

static double u_of(const struct track *t, size_t i)
{
    return fmax(t->u[i], t->scatter);
}

/* How many standard deviations value @i lies from @level. */
static double apart(const struct track *t, size_t i, const struct level *level)
{
    double u = u_of(t, i);
    return (t->value[i] - level->mean) / sqrt(u * u + 1 / level->weight);
}

static void find_scatter(struct track *t)
{
    size_t n = 0;

    t->scatter = 0;
    for (size_t i = 1; i < t->n; i++) {
        t->sorted[n++] = fabs(t->value[i] - t->value[i - 1]);
    }
    if (n >= LEAST_DIFFERENCES) {
        gsl_sort(t->sorted, 1, n);
        t->scatter = t->sorted[n / 2] / MEDIAN_OF_DIFFERENCES;
    }
}

static void find_steps(struct track *t)
{
    struct level level = {0, 0};

    find_scatter(t);
    t->n_steps = 0;
    for (size_t i = 0; i < t->n; i++) {
        double off = level.weight > 0 ? apart(t, i, &level) : 0;
        bool shown = fabs(off) > STEP_SHOWN, last = i + 1 == t->n;
        bool confirmed =
            shown && (last || apart(t, i + 1, &level) * (off > 0 ? 1 : -1) > STEP_CONFIRMED);
        if (confirmed) {
            t->before[t->n_steps] = level.mean;
            t->step[t->n_steps++] = i;
            level = (struct level){0, 0};
        } else if (shown) {
            continue;
        }
        add_to(&level, t->value[i], u_of(t, i));
        if (t->n_steps > 0) {
            t->after[t->n_steps - 1] = level.mean;
        }
    }
}

/* ---- the numbers ---- */

static void put(struct track *t, size_t run, double value, double u)
{
    t->run[t->n] = run;
    t->value[t->n] = value;
    t->u[t->n++] = u;
}

/* ln of the picture's mean scale: a step of it is a share. */
static void take_scale(struct track *t)
{
    t->n = 0;
    for (size_t i = 0; i < t->series->n_runs; i++) {
        const struct tt_series_run *run = &t->series->runs[i];
        const double *m = run->machine, *u = run->u_machine;
        if (!run->left_out && u[TT_SERIES_SCALE_X] > 0 && u[TT_SERIES_SCALE_Y] > 0) {
            put(t, i, 0.5 * log(m[TT_SERIES_SCALE_X] * m[TT_SERIES_SCALE_Y]),
                0.5 * hypot(u[TT_SERIES_SCALE_X] / m[TT_SERIES_SCALE_X],
                            u[TT_SERIES_SCALE_Y] / m[TT_SERIES_SCALE_Y]));
        }
    }
}

static void take_turn(struct track *t)
{
    t->n = 0;
    for (size_t i = 0; i < t->series->n_runs; i++) {
        const struct tt_series_run *run = &t->series->runs[i];
        if (!run->left_out && run->u_machine[TT_SERIES_TURN] > 0) {
            double last = t->n > 0 ? t->value[t->n - 1] : 0;
            put(t, i, last + remainder(run->machine[TT_SERIES_TURN] - last, 2 * TT_PI),
                run->u_machine[TT_SERIES_TURN]);
        }
    }
}

/* A number of the axes. Runs with marks enough that find nothing wrong have them right, as well as
 * the others know it. */
static void take_axis(struct track *t, enum tt_series_number k)
{
    double worst = 0;

    t->n = 0;
    for (size_t i = 0; i < t->series->n_runs; i++) {
        worst = fmax(worst, t->series->runs[i].u_machine[k]);
    }
    for (size_t i = 0; i < t->series->n_runs && worst > 0; i++) {
        const struct tt_series_run *run = &t->series->runs[i];
        if (!run->left_out && (run->u_machine[k] > 0 || run->marks >= 3)) {
            put(t, i, run->machine[k], run->u_machine[k] > 0 ? run->u_machine[k] : worst);
        }
    }
}

/* ---- the events ---- */

bool tt_trend_add_event(struct tiptrue_trend *trend, const struct tt_trend_event *event)
{
    size_t at = trend->n_events;
    bool good = true;

    if (tt_arena_more(&trend->arena, &trend->events, &trend->n_events, sizeof *event) == NULL) {
        return false;
    }
    for (; at > 0 && trend->events[at - 1].time_s > event->time_s; at--) {
        trend->events[at] = trend->events[at - 1];
    }
    trend->events[at] = *event;
    trend->events[at].id = tt_arena_keep(&trend->arena, event->id, &good);
    trend->events[at].what = tt_arena_keep(&trend->arena, event->what, &good);
    trend->events[at].was = tt_arena_keep(&trend->arena, event->was, &good);
    return good;
}

/* Whether all offsets moved between run @before and run @after of the series. */
static bool offsets_moved(const struct tiptrue_trend *trend, const struct tt_series *series,
                          size_t before, size_t after)
{
    for (size_t i = 0; i < trend->n_changes; i++) {
        const struct tt_trend_change *c = &trend->changes[i];
        if ((c->tip == TT_NONE || trend->n_tips == 1) && c->has_shift &&
            c->before_s > series->runs[before].time_s && c->after_s < series->runs[after].time_s) {
            return true;
        }
    }
    return false;
}

/* A step of a track as an event of the run that it begins with. */
static bool tell(struct tiptrue_trend *trend, const struct track *t, size_t k,
                 struct tt_trend_event event)
{
    size_t at = t->step[k];
    const struct tt_series_run *run = &t->series->runs[t->run[at]],
                               *old = &t->series->runs[t->run[at - 1]];

    event.time_s = run->time_s;
    event.id = run->id;
    event.change = t->after[k] - t->before[k];
    event.with_offsets = offsets_moved(trend, t->series, t->run[at - 1], t->run[at]);
    event.has_temperature = run->has_temperature && old->has_temperature;
    event.temperature_C = run->temperature_C;
    event.before_C = old->temperature_C;
    if (event.code == TT_EVENT_AXES_CHANGED) {
        event.change *= TT_EVENT_BOARD_MM;
    }
    return tt_trend_add_event(trend, &event);
}

/* The steps of a number that was taken. */
static bool tell_steps(struct tiptrue_trend *trend, struct track *t, enum tt_trend_event_code code,
                       size_t axis)
{
    bool good = true;

    find_steps(t);
    for (size_t k = 0; k < t->n_steps && good; k++) {
        good = tell(trend, t, k, (struct tt_trend_event){.code = code, .axis = axis});
    }
    return good;
}

/* The numbers of every run that is used, as they are. */
static bool keep_numbers(struct tiptrue_trend *trend, const struct tt_series *series)
{
    bool good = true;

    trend->machine_runs = TT_ARENA_NEW(&trend->arena, series->n_runs, struct tt_trend_machine);
    for (size_t i = 0; trend->machine_runs != NULL && i < series->n_runs && good; i++) {
        const struct tt_series_run *run = &series->runs[i];
        if (!run->left_out) {
            struct tt_trend_machine *kept = &trend->machine_runs[trend->n_machine_runs++];
            kept->id = tt_arena_copy(&trend->arena, run->id);
            kept->time_s = run->time_s;
            memcpy(kept->value, run->machine, sizeof kept->value);
            memcpy(kept->u, run->u_machine, sizeof kept->u);
            good = run->id == NULL || kept->id != NULL;
        }
    }
    return good && trend->machine_runs != NULL;
}

enum tiptrue_status tt_machine_events(struct tiptrue_trend *trend, const struct tt_series *series)
{
    struct tt_arena work = {0};
    size_t n = series->n_runs;
    double *numbers = TT_ARENA_NEW(&work, 5 * n, double);
    size_t *places = TT_ARENA_NEW(&work, 2 * n, size_t);
    bool good = numbers != NULL && places != NULL && keep_numbers(trend, series);
    struct track t = {.series = series};

    if (good) {
        t = (struct track){series, places, numbers,    numbers + n,     numbers + 2 * n,
                           0,      0,      places + n, numbers + 3 * n, numbers + 4 * n,
                           0};
        for (size_t which = 0; which < 3 && good; which++) {
            take_axis(&t, (enum tt_series_number)(TT_SERIES_AXIS_X + (int)which));
            good = tell_steps(trend, &t, TT_EVENT_AXES_CHANGED, which);
        }
        take_turn(&t);
        good = good && tell_steps(trend, &t, TT_EVENT_CAMERA_TURNED, 0);
        take_scale(&t);
        good = good && tell_steps(trend, &t, TT_EVENT_FOCUS_MOVED, 0);
    }
    tt_arena_clear(&work);
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

enum tiptrue_status tt_trend_events(struct tiptrue_trend *trend, const struct tt_series *series)
{
    const char *plate = NULL;
    bool good = true;

    for (size_t i = 0; i < series->n_runs && good; i++) {
        const struct tt_series_run *run = &series->runs[i];
        struct tt_trend_event e = {
            .code = TT_EVENT_LEFT_OUT, .time_s = run->time_s, .id = run->id, .what = run->note};
        if (!run->left_out) {
            e.code = TT_EVENT_PLATE_CHANGED;
            e.what = run->plate;
            e.was = plate;
            plate = run->plate;
        }
        if (run->left_out || (e.was != NULL && strcmp(e.was, e.what) != 0)) {
            good = tt_trend_add_event(trend, &e);
        }
    }
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
