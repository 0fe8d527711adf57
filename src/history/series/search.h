/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files of the search share; nobody else includes this. */
#ifndef TT_HISTORY_SERIES_SEARCH_H
#define TT_HISTORY_SERIES_SEARCH_H

#include <stdint.h>

#include "history/series/problem.h"

/* Improvements of the criterion below this are rounding. */
#define TT_BETTER 1e-7
/* So many sets are known again; some dozens are met in a search. */
#define TT_MOST_SEEN 1000

/* The set at hand with its criterion, and what working on it needs. */
struct tt_search {
    struct tt_problem *p;
    struct tt_events now, rest, trial, best, kept;
    double *work, *gain, *theta, *covariance, *residual;
    bool *leave;
    double now_c, best_c;
    struct tt_event *list;
    size_t *others, n_others; /* places of the views of what is no offset */
    bool has_others;
    size_t *changed, *looked,
        clock; /* [run]: when an event there last changed; when its place was last chosen anew */
    uint64_t *seen; /* digests of sets that a descent went on from */
    size_t n_seen;
};

static inline bool tt_is_fixed(const struct tt_event *e)
{
    return e->going == TT_OTHER_PLATE;
}

static inline struct tt_event tt_step_at(const struct tt_search *s, size_t run, size_t hypothesis)
{
    return (struct tt_event){.hypothesis = hypothesis,
                             .going = TT_STEP,
                             .from = tt_problem_seen_from(s->p, hypothesis, run),
                             .to = s->p->values->n};
}

/* descent.c: a set to begin with; the descent on the criterion. @place: room for a place each run.
 * False: it came to where an earlier one of the same @stage had been, so that nothing new comes of
 * it, nor of what follows the stage. */
void tt_search_set(struct tt_search *s, const struct tt_event *events, size_t n);
bool tt_search_add_pair(struct tt_search *s);
bool tt_search_descend(struct tt_search *s, int stage, size_t place[]);

/* choose.c: the trial becomes the set at hand, if it is better. */
bool tt_search_take(struct tt_search *s);
/* Where the events of s->leave were, near the run @near: none, one or two in their place,
 * whatever is best. False: nothing is better. */
bool tt_search_choose_anew(struct tt_search *s, size_t near);

/* views.c: the places where a view of the table changes, each once, in order, with the smooth terms
 * at hand taken out; their number is returned. What changed at one of them, by the runs from
 * @before to @after, into the trial. */
size_t tt_views_segment(struct tt_search *s, size_t place[]);
void tt_views_name(struct tt_search *s, size_t before, size_t at, size_t after);

/* Sort places, and keep each once; their number is returned. */
size_t tt_places_sort(size_t place[], size_t n);

#endif
