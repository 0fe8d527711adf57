/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The search: where the views of the table that share nothing change, by exact segmentation; what changed there, from the means
 * before and after, every other place left free, so that nothing masks anything; then descent on the criterion, each move only if
 * it falls: drop, add, place and name anew.
 */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "history/series/problem.h"

/* A segmentation that pays less than a step finds more places; what does not stand is dropped. 0.6 and 0.9 do as well. */
#define VIEW_SHARE 0.75
/* An event is placed anew within so many runs; events so near are taken out together. */
#define NEAR 4
#define TOGETHER 2
/* The best few of which are tried with a second one. */
#define CANDIDATES 5
#define PAIRS 3
#define MOST_HERE 3
#define ROUNDS 40
/* Histories of at most so many runs are searched for pairs of steps too: n^2 h^2 of them. */
#define SHORT 14
/* More changes than this in the runs looked at are not taken apart: the cost grows with their square. */
#define MOST_EVENTS 80
#define BETTER 1e-7
/* A descent that is so much worse after a round than another at its end is given up: a round rarely makes up for two steps. */
#define FAR_BEHIND 60.0

struct search {
    struct tt_problem *p;
    struct tt_events now, rest, trial, best, kept;
    double *work, *gain, *theta, *covariance, *residual;
    bool *leave;
    double now_c, best_c;
    struct tt_event *list;
    size_t *others, n_others; /* places of the views of what is no offset */
    bool has_others;
    size_t *changed, *looked, clock; /* [run]: when an event there last changed; when its place was last chosen anew */
};

static bool is_fixed(const struct tt_event *e)
{
    return e->going == TT_OTHER_PLATE;
}

static struct tt_event step_at(const struct search *s, size_t run, size_t hypothesis)
{
    return (struct tt_event){.hypothesis = hypothesis, .going = TT_STEP, .from = run, .to = s->p->values->n};
}

/* Note where two sets differ. */
static void note_changes(struct search *s, const struct tt_events *a, const struct tt_events *b)
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
static bool take(struct search *s)
{
    double c = tt_events_criterion(&s->trial);

    if (!(c < s->now_c - BETTER)) {
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

static void set_now(struct search *s, const struct tt_event *events, size_t n)
{
    tt_events_reset(&s->now);
    for (size_t i = 0; i < n; i++) {
        bool there = is_fixed(&events[i]);
        for (size_t k = 0; k < s->now.n_events; k++) {
            there = there || tt_event_is(&events[i], &s->now.event[k]);
        }
        if (!there) {
            (void)tt_events_append(&s->now, &events[i]);
        }
    }
    s->now_c = tt_events_criterion(&s->now);
}

/* By how much the sum of squares grows without the columns [from, to) and [also, also_to). */
static double worth(const struct search *s, size_t from, size_t to, size_t also, size_t also_to)
{
    size_t n = s->now.columns, at[12], q = 0;
    double m[144], x[12], sum = 0;

    for (size_t i = from; i < to && q < 12; i++) {
        at[q++] = i;
    }
    for (size_t i = also; i < also_to && q < 12; i++) {
        at[q++] = i;
    }
    for (size_t i = 0; i < q; i++) { /* theta' covariance^-1 theta, by Cholesky */
        double left = s->covariance[at[i] * n + at[i]];
        x[i] = s->theta[at[i]];
        for (size_t k = 0; k < i; k++) {
            double c = s->covariance[at[i] * n + at[k]];
            for (size_t j = 0; j < k; j++) {
                c -= m[i * 12 + j] * m[k * 12 + j];
            }
            m[i * 12 + k] = c / m[k * 12 + k];
            left -= m[i * 12 + k] * m[i * 12 + k];
            x[i] -= m[i * 12 + k] * x[k];
        }
        m[i * 12 + i] = sqrt(fmax(left, 1e-300));
        x[i] /= m[i * 12 + i];
        sum += x[i] * x[i];
    }
    return sum;
}

/* The criterion without one event, or two. */
static double criterion_without(struct search *s, size_t a, size_t b)
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
static void best_pair(struct search *s, size_t pair[2], double *c)
{
    const struct tt_events *f = &s->now;

    for (size_t a = 0; a < f->n_events; a++) {
        for (size_t b = 0; b < f->n_events; b++) {
            if (f->event[a].going != TT_STEP || f->event[b].going != TT_STEP || a == b || f->event[a].from > f->event[b].from ||
                (f->event[a].from == f->event[b].from && a > b)) {
                continue;
            }
            size_t between = 0;
            for (size_t k = 0; k < f->n_events; k++) {
                between +=
                    f->event[k].going == TT_STEP && f->event[k].from > f->event[a].from && f->event[k].from < f->event[b].from;
            }
            double without = between < 3 ? criterion_without(s, a, b) : HUGE_VAL;
            if (without < *c - BETTER) {
                *c = without;
                pair[0] = a;
                pair[1] = b;
            }
        }
    }
}

static bool drop(struct search *s)
{
    bool any = false;

    for (;;) {
        size_t pair[2] = {0, 0};
        double c = s->now_c;
        tt_events_solve(&s->now, s->theta, s->covariance);
        for (size_t i = 0; i < s->now.n_events; i++) {
            double without = is_fixed(&s->now.event[i]) ? HUGE_VAL : criterion_without(s, i, i);
            if (without < c - BETTER) {
                c = without;
                pair[0] = pair[1] = i;
            }
        }
        if (!(c < s->now_c - BETTER)) {
            best_pair(s, pair, &c);
        }
        if (!(c < s->now_c - BETTER)) {
            return any;
        }
        memset(s->leave, 0, s->now.n_events * sizeof *s->leave);
        s->leave[pair[0]] = s->leave[pair[1]] = true;
        tt_events_copy(&s->trial, &s->now, s->leave);
        if (!take(s)) {
            return any;
        }
        any = true;
    }
}

/* The best of all steps beside what there is. */
static bool add(struct search *s)
{
    struct tt_event best = {0};
    double most = 0;

    for (size_t run = 1; run < s->p->values->n; run++) {
        bool taken = false, camera = false;
        for (size_t i = 0; i < s->now.n_events; i++) {
            bool here = s->now.event[i].going == TT_STEP && s->now.event[i].from == run;
            taken = taken || here;
            camera = camera || (here && s->p->hypothesis[s->now.event[i].hypothesis].what <= TT_CAMERA_MARK);
        }
        tt_events_scan(&s->now, run, s->work, s->gain);
        for (size_t h = 0; h < s->p->n_steps; h++) {
            double price = taken ? s->p->hypothesis[h].price_same : s->p->hypothesis[h].price;
            bool other = !camera || s->p->hypothesis[h].what > TT_CAMERA_MARK;
            if (other && s->gain[h] - price > most) {
                most = s->gain[h] - price;
                best = step_at(s, run, h);
            }
        }
    }
    if (!(most > 0)) {
        return false;
    }
    tt_events_copy(&s->trial, &s->now, NULL);
    return tt_events_append(&s->trial, &best) && take(s);
}

struct candidate {
    double net;
    struct tt_event event;
};

static void note_candidate(struct candidate list[CANDIDATES], double net, struct tt_event event)
{
    size_t i = CANDIDATES;

    while (i > 0 && net > list[i - 1].net) {
        if (i < CANDIDATES) {
            list[i] = list[i - 1];
        }
        i--;
    }
    if (i < CANDIDATES) {
        list[i] = (struct candidate){net, event};
    }
}

/* Where the events of s->leave were: none, one or two in their place, whatever is best. */
static bool choose_anew(struct search *s, size_t near)
{
    size_t n = s->p->values->n, first = near > NEAR ? near - NEAR : 1, last = near + NEAR < n ? near + NEAR : n - 1;
    struct candidate list[CANDIDATES];

    for (size_t i = 0; i < CANDIDATES; i++) {
        list[i].net = -HUGE_VAL;
    }
    tt_events_copy(&s->rest, &s->now, s->leave);
    tt_events_copy(&s->trial, &s->rest, NULL);
    if (take(s)) {
        return true;
    }
    for (size_t run = first; run <= last; run++) {
        tt_events_scan(&s->rest, run, s->work, s->gain);
        for (size_t h = 0; h < s->p->n_steps; h++) {
            note_candidate(list, s->gain[h] - s->p->hypothesis[h].price, step_at(s, run, h));
        }
    }
    double best_c = s->now_c;
    bool any = false;
    for (size_t i = 0; i < CANDIDATES && list[i].net > -HUGE_VAL; i++) {
        tt_events_copy(&s->trial, &s->rest, NULL);
        if (!tt_events_append(&s->trial, &list[i].event)) {
            continue;
        }
        double c = tt_events_criterion(&s->trial);
        if (c < best_c - BETTER) {
            best_c = c;
            tt_events_copy(&s->kept, &s->trial, NULL);
            any = true;
        }
        if (i >= PAIRS) {
            continue;
        }
        tt_events_scan(&s->trial, list[i].event.from, s->work, s->gain);
        size_t second = 0;
        double net = 0;
        for (size_t h = 0; h < s->p->n_steps; h++) {
            if (s->gain[h] - s->p->hypothesis[h].price_same > net &&
                !tt_hypotheses_exclude(&s->p->hypothesis[h], &s->p->hypothesis[list[i].event.hypothesis])) {
                net = s->gain[h] - s->p->hypothesis[h].price_same;
                second = h;
            }
        }
        struct tt_event more = step_at(s, list[i].event.from, second);
        if (net > 0 && tt_events_append(&s->trial, &more) && tt_events_criterion(&s->trial) < best_c - BETTER) {
            best_c = tt_events_criterion(&s->trial);
            tt_events_copy(&s->kept, &s->trial, NULL);
            any = true;
        }
    }
    if (any) {
        tt_events_copy(&s->trial, &s->kept, NULL);
    }
    return any && take(s);
}

static int by_number(const void *a, const void *b)
{
    size_t x = *(const size_t *)a, y = *(const size_t *)b;
    return (x > y) - (x < y);
}

/* The places of the steps there are, each once, in order of time. */
static size_t list_places(const struct search *s, size_t place[])
{
    size_t n = 0, kept = 0;

    for (size_t i = 0; i < s->now.n_events; i++) {
        if (s->now.event[i].going == TT_STEP) {
            place[n++] = s->now.event[i].from;
        }
    }
    if (n > 1) {
        qsort(place, n, sizeof *place, by_number);
    }
    for (size_t i = 0; i < n; i++) {
        if (i == 0 || place[i] != place[kept - 1]) {
            place[kept++] = place[i];
        }
    }
    return kept;
}

/* Mark the steps within @reach runs of @place; how many. */
static size_t mark_near(struct search *s, size_t place, size_t reach)
{
    size_t n = 0;

    for (size_t i = 0; i < s->now.n_events; i++) {
        const struct tt_event *e = &s->now.event[i];
        s->leave[i] = e->going == TT_STEP && e->from <= place + reach && place <= e->from + reach;
        n += s->leave[i];
    }
    return n;
}

static bool place_anew(struct search *s, size_t place[])
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
        if (mark_near(s, place[i], TOGETHER) > alone && choose_anew(s, place[i])) {
            any = true;
        } else {
            mark_near(s, place[i], 0);
            any = choose_anew(s, place[i]) || any;
        }
    }
    return any;
}

/* There and back within one run is a single run that stands apart. */
static bool join_single(struct search *s)
{
    for (size_t a = 0; a < s->now.n_events; a++) {
        for (size_t b = 0; b < s->now.n_events; b++) {
            struct tt_event e = s->now.event[a], back = s->now.event[b];
            if (e.going != TT_STEP || back.going != TT_STEP || e.hypothesis != back.hypothesis || e.to < s->p->values->n ||
                back.from != e.from + 1 || back.to < s->p->values->n) {
                continue;
            }
            memset(s->leave, 0, s->now.n_events * sizeof *s->leave);
            s->leave[a] = s->leave[b] = true;
            tt_events_copy(&s->trial, &s->now, s->leave);
            e.to = e.from + 1;
            if (tt_events_append(&s->trial, &e) && take(s)) {
                return true;
            }
        }
    }
    return false;
}

/* In short histories two steps can pay of which none does alone: each possible first one, with the best second beside it. */
static bool add_pair(struct search *s)
{
    size_t n = s->p->values->n;
    struct tt_event best[2];
    double least = s->now_c - BETTER;

    for (size_t run = 1; run < n && n <= SHORT; run++) {
        for (size_t h = 0; h < s->p->n_steps; h++) {
            const struct tt_event first = step_at(s, run, h);
            tt_events_copy(&s->trial, &s->now, NULL);
            if (!tt_events_append(&s->trial, &first)) {
                continue;
            }
            double c = tt_events_criterion(&s->trial);
            for (size_t second = run; second < n && c < HUGE_VAL; second++) {
                tt_events_scan(&s->trial, second, s->work, s->gain);
                for (size_t k = 0; k < s->p->n_steps; k++) {
                    const struct tt_hypothesis_of *of = &s->p->hypothesis[k];
                    bool same = second == run, no = same && tt_hypotheses_exclude(of, &s->p->hypothesis[h]);
                    const struct tt_event pair[] = {first, step_at(s, second, k)};
                    double price = same ? tt_problem_prices(s->p, pair, 2) - s->p->hypothesis[h].price : of->price;
                    double with = c - s->gain[k] + price;
                    if (!no && with < least) {
                        least = with;
                        memcpy(best, pair, sizeof best);
                    }
                }
            }
        }
    }
    if (!(least < s->now_c - BETTER)) {
        return false;
    }
    tt_events_copy(&s->trial, &s->now, NULL);
    return tt_events_append(&s->trial, &best[0]) && tt_events_append(&s->trial, &best[1]) && take(s);
}

static bool is_best(const struct search *s)
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

/* Ends where nothing is better, where an earlier start ended, and where one round left it far behind that. */
static void descend(struct search *s, size_t place[])
{
    memset(s->looked, 0, (s->p->values->n + 1) * sizeof *s->looked);
    for (int round = 0; round < ROUNDS; round++) {
        bool any = drop(s);
        if (is_best(s) || (round > 0 && s->now_c > s->best_c + FAR_BEHIND)) {
            return;
        }
        any = add(s) || any;
        any = place_anew(s, place) || any;
        any = join_single(s) || any;
        if (!any && !add_pair(s)) {
            return;
        }
    }
}

/* Drifts, temperature and season that may be tried. */
static size_t list_smooth(const struct search *s, struct tt_event list[])
{
    const struct tt_problem *p = s->p;
    size_t n = 0;

    if (p->regressor[TT_TEMPERATURE] != TT_NONE) {
        list[n++] = (struct tt_event){.hypothesis = 0, .going = TT_TEMPERATURE};
    }
    if (p->regressor[TT_SEASON] != TT_NONE) {
        list[n++] = (struct tt_event){.hypothesis = 0, .going = TT_SEASON};
    }
    for (size_t h = 0; h < p->n_hypotheses; h++) {
        enum tt_hypothesis what = p->hypothesis[h].what;
        if (what != TT_CAMERA_MARK && what != TT_CHANGED && what != TT_PLATE_LEVEL) {
            list[n++] = (struct tt_event){.hypothesis = h, .going = TT_DRIFT};
        }
    }
    return n;
}

/* The smooth term that pays most. */
static bool add_smooth(struct search *s)
{
    size_t n = list_smooth(s, s->list), best = n;
    double least = s->now_c - BETTER;

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
    return tt_events_append(&s->trial, &s->list[best]) && take(s);
}

/* Drifts of several tips as one of all, and one tip's more. */
static bool join_drifts(struct search *s)
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
        joined = take(s) || joined;
    }
    return joined;
}

/* Values with what is missing put in: the last value of the column there was, for offsets by the shared move since; smooth terms of
 * the present fit taken out. */
static void fill_in(const struct search *s, double *y)
{
    const struct tt_values *v = s->p->values;

    tt_events_solve(&s->now, s->theta, NULL);
    tt_events_residuals(&s->now, s->theta, y);
    for (int back = 0; back < 2; back++) {
        for (size_t i = 1; i < v->n; i++) {
            size_t run = back ? v->n - 1 - i : i, from = back ? run + 1 : run - 1;
            for (size_t c = 0; c < v->p; c++) {
                if (!v->there[run * v->p + c] && (!back || y[run * v->p + c] == 0)) {
                    y[run * v->p + c] = y[from * v->p + c];
                }
            }
        }
    }
}

/* Segment one view: columns of unit variance, @d of them in value[]. Places are added to place[]. */
static size_t view(const struct search *s, double *value, size_t d, enum tt_class c, size_t place[], size_t n)
{
    const struct tt_problem *p = s->p;
    const struct tt_noise *noise = p->gls.noise;
    double price = VIEW_SHARE * tt_f_price(d, noise->nu[c], p->alpha / p->looks / (double)p->n_steps);

    return n + tt_segment(value, p->values->n, d, noise->phi[c], price, s->work, place + n);
}

/* The offsets' views: what all tips share, and each tip against that. */
static size_t offset_views(const struct search *s, const double *y, double *value, size_t place[])
{
    const struct tt_values *v = s->p->values;
    const struct tt_noise *noise = s->p->gls.noise;
    size_t n = 0;

    for (size_t who = 0; who <= v->tips && (who == 0 || v->tips > 1); who++) {
        for (size_t axis = 0; axis < 2; axis++) {
            double g = 0, own = 0;
            for (size_t k = 0; k < v->tips; k++) {
                double w = 1 / tt_noise_mean_variance(noise, v, tt_at_offset(v, k, axis));
                g += w;
                own = k + 1 == who ? 1 / w : own;
            }
            double variance = who == 0 ? 1 / g + noise->shared[axis] + v->mean_common[axis] : own - 1 / g;
            for (size_t run = 0; run < v->n; run++) {
                double sum = 0;
                for (size_t k = 0; k < v->tips; k++) {
                    size_t column = tt_at_offset(v, k, axis);
                    sum += y[run * v->p + column] / tt_noise_mean_variance(noise, v, column) / g;
                }
                double x = who == 0 ? sum : y[run * v->p + tt_at_offset(v, who - 1, axis)] - sum;
                value[2 * run + axis] = x / sqrt(variance);
            }
        }
        n = view(s, value, 2, who == 0 ? TT_SHARED : TT_OWN, place, n);
    }
    return n;
}

/* A view of columns that follow one another by @stride. */
static size_t plain_view(const struct search *s, const double *y, const size_t column[], size_t d, size_t place[], double *value)
{
    const struct tt_values *v = s->p->values;

    for (size_t a = 0; a < d; a++) {
        double variance = tt_noise_mean_variance(s->p->gls.noise, v, column[a]);
        for (size_t run = 0; run < v->n; run++) {
            value[run * d + a] = y[run * v->p + column[a]] / sqrt(variance);
        }
    }
    return view(s, value, d, tt_class_of(v, column[0]), place, 0);
}

/* The views of what is no offset. */
static size_t other_views(const struct search *s, const double *y, double *value, size_t place[])
{
    const struct tt_values *v = s->p->values;
    size_t n = 0, t = v->tips;

    for (size_t k = 0; k < t; k++) {
        n += plain_view(s, y, (size_t[]){2 * t + k, 3 * t + k, 4 * t + k}, 3, place + n, value);
    }
    n += plain_view(s, y, (size_t[]){5 * t, 5 * t + 1, 5 * t + 2}, 3, place + n, value);
    for (size_t k = 0; k < v->contrasts; k++) {
        n += plain_view(s, y, (size_t[]){tt_at_contrast(v, k)}, 1, place + n, value);
    }
    return n;
}

/* Whether the present smooth terms act on more than the offsets. */
static bool concerns_others(const struct search *s)
{
    for (size_t i = 0; i < s->now.n_events; i++) {
        enum tt_hypothesis what = s->p->hypothesis[s->now.event[i].hypothesis].what;
        if (!is_fixed(&s->now.event[i]) && what != TT_CAMERA && what != TT_SEAT) {
            return true;
        }
    }
    return false;
}

/* The places where any view changes, each once. The first start, without any smooth term, leaves those of the other views behind.
 */
static size_t segment_all(struct search *s, size_t place[])
{
    const struct tt_values *v = s->p->values;
    double *y = s->residual, *value = y + (v->n + 2) * v->p;
    size_t n, kept = 0;

    fill_in(s, y);
    n = offset_views(s, y, value, place);
    if (concerns_others(s)) {
        n += other_views(s, y, value, place + n);
    } else {
        if (!s->has_others) {
            s->n_others = other_views(s, y, value, s->others);
            s->has_others = true;
        }
        memcpy(place + n, s->others, s->n_others * sizeof *place);
        n += s->n_others;
    }
    if (n > 1) {
        qsort(place, n, sizeof *place, by_number);
    }
    for (size_t i = 0; i < n; i++) {
        if (kept == 0 || place[i] != place[kept - 1]) {
            place[kept++] = place[i];
        }
    }
    return kept;
}

/* What changed at a place, by the means of the runs before (from @before on) and after it (up to @after): up to three hypotheses,
 * each if it pays. A model of these runs alone, in which nothing else changes. */
static void name_place(struct search *s, size_t before, size_t at, size_t after)
{
    const struct tt_problem *p = s->p;
    const struct tt_gls *g = &p->gls;
    const struct tt_values *v = p->values;
    double m1 = (double)(at - before), m2 = (double)(after - at), *d = s->residual + (v->n + 2) * v->p;
    size_t chosen[MOST_HERE], n_chosen = 0, q_all = 0, atom[18];

    for (size_t c = 0; c < v->p; c++) {
        double sum1 = 0, sum2 = 0, n1 = 0, n2 = 0;
        for (size_t run = before; run < after; run++) {
            bool there = v->there[run * v->p + c];
            *(run < at ? &sum1 : &sum2) += there ? s->residual[run * v->p + c] : 0;
            *(run < at ? &n1 : &n2) += there;
        }
        d[c] = n1 > 0 && n2 > 0 ? sum2 / n2 - sum1 / n1 : 0;
    }
    /* weight of the difference: that of one run, by 1/m1 + 1/m2, longer correlations counting for it (earlier - later is the link)
     */
    double *one = d + v->p, each = m1 * m2 / (m1 + m2), gained = 0;
    for (size_t i = 0; i < g->block; i++) {
        one[i] = g->later[before * g->block + i] - g->later[after * g->block + i];
        one[i] *= each / (m1 + m2);
    }
    while (n_chosen < MOST_HERE) {
        size_t best = TT_NONE;
        double most = 0, best_gain = 0;
        for (size_t h = 0; h < p->n_steps; h++) {
            const struct tt_hypothesis_of *of = &p->hypothesis[h];
            double normal[18 * 18], right[18], alone[18], gain = 0;
            size_t q = q_all + of->q;
            bool good = q <= 18;
            for (size_t i = 0; i < n_chosen; i++) {
                good = good && !tt_hypotheses_exclude(of, &p->hypothesis[chosen[i]]);
            }
            memcpy(atom + q_all, of->atom, good ? of->q * sizeof *atom : 0);
            for (size_t i = 0; i < q && good; i++) {
                const struct tt_pattern *a = &p->atom[atom[i]];
                right[i] = tt_gls_block_product(g, one, a, NULL, d);
                for (size_t k = 0; k <= i; k++) {
                    normal[i * 18 + k] = tt_gls_block_product(g, one, a, &p->atom[atom[k]], NULL);
                }
                alone[i] = normal[i * 18 + i];
            }
            for (size_t i = 0; i < q && good; i++) {
                double left = normal[i * 18 + i];
                for (size_t k = 0; k < i; k++) {
                    double x = normal[i * 18 + k];
                    for (size_t j = 0; j < k; j++) {
                        x -= normal[i * 18 + j] * normal[k * 18 + j];
                    }
                    normal[i * 18 + k] = x / normal[k * 18 + k];
                    left -= normal[i * 18 + k] * normal[i * 18 + k];
                    right[i] -= normal[i * 18 + k] * right[k];
                }
                good = left > 1e-3 * alone[i];
                normal[i * 18 + i] = sqrt(fmax(left, 1e-300));
                right[i] /= normal[i * 18 + i];
                gain += right[i] * right[i];
            }
            double price = n_chosen == 0 ? VIEW_SHARE * of->price : of->price_same;
            if (good && gain - gained - price > most) {
                most = gain - gained - price;
                best = h;
                best_gain = gain;
            }
        }
        if (best == TT_NONE) {
            break;
        }
        memcpy(atom + q_all, p->hypothesis[best].atom, p->hypothesis[best].q * sizeof *atom);
        q_all += p->hypothesis[best].q;
        gained = best_gain;
        chosen[n_chosen++] = best;
    }
    for (size_t i = 0; i < n_chosen; i++) {
        struct tt_event e = step_at(s, at, chosen[i]);
        (void)tt_events_append(&s->trial, &e);
    }
}

static void keep_best(struct search *s)
{
    if (s->now_c < s->best_c - BETTER) {
        s->best_c = s->now_c;
        tt_events_copy(&s->best, &s->now, NULL);
    }
}

/* From one start: smooth terms as given, the places of the views, descent, further smooth terms, descent. */
static void search_from(struct search *s, const struct tt_event smooth[], size_t n_smooth, bool greedy, size_t place[])
{
    set_now(s, smooth, n_smooth);
    while (greedy && add_smooth(s)) {
    }
    size_t n = segment_all(s, place);
    tt_events_copy(&s->trial, &s->now, NULL);
    for (size_t i = 0; i < n; i++) {
        name_place(s, i > 0 ? place[i - 1] : 0, place[i], i + 1 < n ? place[i + 1] : s->p->values->n);
    }
    struct tt_events swap = s->now;
    s->now = s->trial;
    s->trial = swap;
    s->now_c = tt_events_criterion(&s->now);
    descend(s, place);
    bool more = join_drifts(s);
    while (add_smooth(s)) {
        more = true;
    }
    if (more) {
        descend(s, place);
        join_drifts(s);
    }
    keep_best(s);
}

static bool allocate(struct search *s)
{
    struct tt_problem *p = s->p;
    const struct tt_values *v = p->values;
    size_t room = 12 + v->tips + (v->n / 4 < MOST_EVENTS ? v->n / 4 : MOST_EVENTS);
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
    s->list = TT_ARENA_NEW(p->arena, s->now.room_events + p->n_hypotheses + 4, struct tt_event);
    return s->work && s->others && s->changed && s->looked && s->gain && s->theta && s->covariance && s->residual && s->leave &&
           s->list;
}

enum tiptrue_status tt_search(struct tt_problem *p, const struct tt_events *seed, struct tt_events *best)
{
    struct search s = {.p = p, .best_c = HUGE_VAL};
    const struct tt_values *v = p->values;
    size_t views = v->tips * 2 + 3 + v->contrasts, n_seed = 0, n_smooth = 0;
    size_t *place = TT_ARENA_NEW(p->arena, v->n * views, size_t);
    struct tt_event *smooth = TT_ARENA_NEW(p->arena, p->n_hypotheses + 4 + (seed != NULL ? seed->n_events : 0), struct tt_event);

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
    if (v->n <= SHORT) {
        set_now(&s, NULL, 0);
        (void)add_pair(&s);
        descend(&s, place);
        keep_best(&s);
    }
    if (seed != NULL) {
        set_now(&s, seed->event, seed->n_events);
        descend(&s, place);
        keep_best(&s);
    }
    *best = s.best;
    return TIPTRUE_OK;
}
