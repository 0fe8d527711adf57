/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Drifts, temperature and season: those that were found, and the slopes of what does not show one.
 */
#include "config.h"

#include <math.h>

#include "history/series/changes_parts.h"

/* Whether the best step, in place of a drift, does about as well. */
static bool step_does(struct tt_changes *c, size_t event, struct tt_questions *q)
{
    double least = HUGE_VAL;

    (void)tt_gain_of(&c->fit, event, &q->rest, q->leave);
    for (size_t run = 1; run < c->values.n; run++) {
        tt_events_scan(&q->rest, run, q->work, q->gain);
        for (size_t h = 0; h < c->problem->n_steps; h++) {
            least = fmin(least, c->problem->hypothesis[h].price - q->gain[h]);
        }
    }
    return tt_events_criterion(&q->rest) + least < tt_events_criterion(&c->fit) + TT_ALIKE;
}

static void add_to(struct tt_tip_drift *d, const struct tt_moved_by *m)
{
    *d =
        (struct tt_tip_drift){d->known,      d->shows,      d->step_alike, d->x + m->x, d->y + m->y,
                              d->xx + m->xx, d->xy + m->xy, d->yy + m->yy, d->p};
}

/* A drift of one tip's offset or height, or of all. */
static void describe_drift(struct tt_changes *c, size_t event, struct tt_questions *q)
{
    const struct tt_hypothesis_of *h = &c->problem->hypothesis[c->fit.event[event].hypothesis];
    bool heights = h->what == TT_ALL_HEIGHTS || h->what == TT_ONE_HEIGHT;
    size_t at = c->fit.first[event];
    struct tt_moved_by slope = heights ? tt_number_of(c, at) : tt_pair_of(c, at);
    double p = exp(tt_log_p_f(tt_gain_of(&c->fit, event, &q->rest, q->leave), h->q, h->nu));
    bool alike = step_does(c, event, q);

    for (size_t tip = 0; tip < c->values.tips; tip++) {
        struct tt_tip_drift *d = heights ? &c->height_drift[tip] : &c->drift[tip];
        if (h->who == TT_NONE || h->who == tip) {
            d->p = d->shows ? fmin(d->p, p) : p;
            d->known = d->shows = true;
            d->step_alike = alike;
            add_to(d, &slope);
        }
    }
}

/* Smooth terms among what was found. */
static void describe_smooth(struct tt_changes *c, struct tt_questions *q)
{
    for (size_t i = 0; i < c->fit.n_events; i++) {
        const struct tt_event *e = &c->fit.event[i];
        const struct tt_hypothesis_of *h = &c->problem->hypothesis[e->hypothesis];
        size_t at = c->fit.first[i];
        c->has_season = c->has_season || e->going == TT_SEASON;
        if (e->going == TT_TEMPERATURE && h->what == TT_ALL_HEIGHTS) {
            c->height_temperature = tt_number_of(c, at);
        } else if (e->going == TT_TEMPERATURE) {
            c->has_temperature = true;
            c->temperature = tt_pair_of(c, at);
        }
        if (e->going != TT_DRIFT) {
            continue;
        }
        if (h->what == TT_LOST_MOTION) {
            continue; /* each run says what it is */
        } else if (h->what == TT_WEAR) {
            c->wears[h->who] = true;
        } else if (h->what == TT_POSE) {
            c->pose_drifts = true;
        } else if (h->what == TT_EDGE) {
            double span = c->values.weeks[c->values.n - 1] - c->values.weeks[0];
            c->edge_drift[h->who] = tt_number_of(c, at);
            c->edge_drift[h->who].there = fabs(c->theta[at]) * span >= TT_LEAST_EDGE_MM;
        } else {
            describe_drift(c, i, q);
        }
    }
}

/* The slope in @q columns of a fit from @at on, whether or not it shows. */
static struct tt_tip_drift slope_of(const struct tt_events *f, size_t at, size_t q,
                                    const double *theta, const double *covariance, double nu)
{
    size_t n = f->columns;
    struct tt_tip_drift d = {.known = true, .x = theta[at], .xx = covariance[at * n + at]};

    if (q == 1) {
        d.p = exp(tt_log_p_f(d.x * d.x / d.xx, 1, nu));
        return d;
    }
    d.y = theta[at + 1];
    d.xy = covariance[at * n + at + 1];
    d.yy = covariance[(at + 1) * n + at + 1];
    double det = d.xx * d.yy - d.xy * d.xy;
    d.p =
        exp(tt_log_p_f((d.yy * d.x * d.x - 2 * d.xy * d.x * d.y + d.xx * d.y * d.y) / det, 2, nu));
    return d;
}

/* Slopes of tips whose drift does not show: @all is that of all tips, @one that of one. @theta,
 * @covariance: work. */
static enum tiptrue_status fit_slopes(struct tt_changes *c, enum tt_hypothesis all,
                                      enum tt_hypothesis one, struct tt_questions *q,
                                      double *work[2])
{
    const struct tt_problem *p = c->problem;
    bool several = c->values.tips > 1;
    size_t first = tt_problem_find(p, several ? one : all, several ? 0 : TT_NONE);
    size_t *at = TT_ARENA_NEW(c->arena, c->values.tips, size_t);
    struct tt_tip_drift *drift = all == TT_CAMERA ? c->drift : c->height_drift;

    if (at == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < c->fit.n_events; i++) {
        enum tt_hypothesis what = p->hypothesis[c->fit.event[i].hypothesis].what;
        q->leave[i] = c->fit.event[i].going == TT_DRIFT && (what == all || what == one);
    }
    tt_events_copy(&q->trial, &c->fit, q->leave);
    for (size_t tip = 0; tip < c->values.tips; tip++) {
        const struct tt_event e = {.hypothesis = first + tip, .going = TT_DRIFT};
        size_t before = q->trial.columns;
        at[tip] = tt_events_append(&q->trial, &e) ? before : TT_NONE;
    }
    tt_events_solve(&q->trial, work[0], work[1]);
    for (size_t tip = 0; tip < c->values.tips; tip++) {
        const struct tt_hypothesis_of *h = &p->hypothesis[first + tip];
        if (!drift[tip].shows && at[tip] != TT_NONE) {
            drift[tip] = slope_of(&q->trial, at[tip], h->q, work[0], work[1], h->nu);
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_changes_smooth(struct tt_changes *c, struct tt_questions *q, double *theta,
                                      double *covariance)
{
    double *work[2] = {theta, covariance};

    describe_smooth(c, q);
    enum tiptrue_status status = fit_slopes(c, TT_CAMERA, TT_SEAT, q, work);
    return status == TIPTRUE_OK && c->values.axes > 2
               ? fit_slopes(c, TT_ALL_HEIGHTS, TT_ONE_HEIGHT, q, work)
               : status;
}
