/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Forward, anew, backward: see changes.h. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/changes_parts.h"

/* In a series longer than this a step is placed anew only so near; what is better far away is found going forward. */
#define FEW_RUNS 100
#define NEAR 12
/* Rounds of placing all events anew. */
#define ROUNDS 4
/* Half-width of the bracket, as a drop of twice the log likelihood: 95 % for the place of a step (B. E. Hansen, Sample splitting
 * and threshold estimation, Econometrica 68 (2000), table I: 7.35). */
#define BRACKET_CHI2 7.35

/* A slope that is taken in or left out. */
struct slope {
    bool *flag;
    const struct tt_track *track[2]; /* the second may be NULL */
    size_t member;
};

static size_t list_slopes(struct tt_changes *c, struct slope slopes[])
{
    size_t n = 0;

    for (size_t tip = 0; tip < c->tips; tip++) {
        slopes[n++] = (struct slope){&c->tip_drifts[tip], {&c->offset, NULL}, tip};
        slopes[n++] = (struct slope){&c->tip_wears[tip], {&c->runout[tip], &c->radius[tip]}, 0};
    }
    if (c->tips > 1) {
        slopes[n++] = (struct slope){&c->all_drift, {&c->offset, NULL}, TT_TRACK_ALL};
    }
    slopes[n++] = (struct slope){&c->pose_drifts, {&c->mark, &c->yaw}, 0};
    return n;
}

static double slope_log_p(const struct slope *slope, size_t n_slopes)
{
    struct tt_term term = tt_term_slope(slope->member);
    struct tt_gain gain = {0, 0};

    tt_gain_add(&gain, slope->track[0], &term);
    if (slope->track[1] != NULL) {
        tt_gain_add(&gain, slope->track[1], &term);
    }
    return gain.dof > 0 ? tt_log_p_chi2(gain.chi2, gain.dof) + log((double)n_slopes) : 0;
}

static struct slope *best_slope(struct slope slopes[], size_t n, double *log_p)
{
    struct slope *best = NULL;

    for (size_t i = 0; i < n; i++) {
        double p = *slopes[i].flag ? 0 : slope_log_p(&slopes[i], n);
        if (p < *log_p) {
            *log_p = p;
            best = &slopes[i];
        }
    }
    return best;
}

static bool add_event(struct tt_changes *c, struct tt_event e)
{
    if (c->n_events == c->room_events) {
        return false;
    }
    c->events[c->n_events++] = e;
    return true;
}

/* A block of several runs is a change and its way back: two steps, each to be judged by itself later on. */
static bool enter(struct tt_changes *c, struct tt_event e)
{
    if (tt_event_is_open(c, &e) || e.to - e.from < TT_FEWEST_RUNS) {
        return add_event(c, e);
    }
    if (e.from == 0) {
        e.from = e.to; /* what the first runs lack, the later ones have */
        e.to = c->n;
        return add_event(c, e);
    }
    struct tt_event back = e;
    back.from = e.to;
    back.to = e.to = c->n;
    return c->room_events - c->n_events >= 2 && add_event(c, e) && add_event(c, back);
}

/* Where it was before drop(). */
static void put_back(struct tt_changes *c, size_t index, struct tt_event e)
{
    memmove(&c->events[index + 1], &c->events[index], (c->n_events - index) * sizeof *c->events);
    c->events[index] = e;
    c->n_events++;
}

static void drop(struct tt_changes *c, size_t index)
{
    memmove(&c->events[index], &c->events[index + 1], (c->n_events - index - 1) * sizeof *c->events);
    c->n_events--;
}

/* Take in what is least likely by chance. False: nothing more is unlikely enough. */
static bool go_forward(struct tt_changes *c, struct slope slopes[], size_t n_slopes)
{
    double limit = log(TT_CHANGE_ALPHA), slope_p = limit;
    struct slope *slope = best_slope(slopes, n_slopes, &slope_p);
    struct tt_event step = tt_changes_best_step(c, 1, c->n);

    if (slope != NULL && slope_p < step.log_p) {
        *slope->flag = true;
    } else if (step.log_p < limit) {
        if (!enter(c, step)) {
            return false;
        }
    } else {
        struct tt_event block = tt_changes_best_block(c);
        if (!(block.log_p < limit) || !enter(c, block)) {
            return false;
        }
    }
    tt_changes_fit(c);
    return true;
}

/* Place each step anew with the others as they are. Returns whether any moved. */
static bool place_anew(struct tt_changes *c)
{
    bool moved = false;

    for (size_t i = 0; i < c->n_events; i++) {
        struct tt_event old = c->events[i];
        if (!tt_event_is_open(c, &old)) {
            continue;
        }
        drop(c, i);
        tt_changes_fit(c);
        bool far = c->n <= FEW_RUNS;
        struct tt_event best = tt_changes_best_step(c, far || old.from < NEAR ? 1 : old.from - NEAR, far ? c->n : old.from + NEAR);
        bool better = tt_changes_judge(c, &old) ? best.log_p < old.log_p - 1e-9 : best.log_p < 0;
        struct tt_event taken = better ? best : old;
        put_back(c, i, taken);
        moved = moved || better;
    }
    tt_changes_fit(c);
    return moved;
}

/* How an event stands among the rest: its own terms in the fits as they are. */
static void judge_among(struct tt_changes *c, size_t index)
{
    struct tt_event *e = &c->events[index];
    struct tt_event_term terms[TT_EVENT_TRACKS];

    tt_changes_tracks(c, index, terms);
    e->chi2 = e->dof = 0;
    for (int i = 0; i < TT_EVENT_TRACKS; i++) {
        if (terms[i].there) {
            e->chi2 += tt_track_worth(terms[i].track, terms[i].term);
            e->dof += terms[i].track->axes;
        }
    }
    e->log_p = e->dof > 0 ? tt_log_p_chi2(e->chi2, e->dof) + tt_changes_log_looks(c, e) : 0;
}

static double slope_worth_log_p(const struct slope *slope, size_t n_slopes)
{
    struct tt_gain gain = {0, 0};

    for (size_t i = 0; i < 2; i++) {
        const struct tt_track *track = slope->track[i];
        for (size_t k = 0; track != NULL && !track->singular && k < track->n_terms; k++) {
            if (track->terms[k].member == slope->member && track->terms[k].piece[0].power == 1) {
                gain.chi2 += tt_track_worth(track, k);
                gain.dof += track->axes;
            }
        }
    }
    return gain.dof > 0 ? tt_log_p_chi2(gain.chi2, gain.dof) + log((double)n_slopes) : 0;
}

/* Drop what does not stand among the rest, the weakest first. */
static bool go_backward(struct tt_changes *c, struct slope slopes[], size_t n_slopes)
{
    double worst = log(TT_CHANGE_ALPHA);
    size_t event = TT_NONE;
    struct slope *slope = NULL;

    for (size_t i = 0; i < c->n_events; i++) {
        judge_among(c, i);
        if (c->events[i].log_p > worst) {
            worst = c->events[i].log_p;
            event = i;
        }
    }
    for (size_t i = 0; i < n_slopes; i++) {
        double p = *slopes[i].flag ? slope_worth_log_p(&slopes[i], n_slopes) : -HUGE_VAL;
        if (p > worst) {
            worst = p;
            slope = &slopes[i];
        }
    }
    if (slope != NULL) {
        *slope->flag = false;
    } else if (event != TT_NONE) {
        drop(c, event);
    } else {
        return false;
    }
    tt_changes_fit(c);
    return true;
}

static double deviance_of(const struct tt_changes *c)
{
    double sum = tt_track_deviance(&c->offset) + tt_track_deviance(&c->mark) + tt_track_deviance(&c->yaw);
    double cost = 0, n = fmax((double)c->n, 2);

    for (size_t tip = 0; tip < c->tips; tip++) {
        sum += tt_track_deviance(&c->runout[tip]) + tt_track_deviance(&c->radius[tip]);
        cost += (c->tip_drifts[tip] ? 2 * log(n) : 0) + (c->tip_wears[tip] ? 3 * log(n) : 0);
    }
    cost += (c->all_drift ? 2 * log(n) : 0) + (c->pose_drifts ? 3 * log(n) : 0);
    for (size_t i = 0; i < c->n_events; i++) {
        cost += (c->events[i].dof + 2) * log(n);
    }
    return sum + cost;
}

static size_t count_terms(const struct tt_changes *c, const struct slope slopes[], size_t n_slopes)
{
    size_t n = c->n_events;

    for (size_t i = 0; i < n_slopes; i++) {
        n += *slopes[i].flag;
    }
    return n;
}

static void search(struct tt_changes *c, struct slope slopes[], size_t n_slopes)
{
    tt_changes_fit(c);
    for (size_t before = 0, n = 0; go_forward(c, slopes, n_slopes); before = n) {
        for (int round = 0; round < ROUNDS && place_anew(c); round++) {
        }
        while (go_backward(c, slopes, n_slopes)) {
        }
        n = count_terms(c, slopes, n_slopes);
        if (n <= before) {
            break; /* what came in went out again, or pushed another out */
        }
    }
    while (go_backward(c, slopes, n_slopes)) {
    }
}

/* Twice: beginning without any slope, and with all tips' own. A drift that is broken by steps may look like a staircase from the
 * first beginning, a staircase like a drift from the second; the likelihood, less what the terms cost (Schwarz 1978), decides. */
enum tiptrue_status tt_changes_search(struct tt_changes *c)
{
    struct slope *slopes = TT_ARENA_NEW(c->arena, 2 * c->tips + 2, struct slope);
    struct tt_event *first = TT_ARENA_NEW(c->arena, c->room_events, struct tt_event);
    bool *flags = TT_ARENA_NEW(c->arena, 2 * c->tips + 2, bool);

    if (slopes == NULL || first == NULL || flags == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    size_t n_slopes = list_slopes(c, slopes);
    search(c, slopes, n_slopes);
    double deviance = deviance_of(c);
    size_t n_first = c->n_events;
    memcpy(first, c->events, n_first * sizeof *first);
    bool any = n_first > 0;
    for (size_t i = 0; i < n_slopes; i++) {
        flags[i] = *slopes[i].flag;
        any = any || flags[i];
        *slopes[i].flag = false;
    }
    if (!any) {
        return TIPTRUE_OK; /* quiet: nothing that could be something else */
    }
    c->n_events = 0;
    for (size_t tip = 0; tip < c->tips; tip++) {
        c->tip_drifts[tip] = true;
    }
    search(c, slopes, n_slopes);
    if (deviance_of(c) < deviance - 1e-9) {
        return TIPTRUE_OK;
    }
    for (size_t i = 0; i < n_slopes; i++) {
        *slopes[i].flag = flags[i];
    }
    memcpy(c->events, first, n_first * sizeof *first);
    c->n_events = n_first;
    tt_changes_fit(c);
    for (size_t i = 0; i < c->n_events; i++) {
        judge_among(c, i);
    }
    return TIPTRUE_OK;
}

/* Neighbouring places that explain the tracks about as well. */
void tt_changes_find_brackets(struct tt_changes *c)
{
    for (size_t i = 0; i < c->n_events; i++) {
        struct tt_event e = c->events[i];
        c->events[i].first = c->events[i].last = e.from;
        if (!tt_event_is_open(c, &e)) {
            continue;
        }
        drop(c, i);
        tt_changes_fit(c);
        double best = tt_changes_gain(c, &e).chi2;
        struct tt_event near = e;
        for (near.from = e.from; near.from > 1; near.from--) {
            struct tt_event next = near;
            next.from--;
            if (tt_changes_gain(c, &next).chi2 < best - BRACKET_CHI2) {
                break;
            }
        }
        size_t first = near.from;
        for (near.from = e.from; near.from + 1 < c->n; near.from++) {
            struct tt_event next = near;
            next.from++;
            if (tt_changes_gain(c, &next).chi2 < best - BRACKET_CHI2) {
                break;
            }
        }
        e.first = first;
        e.last = near.from;
        put_back(c, i, e);
    }
    tt_changes_fit(c);
}

void tt_changes_scores(struct tt_changes *c, size_t index, double score[])
{
    struct tt_event old = c->events[index];

    drop(c, index);
    tt_changes_fit(c);
    for (int h = 0; h < TT_HYPOTHESES; h++) {
        for (size_t tip = 0; tip < c->tips; tip++) {
            struct tt_event e = {.what = (enum tt_hypothesis)h, .tip = TT_NONE, .from = old.from, .to = old.to};
            double *to = &score[(size_t)h * c->tips + tip];
            e.tip = tt_event_is_of_tip(e.what) ? tip : TT_NONE;
            *to = -HUGE_VAL;
            if (tt_changes_is_possible(c, e.what) && (tt_event_is_of_tip(e.what) || tip == 0) && tt_changes_judge(c, &e)) {
                *to = e.chi2 - e.dof * log(fmax((double)c->n, 2));
            }
        }
    }
    put_back(c, index, old);
    tt_changes_fit(c);
}
