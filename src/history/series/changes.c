/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/changes.h"

#include <math.h>
#include <stdlib.h>

#include "history/series/changes_parts.h"

/* The first pass has only to bring the second where it can judge: its scales come from differences,
 * and it may find too much. */
#define FIRST_ALPHA 0.15
/* More so in fewer runs than these, where one step is much of what the differences show. */
#define MANY_RUNS 20.0
/* 95 % of the place of a change: twice the log likelihood (B. E. Hansen, Econometrica 68 (2000)
 * 575, table I). */
#define BRACKET 7.35
#define BRACKET_RUNS 12

bool tt_changes_has(const struct tt_changes *c, size_t run, size_t tip)
{
    return c->values.there[run * c->values.p + tt_at_offset(&c->values, tip, 0)];
}

/* Both passes over @values, into *problem (a new one), *noise and *fit. */
static enum tiptrue_status analyse(const struct tt_values *values, struct tt_problem **problem,
                                   struct tt_series_noise *noise, struct tt_events *fit,
                                   struct tt_arena *arena)
{
    struct tt_problem *p = TT_ARENA_NEW(arena, 2, struct tt_problem);
    struct tt_series_noise *first = TT_ARENA_NEW(arena, 1, struct tt_series_noise);
    struct tt_events found;
    enum tiptrue_status status = p != NULL && first != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;

    if (status == TIPTRUE_OK) {
        status = tt_noise_from_differences(first, values, arena);
    }
    if (status == TIPTRUE_OK) {
        double fewer = fmax(MANY_RUNS / (double)values->n, 1);
        status = tt_problem_make(&p[0], values, first, FIRST_ALPHA * fewer * fewer, 0, arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_search(&p[0], NULL, &found);
    }
    if (status == TIPTRUE_OK) {
        status = tt_noise_of_fit(&found, noise, arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_problem_make(&p[1], values, noise, TT_CHANGE_ALPHA, 0, arena);
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
    enum tiptrue_status status = c->problem != NULL
                                     ? tt_noise_from_differences(&c->noise, &c->values, c->arena)
                                     : TIPTRUE_E_MEMORY;

    if (status == TIPTRUE_OK) {
        status = tt_problem_make(c->problem, &c->values, &c->noise, TT_CHANGE_ALPHA, 0, c->arena);
    }
    if (status == TIPTRUE_OK) {
        status = tt_events_init(&c->fit, c->problem, c->values.tips + 2, 0);
    }
    if (status == TIPTRUE_OK) {
        tt_events_reset(&c->fit);
    }
    return status;
}

/* All places around an event that explain the runs about as well; single runs are where they are.
 */
static void find_bracket(const struct tt_changes *c, size_t event, struct tt_questions *q,
                         struct tt_change *change)
{
    const struct tt_event *e = &c->fit.event[event];
    size_t n = c->values.n, low = e->from > BRACKET_RUNS ? e->from - BRACKET_RUNS : 1,
           high = e->from + BRACKET_RUNS;
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

static bool is_of_tip(enum tt_hypothesis what)
{
    return what == TT_SEAT || what == TT_CHANGED || what == TT_ONE_HEIGHT;
}

/* The same thing by another name: two hypotheses of one tip, and those of the camera. */
static bool is_kin(const struct tt_hypothesis_of *a, const struct tt_hypothesis_of *b)
{
    bool camera = a->what <= TT_CAMERA_MARK && b->what <= TT_CAMERA_MARK;
    bool tip = is_of_tip(a->what) && is_of_tip(b->what);
    return camera || (a->who == b->who && (tip || a->what == b->what));
}

/* How probable what is said is, among all that could have been at the place. */
static double weight_of(const struct tt_changes *c, size_t event, struct tt_questions *q)
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
static bool drift_does(const struct tt_changes *c, size_t event, struct tt_questions *q)
{
    struct tt_event e = c->fit.event[event];
    enum tt_hypothesis what = c->problem->hypothesis[e.hypothesis].what;

    if (what == TT_CAMERA_MARK || what == TT_CHANGED || e.to < c->values.n) {
        return false;
    }
    e.going = TT_DRIFT;
    tt_events_copy(&q->trial, &q->rest, NULL);
    return tt_events_append(&q->trial, &e) &&
           tt_events_criterion(&q->trial) < tt_events_criterion(&c->fit) + TT_ALIKE;
}

static int by_place(const void *a, const void *b)
{
    const struct tt_change *x = a, *y = b;
    return x->from != y->from ? (x->from > y->from) - (x->from < y->from)
                              : (x->what > y->what) - (x->what < y->what);
}

/* Whether two changes are of the same runs, as far as can be told. */
static bool at_one_place(const struct tt_change *a, const struct tt_change *b)
{
    return a->to == b->to && (a->from == b->from || (a->from >= b->first && a->from <= b->last) ||
                              (b->from >= a->first && b->from <= a->last));
}

/* What goes together is one change: the offsets of all tips and the pose at one place are the
 * plate's, a tip's height and its offset those of a tip that was changed. Of @now, what it goes
 * into; NULL: it stands alone. */
static struct tt_change *goes_into(struct tt_changes *c, const struct tt_change *now)
{
    for (size_t k = c->n_changes; k-- > 0;) {
        struct tt_change *other = &c->change[k];
        bool plate = now->what == TT_POSE && other->what <= TT_CAMERA_MARK &&
                     other->from == now->from && other->to == now->to;
        bool tip = now->what == TT_ONE_HEIGHT && other->what != TT_ONE_HEIGHT &&
                   is_of_tip(other->what) && other->who == now->who && !other->height.there &&
                   at_one_place(now, other);
        if (plate || tip) {
            return other;
        }
    }
    return NULL;
}

static void join_changes(struct tt_changes *c)
{
    size_t kept = 0;

    for (size_t i = 0; i < c->n_changes; i++) {
        struct tt_change *now = &c->change[i], *with = goes_into(c, now);
        if (with != NULL && now->what == TT_POSE) {
            with->plate = true;
            with->mark = now->mark;
            with->yaw = now->yaw;
        } else if (with != NULL) {
            with->height = now->height;
        } else {
            now->plate = now->plate || now->what == TT_POSE;
        }
        if (with != NULL) {
            with->log_p += now->log_p;
            now->what = TT_PLATE_LEVEL; /* it went into the other */
        }
    }
    for (size_t i = 0; i < c->n_changes; i++) {
        if (c->change[i].what != TT_PLATE_LEVEL) {
            c->change[kept++] = c->change[i];
        }
    }
    c->n_changes = kept;
}

static enum tiptrue_status describe(struct tt_changes *c, struct tt_questions *q)
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
        if (e->going != TT_STEP || ((h->what == TT_EDGE || h->what == TT_LOST_MOTION) &&
                                    fabs(c->theta[c->fit.first[i]]) < TT_LEAST_EDGE_MM)) {
            continue;
        }
        struct tt_change *change = &c->change[c->n_changes++];
        *change = (struct tt_change){.what = h->what, .who = h->who, .from = e->from, .to = e->to};
        double log_p = tt_log_p_f(tt_gain_of(&c->fit, i, &q->rest, q->leave), h->q, h->nu),
               more = tt_problem_next_place(p, q->rest.event, q->rest.n_events);
        change->log_p = fmin(log_p + looks + 0.5 * more, 0); /* more: in the scale of chi-squared */
        tt_fill_shifts(c, i, change);
        find_bracket(c, i, q, change);
        change->weight = weight_of(c, i, q);
        change->drift_alike = drift_does(c, i, q);
    }
    if (c->n_changes > 1) {
        qsort(c->change, c->n_changes, sizeof *c->change, by_place);
    }
    join_changes(c);
    return TIPTRUE_OK;
}

static bool allocate(struct tt_changes *c)
{
    const struct tt_values *v = &c->values;

    c->drift = TT_ARENA_NEW(c->arena, v->tips, struct tt_tip_drift);
    c->height_drift = TT_ARENA_NEW(c->arena, v->tips, struct tt_tip_drift);
    c->wears = TT_ARENA_NEW(c->arena, v->tips, bool);
    c->edge_drift = TT_ARENA_NEW(c->arena, v->edges, struct tt_moved_by);
    c->residual = TT_ARENA_NEW(c->arena, (v->n + 2) * v->p, double);
    c->noise.between = TT_ARENA_NEW(c->arena, v->p, double);
    return c->drift && c->height_drift && c->wears && c->edge_drift && c->residual &&
           c->noise.between;
}

enum tiptrue_status tt_changes_fit(struct tt_changes *c, const struct tt_series *series,
                                   struct tt_arena *arena)
{
    *c = (struct tt_changes){.arena = arena};
    enum tiptrue_status status = tt_values_make(&c->values, series, arena);

    if (status == TIPTRUE_OK) {
        status = allocate(c) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
    }
    if (status != TIPTRUE_OK || c->values.n < 2) {
        return status;
    }
    return c->values.n < TT_FEWEST_TREND_RUNS
               ? levels_only(c)
               : analyse(&c->values, &c->problem, &c->noise, &c->fit, arena);
}

enum tiptrue_status tt_changes_find(struct tt_changes *c, const struct tt_series *series,
                                    struct tt_arena *arena)
{
    struct tt_questions q;
    enum tiptrue_status status = tt_changes_fit(c, series, arena);

    if (status != TIPTRUE_OK || c->values.n < 2) {
        return status;
    }
    if (status == TIPTRUE_OK) {
        status = tt_questions_prepare(&q, c->problem, c->fit.n_events + 2 * c->values.tips + 2,
                                      c->fit.columns + 3 * c->values.tips + 8, arena);
    }
    c->theta =
        status == TIPTRUE_OK ? TT_ARENA_NEW(arena, c->fit.room + q.trial.room, double) : NULL;
    c->covariance =
        status == TIPTRUE_OK
            ? TT_ARENA_NEW(arena, c->fit.room * c->fit.room + q.trial.room * q.trial.room, double)
            : NULL;
    if (c->theta == NULL || c->covariance == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_events_solve(&c->fit, c->theta, c->covariance);
    tt_events_residuals(&c->fit, c->theta, c->residual);
    status = describe(c, &q);
    if (status == TIPTRUE_OK) {
        status = tt_changes_smooth(c, &q, c->theta + c->fit.room,
                                   c->covariance + c->fit.room * c->fit.room);
    }
    if (status == TIPTRUE_OK) {
        status = tt_changes_rivals(c, &q, c->theta + c->fit.room,
                                   c->covariance + c->fit.room * c->fit.room);
    }
    if (status == TIPTRUE_OK && c->values.n > TT_FEWEST_TREND_RUNS) {
        status = tt_changes_judge_latest(c);
    }
    return status;
}
