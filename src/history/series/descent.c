/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Descent on the criterion, each move only if it falls: drop, add, place and name anew, single
 * runs, pairs in short histories. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/cholesky.h"
#include "base/order.h"
#include "history/series/search.h"

/* Events so near are taken out together. */
#define TOGETHER 2
#define ROUNDS 40
/* Histories of at most so many runs are searched for pairs of steps too: n^2 h^2 of them. */
#define SHORT 14
/* A descent that is so much worse after a round than another at its end is given up: a round rarely
 * makes up for two steps. */
#define FAR_BEHIND 60.0

void tt_search_set(struct tt_search *s, const struct tt_event *events, size_t n)
{
    tt_events_reset(&s->now);
    for (size_t i = 0; i < n; i++) {
        bool there = tt_is_fixed(&events[i]);
        for (size_t k = 0; k < s->now.n_events; k++) {
            there = there || tt_event_is(&events[i], &s->now.event[k]);
        }
        if (!there) {
            (void)tt_events_append(&s->now, &events[i]);
        }
    }
    s->now_c = tt_events_criterion(&s->now);
}

/* By how much the sum of squares grows without the columns [from, to) and [also, also_to): theta'
 * covariance^-1 theta of these. */
static double worth(const struct tt_search *s, size_t from, size_t to, size_t also, size_t also_to)
{
    size_t n = s->now.columns, at[12], q = 0;
    double m[144], x[12], sum = 0;

    for (size_t i = from; i < to && q < 12; i++) {
        at[q++] = i;
    }
    for (size_t i = also; i < also_to && q < 12; i++) {
        at[q++] = i;
    }
    for (size_t i = 0; i < q; i++) {
        x[i] = s->theta[at[i]];
        for (size_t k = 0; k < q; k++) {
            m[i * q + k] = s->covariance[at[i] * n + at[k]];
        }
    }
    if (!tt_cholesky(m, q)) {
        return HUGE_VAL; /* known without an error: not to be left out */
    }
    tt_cholesky_forward(m, q, x);
    for (size_t i = 0; i < q; i++) {
        sum += x[i] * x[i];
    }
    return sum;
}

/* The criterion without one event, or two. */
static double criterion_without(struct tt_search *s, size_t a, size_t b)
{
    const struct tt_events *f = &s->now;
    size_t n = 0;

    for (size_t i = 0; i < f->n_events; i++) {
        if (i != a && i != b) {
            s->list[n++] = f->event[i];
        }
    }
    double more = a == b ? worth(s, f->first[a], f->first[a + 1], 0, 0)
                         : worth(s, f->first[a], f->first[a + 1], f->first[b], f->first[b + 1]);
    return f->rss + more + tt_problem_prices(s->p, s->list, n);
}

/* Two steps of a block can only go together: try each with the three that follow in time. */
static void best_pair(struct tt_search *s, size_t pair[2], double *c)
{
    const struct tt_events *f = &s->now;

    for (size_t a = 0; a < f->n_events; a++) {
        for (size_t b = 0; b < f->n_events; b++) {
            if (f->event[a].going != TT_STEP || f->event[b].going != TT_STEP || a == b ||
                f->event[a].from > f->event[b].from ||
                (f->event[a].from == f->event[b].from && a > b)) {
                continue;
            }
            size_t between = 0;
            for (size_t k = 0; k < f->n_events; k++) {
                between += f->event[k].going == TT_STEP && f->event[k].from > f->event[a].from &&
                           f->event[k].from < f->event[b].from;
            }
            double without = between < 3 ? criterion_without(s, a, b) : HUGE_VAL;
            if (without < *c - TT_BETTER) {
                *c = without;
                pair[0] = a;
                pair[1] = b;
            }
        }
    }
}

static bool drop(struct tt_search *s)
{
    bool any = false;

    for (;;) {
        size_t pair[2] = {0, 0};
        double c = s->now_c;
        tt_events_solve(&s->now, s->theta, s->covariance);
        for (size_t i = 0; i < s->now.n_events; i++) {
            double without = tt_is_fixed(&s->now.event[i]) ? HUGE_VAL : criterion_without(s, i, i);
            if (without < c - TT_BETTER) {
                c = without;
                pair[0] = pair[1] = i;
            }
        }
        if (!(c < s->now_c - TT_BETTER)) {
            best_pair(s, pair, &c);
        }
        if (!(c < s->now_c - TT_BETTER)) {
            return any;
        }
        memset(s->leave, 0, s->now.n_events * sizeof *s->leave);
        s->leave[pair[0]] = s->leave[pair[1]] = true;
        tt_events_copy(&s->trial, &s->now, s->leave);
        if (!tt_search_take(s)) {
            return any;
        }
        any = true;
    }
}

/* The best of all steps beside what there is. */
static bool add(struct tt_search *s)
{
    struct tt_event best = {0};
    double most = 0, more = tt_problem_next_place(s->p, s->now.event, s->now.n_events);

    for (size_t run = 1; run < s->p->values->n; run++) {
        const struct tt_hypothesis_of *here = NULL, *camera = NULL;
        for (size_t i = 0; i < s->now.n_events; i++) {
            if (s->now.event[i].going == TT_STEP && s->now.event[i].from == run) {
                here = &s->p->hypothesis[s->now.event[i].hypothesis];
                camera = here->what <= TT_CAMERA_MARK ? here : camera;
            }
        }
        here = camera != NULL ? camera : here;
        tt_events_scan(&s->now, run, s->work, s->gain);
        for (size_t h = 0; h < s->p->n_steps; h++) {
            const struct tt_hypothesis_of *of = &s->p->hypothesis[h];
            double price = here != NULL ? tt_problem_beside(s->p, of, here) : of->price + more;
            bool other = camera == NULL || of->what > TT_CAMERA_MARK;
            if (other && s->gain[h] - price > most) {
                most = s->gain[h] - price;
                best = tt_step_at(s, run, h);
            }
        }
    }
    if (!(most > 0)) {
        return false;
    }
    tt_events_copy(&s->trial, &s->now, NULL);
    return tt_events_append(&s->trial, &best) && tt_search_take(s);
}

size_t tt_places_sort(size_t place[], size_t n)
{
    size_t kept = 0;

    if (n > 1) {
        qsort(place, n, sizeof *place, tt_by_count);
    }
    for (size_t i = 0; i < n; i++) {
        if (kept == 0 || place[i] != place[kept - 1]) {
            place[kept++] = place[i];
        }
    }
    return kept;
}

/* The places of the steps there are, each once, in order of time. */
static size_t list_places(const struct tt_search *s, size_t place[])
{
    size_t n = 0;

    for (size_t i = 0; i < s->now.n_events; i++) {
        if (s->now.event[i].going == TT_STEP) {
            place[n++] = s->now.event[i].from;
        }
    }
    return tt_places_sort(place, n);
}

/* Mark the steps within @reach runs of @place; how many. */
static size_t mark_near(struct tt_search *s, size_t place, size_t reach)
{
    size_t n = 0;

    for (size_t i = 0; i < s->now.n_events; i++) {
        const struct tt_event *e = &s->now.event[i];
        s->leave[i] = e->going == TT_STEP && e->from <= place + reach && place <= e->from + reach;
        n += s->leave[i];
    }
    return n;
}

static bool place_anew(struct tt_search *s, size_t place[])
{
    size_t n = list_places(s, place);
    bool any = false;

    for (size_t i = 0; i < n; i++) {
        size_t alone = mark_near(s, place[i], 0), latest = 0;
        for (size_t k = i > 0 ? i - 1 : 0; k <= i + 1 && k < n; k++) {
            latest = s->changed[place[k]] > latest ? s->changed[place[k]] : latest;
        }
        if (alone == 0 || latest < s->looked[place[i]]) {
            continue; /* it went with a neighbour, or nothing about it is new */
        }
        s->looked[place[i]] = s->clock + 1;
        if (mark_near(s, place[i], TOGETHER) > alone && tt_search_choose_anew(s, place[i])) {
            any = true;
        } else {
            mark_near(s, place[i], 0);
            any = tt_search_choose_anew(s, place[i]) || any;
        }
    }
    return any;
}

/* There and back within one run is a single run that stands apart. */
static bool join_single(struct tt_search *s)
{
    for (size_t a = 0; a < s->now.n_events; a++) {
        for (size_t b = 0; b < s->now.n_events; b++) {
            struct tt_event e = s->now.event[a], back = s->now.event[b];
            if (e.going != TT_STEP || back.going != TT_STEP || e.hypothesis != back.hypothesis ||
                e.to < s->p->values->n || back.from != e.from + 1 || back.to < s->p->values->n) {
                continue;
            }
            memset(s->leave, 0, s->now.n_events * sizeof *s->leave);
            s->leave[a] = s->leave[b] = true;
            tt_events_copy(&s->trial, &s->now, s->leave);
            e.to = e.from + 1;
            if (tt_events_append(&s->trial, &e) && tt_search_take(s)) {
                return true;
            }
        }
    }
    return false;
}

/* In short histories two steps can pay of which none does alone: each possible first one, with the
 * best second beside it. */
bool tt_search_add_pair(struct tt_search *s)
{
    size_t n = s->p->values->n;
    struct tt_event best[2];
    double least = s->now_c - TT_BETTER;

    for (size_t run = 1; run < n && n <= SHORT; run++) {
        for (size_t h = 0; h < s->p->n_steps; h++) {
            const struct tt_event first = tt_step_at(s, run, h);
            tt_events_copy(&s->trial, &s->now, NULL);
            if (!tt_events_append(&s->trial, &first)) {
                continue;
            }
            double c = tt_events_criterion(&s->trial);
            for (size_t second = run; second < n && c < HUGE_VAL; second++) {
                tt_events_scan(&s->trial, second, s->work, s->gain);
                for (size_t k = 0; k < s->p->n_steps; k++) {
                    const struct tt_hypothesis_of *of = &s->p->hypothesis[k];
                    bool same = second == run,
                         no = same && tt_hypotheses_exclude(of, &s->p->hypothesis[h]);
                    const struct tt_event pair[] = {first, tt_step_at(s, second, k)};
                    double price =
                        same ? tt_problem_prices(s->p, pair, 2) - s->p->hypothesis[h].price
                             : of->price;
                    double with = c - s->gain[k] + price;
                    if (!no && with < least) {
                        least = with;
                        memcpy(best, pair, sizeof best);
                    }
                }
            }
        }
    }
    if (!(least < s->now_c - TT_BETTER)) {
        return false;
    }
    tt_events_copy(&s->trial, &s->now, NULL);
    return tt_events_append(&s->trial, &best[0]) && tt_events_append(&s->trial, &best[1]) &&
           tt_search_take(s);
}

static bool is_best(const struct tt_search *s)
{
    bool same = s->best_c < HUGE_VAL && s->now.n_events == s->best.n_events;

    for (size_t i = 0; i < s->now.n_events && same; i++) {
        bool there = false;
        for (size_t k = 0; k < s->best.n_events; k++) {
            there = there || tt_event_is(&s->now.event[i], &s->best.event[k]);
        }
        same = there;
    }
    return same;
}

/* Digest of the set at hand and of @stage, whatever the order of its events: their codes, mixed by
 * the finaliser of splitmix64 (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014), added. */
static uint64_t digest_of(const struct tt_search *s, int stage)
{
    uint64_t n = s->p->values->n + 1, sum = (uint64_t)stage;

    for (size_t i = 0; i < s->now.n_events; i++) {
        const struct tt_event *e = &s->now.event[i];
        uint64_t x = (((e->hypothesis << 3 | e->going) * n + e->from) * n + e->to) + 1;
        x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9;
        x = (x ^ x >> 27) * 0x94d049bb133111eb;
        sum += x ^ x >> 31;
    }
    return sum;
}

/* Whether an earlier descent of @stage, one of the first @n_before sets, went on from the set at
 * hand as this one would; from now on this one did. */
static bool was_here(struct tt_search *s, int stage, size_t n_before)
{
    uint64_t digest = digest_of(s, stage);

    for (size_t i = 0; i < n_before; i++) {
        if (s->seen[i] == digest) {
            return true;
        }
    }
    if (s->n_seen < TT_MOST_SEEN) {
        s->seen[s->n_seen++] = digest;
    }
    return false;
}

/* Ends where nothing is better, where an earlier start ended, and where one round left it far
 * behind that. */
bool tt_search_descend(struct tt_search *s, int stage, size_t place[])
{
    size_t n_before = s->n_seen;

    memset(s->looked, 0, (s->p->values->n + 1) * sizeof *s->looked);
    for (int round = 0; round < ROUNDS; round++) {
        bool any = drop(s);
        if (is_best(s) || (round > 0 && s->now_c > s->best_c + FAR_BEHIND)) {
            return true;
        }
        if (was_here(s, stage, n_before)) {
            return false;
        }
        any = add(s) || any;
        any = place_anew(s, place) || any;
        any = join_single(s) || any;
        if (!any && !tt_search_add_pair(s)) {
            return true;
        }
    }
    return true;
}
