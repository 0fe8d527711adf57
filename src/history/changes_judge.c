/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a change at one place would be worth: how much better it explains the tracks, and how rarely chance does as well. */
#include "config.h"

#include <math.h>

#include "base/distribution.h"
#include "history/changes_parts.h"

/* Longest block of runs that is looked for as a whole (a change and its way back). Longer ones show by one of their ends. */
#define LONGEST_BLOCK 24

/* Steps at neighbouring places say nearly the same, so that n places are worth about this many looks: logarithmic as the theory of
 * maximally selected statistics has it (James, James and Siegmund 1987), its constants by simulation of quiet series of 20 to 400
 * runs (docs/trend.md). */
static double independent_looks(double n)
{
    return fmin(n - 1, fmax(8 * log(n) - 5, 1));
}

double tt_log_p_chi2(double chi2, double dof)
{
    if (!(chi2 > 0)) {
        return 0;
    }
    double p = chi2 < 1000 ? tt_chi2_upper(chi2, dof) : 0;
    if (p > 1e-200) {
        return log(p);
    }
    /* the leading term of the tail (Abramowitz and Stegun 26.4.12 and 6.5.32) */
    return -0.5 * chi2 + (0.5 * dof - 1) * log(0.5 * chi2) - lgamma(0.5 * dof);
}

bool tt_event_is_of_tip(enum tt_hypothesis what)
{
    return what == TT_TIP_SEAT || what == TT_TIP_CHANGED;
}

bool tt_event_moves_offset(enum tt_hypothesis what)
{
    return what != TT_POSE;
}

bool tt_event_moves_pose(enum tt_hypothesis what)
{
    return what == TT_PLATE || what == TT_POSE;
}

size_t tt_event_member(const struct tt_event *e)
{
    return tt_event_is_of_tip(e->what) ? e->tip : TT_TRACK_ALL;
}

bool tt_event_is_open(const struct tt_changes *c, const struct tt_event *e)
{
    return e->to >= c->n;
}

struct tt_term tt_event_as_term(const struct tt_changes *c, const struct tt_event *e, size_t member)
{
    return tt_event_is_open(c, e) ? tt_term_step(member, e->from) : tt_term_block(member, e->from, e->to);
}

/* The hypotheses that can be told apart on this machine: with one tip, all of them is that one. */
bool tt_changes_is_possible(const struct tt_changes *c, enum tt_hypothesis what)
{
    return what != TT_ALL_TIPS || c->tips > 1;
}

void tt_gain_add(struct tt_gain *gain, const struct tt_track *track, const struct tt_term *term)
{
    double chi2 = tt_track_gain(track, term);

    if (chi2 >= 0) {
        gain->chi2 += chi2;
        gain->dof += track->axes;
    }
}

/* Enough values inside and outside of [from, to) for the member that moves. */
static bool has_values(const struct tt_track *track, size_t member, size_t from, size_t to, size_t fewest)
{
    size_t inside = tt_track_count(track, member, from, to), all = tt_track_count(track, member, 0, track->n);

    return inside >= fewest && all - inside >= TT_FEWEST_RUNS;
}

struct tt_gain tt_changes_gain(const struct tt_changes *c, const struct tt_event *e)
{
    struct tt_gain gain = {0, 0};
    struct tt_term term;

    if (tt_event_moves_offset(e->what)) {
        term = tt_event_as_term(c, e, tt_event_member(e));
        tt_gain_add(&gain, &c->offset, &term);
        if (gain.dof == 0) {
            return gain;
        }
    }
    if (e->what == TT_TIP_CHANGED) {
        term = tt_event_as_term(c, e, 0);
        tt_gain_add(&gain, &c->runout[e->tip], &term);
        tt_gain_add(&gain, &c->radius[e->tip], &term);
    }
    if (tt_event_moves_pose(e->what)) {
        term = tt_event_as_term(c, e, 0);
        tt_gain_add(&gain, &c->mark, &term);
        tt_gain_add(&gain, &c->yaw, &term);
    }
    return gain;
}

/* How the probability of a false change is shared out. A change that shows in several tracks at once shows so strongly that it can
 * do with little; a seat that slips by some micrometres needs most. */
static const double SHARE[TT_HYPOTHESES] = {
    [TT_ALL_TIPS] = 0.15, [TT_TIP_SEAT] = 0.65, [TT_TIP_CHANGED] = 0.1, [TT_PLATE] = 0.05, [TT_POSE] = 0.05};

double tt_changes_log_looks(const struct tt_changes *c, const struct tt_event *e)
{
    double n = (double)c->n, share = SHARE[e->what];
    double places = tt_event_is_open(c, e) ? independent_looks(n) : n * independent_looks(fmin(LONGEST_BLOCK, n));

    if (e->what == TT_TIP_SEAT && !tt_changes_is_possible(c, TT_ALL_TIPS)) {
        share += SHARE[TT_ALL_TIPS];
    }
    return log(fmax(places * (tt_event_is_of_tip(e->what) ? (double)c->tips : 1) / share, 1));
}

/* Judge a candidate as if it were added; false: it cannot be. */
bool tt_changes_judge(const struct tt_changes *c, struct tt_event *e)
{
    size_t fewest = tt_event_is_open(c, e) ? TT_FEWEST_RUNS : 1;
    const struct tt_track *track = tt_event_moves_offset(e->what) ? &c->offset : &c->mark;

    if (!has_values(track, tt_event_moves_offset(e->what) ? tt_event_member(e) : 0, e->from, e->to, fewest)) {
        return false;
    }
    struct tt_gain gain = tt_changes_gain(c, e);
    e->chi2 = gain.chi2;
    e->dof = gain.dof;
    if (!(gain.dof > 0)) {
        return false;
    }
    e->log_p = tt_log_p_chi2(gain.chi2, gain.dof) + tt_changes_log_looks(c, e);
    return true;
}

static void take_better(struct tt_event *best, const struct tt_event *e)
{
    if (e->log_p < best->log_p) {
        *best = *e;
    }
}

static void consider(const struct tt_changes *c, struct tt_event e, struct tt_gain gain, struct tt_event *best)
{
    if (gain.dof > 0) {
        e.chi2 = gain.chi2;
        e.dof = gain.dof;
        e.log_p = tt_log_p_chi2(gain.chi2, gain.dof) + tt_changes_log_looks(c, &e);
        take_better(best, &e);
    }
}

static struct tt_gain both(struct tt_gain a, struct tt_gain b)
{
    return (struct tt_gain){a.chi2 + b.chi2, a.dof + b.dof};
}

/* All kinds of a step, or of a block, at one place: as tt_changes_judge() does for each, but what two kinds have in common is
 * worked out once.
 */
static void look_at(const struct tt_changes *c, size_t from, size_t to, struct tt_event *best)
{
    struct tt_event e = {.tip = TT_NONE, .from = from, .to = to};
    size_t fewest = tt_event_is_open(c, &e) ? TT_FEWEST_RUNS : 1;
    struct tt_gain all = {0, 0}, pose = {0, 0};
    struct tt_term term = tt_event_as_term(c, &e, TT_TRACK_ALL);

    if (has_values(&c->offset, TT_TRACK_ALL, from, to, fewest)) {
        tt_gain_add(&all, &c->offset, &term);
    }
    term = tt_event_as_term(c, &e, 0);
    if (has_values(&c->mark, 0, from, to, fewest)) {
        tt_gain_add(&pose, &c->mark, &term);
        tt_gain_add(&pose, &c->yaw, &term);
    }
    e.what = TT_ALL_TIPS;
    consider(c, e, tt_changes_is_possible(c, e.what) ? all : (struct tt_gain){0, 0}, best);
    e.what = TT_PLATE;
    consider(c, e, all.dof > 0 ? both(all, pose) : all, best);
    e.what = TT_POSE;
    consider(c, e, pose, best);
    for (e.tip = 0; e.tip < c->tips; e.tip++) {
        struct tt_gain seat = {0, 0}, shape = {0, 0};
        if (!has_values(&c->offset, e.tip, from, to, fewest)) {
            continue;
        }
        term = tt_event_as_term(c, &e, e.tip);
        tt_gain_add(&seat, &c->offset, &term);
        if (seat.dof == 0) {
            continue;
        }
        e.what = TT_TIP_SEAT;
        consider(c, e, seat, best);
        term = tt_event_as_term(c, &e, 0);
        tt_gain_add(&shape, &c->runout[e.tip], &term);
        tt_gain_add(&shape, &c->radius[e.tip], &term);
        e.what = TT_TIP_CHANGED;
        consider(c, e, both(seat, shape), best);
    }
}

/* The best step at @first to @last. */
struct tt_event tt_changes_best_step(const struct tt_changes *c, size_t first, size_t last)
{
    struct tt_event best = {.log_p = 0};

    for (size_t from = first > 1 ? first : 1; from < c->n && from <= last; from++) {
        look_at(c, from, c->n, &best);
    }
    return best;
}

struct tt_event tt_changes_best_block(const struct tt_changes *c)
{
    struct tt_event best = {.log_p = 0};

    for (size_t from = 0; from < c->n; from++) {
        for (size_t to = from + 1; to < c->n && to - from <= LONGEST_BLOCK; to++) {
            look_at(c, from, to, &best);
        }
    }
    /* the last run alone is not a step, but it can stand apart; it is open-ended only in form */
    return best;
}
