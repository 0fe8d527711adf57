/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/changes.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Fewest runs on either side of a step. One could as well be a run that stands apart. */
#define FEWEST_RUNS 2
/* Longest block of runs that is looked for as a whole (a change and its way back). Longer ones show by one of their ends. */
#define LONGEST_BLOCK 24
/* Steps at neighbouring places say nearly the same, so that n places are worth about this many looks: logarithmic as the theory of
 * maximally selected statistics has it (James, James and Siegmund 1987), its constants by simulation of quiet series of 20 to 400
 * runs (docs/history.md). */
static double independent_looks(double n)
{
    return fmin(n - 1, fmax(8 * log(n) - 5, 1));
}
/* In a series longer than this a step is placed anew only so near; what is better far away is found going forward. */
#define FEW_RUNS 100
#define NEAR 12
/* Rounds of placing all events anew. */
#define ROUNDS 4
/* Half-width of the bracket, as a drop of twice the log likelihood: 95 % for the place of a step (B. E. Hansen, Sample splitting
 * and threshold estimation, Econometrica 68 (2000), table I: 7.35). */
#define BRACKET_CHI2 7.35

double tt_log_p_chi2(double chi2, double dof)
{
    if (!(chi2 > 0)) {
        return 0;
    }
    double p = chi2 < 1000 ? gsl_cdf_chisq_Q(chi2, dof) : 0;
    if (p > 1e-200) {
        return log(p);
    }
    /* the leading term of the tail (Abramowitz and Stegun 26.4.12 and 6.5.32) */
    return -0.5 * chi2 + (0.5 * dof - 1) * log(0.5 * chi2) - lgamma(0.5 * dof);
}

static bool of_one_tip(enum tt_hypothesis what)
{
    return what == TT_TIP_SEAT || what == TT_TIP_CHANGED;
}

static bool moves_offset(enum tt_hypothesis what)
{
    return what != TT_POSE;
}

static bool moves_pose(enum tt_hypothesis what)
{
    return what == TT_PLATE || what == TT_POSE;
}

static size_t member_of(const struct tt_event *e)
{
    return of_one_tip(e->what) ? e->tip : TT_TRACK_ALL;
}

static bool open_ended(const struct tt_changes *c, const struct tt_event *e)
{
    return e->to >= c->n;
}

static struct tt_term term_of(const struct tt_changes *c, const struct tt_event *e, size_t member)
{
    return open_ended(c, e) ? tt_term_step(member, e->from) : tt_term_block(member, e->from, e->to);
}

/* The hypotheses that can be told apart on this machine: with one tip, all of them is that one. */
static bool is_possible(const struct tt_changes *c, enum tt_hypothesis what)
{
    return what != TT_ALL_TIPS || c->tips > 1;
}

/* What is asked of a candidate for being judged at all. */
struct gain {
    double chi2, dof;
};

static void add_gain(struct gain *gain, const struct tt_track *track, const struct tt_term *term)
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

    return inside >= fewest && all - inside >= FEWEST_RUNS;
}

static struct gain gain_of(const struct tt_changes *c, const struct tt_event *e)
{
    struct gain gain = {0, 0};
    struct tt_term term;

    if (moves_offset(e->what)) {
        term = term_of(c, e, member_of(e));
        add_gain(&gain, &c->offset, &term);
        if (gain.dof == 0) {
            return gain;
        }
    }
    if (e->what == TT_TIP_CHANGED) {
        term = term_of(c, e, 0);
        add_gain(&gain, &c->runout[e->tip], &term);
        add_gain(&gain, &c->radius[e->tip], &term);
    }
    if (moves_pose(e->what)) {
        term = term_of(c, e, 0);
        add_gain(&gain, &c->mark, &term);
        add_gain(&gain, &c->yaw, &term);
    }
    return gain;
}

/* How the probability of a false change is shared out. A change that shows in several tracks at once shows so strongly that it can
 * do with little; a seat that slips by some micrometres needs most. */
static const double SHARE[TT_HYPOTHESES] = {
    [TT_ALL_TIPS] = 0.2, [TT_TIP_SEAT] = 0.5, [TT_TIP_CHANGED] = 0.1, [TT_PLATE] = 0.1, [TT_POSE] = 0.1};

static double log_looks(const struct tt_changes *c, const struct tt_event *e)
{
    double n = (double)c->n, share = SHARE[e->what];
    double places = open_ended(c, e) ? independent_looks(n) : n * independent_looks(fmin(LONGEST_BLOCK, n));

    if (e->what == TT_TIP_SEAT && !is_possible(c, TT_ALL_TIPS)) {
        share += SHARE[TT_ALL_TIPS];
    }
    return log(fmax(places * (of_one_tip(e->what) ? (double)c->tips : 1) / share, 1));
}

/* Judge a candidate as if it were added; false: it cannot be. */
static bool judge(const struct tt_changes *c, struct tt_event *e)
{
    size_t fewest = open_ended(c, e) ? FEWEST_RUNS : 1;
    const struct tt_track *track = moves_offset(e->what) ? &c->offset : &c->mark;

    if (!has_values(track, moves_offset(e->what) ? member_of(e) : 0, e->from, e->to, fewest)) {
        return false;
    }
    struct gain gain = gain_of(c, e);
    e->chi2 = gain.chi2;
    e->dof = gain.dof;
    if (!(gain.dof > 0)) {
        return false;
    }
    e->log_p = tt_log_p_chi2(gain.chi2, gain.dof) + log_looks(c, e);
    return true;
}

static void take_better(struct tt_event *best, const struct tt_event *e)
{
    if (e->log_p < best->log_p) {
        *best = *e;
    }
}

static void consider(const struct tt_changes *c, struct tt_event e, struct gain gain, struct tt_event *best)
{
    if (gain.dof > 0) {
        e.chi2 = gain.chi2;
        e.dof = gain.dof;
        e.log_p = tt_log_p_chi2(gain.chi2, gain.dof) + log_looks(c, &e);
        take_better(best, &e);
    }
}

static struct gain both(struct gain a, struct gain b)
{
    return (struct gain){a.chi2 + b.chi2, a.dof + b.dof};
}

/* All kinds of a step, or of a block, at one place: as judge() does for each, but what two kinds have in common is worked out once.
 */
static void look_at(const struct tt_changes *c, size_t from, size_t to, struct tt_event *best)
{
    struct tt_event e = {.tip = TT_NONE, .from = from, .to = to};
    size_t fewest = open_ended(c, &e) ? FEWEST_RUNS : 1;
    struct gain all = {0, 0}, pose = {0, 0};
    struct tt_term term = term_of(c, &e, TT_TRACK_ALL);

    if (has_values(&c->offset, TT_TRACK_ALL, from, to, fewest)) {
        add_gain(&all, &c->offset, &term);
    }
    term = term_of(c, &e, 0);
    if (has_values(&c->mark, 0, from, to, fewest)) {
        add_gain(&pose, &c->mark, &term);
        add_gain(&pose, &c->yaw, &term);
    }
    e.what = TT_ALL_TIPS;
    consider(c, e, is_possible(c, e.what) ? all : (struct gain){0, 0}, best);
    e.what = TT_PLATE;
    consider(c, e, all.dof > 0 ? both(all, pose) : all, best);
    e.what = TT_POSE;
    consider(c, e, pose, best);
    for (e.tip = 0; e.tip < c->tips; e.tip++) {
        struct gain seat = {0, 0}, shape = {0, 0};
        if (!has_values(&c->offset, e.tip, from, to, fewest)) {
            continue;
        }
        term = term_of(c, &e, e.tip);
        add_gain(&seat, &c->offset, &term);
        if (seat.dof == 0) {
            continue;
        }
        e.what = TT_TIP_SEAT;
        consider(c, e, seat, best);
        term = term_of(c, &e, 0);
        add_gain(&shape, &c->runout[e.tip], &term);
        add_gain(&shape, &c->radius[e.tip], &term);
        e.what = TT_TIP_CHANGED;
        consider(c, e, both(seat, shape), best);
    }
}

/* The best step at @first to @last. */
static struct tt_event best_step_within(const struct tt_changes *c, size_t first, size_t last)
{
    struct tt_event best = {.log_p = 0};

    for (size_t from = first > 1 ? first : 1; from < c->n && from <= last; from++) {
        look_at(c, from, c->n, &best);
    }
    return best;
}

static struct tt_event best_step(const struct tt_changes *c)
{
    return best_step_within(c, 1, c->n);
}

static struct tt_event best_block(const struct tt_changes *c)
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

/* Set the terms of all tracks by what was found, and fit them. */
static void add_term(struct tt_track *track, struct tt_term term)
{
    if (track->n_terms < track->room_terms) {
        track->terms[track->n_terms++] = term;
    }
}

/* The runs of another plate than the first: its level against that of the first one. Alternating plates make it a comb; then the
 * pieces of a term do not suffice, and each stretch of runs gets a term of its own with the same prior. */
static void add_plates(const struct tt_changes *c, struct tt_track *track, size_t member, bool prior)
{
    for (size_t from = 0, to; from < c->n; from = to) {
        const char *plate = c->run[from]->plate;
        struct tt_sym2 sum = {0, 0, 0};
        double count = 0;
        for (to = from; to < c->n && strcmp(c->run[to]->plate, plate) == 0; to++) {
            for (size_t k = 0; prior && k < c->run[to]->n_tips; k++) {
                const struct tt_series_tip *tip = &c->run[to]->tips[k];
                sum.xx += tip->cov.xx_mm2 - tip->same_plate_cov.xx_mm2;
                sum.xy += tip->cov.xy_mm2 - tip->same_plate_cov.xy_mm2;
                sum.yy += tip->cov.yy_mm2 - tip->same_plate_cov.yy_mm2;
                count++;
            }
        }
        if (strcmp(plate, c->plates[0]) != 0 && tt_track_count(track, member, from, to) > 0) {
            struct tt_term term = to < c->n ? tt_term_block(member, from, to) : tt_term_step(member, from);
            if (prior && count > 0) {
                /* both plates' errors are in the difference; the first one's is taken as alike */
                term.prior = (struct tt_sym2){fmax(2 * sum.xx / count, 1e-12), 2 * sum.xy / count, fmax(2 * sum.yy / count, 1e-12)};
            }
            add_term(track, term);
        }
    }
}

static void set_offset_terms(struct tt_changes *c)
{
    c->offset.n_terms = 0;
    for (size_t tip = 0; tip < c->tips; tip++) {
        if (tt_track_count(&c->offset, tip, 0, c->n) > 0) {
            add_term(&c->offset, tt_term_step(tip, 0));
        }
    }
    add_plates(c, &c->offset, TT_TRACK_ALL, true);
    for (size_t i = 0; i < c->n_events; i++) {
        if (moves_offset(c->events[i].what)) {
            add_term(&c->offset, term_of(c, &c->events[i], member_of(&c->events[i])));
        }
    }
    for (size_t tip = 0; tip < c->tips; tip++) {
        if (c->tip_drifts[tip]) {
            add_term(&c->offset, tt_term_slope(tip));
        }
    }
    if (c->all_drift) {
        add_term(&c->offset, tt_term_slope(TT_TRACK_ALL));
    }
}

static void set_lone_terms(struct tt_changes *c, struct tt_track *track, bool slope, bool of_plate,
                           bool (*moved)(const struct tt_event *, size_t), size_t tip)
{
    track->n_terms = 0;
    add_term(track, tt_term_step(0, 0));
    if (of_plate) {
        add_plates(c, track, 0, false);
    }
    for (size_t i = 0; i < c->n_events; i++) {
        if (moved(&c->events[i], tip)) {
            add_term(track, term_of(c, &c->events[i], 0));
        }
    }
    if (slope) {
        add_term(track, tt_term_slope(0));
    }
}

static bool moved_tip(const struct tt_event *e, size_t tip)
{
    return e->what == TT_TIP_CHANGED && e->tip == tip;
}

static bool moved_pose(const struct tt_event *e, size_t tip)
{
    (void)tip;
    return moves_pose(e->what);
}

static void fit_all(struct tt_changes *c)
{
    set_offset_terms(c);
    tt_track_fit_if_new(&c->offset);
    for (size_t tip = 0; tip < c->tips; tip++) {
        set_lone_terms(c, &c->runout[tip], c->tip_wears[tip], false, moved_tip, tip);
        tt_track_fit_if_new(&c->runout[tip]);
        set_lone_terms(c, &c->radius[tip], c->tip_wears[tip], true, moved_tip, tip);
        tt_track_fit_if_new(&c->radius[tip]);
    }
    set_lone_terms(c, &c->mark, c->pose_drifts, true, moved_pose, 0);
    tt_track_fit_if_new(&c->mark);
    set_lone_terms(c, &c->yaw, c->pose_drifts, true, moved_pose, 0);
    tt_track_fit_if_new(&c->yaw);
}

/* The term of @e in @track as last fitted, for @member; TT_NONE: none. */
static size_t find_term(const struct tt_changes *c, const struct tt_track *track, const struct tt_event *e, size_t member)
{
    struct tt_term term = term_of(c, e, member);

    for (size_t i = 0; i < track->n_terms; i++) {
        const struct tt_term *t = &track->terms[i];
        if (t->member == member && t->n_pieces == term.n_pieces && t->piece[0].power == 0 && !(t->prior.xx > 0) &&
            t->piece[0].from == e->from && (e->from > 0 || t->n_pieces > 1) && (t->n_pieces < 2 || t->piece[1].from == e->to)) {
            return i;
        }
    }
    return TT_NONE;
}

static size_t term_in(const struct tt_changes *c, const struct tt_track *track, const struct tt_event *e)
{
    if (track == NULL || track->singular) {
        return TT_NONE;
    }
    return find_term(c, track, e, track == &c->offset ? member_of(e) : 0);
}

void tt_changes_tracks(struct tt_changes *c, size_t index, struct tt_event_term terms[TT_EVENT_TRACKS])
{
    const struct tt_event *e = &c->events[index];
    struct tt_track *const tracks[TT_EVENT_TRACKS] = {
        [TT_OF_OFFSET] = moves_offset(e->what) ? &c->offset : NULL,
        [TT_OF_RUNOUT] = e->what == TT_TIP_CHANGED ? &c->runout[e->tip] : NULL,
        [TT_OF_RADIUS] = e->what == TT_TIP_CHANGED ? &c->radius[e->tip] : NULL,
        [TT_OF_MARK] = moves_pose(e->what) ? &c->mark : NULL,
        [TT_OF_YAW] = moves_pose(e->what) ? &c->yaw : NULL,
    };
    for (int i = 0; i < TT_EVENT_TRACKS; i++) {
        size_t term = term_in(c, tracks[i], e);
        terms[i] = (struct tt_event_term){.there = term != TT_NONE, .track = tracks[i], .term = term};
        if (terms[i].there) {
            terms[i].shift = tracks[i]->coefficient[term];
            terms[i].cov = tt_track_cov(tracks[i], term);
        }
    }
}

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
    struct gain gain = {0, 0};

    add_gain(&gain, slope->track[0], &term);
    if (slope->track[1] != NULL) {
        add_gain(&gain, slope->track[1], &term);
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
    if (open_ended(c, &e) || e.to - e.from < FEWEST_RUNS) {
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
    struct tt_event step = best_step(c);

    if (slope != NULL && slope_p < step.log_p) {
        *slope->flag = true;
    } else if (step.log_p < limit) {
        if (!enter(c, step)) {
            return false;
        }
    } else {
        struct tt_event block = best_block(c);
        if (!(block.log_p < limit) || !enter(c, block)) {
            return false;
        }
    }
    fit_all(c);
    return true;
}

/* Place each step anew with the others as they are. Returns whether any moved. */
static bool place_anew(struct tt_changes *c)
{
    bool moved = false;

    for (size_t i = 0; i < c->n_events; i++) {
        struct tt_event old = c->events[i];
        if (!open_ended(c, &old)) {
            continue;
        }
        drop(c, i);
        fit_all(c);
        bool far = c->n <= FEW_RUNS;
        struct tt_event best = best_step_within(c, far || old.from < NEAR ? 1 : old.from - NEAR, far ? c->n : old.from + NEAR);
        bool better = judge(c, &old) ? best.log_p < old.log_p - 1e-9 : best.log_p < 0;
        struct tt_event taken = better ? best : old;
        put_back(c, i, taken);
        moved = moved || better;
    }
    fit_all(c);
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
    e->log_p = e->dof > 0 ? tt_log_p_chi2(e->chi2, e->dof) + log_looks(c, e) : 0;
}

static double slope_worth_log_p(const struct slope *slope, size_t n_slopes)
{
    struct gain gain = {0, 0};

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
    fit_all(c);
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
    fit_all(c);
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
static enum tiptrue_status search_twice(struct tt_changes *c)
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
    fit_all(c);
    for (size_t i = 0; i < c->n_events; i++) {
        judge_among(c, i);
    }
    return TIPTRUE_OK;
}

/* Neighbouring places that explain the tracks about as well. */
static void find_brackets(struct tt_changes *c)
{
    for (size_t i = 0; i < c->n_events; i++) {
        struct tt_event e = c->events[i];
        c->events[i].first = c->events[i].last = e.from;
        if (!open_ended(c, &e)) {
            continue;
        }
        drop(c, i);
        fit_all(c);
        double best = gain_of(c, &e).chi2;
        struct tt_event near = e;
        for (near.from = e.from; near.from > 1; near.from--) {
            struct tt_event next = near;
            next.from--;
            if (gain_of(c, &next).chi2 < best - BRACKET_CHI2) {
                break;
            }
        }
        size_t first = near.from;
        for (near.from = e.from; near.from + 1 < c->n; near.from++) {
            struct tt_event next = near;
            next.from++;
            if (gain_of(c, &next).chi2 < best - BRACKET_CHI2) {
                break;
            }
        }
        e.first = first;
        e.last = near.from;
        put_back(c, i, e);
    }
    fit_all(c);
}

void tt_changes_scores(struct tt_changes *c, size_t index, double score[])
{
    struct tt_event old = c->events[index];

    drop(c, index);
    fit_all(c);
    for (int h = 0; h < TT_HYPOTHESES; h++) {
        for (size_t tip = 0; tip < c->tips; tip++) {
            struct tt_event e = {.what = (enum tt_hypothesis)h, .tip = TT_NONE, .from = old.from, .to = old.to};
            double *to = &score[(size_t)h * c->tips + tip];
            e.tip = of_one_tip(e.what) ? tip : TT_NONE;
            *to = -HUGE_VAL;
            if (is_possible(c, e.what) && (of_one_tip(e.what) || tip == 0) && judge(c, &e)) {
                *to = e.chi2 - e.dof * log(fmax((double)c->n, 2));
            }
        }
    }
    put_back(c, index, old);
    fit_all(c);
}

void tt_changes_fit_slopes(struct tt_changes *c, size_t slope[])
{
    set_offset_terms(c);
    bool all = c->all_drift;
    if (all) {
        c->offset.n_terms--; /* it stands last; each tip's own takes its place */
    }
    for (size_t tip = 0; tip < c->tips; tip++) {
        slope[tip] = TT_NONE;
        for (size_t i = 0; i < c->offset.n_terms; i++) {
            if (c->offset.terms[i].member == tip && c->offset.terms[i].piece[0].power == 1) {
                slope[tip] = i;
            }
        }
        if (slope[tip] == TT_NONE && tt_track_count(&c->offset, tip, 0, c->n) > FEWEST_RUNS) {
            slope[tip] = c->offset.n_terms;
            add_term(&c->offset, tt_term_slope(tip));
        }
    }
    tt_track_fit(&c->offset);
}

/* --- from the series to the tracks --- */

static bool is_used(const struct tt_series_tip *tip)
{
    return tip->has_offset && tip->verdict != TIPTRUE_REPEAT;
}

static bool run_is_used(const struct tt_series_run *run)
{
    for (size_t i = 0; i < run->n_tips; i++) {
        if (is_used(&run->tips[i])) {
            return true;
        }
    }
    return false;
}

static struct tt_sym2 sym2_of(struct tt_cov2 cov)
{
    return (struct tt_sym2){cov.xx_mm2, cov.xy_mm2, cov.yy_mm2};
}

static void fill_tip(struct tt_changes *c, size_t run, const struct tt_series_tip *tip)
{
    size_t at = run * c->tips + tip->tip;

    c->offset.there[at] = true;
    c->offset.value[at] = (struct tt_pair){tip->offset.x_mm, tip->offset.y_mm};
    c->offset.stated[at] = sym2_of(tip->same_plate_cov);
    c->offset.common[run] = (struct tt_sym2){tip->common_u_x_mm * tip->common_u_x_mm, 0, tip->common_u_y_mm * tip->common_u_y_mm};
    if (tip->has_runout) {
        c->runout[tip->tip].there[run] = true;
        c->runout[tip->tip].value[run] = (struct tt_pair){tip->runout.x_mm, tip->runout.y_mm};
        c->runout[tip->tip].stated[run] = sym2_of(tip->runout_cov);
    }
    if (tip->has_radius) {
        c->radius[tip->tip].there[run] = true;
        c->radius[tip->tip].value[run].x = tip->radius_mm;
        c->radius[tip->tip].stated[run].xx = tip->u_radius_mm * tip->u_radius_mm;
    }
}

static void fill_run(struct tt_changes *c, size_t at)
{
    const struct tt_series_run *run = c->run[at];

    for (size_t i = 0; i < run->n_tips; i++) {
        if (is_used(&run->tips[i])) {
            fill_tip(c, at, &run->tips[i]);
        }
    }
    if (run->has_pose) {
        c->mark.there[at] = c->yaw.there[at] = true;
        c->mark.value[at] = (struct tt_pair){run->mark.x_mm, run->mark.y_mm};
        c->mark.stated[at] = (struct tt_sym2){run->u_mark_x_mm * run->u_mark_x_mm, 0, run->u_mark_y_mm * run->u_mark_y_mm};
        c->yaw.value[at].x = run->yaw_rad;
        c->yaw.stated[at].xx = run->u_yaw_rad * run->u_yaw_rad;
    }
}

/* A track is complete. Values near 0, so that sums of squares keep their digits: everything is counted from the first one of its
 * kind. */
static void centre(struct tt_track *track)
{
    tt_track_filled(track);
    for (size_t k = 0; k < track->members; k++) {
        struct tt_pair origin = {0, 0};
        bool found = false;
        for (size_t run = 0; run < track->n; run++) {
            size_t at = run * track->members + k;
            if (track->there[at]) {
                origin = found ? origin : track->value[at];
                found = true;
                track->value[at].x -= origin.x;
                track->value[at].y -= origin.y;
            }
        }
    }
}

static enum tiptrue_status allocate(struct tt_changes *c)
{
    /* a term for each level, plate stretch, event and slope */
    size_t stretches = 1;
    for (size_t i = 1; i < c->n; i++) {
        stretches += strcmp(c->run[i]->plate, c->run[i - 1]->plate) != 0;
    }
    c->room_events = 4 + c->n / 5;
    size_t most = 2 * c->tips + 2 + stretches + c->room_events;
    c->runout = TT_ARENA_NEW(c->arena, c->tips, struct tt_track);
    c->radius = TT_ARENA_NEW(c->arena, c->tips, struct tt_track);
    c->events = TT_ARENA_NEW(c->arena, c->room_events + 1, struct tt_event);
    c->tip_drifts = TT_ARENA_NEW(c->arena, c->tips, bool);
    c->tip_wears = TT_ARENA_NEW(c->arena, c->tips, bool);
    bool good = c->runout && c->radius && c->events && c->tip_drifts && c->tip_wears;
    good = good && tt_track_init(&c->offset, c->arena, c->n, c->tips, 2, most, c->weeks) == TIPTRUE_OK;
    good = good && tt_track_init(&c->mark, c->arena, c->n, 1, 2, most, c->weeks) == TIPTRUE_OK;
    good = good && tt_track_init(&c->yaw, c->arena, c->n, 1, 1, most, c->weeks) == TIPTRUE_OK;
    for (size_t tip = 0; good && tip < c->tips; tip++) {
        good = tt_track_init(&c->runout[tip], c->arena, c->n, 1, 2, most, c->weeks) == TIPTRUE_OK &&
               tt_track_init(&c->radius[tip], c->arena, c->n, 1, 1, most, c->weeks) == TIPTRUE_OK;
    }
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

/* The runs that are used, their times in weeks from their middle, and the plates they were made on. */
static enum tiptrue_status gather(struct tt_changes *c)
{
    const struct tt_series *series = c->series;

    c->run = TT_ARENA_NEW(c->arena, series->n_runs, const struct tt_series_run *);
    c->weeks = TT_ARENA_NEW(c->arena, series->n_runs, double);
    c->plates = TT_ARENA_NEW(c->arena, series->n_runs, const char *);
    if (c->run == NULL || c->weeks == NULL || c->plates == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < series->n_runs; i++) {
        if (run_is_used(&series->runs[i])) {
            c->run[c->n++] = &series->runs[i];
        }
    }
    double middle_s = c->n > 0 ? 0.5 * (c->run[0]->time_s + c->run[c->n - 1]->time_s) : 0;
    for (size_t i = 0; i < c->n; i++) {
        size_t k = 0;
        c->weeks[i] = (c->run[i]->time_s - middle_s) / (7 * 86400.0);
        while (k < c->n_plates && strcmp(c->plates[k], c->run[i]->plate) != 0) {
            k++;
        }
        if (k == c->n_plates) {
            c->plates[c->n_plates++] = c->run[i]->plate;
        }
    }
    return TIPTRUE_OK;
}

static int by_place(const void *a, const void *b)
{
    const struct tt_event *first = a, *second = b;
    return (first->from > second->from) - (first->from < second->from);
}

enum tiptrue_status tt_changes_find(struct tt_changes *c, const struct tt_series *series, struct tt_arena *arena)
{
    *c = (struct tt_changes){.series = series, .arena = arena, .tips = series->n_tip_names};
    enum tiptrue_status status = gather(c);

    if (status == TIPTRUE_OK) {
        status = allocate(c);
    }
    if (status != TIPTRUE_OK || c->n == 0) {
        return status;
    }
    for (size_t i = 0; i < c->n; i++) {
        fill_run(c, i);
    }
    centre(&c->offset);
    centre(&c->mark);
    centre(&c->yaw);
    for (size_t tip = 0; tip < c->tips; tip++) {
        centre(&c->runout[tip]);
        centre(&c->radius[tip]);
    }
    status = search_twice(c);
    if (status == TIPTRUE_OK) {
        find_brackets(c);
        if (c->n_events > 1) {
            qsort(c->events, c->n_events, sizeof *c->events, by_place);
            fit_all(c);
        }
    }
    return status;
}
