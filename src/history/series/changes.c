/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/changes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The first pass has only to bring the second where it can judge: its scales come from differences,
 * and it may find too much. */
#define FIRST_ALPHA 0.15
/* 95 % of the place of a change: twice the log likelihood (B. E. Hansen, Econometrica 68 (2000)
 * 575, table I). */
#define BRACKET 7.35
#define BRACKET_RUNS 12
/* A smaller shift of an edge, over all the weeks of a drift, is left unsaid: another tip's form,
 * and what else the model of a run leaves, puts as much into the edges' shifts, and the offsets
 * suffer by half of it at most. */
#define LEAST_EDGE_MM 0.003
/* Two explanations are alike when their criteria are not further apart: odds of 20 to 1. */
#define ALIKE 6.0

bool tt_changes_has(const struct tt_changes *c, size_t run, size_t tip)
{
    return c->values.there[run * c->values.p + tt_at_offset(&c->values, tip, 0)];
}

/* Scales from what the fit leaves. */
static enum tiptrue_status noise_of(const struct tt_events *f, struct tt_series_noise *noise, struct tt_arena *arena)
{
    const struct tt_problem *p = f->problem;
    const struct tt_values *v = p->values;
    double *theta = TT_ARENA_NEW(arena, f->room, double), *residual = TT_ARENA_NEW(arena, (v->n + 2) * v->p, double);
    bool *boundary = TT_ARENA_NEW(arena, v->n + 1, bool);
    double parameters[TT_CLASSES] = {0};

    if (!theta || !residual || !boundary) {
        return TIPTRUE_E_MEMORY;
    }
    tt_events_solve(f, theta, NULL);
    tt_events_residuals(f, theta, residual);
    for (size_t i = 0; i < f->n_events; i++) {
        const struct tt_event *e = &f->event[i];
        tt_problem_count(p, e, parameters);
        if (e->going == TT_STEP) {
            boundary[e->from] = true;
            boundary[e->to] = true; /* n is nobody's */
        }
    }
    return tt_noise_from_residuals(noise, p->gls.noise, v, residual, parameters, boundary, arena);
}

/* Both passes over @values, into *problem (a new one), *noise and *fit. */
static enum tiptrue_status analyse(const struct tt_values *values, struct tt_problem **problem, struct tt_series_noise *noise,
                                   struct tt_events *fit, struct tt_arena *arena)
{
    struct tt_problem *p = TT_ARENA_NEW(arena, 2, struct tt_problem);
    struct tt_series_noise *first = TT_ARENA_NEW(arena, 1, struct tt_series_noise);
    struct tt_events found;
    enum tiptrue_status status = p != NULL && first != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;

    if (status == TIPTRUE_OK) {
        status = tt_noise_from_differences(first, values, arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_problem_make(&p[0], values, first, FIRST_ALPHA, arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_search(&p[0], NULL, &found);
    }
    if (status == TIPTRUE_OK) {
        status = noise_of(&found, noise, arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_problem_make(&p[1], values, noise, TT_CHANGE_ALPHA, arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_search(&p[1], &found, fit);
    }
    *problem = &p[1];
    return status;
}

/* Too few runs for anything but their levels. */
static enum tiptrue_status levels_only(struct tt_changes *c)
{
    c->problem = TT_ARENA_NEW(c->arena, 1, struct tt_problem);
    enum tiptrue_status status = c->problem != NULL ? tt_noise_from_differences(&c->noise, &c->values, c->arena) : TIPTRUE_E_MEMORY;

    if (status == TIPTRUE_OK) {
        status = tt_problem_make(c->problem, &c->values, &c->noise, TT_CHANGE_ALPHA, c->arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_events_init(&c->fit, c->problem, c->values.tips + 2, 0);
    }
    if (status == TIPTRUE_OK) {
        tt_events_reset(&c->fit);
    }
    return status;
}

static struct tt_moved_by pair_of(const struct tt_changes *c, size_t at)
{
    size_t n = c->fit.columns;
    return (struct tt_moved_by){true,
                                c->theta[at],
                                c->theta[at + 1],
                                c->covariance[at * n + at],
                                c->covariance[at * n + at + 1],
                                c->covariance[(at + 1) * n + at + 1]};
}

static struct tt_moved_by number_of(const struct tt_changes *c, size_t at)
{
    return (struct tt_moved_by){true, c->theta[at], 0, c->covariance[at * c->fit.columns + at], 0, 0};
}

/* The mean of what an edge's shift does to the offsets. */
static struct tt_moved_by offset_by_edge(const struct tt_changes *c, size_t edge, const struct tt_moved_by *shift)
{
    const struct tt_values *v = &c->values;
    double r[2] = {0, 0};

    for (size_t axis = 0; axis < 2; axis++) {
        for (size_t tip = 0; tip < v->tips; tip++) {
            r[axis] += v->response[edge * v->p + tt_at_offset(v, tip, axis)] / (double)v->tips;
        }
    }
    return (struct tt_moved_by){r[0] != 0 || r[1] != 0,  r[0] * shift->x,         r[1] * shift->x,
                                r[0] * r[0] * shift->xx, r[0] * r[1] * shift->xx, r[1] * r[1] * shift->xx};
}

static void fill_shifts(const struct tt_changes *c, size_t event, struct tt_change *change)
{
    size_t at = c->fit.first[event];

    switch (change->what) {
    case TT_CAMERA_MARK:
        change->mark = pair_of(c, at);
        change->offset = pair_of(c, at);
        break;
    case TT_CHANGED:
        change->runout = pair_of(c, at + 2);
        change->radius = number_of(c, at + 4);
        change->offset = pair_of(c, at);
        break;
    case TT_CAMERA:
    case TT_SEAT:
        change->offset = pair_of(c, at);
        break;
    case TT_POSE:
        change->mark = pair_of(c, at);
        change->yaw = number_of(c, at + 2);
        break;
    case TT_EDGE:
        change->edge = number_of(c, at);
        change->offset = offset_by_edge(c, change->who, &change->edge);
        break;
    case TT_WEAR:
    case TT_PLATE_LEVEL:
        break;
    }
}

/* theta' covariance^-1 theta of an event. */
static double gain_of(const struct tt_events *f, size_t event, struct tt_events *rest, bool *leave)
{
    memset(leave, 0, f->n_events * sizeof *leave);
    leave[event] = true;
    tt_events_copy(rest, f, leave);
    return fmax(rest->rss - f->rss, 0);
}

/* What is needed to question a fit. */
struct questions {
    struct tt_events rest, trial;
    bool *leave;
    double *work, *gain;
};

static enum tiptrue_status prepare(struct questions *q, const struct tt_problem *p, size_t events, size_t columns,
                                   struct tt_arena *arena)
{
    enum tiptrue_status status = tt_events_init(&q->rest, p, events, columns);

    if (status == TIPTRUE_OK) {
        status = tt_events_init(&q->trial, p, events, columns);
    }
    q->leave = TT_ARENA_NEW(arena, events + TT_MOST_PLATES, bool);
    q->gain = TT_ARENA_NEW(arena, p->n_hypotheses, double);
    q->work = status == TIPTRUE_OK ? TT_ARENA_NEW(arena, tt_events_scan_room(&q->rest), double) : NULL;
    return q->leave && q->gain && q->work ? status : TIPTRUE_E_MEMORY;
}

/* All places around an event that explain the runs about as well; single runs are where they are.
 */
static void find_bracket(const struct tt_changes *c, size_t event, struct questions *q, struct tt_change *change)
{
    const struct tt_event *e = &c->fit.event[event];
    size_t n = c->values.n, low = e->from > BRACKET_RUNS ? e->from - BRACKET_RUNS : 1, high = e->from + BRACKET_RUNS;
    double here;

    change->first = change->last = e->from;
    if (e->to < n) {
        return;
    }
    tt_events_scan(&q->rest, e->from, q->work, q->gain);
    here = q->gain[e->hypothesis] - BRACKET;
    while (change->first > low) {
        tt_events_scan(&q->rest, change->first - 1, q->work, q->gain);
        if (!(q->gain[e->hypothesis] > here)) {
            break;
        }
        change->first--;
    }
    while (change->last < high && change->last + 1 < n) {
        tt_events_scan(&q->rest, change->last + 1, q->work, q->gain);
        if (!(q->gain[e->hypothesis] > here)) {
            break;
        }
        change->last++;
    }
}

/* The same thing by another name: two hypotheses of one tip, and those of the camera. */
static bool is_kin(const struct tt_hypothesis_of *a, const struct tt_hypothesis_of *b)
{
    bool camera = a->what <= TT_CAMERA_MARK && b->what <= TT_CAMERA_MARK;
    bool tip = (a->what == TT_SEAT || a->what == TT_CHANGED) && (b->what == TT_SEAT || b->what == TT_CHANGED);
    return camera || (a->who == b->who && (tip || a->what == b->what));
}

/* How probable what is said is, among all that could have been at the place. */
static double weight_of(const struct tt_changes *c, size_t event, struct questions *q)
{
    const struct tt_problem *p = c->problem;
    const struct tt_event *e = &c->fit.event[event];
    double own = 0, all = 0, least = HUGE_VAL;

    tt_events_scan(&q->rest, e->from, q->work, q->gain);
    for (size_t h = 0; h < p->n_steps; h++) {
        q->gain[h] = p->hypothesis[h].price - q->gain[h];
        least = fmin(least, q->gain[h]);
    }
    for (size_t h = 0; h < p->n_steps; h++) {
        double w = exp(-0.5 * (q->gain[h] - least));
        all += w;
        own += is_kin(&p->hypothesis[h], &p->hypothesis[e->hypothesis]) ? w : 0;
    }
    return all > 0 ? own / all : 0;
}

/* Whether a drift of the same, in place of the step, does about as well. */
static bool drift_does(const struct tt_changes *c, size_t event, struct questions *q)
{
    struct tt_event e = c->fit.event[event];
    enum tt_hypothesis what = c->problem->hypothesis[e.hypothesis].what;

    if (what == TT_CAMERA_MARK || what == TT_CHANGED || e.to < c->values.n) {
        return false;
    }
    e.going = TT_DRIFT;
    tt_events_copy(&q->trial, &q->rest, NULL);
    return tt_events_append(&q->trial, &e) && tt_events_criterion(&q->trial) < tt_events_criterion(&c->fit) + ALIKE;
}

static int by_place(const void *a, const void *b)
{
    const struct tt_change *x = a, *y = b;
    return x->from != y->from ? (x->from > y->from) - (x->from < y->from) : (x->what > y->what) - (x->what < y->what);
}

/* Offsets of all tips and the pose at one place: the plate. */
static void join_plates(struct tt_changes *c)
{
    size_t kept = 0;

    for (size_t i = 0; i < c->n_changes; i++) {
        struct tt_change *now = &c->change[i], *with = NULL;
        for (size_t k = 0; k < c->n_changes && now->what == TT_POSE; k++) {
            struct tt_change *other = &c->change[k];
            with = other->what <= TT_CAMERA_MARK && other->from == now->from && other->to == now->to ? other : with;
        }
        if (with != NULL) {
            with->plate = true;
            with->mark = now->mark;
            with->yaw = now->yaw;
            with->log_p += now->log_p;
        } else {
            now->plate = now->plate || now->what == TT_POSE;
        }
        now->what = with != NULL ? TT_PLATE_LEVEL : now->what; /* it went into the other */
    }
    for (size_t i = 0; i < c->n_changes; i++) {
        if (c->change[i].what != TT_PLATE_LEVEL) {
            c->change[kept++] = c->change[i];
        }
    }
    c->n_changes = kept;
}

static enum tiptrue_status describe(struct tt_changes *c, struct questions *q)
{
    const struct tt_problem *p = c->problem;
    double looks = log(p->looks * (double)p->n_steps);

    c->change = TT_ARENA_NEW(c->arena, c->fit.n_events, struct tt_change);
    if (c->change == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < c->fit.n_events; i++) {
        const struct tt_event *e = &c->fit.event[i];
        const struct tt_hypothesis_of *h = &p->hypothesis[e->hypothesis];
        if (e->going != TT_STEP || (h->what == TT_EDGE && fabs(c->theta[c->fit.first[i]]) < LEAST_EDGE_MM)) {
            continue;
        }
        struct tt_change *change = &c->change[c->n_changes++];
        *change = (struct tt_change){.what = h->what, .who = h->who, .from = e->from, .to = e->to};
        change->log_p = fmin(tt_log_p_f(gain_of(&c->fit, i, &q->rest, q->leave), h->q, h->nu) + looks, 0);
        fill_shifts(c, i, change);
        find_bracket(c, i, q, change);
        change->weight = weight_of(c, i, q);
        change->drift_alike = drift_does(c, i, q);
    }
    if (c->n_changes > 1) {
        qsort(c->change, c->n_changes, sizeof *c->change, by_place);
    }
    join_plates(c);
    return TIPTRUE_OK;
}

/* Whether the best step, in place of a drift, does about as well. */
static bool step_does(struct tt_changes *c, size_t event, struct questions *q)
{
    double least = HUGE_VAL;

    (void)gain_of(&c->fit, event, &q->rest, q->leave);
    for (size_t run = 1; run < c->values.n; run++) {
        tt_events_scan(&q->rest, run, q->work, q->gain);
        for (size_t h = 0; h < c->problem->n_steps; h++) {
            least = fmin(least, c->problem->hypothesis[h].price - q->gain[h]);
        }
    }
    return tt_events_criterion(&q->rest) + least < tt_events_criterion(&c->fit) + ALIKE;
}

static void add_to(struct tt_tip_drift *d, const struct tt_moved_by *m)
{
    *d = (struct tt_tip_drift){d->known,      d->shows,      d->step_alike, d->x + m->x, d->y + m->y,
                               d->xx + m->xx, d->xy + m->xy, d->yy + m->yy, d->p};
}

/* Smooth terms among what was found. */
static void describe_smooth(struct tt_changes *c, struct questions *q)
{
    for (size_t i = 0; i < c->fit.n_events; i++) {
        const struct tt_event *e = &c->fit.event[i];
        const struct tt_hypothesis_of *h = &c->problem->hypothesis[e->hypothesis];
        size_t at = c->fit.first[i];
        c->has_season = c->has_season || e->going == TT_SEASON;
        if (e->going == TT_TEMPERATURE) {
            c->has_temperature = true;
            c->temperature = pair_of(c, at);
        }
        if (e->going != TT_DRIFT) {
            continue;
        }
        if (h->what == TT_WEAR) {
            c->wears[h->who] = true;
        } else if (h->what == TT_POSE) {
            c->pose_drifts = true;
        } else if (h->what == TT_EDGE) {
            double span = c->values.weeks[c->values.n - 1] - c->values.weeks[0];
            c->edge_drift[h->who] = number_of(c, at);
            c->edge_drift[h->who].there = fabs(c->theta[at]) * span >= LEAST_EDGE_MM;
        } else {
            struct tt_moved_by slope = pair_of(c, at);
            double p = exp(tt_log_p_f(gain_of(&c->fit, i, &q->rest, q->leave), 2, h->nu));
            bool alike = step_does(c, i, q);
            for (size_t tip = 0; tip < c->values.tips; tip++) {
                struct tt_tip_drift *d = &c->drift[tip];
                if (h->what == TT_CAMERA || h->who == tip) {
                    d->p = d->shows ? fmin(d->p, p) : p;
                    d->known = d->shows = true;
                    d->step_alike = alike;
                    add_to(d, &slope);
                }
            }
        }
    }
}

/* The slope of a tip whose drift does not show: column @at of the fit that has one for each of
 * them. */
static struct tt_tip_drift slope_of(const struct tt_events *f, size_t at, const double *theta, const double *covariance, double nu)
{
    size_t n = f->columns;
    struct tt_tip_drift d = {.known = true,
                             .x = theta[at],
                             .y = theta[at + 1],
                             .xx = covariance[at * n + at],
                             .xy = covariance[at * n + at + 1],
                             .yy = covariance[(at + 1) * n + at + 1]};
    double det = d.xx * d.yy - d.xy * d.xy;

    d.p = exp(tt_log_p_f((d.yy * d.x * d.x - 2 * d.xy * d.x * d.y + d.xx * d.y * d.y) / det, 2, nu));
    return d;
}

/* Slopes of tips whose drift does not show. @theta, @covariance: work. */
static enum tiptrue_status fit_slopes(struct tt_changes *c, struct questions *q, double *theta, double *covariance)
{
    const struct tt_problem *p = c->problem;
    size_t seat = tt_problem_find(p, c->values.tips > 1 ? TT_SEAT : TT_CAMERA, c->values.tips > 1 ? 0 : TT_NONE);
    size_t *at = TT_ARENA_NEW(c->arena, c->values.tips, size_t);

    if (at == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < c->fit.n_events; i++) {
        enum tt_hypothesis what = p->hypothesis[c->fit.event[i].hypothesis].what;
        q->leave[i] = c->fit.event[i].going == TT_DRIFT && (what == TT_CAMERA || what == TT_SEAT);
    }
    tt_events_copy(&q->trial, &c->fit, q->leave);
    for (size_t tip = 0; tip < c->values.tips; tip++) {
        const struct tt_event e = {.hypothesis = seat + tip, .going = TT_DRIFT};
        size_t before = q->trial.columns;
        at[tip] = tt_events_append(&q->trial, &e) ? before : TT_NONE;
    }
    tt_events_solve(&q->trial, theta, covariance);
    for (size_t tip = 0; tip < c->values.tips; tip++) {
        if (!c->drift[tip].shows && at[tip] != TT_NONE) {
            c->drift[tip] = slope_of(&q->trial, at[tip], theta, covariance, p->hypothesis[seat + tip].nu);
        }
    }
    return TIPTRUE_OK;
}

/* The latest run: a step at it beside what the runs before it show, with their scales, its place
 * known. */
static enum tiptrue_status judge_latest(struct tt_changes *c)
{
    struct tt_values *before = TT_ARENA_NEW(c->arena, 1, struct tt_values);
    struct tt_series_noise *first = TT_ARENA_NEW(c->arena, 2, struct tt_series_noise);
    struct tt_problem *p = TT_ARENA_NEW(c->arena, 2, struct tt_problem);
    struct questions own;
    size_t last = c->values.n - 1, events = c->fit.n_events + 4, columns = c->fit.columns + 8;
    enum tiptrue_status status = before && first && p ? TIPTRUE_OK : TIPTRUE_E_MEMORY;

    if (status == TIPTRUE_OK) {
        *before = tt_values_before_last(&c->values);
        status = tt_problem_make(&p[0], before, &c->noise, TT_CHANGE_ALPHA, c->arena);
    }
    if (status == TIPTRUE_OK) {
        status = prepare(&own, &p[0], events, columns, c->arena);
    }
    if (status == TIPTRUE_OK) { /* what was found but for what begins with the latest run, fitted
                                   without it, and the scales of that */
        tt_events_reset(&own.rest);
        for (size_t i = 0; i < c->fit.n_events; i++) {
            struct tt_event e = c->fit.event[i];
            e.to = e.going == TT_STEP && e.to > last ? last : e.to;
            if (e.going != TT_OTHER_PLATE && (e.going != TT_STEP || e.from < last)) {
                (void)tt_events_append(&own.rest, &e);
            }
        }
        status = noise_of(&own.rest, first, c->arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_problem_make(&p[1], &c->values, first, TT_CHANGE_ALPHA, c->arena);
    }
    if (status == TIPTRUE_OK) {
        status = prepare(&own, &p[1], events, columns, c->arena);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    tt_events_reset(&own.rest);
    for (size_t i = 0; i < c->fit.n_events; i++) {
        const struct tt_event *e = &c->fit.event[i];
        if (e->going != TT_OTHER_PLATE && (e->going != TT_STEP || e->from < last)) {
            (void)tt_events_append(&own.rest, e);
        }
    }
    tt_events_scan(&own.rest, last, own.work, own.gain);
    struct tt_latest_run *latest = &c->latest;
    size_t best = 0;
    double most = -HUGE_VAL;
    for (size_t h = 0; h < p[1].n_steps; h++) {
        if (own.gain[h] - p[1].hypothesis[h].price_one_look > most) {
            most = own.gain[h] - p[1].hypothesis[h].price_one_look;
            best = h;
        }
    }
    const struct tt_hypothesis_of *h = &p[1].hypothesis[best];
    latest->judged = true;
    latest->differs = most > 0;
    latest->change = (struct tt_change){
        .what = h->what, .plate = h->what == TT_POSE, .who = h->who, .from = last, .to = c->values.n, .first = last, .last = last};
    latest->change.log_p = fmin(tt_log_p_f(own.gain[best], h->q, h->nu) + log((double)p[1].n_steps), 0);
    const struct tt_event e = {.hypothesis = best, .going = TT_STEP, .from = last, .to = c->values.n};
    if (latest->differs && tt_events_append(&own.rest, &e)) {
        struct tt_changes shown = *c;
        shown.fit = own.rest;
        shown.theta = TT_ARENA_NEW(c->arena, own.rest.columns, double);
        shown.covariance = TT_ARENA_NEW(c->arena, own.rest.columns * own.rest.columns, double);
        if (shown.theta == NULL || shown.covariance == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        tt_events_solve(&own.rest, shown.theta, shown.covariance);
        fill_shifts(&shown, own.rest.n_events - 1, &latest->change);
        latest->differs = h->what != TT_EDGE || fabs(latest->change.edge.x) >= LEAST_EDGE_MM;
    }
    return TIPTRUE_OK;
}

static bool allocate(struct tt_changes *c)
{
    const struct tt_values *v = &c->values;

    c->drift = TT_ARENA_NEW(c->arena, v->tips, struct tt_tip_drift);
    c->wears = TT_ARENA_NEW(c->arena, v->tips, bool);
    c->edge_drift = TT_ARENA_NEW(c->arena, v->edges, struct tt_moved_by);
    c->residual = TT_ARENA_NEW(c->arena, (v->n + 2) * v->p, double);
    c->noise.between = TT_ARENA_NEW(c->arena, v->p, double);
    return c->drift && c->wears && c->edge_drift && c->residual && c->noise.between;
}

enum tiptrue_status tt_changes_find(struct tt_changes *c, const struct tt_series *series, struct tt_arena *arena)
{
    *c = (struct tt_changes){.arena = arena};
    enum tiptrue_status status = tt_values_make(&c->values, series, arena);
    struct questions q;

    if (status == TIPTRUE_OK) {
        status = allocate(c) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
    }
    if (status != TIPTRUE_OK || c->values.n < 2) {
        return status;
    }
    status = c->values.n < TT_FEWEST_TREND_RUNS ? levels_only(c) : analyse(&c->values, &c->problem, &c->noise, &c->fit, arena);
    if (status == TIPTRUE_OK) {
        status = prepare(&q, c->problem, c->fit.n_events + c->values.tips + 2, c->fit.columns + 2 * c->values.tips + 8, arena);
    }
    c->theta = status == TIPTRUE_OK ? TT_ARENA_NEW(arena, c->fit.room + q.trial.room, double) : NULL;
    c->covariance =
        status == TIPTRUE_OK ? TT_ARENA_NEW(arena, c->fit.room * c->fit.room + q.trial.room * q.trial.room, double) : NULL;
    if (c->theta == NULL || c->covariance == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_events_solve(&c->fit, c->theta, c->covariance);
    tt_events_residuals(&c->fit, c->theta, c->residual);
    status = describe(c, &q);
    if (status == TIPTRUE_OK) {
        describe_smooth(c, &q);
        status = fit_slopes(c, &q, c->theta + c->fit.room, c->covariance + c->fit.room * c->fit.room);
    }
    if (status == TIPTRUE_OK && c->values.n > TT_FEWEST_TREND_RUNS) {
        status = judge_latest(c);
    }
    return status;
}

struct tt_axis_scatter tt_changes_between(const struct tt_changes *c, size_t tip)
{
    const struct tt_values *v = &c->values;
    struct tt_axis_scatter s = {0};

    for (size_t axis = 0; axis < 2; axis++) {
        size_t column = tt_at_offset(v, tip, axis);
        double stated = 0, common = 0, n = 0;
        for (size_t run = 0; run < v->n; run++) {
            bool there = v->there[run * v->p + column];
            n += there;
            stated += there ? v->stated[run * v->p + column] : 0;
            common += there ? v->common[2 * run + axis] : 0;
        }
        if (!(n > 1)) {
            continue;
        }
        double shared = c->noise.shared[axis], own = c->noise.between[column], s2 = shared + own;
        double whole_shared = shared + common / n, whole_own = own + stated / n;
        /* each part is known by the degrees of freedom of its class; two axes share them */
        double nu_shared = 0.5 * c->noise.nu[TT_SHARED], nu_own = fmax(0.5 * c->noise.nu[TT_OWN] / fmax((double)v->tips - 1, 1), 1);
        double u2 = v->tips > 1 ? 2 * whole_shared * whole_shared / nu_shared + 2 * whole_own * whole_own / nu_own
                                : 2 * (whole_shared + whole_own) * (whole_shared + whole_own) / nu_shared;
        double root = sqrt(s2), u = s2 > 0 ? sqrt(u2) / (2 * root) : sqrt(sqrt(u2));
        *(axis == 0 ? &s.x_mm : &s.y_mm) = root;
        *(axis == 0 ? &s.u_x_mm : &s.u_y_mm) = u;
        *(axis == 0 ? &s.dof_x : &s.dof_y) = s2 > 0 ? 2 * s2 * s2 / u2 : 0;
    }
    return s;
}

double tt_changes_dof(const struct tt_changes *c)
{
    return fmin(c->noise.nu[TT_SHARED], c->values.tips > 1 ? c->noise.nu[TT_OWN] : HUGE_VAL);
}

/* What a column of the fit adds at @week to the offset in @column, the levels' share taken out. */
static double part_at(const struct tt_changes *c, size_t term, size_t column, double week)
{
    const struct tt_problem *p = c->problem;
    const struct tt_course *course = &c->fit.course[term];
    const struct tt_pattern *a = &p->atom[c->fit.atom[term]];
    double x, f = 0, turn = 2 * TT_PI * week / fmax(c->values.period_weeks, 1e-9);

    if (course->regressor == TT_NONE) {
        x = course->to >= c->values.n;
    } else if (course->regressor == p->regressor[TT_DRIFT]) {
        x = week;
    } else if (p->regressor[TT_SEASON] != TT_NONE && course->regressor == p->regressor[TT_SEASON]) {
        x = sin(turn);
    } else if (p->regressor[TT_SEASON] != TT_NONE && course->regressor == p->regressor[TT_SEASON] + 1) {
        x = cos(turn);
    } else {
        x = p->gls.regressor[course->regressor][c->values.n - 1]; /* as at the last run */
    }
    for (size_t i = 0; i < a->n; i++) {
        f += a->column[i] == column ? a->factor[i] : 0;
    }
    return x * f - c->fit.levels[term * c->values.p + column];
}

struct tt_moved_by tt_changes_predict(const struct tt_changes *c, size_t tip, double week)
{
    const struct tt_values *v = &c->values;
    size_t n = c->fit.columns, t = v->tips, at[2] = {tt_at_offset(v, tip, 0), tt_at_offset(v, tip, 1)};
    double value[2] = {0, 0}, cov[3] = {c->problem->gls.inverse[tip * t + tip], 0, c->problem->gls.inverse[t * t + tip * t + tip]};

    for (size_t axis = 0; axis < 2; axis++) {
        for (size_t k = 0; k < t; k++) {
            value[axis] += c->problem->gls.inverse[axis * t * t + tip * t + k] * c->problem->gls.data[axis * t + k];
        }
    }
    for (size_t i = 0; i < n; i++) {
        double x = part_at(c, i, at[0], week), y = part_at(c, i, at[1], week);
        value[0] += x * c->theta[i];
        value[1] += y * c->theta[i];
        for (size_t k = 0; k < n && (x != 0 || y != 0); k++) {
            double of_k[2] = {part_at(c, k, at[0], week), part_at(c, k, at[1], week)};
            cov[0] += x * of_k[0] * c->covariance[i * n + k];
            cov[1] += x * of_k[1] * c->covariance[i * n + k];
            cov[2] += y * of_k[1] * c->covariance[i * n + k];
        }
    }
    return (struct tt_moved_by){true, value[0], value[1], cov[0], cov[1], cov[2]};
}
