/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The search: from several sets of smooth terms, what the views show, and descent; the best wins.
 */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/series/search.h"

/* More changes than this in the runs looked at are not taken apart: the cost grows with their
 * square. */
#define MOST_EVENTS 80
/* Part of its price that a start's smooth terms have to explain: a third of quiet histories still
 * go on. */
#define PROMISE 0.4

/* Drifts, temperature and season that may be tried. */
static size_t list_smooth(const struct tt_search *s, struct tt_event list[])
{
    const struct tt_problem *p = s->p;
    size_t n = 0;

    if (p->regressor[TT_TEMPERATURE] != TT_NONE) {
        size_t heights = tt_problem_find(p, TT_ALL_HEIGHTS, TT_NONE);
        list[n++] = (struct tt_event){.hypothesis = 0, .going = TT_TEMPERATURE};
        if (heights != TT_NONE) {
            list[n++] = (struct tt_event){.hypothesis = heights, .going = TT_TEMPERATURE};
        }
    }
    if (p->regressor[TT_SEASON] != TT_NONE) {
        list[n++] = (struct tt_event){.hypothesis = 0, .going = TT_SEASON};
    }
    for (size_t h = 0; h < p->n_hypotheses; h++) {
        enum tt_hypothesis what = p->hypothesis[h].what;
        if (what != TT_CAMERA_MARK && what != TT_CHANGED && what < TT_PLATE_LEVEL) {
            list[n++] = (struct tt_event){.hypothesis = h, .going = TT_DRIFT};
        }
    }
    return n;
}

/* The smooth term that pays most. */
static bool add_smooth(struct tt_search *s)
{
    size_t n = list_smooth(s, s->list), best = n;
    double least = s->now_c - TT_BETTER;

    for (size_t i = 0; i < n; i++) {
        const struct tt_event e = s->list[i];
        tt_events_copy(&s->trial, &s->now, NULL);
        if (tt_events_append(&s->trial, &e) && tt_events_criterion(&s->trial) < least) {
            least = tt_events_criterion(&s->trial);
            best = i;
        }
    }
    if (best == n) {
        return false;
    }
    tt_events_copy(&s->trial, &s->now, NULL);
    return tt_events_append(&s->trial, &s->list[best]) && tt_search_take(s);
}

/* Drifts of several tips as one of all, and one tip's more. */
static bool join_drifts(struct tt_search *s)
{
    const struct tt_event all = {.hypothesis = 0, .going = TT_DRIFT};
    size_t own[64], n = 0;
    bool joined = false;

    for (size_t i = 0; i < s->now.n_events; i++) {
        const struct tt_event *e = &s->now.event[i];
        enum tt_hypothesis what = s->p->hypothesis[e->hypothesis].what;
        s->leave[i] = e->going == TT_DRIFT && (what == TT_SEAT || what == TT_CAMERA);
        if (s->leave[i] && what == TT_SEAT && n < 64) {
            own[n++] = e->hypothesis;
        }
    }
    if (n < 2) {
        return false;
    }
    tt_events_copy(&s->rest, &s->now, s->leave);
    for (size_t i = 0; i <= n; i++) {
        tt_events_copy(&s->trial, &s->rest, NULL);
        if (!tt_events_append(&s->trial, &all)) {
            return joined;
        }
        if (i < n) {
            const struct tt_event e = {.hypothesis = own[i], .going = TT_DRIFT};
            if (!tt_events_append(&s->trial, &e)) {
                continue;
            }
        }
        joined = tt_search_take(s) || joined;
    }
    return joined;
}
static void keep_best(struct tt_search *s)
{
    if (s->now_c < s->best_c - TT_BETTER) {
        s->best_c = s->now_c;
        tt_events_copy(&s->best, &s->now, NULL);
    }
}
/* Whether the smooth terms at hand alone explain at least a part of what the cheapest of them
 * costs: steps that hide a drift leave a slope, and in a quiet history most starts end here. */
static bool promises(struct tt_search *s)
{
    double least = HUGE_VAL;

    for (size_t i = 0; i < s->now.n_events; i++) {
        if (!tt_is_fixed(&s->now.event[i])) {
            least = fmin(least, tt_problem_price(s->p, &s->now.event[i]));
        }
    }
    tt_events_reset(&s->rest);
    return s->rest.rss - s->now.rss > PROMISE * least;
}

/* From one start: smooth terms as given, the places of the views, descent, further smooth terms,
 * descent. */
static void search_from(struct tt_search *s, const struct tt_event smooth[], size_t n_smooth,
                        bool greedy, size_t place[])
{
    tt_search_set(s, smooth, n_smooth);
    while (greedy && add_smooth(s)) {
    }
    if ((greedy || n_smooth > 0) && !promises(s)) {
        return; /* without them it was searched before */
    }
    size_t n = tt_views_segment(s, place);
    tt_events_copy(&s->trial, &s->now, NULL);
    for (size_t i = 0; i < n; i++) {
        tt_views_name(s, i > 0 ? place[i - 1] : 0, place[i],
                      i + 1 < n ? place[i + 1] : s->p->values->n);
    }
    struct tt_events swap = s->now;
    s->now = s->trial;
    s->trial = swap;
    s->now_c = tt_events_criterion(&s->now);
    if (!tt_search_descend(s, 1, place)) {
        return;
    }
    bool more = join_drifts(s);
    while (add_smooth(s)) {
        more = true;
    }
    if (more && tt_search_descend(s, 2, place)) {
        join_drifts(s);
    }
    keep_best(s);
}
static bool allocate(struct tt_search *s)
{
    struct tt_problem *p = s->p;
    const struct tt_values *v = p->values;
    size_t room = 12 + (v->axes - 1) * v->tips + (v->n / 4 < MOST_EVENTS ? v->n / 4 : MOST_EVENTS);
    struct tt_events *const fits[] = {&s->now, &s->rest, &s->trial, &s->best, &s->kept};

    for (size_t i = 0; i < sizeof fits / sizeof fits[0]; i++) {
        if (tt_events_init(fits[i], p, room, 0) != TIPTRUE_OK) {
            return false;
        }
    }
    size_t scan = tt_events_scan_room(&s->now), segment = tt_segment_room(v->n);
    s->work = TT_ARENA_NEW(p->arena, scan > segment ? scan : segment, double);
    s->others = TT_ARENA_NEW(p->arena, v->n * (v->tips + 1 + v->contrasts), size_t);
    s->changed = TT_ARENA_NEW(p->arena, v->n + 1, size_t);
    s->looked = TT_ARENA_NEW(p->arena, v->n + 1, size_t);
    s->gain = TT_ARENA_NEW(p->arena, p->n_hypotheses, double);
    s->theta = TT_ARENA_NEW(p->arena, s->now.room, double);
    s->covariance = TT_ARENA_NEW(p->arena, s->now.room * s->now.room, double);
    s->residual = TT_ARENA_NEW(p->arena, (v->n + 3) * v->p + 3 * v->n + p->gls.block, double);
    s->leave = TT_ARENA_NEW(p->arena, s->now.room_events, bool);
    s->list = TT_ARENA_NEW(p->arena, s->now.room_events + p->n_hypotheses + 5, struct tt_event);
    s->seen = TT_ARENA_NEW(p->arena, TT_MOST_SEEN, uint64_t);
    return s->seen && s->work && s->others && s->changed && s->looked && s->gain && s->theta &&
           s->covariance && s->residual && s->leave && s->list;
}
/* The camera with the mark, and the pose: the same as the camera and the pose, whose mark is that
 * of the plate. */
static void settle_plates(struct tt_search *s)
{
    const struct tt_hypothesis_of *all = s->p->hypothesis;
    size_t n = s->best.n_events;

    memcpy(s->list, s->best.event, n * sizeof *s->list);
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < n; k++) {
            const struct tt_event *a = &s->list[i], *b = &s->list[k];
            if (all[a->hypothesis].what == TT_CAMERA_MARK && all[b->hypothesis].what == TT_POSE &&
                a->going == TT_STEP && b->going == TT_STEP && a->from == b->from &&
                a->to == b->to) {
                s->list[i].hypothesis = 0;
            }
        }
    }
    tt_search_set(s, s->list, n);
    tt_events_copy(&s->best, &s->now, NULL);
}

enum tiptrue_status tt_search(struct tt_problem *p, const struct tt_events *seed,
                              struct tt_events *best)
{
    struct tt_search s = {.p = p, .best_c = HUGE_VAL};
    const struct tt_values *v = p->values;
    size_t views = v->tips * v->axes + v->axes + 1 + v->contrasts, n_seed = 0, n_smooth = 0;
    size_t *place = TT_ARENA_NEW(p->arena, v->n * views, size_t);
    struct tt_event *smooth = TT_ARENA_NEW(
        p->arena, p->n_hypotheses + 5 + (seed != NULL ? seed->n_events : 0), struct tt_event);

    if (!place || !smooth || !allocate(&s)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; seed != NULL && i < seed->n_events; i++) {
        n_seed += seed->event[i].going == TT_STEP;
        if (seed->event[i].going != TT_STEP) {
            smooth[n_smooth++] = seed->event[i];
        }
    }
    if (n_seed > 3) { /* much changed: which smooth terms there are was settled before */
        search_from(&s, smooth, n_smooth, false, place);
    } else {
        const struct tt_event drift = {.hypothesis = 0, .going = TT_DRIFT};
        search_from(&s, NULL, 0, false, place);
        search_from(&s, NULL, 0, true, place);
        search_from(&s, &drift, 1, false, place);
        n_smooth = 0;
        for (int going = TT_TEMPERATURE; going <= TT_SEASON; going++) {
            if (p->regressor[going] != TT_NONE) {
                struct tt_event e = {.hypothesis = 0, .going = (enum tt_going)going};
                search_from(&s, &e, 1, false, place);
                smooth[n_smooth] = e;
                n_smooth = 1;
            }
        }
        for (size_t h = 0; h < p->n_hypotheses && v->tips > 1; h++) {
            if (p->hypothesis[h].what == TT_SEAT) {
                smooth[n_smooth++] = (struct tt_event){.hypothesis = h, .going = TT_DRIFT};
            }
        }
        if (v->tips > 1) {
            search_from(&s, smooth, n_smooth, false, place);
        }
    }
    tt_search_set(&s, NULL, 0);
    if (tt_search_add_pair(&s)) {
        (void)tt_search_descend(&s, 2, place);
        keep_best(&s);
    }
    if (seed != NULL) {
        tt_search_set(&s, seed->event, seed->n_events);
        (void)tt_search_descend(&s, 2, place);
        keep_best(&s);
    }
    settle_plates(&s);
    *best = s.best;
    return TIPTRUE_OK;
}
