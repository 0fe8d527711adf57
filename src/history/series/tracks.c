/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/tracks.h"

#include <math.h>

#include "base/distribution.h"

/* Share of quiet histories in which some track shows something, as reckoned here. */
#define TRACK_ALPHA 0.005
/* Of a rise: as many looks as at a drift (problem.c). */
#define RISE_LOOKS 4.0
/* What one pair of neighbours says of the scatter at most: their level may have changed between
 * them. A chi squared of one degree of freedom is beyond it in 0.8 %. */
#define MOST_OF_PAIR 7.0
#define DISPERSION_ROUNDS 6
/* Degrees of freedom with which it is known beforehand that runs differ no more than that
 * (docs/trend.md, scatter between runs), where they seem not to; the less, the more they do. */
#define PRIOR_DOF 12.0
/* Rounds of looking: single runs that stand apart are put aside, and cost one each. */
#define MOST_ROUNDS 12
#define MOST_EVENTS 3
#define WEEK_S 604800.0

/* A track's runs that tell it: of variances the sum of squares and its degrees of freedom, of
 * shares how many of how many. */
struct cells {
    bool share;
    size_t n, *run;
    double *part, *whole, *weeks, *scratch;
};

/* Runs @first to before @last, and what they gain by a level of their own. */
struct stretch {
    size_t first, last;
    double gain;
};

/* Twice the largest log likelihood of cells with one level, less what does not depend on it. */
static double likelihood(const struct cells *c, double part, double whole)
{
    if (!(whole > 0)) {
        return 0;
    }
    double level = part / whole;
    if (!c->share) {
        return level > 0 ? -whole * log(level) : 0;
    }
    double sum = level > 0 ? part * log(level) : 0;
    return 2 * (sum + (level < 1 ? (whole - part) * log1p(-level) : 0));
}

static double gain_of(const struct cells *c, double part, double whole, double all_part,
                      double all_whole)
{
    return likelihood(c, part, whole) + likelihood(c, all_part - part, all_whole - whole) -
           likelihood(c, all_part, all_whole);
}

/* How much more neighbouring runs differ than their counts and degrees of freedom explain: the mean
 * over pairs, each drawn in to MOST_OF_PAIR times it. */
static double dispersion(const struct cells *c)
{
    double spread = HUGE_VAL;

    for (int round = 0; round < DISPERSION_ROUNDS && c->n > 1; round++) {
        double sum = 0;
        for (size_t i = 1; i < c->n; i++) {
            sum += fmin(gain_of(c, c->part[i], c->whole[i], c->part[i] + c->part[i - 1],
                                c->whole[i] + c->whole[i - 1]),
                        MOST_OF_PAIR * spread);
        }
        spread = fmax(sum / (double)(c->n - 1), 1);
    }
    return c->n > 1 ? spread : 1;
}

/* ---- some runs on another level ---- */

/* Sums before each run, in @c->scratch: n + 1 parts, then n + 1 wholes. */
static void sum_up(const struct cells *c)
{
    double *part = c->scratch, *whole = c->scratch + c->n + 1;

    part[0] = whole[0] = 0;
    for (size_t i = 0; i < c->n; i++) {
        part[i + 1] = part[i] + c->part[i];
        whole[i + 1] = whole[i] + c->whole[i];
    }
}

/* Of runs that are worse than the others; else 0. */
static double worse(const struct cells *c, size_t first, size_t last)
{
    const double *part = c->scratch, *whole = c->scratch + c->n + 1;
    double in = part[last] - part[first], of = whole[last] - whole[first];

    if (last - first >= c->n || !(in * (whole[c->n] - of) > (part[c->n] - in) * of)) {
        return 0;
    }
    return gain_of(c, in, of, part[c->n], whole[c->n]);
}

static void try_stretch(const struct cells *c, size_t first, size_t last, struct stretch *best)
{
    double gain = worse(c, first, last);

    if (gain > best->gain) {
        *best = (struct stretch){first, last, gain};
    }
}

/* The stretch that gains most: of lengths each a third longer than the one before, or to the end,
 * then its ends moved run by run as long as that gains. */
static struct stretch find_stretch(const struct cells *c)
{
    struct stretch best = {0, 0, 0}, before;

    sum_up(c);
    for (size_t length = 1; length < c->n; length += 1 + length / 3) {
        for (size_t first = 0; first + length <= c->n; first++) {
            try_stretch(c, first, first + length, &best);
        }
    }
    for (size_t first = 1; first < c->n; first++) {
        try_stretch(c, first, c->n, &best);
    }
    do {
        before = best;
        try_stretch(c, before.first > 0 ? before.first - 1 : 0, before.last, &best);
        try_stretch(c, before.first + 1, before.last, &best);
        try_stretch(c, before.first, before.last < c->n ? before.last + 1 : c->n, &best);
        try_stretch(c, before.first, before.last > 0 ? before.last - 1 : 0, &best);
    } while (best.gain > before.gain);
    return best;
}

static double level_of(const struct cells *c, double part, double whole)
{
    double level = whole > 0 ? part / whole : 0;
    return c->share ? level : sqrt(level);
}

/* The level of the runs from @first to before @last, and that of all others. */
static void fill_levels(const struct cells *c, const struct stretch *s, struct tt_track_event *e)
{
    double in = 0, of = 0, part = 0, whole = 0;

    for (size_t i = 0; i < c->n; i++) {
        bool inside = i >= s->first && i < s->last;
        in += inside ? c->part[i] : 0;
        of += inside ? c->whole[i] : 0;
        part += inside ? 0 : c->part[i];
        whole += inside ? 0 : c->whole[i];
    }
    e->value = level_of(c, in, of);
    e->otherwise = level_of(c, part, whole);
}

static void put_aside(struct cells *c, const struct stretch *s)
{
    size_t n = 0;

    for (size_t i = 0; i < c->n; i++) {
        if (i < s->first || i >= s->last) {
            c->run[n] = c->run[i];
            c->part[n] = c->part[i];
            c->whole[n] = c->whole[i];
            c->weeks[n++] = c->weeks[i];
        }
    }
    c->n = n;
}

/* ---- a rise ---- */

/* ln of a variance from @dof degrees of freedom: mean and variance by the series of digamma and
 * trigamma (M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 6.3.18 and 6.4.12). */
static double log_bias(double dof)
{
    return -1 / dof - 1 / (3 * dof * dof);
}

static double log_variance(double dof)
{
    return 2 / dof + 2 / (dof * dof) + 4 / (3 * dof * dof * dof);
}

struct rise {
    double f, at_first, at_last; /* F of the slope; the level as fitted */
};

/* Weights, and values about which the slope is: of variances their logarithms, of shares what lies
 * beyond the common one (P. Armitage, Biometrics 11 (1955) 375). */
static void transform(const struct cells *c, double *w, double *y)
{
    double part = 0, whole = 0;

    for (size_t i = 0; i < c->n; i++) {
        part += c->part[i];
        whole += c->whole[i];
    }
    double p = part / whole, pq = p * (1 - p);
    for (size_t i = 0; i < c->n; i++) {
        if (c->share) {
            w[i] = pq > 0 ? c->whole[i] / pq : 0;
            y[i] = c->part[i] / c->whole[i];
        } else {
            w[i] = 1 / log_variance(c->whole[i]);
            y[i] = log(c->part[i] / c->whole[i]) - log_bias(c->whole[i]);
        }
    }
}

static struct rise find_rise(const struct cells *c, double spread)
{
    double *w = c->scratch, *y = c->scratch + c->n, sum = 0, t = 0, mean = 0, tt = 0, ty = 0,
           left = 0;

    transform(c, w, y);
    for (size_t i = 0; i < c->n; i++) {
        sum += w[i];
        t += w[i] * c->weeks[i];
        mean += w[i] * y[i];
    }
    t /= sum;
    mean /= sum;
    for (size_t i = 0; i < c->n; i++) {
        double from = c->weeks[i] - t;
        tt += w[i] * from * from;
        ty += w[i] * from * y[i];
        left += w[i] * (y[i] - mean) * (y[i] - mean);
    }
    if (!(sum > 0) || !(tt > 0) || !(ty > 0)) {
        return (struct rise){0, 0, 0};
    }
    double slope = ty / tt, first = mean + slope * (c->weeks[0] - t),
           last = mean + slope * (c->weeks[c->n - 1] - t);
    spread = fmax(spread, (left - ty * slope) / (double)(c->n - 2));
    return (struct rise){ty * slope / spread, c->share ? fmax(first, 0) : exp(0.5 * first),
                         c->share ? fmin(last, 1) : exp(0.5 * last)};
}

/* ---- the tracks ---- */

static bool is_told(const struct tt_series_run *run, const struct tt_trend_track *track,
                    double *part, double *whole)
{
    double mm = track->kind == TT_TRACK_TOUCH ? run->own_touch_mm : run->own_sighting_mm;

    if (run->left_out) {
        return false;
    }
    if (track->kind != TT_TRACK_LATE) {
        *whole = track->kind == TT_TRACK_TOUCH ? run->own_touch_dof : run->own_sighting_dof;
        *part = *whole * mm * mm;
        return *whole >= 1 && mm > 0;
    }
    for (size_t i = 0; i < run->n_edges; i++) {
        if (run->edges[i].edge == track->edge) {
            *part = (double)run->edges[i].late;
            *whole = (double)run->edges[i].touches;
            return run->edges[i].touches > 0 && run->edges[i].late <= run->edges[i].touches;
        }
    }
    return false;
}

static void collect(const struct tt_series *series, const struct tt_trend_track *track,
                    struct cells *c)
{
    double part, whole;

    c->n = 0;
    c->share = track->kind == TT_TRACK_LATE;
    for (size_t i = 0; i < series->n_runs; i++) {
        if (is_told(&series->runs[i], track, &part, &whole)) {
            c->run[c->n] = i;
            c->part[c->n] = part;
            c->whole[c->n] = whole;
            c->weeks[c->n++] = (series->runs[i].time_s - series->runs[0].time_s) / WEEK_S;
        }
    }
}

static struct tt_track_event *add_event(struct tt_trend_track *track,
                                        const struct tt_series *series, enum tt_track_code code,
                                        size_t first, size_t last)
{
    struct tt_track_event *e = &track->events[track->n_events++];

    *e = (struct tt_track_event){
        .code = code, .from_s = series->runs[first].time_s, .to_s = series->runs[last].time_s};
    return e;
}

/* By which stretches are asked about: how much neighbours differ, with which degrees of freedom
 * that is known, and ln of looks times tracks. Two ends are looked for, each as the place of a step
 * is (problem.c); half of the pairs of places are a stretch, and by simulation half of those are
 * looks. */
struct scale {
    double spread, nu, log_looks;
};

static double log_p_of(const struct scale *scale, double gain)
{
    return tt_log_p_f(gain / scale->spread, 1, scale->nu) + scale->log_looks;
}

/* What a stretch gains, of shares without its worst run: films come and go by runs, and one that
 * had much must not make a time of it. */
static double sure_gain(const struct cells *c, const struct stretch *s)
{
    double in = 0, of = 0, part = 0, whole = 0;
    size_t worst = s->first;

    for (size_t i = s->first; c->share && i < s->last; i++) {
        worst = c->part[i] * c->whole[worst] > c->part[worst] * c->whole[i] ? i : worst;
    }
    for (size_t i = 0; i < c->n; i++) {
        bool counts = !c->share || i != worst;
        part += counts ? c->part[i] : 0;
        whole += counts ? c->whole[i] : 0;
        in += counts && i >= s->first && i < s->last ? c->part[i] : 0;
        of += counts && i >= s->first && i < s->last ? c->whole[i] : 0;
    }
    return of > 0 ? gain_of(c, in, of, part, whole) : 0;
}

/* Stretches that stand apart, the largest first. Single runs are put aside: each says so itself. */
static void find_stretches(const struct tt_series *series, struct cells *c,
                           const struct scale *scale, struct tt_trend_track *track)
{
    size_t first_run = c->run[0], last_run = c->run[c->n - 1];

    for (int round = 0; round < MOST_ROUNDS && c->n >= TT_FEWEST_TREND_RUNS; round++) {
        struct stretch s = find_stretch(c);
        double log_p = log_p_of(scale, s.gain);
        if (!(log_p < log(TRACK_ALPHA))) {
            return;
        }
        if (s.last - s.first > 1 && track->n_events < MOST_EVENTS &&
            log_p_of(scale, sure_gain(c, &s)) < log(TRACK_ALPHA)) {
            size_t first = c->run[s.first], last = c->run[s.last - 1];
            struct tt_track_event *e = add_event(track, series,
                                                 last == last_run     ? TT_TRACK_NOISIER
                                                 : first == first_run ? TT_TRACK_WAS_NOISIER
                                                                      : TT_TRACK_NOISY,
                                                 first, last);
            e->runs = s.last - s.first;
            e->p = exp(fmin(log_p, 0));
            fill_levels(c, &s, e);
        }
        put_aside(c, &s);
    }
}

/* @tracks: among how many alpha is shared out. */
static void judge(const struct tt_series *series, struct cells *c, double tracks,
                  struct tt_trend_track *track)
{
    double part = 0, whole = 0, looks = 8 * log((double)c->n) - 5;

    for (size_t i = 0; i < c->n; i++) {
        part += c->part[i];
        whole += c->whole[i];
    }
    track->runs = c->n;
    track->value = level_of(c, part, whole);
    if (c->n < TT_FEWEST_TREND_RUNS || !(part > 0)) {
        return;
    }
    double spread = dispersion(c);
    const struct scale scale = {spread, PRIOR_DOF / spread + (double)(c->n - 1),
                                log(looks * looks / 4 * tracks)};
    struct rise rise = find_rise(c, scale.spread);
    double log_p = tt_log_p_f(rise.f, 1, (double)(c->n - 2)) + log(RISE_LOOKS * tracks);
    if (log_p < log(TRACK_ALPHA) && log_p < log_p_of(&scale, find_stretch(c).gain)) {
        struct tt_track_event *e =
            add_event(track, series, TT_TRACK_RISES, c->run[0], c->run[c->n - 1]);
        e->runs = c->n;
        e->p = exp(fmin(log_p, 0));
        e->value = rise.at_last;
        e->otherwise = rise.at_first;
        return;
    }
    find_stretches(series, c, &scale, track);
}

enum tiptrue_status tt_trend_tracks(struct tiptrue_trend *trend, const struct tt_series *series)
{
    struct tt_arena work = {0};
    size_t n = series->n_runs, most = 2 + trend->n_edges;
    double *numbers = TT_ARENA_NEW(&work, 5 * n + 2, double);
    size_t *run = TT_ARENA_NEW(&work, n, size_t);
    enum tiptrue_status status = numbers != NULL && run != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;

    trend->tracks = TT_ARENA_NEW(&trend->arena, most, struct tt_trend_track);
    status = trend->tracks == NULL ? TIPTRUE_E_MEMORY : status;
    for (size_t i = 0; i < most && status == TIPTRUE_OK; i++) {
        struct tt_trend_track *track = &trend->tracks[trend->n_tracks];
        struct cells c = {false, 0, run, numbers, numbers + n, numbers + 2 * n, numbers + 3 * n};
        track->kind = i < 2 ? (enum tt_track_kind)i : TT_TRACK_LATE;
        track->edge = i < 2 ? TT_NONE : i - 2;
        track->events = TT_ARENA_NEW(&trend->arena, MOST_EVENTS, struct tt_track_event);
        status = track->events == NULL ? TIPTRUE_E_MEMORY : status;
        collect(series, track, &c);
        if (status == TIPTRUE_OK && c.n > 0) {
            judge(series, &c, (double)most, track);
            trend->n_tracks++;
        }
    }
    tt_arena_clear(&work);
    return status;
}
