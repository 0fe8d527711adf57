/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The latest run against what the runs before it lead to expect. */
#include "config.h"

#include <math.h>

#include "history/series/changes_parts.h"

/* What was found but for what begins with the latest run, into a fit of @n runs. */
static void carry_over(const struct tt_changes *c, size_t n, struct tt_events *to)
{
    tt_events_reset(to);
    for (size_t i = 0; i < c->fit.n_events; i++) {
        struct tt_event e = c->fit.event[i];
        bool step = e.going == TT_STEP;
        e.to = step && e.to > n ? n : e.to;
        if (e.going != TT_OTHER_PLATE && (!step || e.from + 1 < c->values.n)) {
            (void)tt_events_append(to, &e);
        }
    }
}

/* A problem over @values with what was found carried over, and room for one event more. Only what
 * begins with the last run of all is asked about. */
static enum tiptrue_status pose_latest(const struct tt_changes *c, const struct tt_values *values,
                                       const struct tt_series_noise *noise, struct tt_problem *p,
                                       struct tt_questions *q)
{
    size_t last = c->values.n - 1;
    enum tiptrue_status status = tt_problem_make(p, values, noise, TT_CHANGE_ALPHA, last, c->arena);

    if (status == TIPTRUE_OK) {
        status = tt_questions_prepare(q, p, c->fit.n_events + 4, c->fit.columns + 8, c->arena);
    }
    if (status == TIPTRUE_OK) {
        carry_over(c, values->n, &q->rest);
    }
    return status;
}

/* The shifts of the latest run, from a fit with the step at it. */
static enum tiptrue_status measure_latest(struct tt_changes *c, const struct tt_events *fit)
{
    struct tt_changes shown = *c;

    shown.fit = *fit;
    shown.theta = TT_ARENA_NEW(c->arena, fit->columns, double);
    shown.covariance = TT_ARENA_NEW(c->arena, fit->columns * fit->columns, double);
    if (shown.theta == NULL || shown.covariance == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_events_solve(fit, shown.theta, shown.covariance);
    tt_fill_shifts(&shown, fit->n_events - 1, &c->latest.change);
    c->latest.differs =
        !c->latest.change.edge.there || fabs(c->latest.change.edge.x) >= TT_LEAST_EDGE_MM;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_changes_judge_latest(struct tt_changes *c)
{
    struct tt_values *before = TT_ARENA_NEW(c->arena, 1, struct tt_values);
    struct tt_series_noise *noise = TT_ARENA_NEW(c->arena, 1, struct tt_series_noise);
    struct tt_problem *p = TT_ARENA_NEW(c->arena, 2, struct tt_problem);
    struct tt_questions q;
    size_t last = c->values.n - 1, best = 0;
    enum tiptrue_status status = before && noise && p ? TIPTRUE_OK : TIPTRUE_E_MEMORY;

    if (status == TIPTRUE_OK) {
        *before = tt_values_before_last(&c->values);
        status = pose_latest(c, before, &c->noise, &p[0], &q);
    }
    if (status == TIPTRUE_OK) {
        status = tt_noise_of_fit(&q.rest, noise, c->arena);
    }
    if (status == TIPTRUE_OK) {
        status = pose_latest(c, &c->values, noise, &p[1], &q);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    tt_events_scan(&q.rest, last, q.work, q.gain);
    for (size_t h = 1; h < p[1].n_steps; h++) {
        double net = q.gain[h] - p[1].hypothesis[h].price_one_look;
        best = net > q.gain[best] - p[1].hypothesis[best].price_one_look ? h : best;
    }
    const struct tt_hypothesis_of *h = &p[1].hypothesis[best];
    const struct tt_event e = {
        .hypothesis = best, .going = TT_STEP, .from = last, .to = c->values.n};
    c->latest = (struct tt_latest_run){
        .judged = true,
        .differs = q.gain[best] > h->price_one_look,
        .change = {.what = h->what,
                   .plate = h->what == TT_POSE,
                   .who = h->who,
                   .from = last,
                   .to = c->values.n,
                   .first = last,
                   .last = last,
                   .log_p =
                       fmin(tt_log_p_f(q.gain[best], h->q, h->nu) + log((double)p[1].n_steps), 0)}};
    if (c->latest.differs && tt_events_append(&q.rest, &e)) {
        return measure_latest(c, &q.rest);
    }
    return TIPTRUE_OK;
}
