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

/* Explanations of a place, weighed by their criterion from the least one on; those that hold what
 * is said, and all. */
struct weights {
    double least, own, all;
};

static void weigh(struct weights *w, double criterion, bool own)
{
    if (criterion < w->least) {
        double less = exp(-0.5 * (w->least - criterion));
        *w = (struct weights){criterion, less * w->own, less * w->all};
    }
    double weight = exp(-0.5 * (criterion - w->least));
    w->all += weight;
    w->own += own ? weight : 0;
}

/* The other steps at the place of @event, marked to be left out with it; how many, and one. */
static size_t mark_place(const struct tt_changes *c, size_t event, struct tt_questions *q,
                         size_t *partner)
{
    const struct tt_event *e = &c->fit.event[event];
    size_t n = 0;

    for (size_t k = 0; k < c->fit.n_events; k++) {
        const struct tt_event *other = &c->fit.event[k];
        q->leave[k] =
            k == event || (other->going == TT_STEP && other->from == e->from && other->to == e->to);
        if (q->leave[k] && k != event) {
            *partner = k;
            n++;
        }
    }
    return n;
}

/* Weigh @first with each other one beside it; only the plate, where @plate. @said: what is said,
 * one or two of them. */
static void weigh_pairs(const struct tt_changes *c, const struct tt_event *first, bool plate,
                        const struct tt_hypothesis_of *const said[2], struct tt_questions *q,
                        struct weights *w)
{
    const struct tt_problem *p = c->problem;
    const struct tt_hypothesis_of *one = &p->hypothesis[first->hypothesis];

    tt_events_copy(&q->trial, &q->rest, NULL);
    if (!tt_events_append(&q->trial, first)) {
        return;
    }
    tt_events_scan(&q->trial, first->from, q->work, q->gain);
    for (size_t h = first->hypothesis + 1; h < p->n_steps; h++) {
        const struct tt_hypothesis_of *other = &p->hypothesis[h];
        const struct tt_event pair[] = {*first, {h, TT_STEP, first->from, first->to}};
        bool both = tt_hypotheses_make_plate(one, other);
        if ((plate && !both) || (both && one->what == TT_CAMERA_MARK)) {
            continue; /* the plate is the camera's with the pose */
        }
        bool own = tt_hypotheses_kin(one, said[0]) || tt_hypotheses_kin(other, said[0]);
        if (said[1] != NULL && tt_hypotheses_make_plate(said[0], said[1])) {
            own = both;
        }
        double gain = q->rest.rss - q->trial.rss + q->gain[h];
        weigh(w, tt_problem_prices(p, pair, 2) - gain, own);
    }
}

/* How probable what is said is, among all that could have been at the place: each hypothesis by
 * itself, the plate where it is about camera or pose, and all pairs where there are two. */
static double weight_of(const struct tt_changes *c, size_t event, struct tt_questions *q)
{
    const struct tt_problem *p = c->problem;
    struct tt_event e = c->fit.event[event];
    struct weights w = {.least = HUGE_VAL};
    size_t partner = TT_NONE, others = mark_place(c, event, q, &partner);
    const struct tt_hypothesis_of *said[2] = {&p->hypothesis[e.hypothesis], NULL};
    bool pairs = others == 1;

    if (pairs) {
        tt_events_copy(&q->rest, &c->fit, q->leave);
        said[1] = &p->hypothesis[c->fit.event[partner].hypothesis];
    }
    tt_events_scan(&q->rest, e.from, q->work, q->gain);
    for (size_t h = 0; h < p->n_steps; h++) {
        bool own = !(pairs && tt_hypotheses_make_plate(said[0], said[1])) &&
                   tt_hypotheses_kin(&p->hypothesis[h], said[0]);
        weigh(&w, p->hypothesis[h].price - q->gain[h], own);
    }
    for (size_t h = 0; h < p->n_steps && (pairs || (h == 0 && said[0]->what <= TT_POSE)); h++) {
        e.hypothesis = h;
        weigh_pairs(c, &e, !pairs, said, q, &w);
    }
    return w.own / w.all;
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
                   tt_is_of_tip(other->what) && other->who == now->who && !other->height.there &&
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
        change->drift_alike = drift_does(c, i, q);
        change->weight = weight_of(c, i, q);
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
