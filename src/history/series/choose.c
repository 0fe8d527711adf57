/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What stands in place of some events: none, one or two of them; a trial taken if it is better. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/series/search.h"

/* An event is placed anew within so many runs. */
#define NEAR 4
/* The best few of which are tried alone; fewer of them with a second one, and the best of so many
 * kinds, since the true one can hide behind neighbouring places and what holds it. */
#define CANDIDATES 5
#define PAIRS 3
#define KINDS 4

/* Note where two sets differ. */
static void note_changes(struct tt_search *s, const struct tt_events *a, const struct tt_events *b)
{
    for (size_t i = 0; i < a->n_events; i++) {
        bool there = a->event[i].going != TT_STEP;
        for (size_t k = 0; k < b->n_events && !there; k++) {
            there = tt_event_is(&a->event[i], &b->event[k]);
        }
        if (!there) {
            s->changed[a->event[i].from] = s->clock;
        }
    }
}

/* The trial becomes what is, if it is better. */
bool tt_search_take(struct tt_search *s)
{
    double c = tt_events_criterion(&s->trial);

    if (!(c < s->now_c - TT_BETTER)) {
        return false;
    }
    s->clock++;
    note_changes(s, &s->now, &s->trial);
    note_changes(s, &s->trial, &s->now);
    struct tt_events swap = s->now;
    s->now = s->trial;
    s->trial = swap;
    s->now_c = c;
    return true;
}

struct candidate {
    double net;
    struct tt_event event;
};

/* Into a list of @room, the best first. */
static void note_candidate(struct candidate list[], size_t room, double net, struct tt_event event)
{
    size_t i = room;

    while (i > 0 && net > list[i - 1].net) {
        if (i < room) {
            list[i] = list[i - 1];
        }
        i--;
    }
    if (i < room) {
        list[i] = (struct candidate){net, event};
    }
}

/* Likewise the best of each kind. */
static void note_kind(const struct tt_search *s, struct candidate list[KINDS], double net,
                      struct tt_event event)
{
    const struct tt_hypothesis_of *all = s->p->hypothesis;

    for (size_t i = 0; i < KINDS && list[i].net > -HUGE_VAL; i++) {
        if (!tt_hypotheses_kin(&all[list[i].event.hypothesis], &all[event.hypothesis])) {
            continue;
        }
        if (list[i].net >= net) {
            return;
        }
        memmove(list + i, list + i + 1, (KINDS - 1 - i) * sizeof *list);
        list[KINDS - 1].net = -HUGE_VAL;
        break;
    }
    note_candidate(list, KINDS, net, event);
}

/* The trial is kept, if it is the best yet. */
static bool keep_trial(struct tt_search *s, double *best_c)
{
    double c = tt_events_criterion(&s->trial);

    if (!(c < *best_c - TT_BETTER)) {
        return false;
    }
    *best_c = c;
    tt_events_copy(&s->kept, &s->trial, NULL);
    return true;
}

/* The best second one beside @first, into the trial. */
static bool add_second(struct tt_search *s, const struct tt_event *first)
{
    const struct tt_hypothesis_of *all = s->p->hypothesis, *one = &all[first->hypothesis];
    size_t second = 0;
    double net = 0;

    tt_events_scan(&s->trial, first->from, s->work, s->gain);
    for (size_t h = 0; h < s->p->n_steps; h++) {
        double worth = s->gain[h] - tt_problem_beside(s->p, &all[h], one);
        if (worth > net && !tt_hypotheses_exclude(&all[h], one)) {
            net = worth;
            second = h;
        }
    }
    const struct tt_event more = tt_step_at(s, first->from, second);
    return net > 0 && tt_events_append(&s->trial, &more);
}

/* @event beside the rest, and (@pair) the best second one beside it. */
static bool try_candidate(struct tt_search *s, const struct tt_event *event, bool pair,
                          double *best_c)
{
    tt_events_copy(&s->trial, &s->rest, NULL);
    if (!tt_events_append(&s->trial, event)) {
        return false;
    }
    bool any = keep_trial(s, best_c);
    return (pair && add_second(s, event) && keep_trial(s, best_c)) || any;
}

/* Whether there is none, or it was among the first ones. */
static bool was_tried(const struct candidate list[], size_t i)
{
    bool tried = list[i].net <= -HUGE_VAL;

    for (size_t k = 0; k < PAIRS && i >= CANDIDATES && !tried; k++) {
        tried = tt_event_is(&list[k].event, &list[i].event);
    }
    return tried;
}

bool tt_search_choose_anew(struct tt_search *s, size_t near)
{
    size_t n = s->p->values->n, first = near > NEAR ? near - NEAR : 1,
           last = near + NEAR < n ? near + NEAR : n - 1;
    struct candidate list[CANDIDATES + KINDS], *kind = list + CANDIDATES;

    for (size_t i = 0; i < CANDIDATES + KINDS; i++) {
        list[i].net = -HUGE_VAL;
    }
    tt_events_copy(&s->rest, &s->now, s->leave);
    tt_events_copy(&s->trial, &s->rest, NULL);
    if (tt_search_take(s)) {
        return true;
    }
    for (size_t run = first; run <= last; run++) {
        tt_events_scan(&s->rest, run, s->work, s->gain);
        for (size_t h = 0; h < s->p->n_steps; h++) {
            double net = s->gain[h] - s->p->hypothesis[h].price;
            note_candidate(list, CANDIDATES, net, tt_step_at(s, run, h));
            note_kind(s, kind, net, tt_step_at(s, run, h));
        }
    }
    double best_c = s->now_c;
    bool any = false;
    for (size_t i = 0; i < CANDIDATES + KINDS; i++) {
        if (!was_tried(list, i)) {
            any = try_candidate(s, &list[i].event, i < PAIRS || i >= CANDIDATES, &best_c) || any;
        }
    }
    if (any) {
        tt_events_copy(&s->trial, &s->kept, NULL);
    }
    return any && tt_search_take(s);
}
