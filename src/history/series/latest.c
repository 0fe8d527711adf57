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

/* The shifts of the latest run, from a fit with the @steps at it behind the others. */
static enum tiptrue_status measure_latest(struct tt_changes *c, const struct tt_events *fit,
                                          size_t steps)
{
    struct tt_change *change = &c->latest.change;
    struct tt_changes shown = *c;

    shown.fit = *fit;
    shown.theta = TT_ARENA_NEW(c->arena, fit->columns, double);
    shown.covariance = TT_ARENA_NEW(c->arena, fit->columns * fit->columns, double);
    if (shown.theta == NULL || shown.covariance == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_events_solve(fit, shown.theta, shown.covariance);
    tt_fill_shifts(&shown, fit->n_events - steps, change);
    if (steps > 1) { /* the plate: its pose is behind the camera */
        struct tt_change pose = {.what = TT_POSE};
        tt_fill_shifts(&shown, fit->n_events - 1, &pose);
        change->mark = pose.mark;
        change->yaw = pose.yaw;
    }
    c->latest.differs = !change->edge.there || fabs(change->edge.x) >= TT_LEAST_EDGE_MM;
    return TIPTRUE_OK;
}

/* Whether camera and pose together, the plate, explain the latest run better than one step does
 * that gains @net more than it costs, @camera by itself; @q->trial: with the camera's step. */
static bool is_plate(const struct tt_problem *p, struct tt_questions *q, double camera, double net,
                     double *gain)
{
    size_t last = p->values->n - 1;
    const struct tt_event step = {.going = TT_STEP, .from = last, .to = last + 1};

    tt_events_copy(&q->trial, &q->rest, NULL);
    if (!tt_events_append(&q->trial, &step)) {
        return false;
    }
    tt_events_scan(&q->trial, last, q->work, q->gain);
    *gain = camera + q->gain[tt_problem_find(p, TT_POSE, TT_NONE)];
    return *gain - p->plate_one_look > net;
}

/* What explains the latest run best, and whether that is told. */
static enum tiptrue_status ask_latest(struct tt_changes *c, const struct tt_problem *p,
                                      struct tt_questions *q)
{
    size_t n = c->values.n, best = 0;

    tt_events_scan(&q->rest, n - 1, q->work, q->gain);
    for (size_t h = 1; h < p->n_steps; h++) {
        double net = q->gain[h] - p->hypothesis[h].price_one_look;
        best = net > q->gain[best] - p->hypothesis[best].price_one_look ? h : best;
    }
    const struct tt_hypothesis_of *h = &p->hypothesis[best],
                                  *pose = &p->hypothesis[tt_problem_find(p, TT_POSE, TT_NONE)];
    double gain = q->gain[best], camera = q->gain[0], of_plate = 0, log_p;
    bool plate =
        h->what <= TT_POSE && is_plate(p, q, camera, fmax(gain - h->price_one_look, 0), &of_plate);

    log_p = plate ? tt_log_p_f(of_plate, p->hypothesis[0].q + pose->q, fmin(h->nu, pose->nu))
                  : tt_log_p_f(gain, h->q, h->nu);
    c->latest =
        (struct tt_latest_run){.judged = true,
                               .differs = plate || gain > h->price_one_look,
                               .change = {.what = plate ? TT_CAMERA : h->what,
                                          .plate = plate || h->what == TT_POSE,
                                          .who = h->who,
                                          .from = n - 1,
                                          .to = n,
                                          .first = n - 1,
                                          .last = n - 1,
                                          .log_p = fmin(log_p + log((double)p->n_steps), 0)}};
    const struct tt_event step = {
        .hypothesis = plate ? 0 : best, .going = TT_STEP, .from = n - 1, .to = n};
    const struct tt_event second = {
        .hypothesis = (size_t)(pose - p->hypothesis), .going = TT_STEP, .from = n - 1, .to = n};
    bool there = c->latest.differs && tt_events_append(&q->rest, &step) &&
                 (!plate || tt_events_append(&q->rest, &second));
    return there ? measure_latest(c, &q->rest, 1 + plate) : TIPTRUE_OK;
}

enum tiptrue_status tt_changes_judge_latest(struct tt_changes *c)
{
    struct tt_values *before = TT_ARENA_NEW(c->arena, 1, struct tt_values);
    struct tt_series_noise *noise = TT_ARENA_NEW(c->arena, 1, struct tt_series_noise);
    struct tt_problem *p = TT_ARENA_NEW(c->arena, 2, struct tt_problem);
    struct tt_questions q;
    enum tiptrue_status status = before && noise && p ? TIPTRUE_OK : TIPTRUE_E_MEMORY;

    if (status == TIPTRUE_OK) {
        *before = c->values;
        before->n -= before->n > 0;
        status = pose_latest(c, before, &c->noise, &p[0], &q);
    }
    if (status == TIPTRUE_OK) {
        status = tt_noise_of_fit(&q.rest, noise, c->arena);
    }
    if (status == TIPTRUE_OK) {
        status = pose_latest(c, &c->values, noise, &p[1], &q);
    }
    return status == TIPTRUE_OK ? ask_latest(c, &p[1], &q) : status;
}
