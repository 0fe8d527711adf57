/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/height_sets.h"

#include <math.h>
#include <string.h>

#include "adjust/mixture.h"
#include "base/distribution.h"
#include "model/frames.h"

#define HEIGHT_LARGEST 3.4 /* standard deviations up to which least squares stands */
#define HEIGHT_CLEAN_MM 7e-3
#define HEIGHT_CLEAN_IMPROBABLE 1e-4
/* ln probability behind the best set from which one is given up, and the step by which that is
 * drawn in where there are too many. */
#define HEIGHT_SET_GIVEN_UP 10.0
#define HEIGHT_SET_STEP 0.25
#define MOST_HEIGHT_SCORE_STEPS 12
#define HEIGHT_SCORED 1e-3 /* relative change of the variance that ends them */
#define HEIGHT_SHARES 12   /* of late touches in the run, equally probable, that are summed over */

bool tt_height_looks_clean(const struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double largest = 0, dof = fmax(fit->dof, 1);

    for (size_t i = 0; i < h->n_rows; i++) {
        double known = tt_height_variance(fit, fit->design + i * fit->n, fit->scratch),
               variance = fmax(fit->variance_mm2 - known, 0.05 * fit->variance_mm2);
        largest = fmax(largest, fit->residual[i] * fit->residual[i] / variance);
    }
    if (!(largest < HEIGHT_LARGEST * HEIGHT_LARGEST)) {
        return false;
    }
    if (h->stated_dof == 0) {
        return fit->own_mm2 < HEIGHT_CLEAN_MM * HEIGHT_CLEAN_MM;
    }
    return tt_chi2_upper(dof * fit->own_mm2 / (h->stated_mm2 + h->digit_mm2), dof) >
           HEIGHT_CLEAN_IMPROBABLE;
}

/* ---- sets, touch by touch ---- */

/* What is known after some touches, if those called good are. */
struct branch {
    double log_p, *x, *covariance; /* n; n x n */
    double *good, *late;           /* per row; per pad: late touches so far */
};

struct tt_height_branches {
    size_t n, n_next; /* branches */
    double best_next; /* log_p */
    struct branch now[TT_MOST_HEIGHT_SETS], next[2 * TT_MOST_HEIGHT_SETS];
    size_t size;      /* of what a branch points to */
    double *pad_rows; /* so far */
    double *ca;       /* per unknown */
    size_t *at, n_at; /* unknowns of the row at hand */
};

static bool make_branch(struct branch *b, struct tt_arena *arena, const struct tt_heights *h,
                        size_t most)
{
    size_t size = most + most * most + h->n_rows + h->n_pads;

    b->x = TT_ARENA_NEW(arena, size, double);
    if (b->x != NULL) {
        b->covariance = b->x + most;
        b->good = b->covariance + most * most;
        b->late = b->good + h->n_rows;
    }
    return b->x != NULL;
}

bool tt_height_sets_init(struct tt_height_sets *sets, struct tt_arena *arena,
                         const struct tt_heights *heights, size_t most)
{
    struct tt_height_branches *s = TT_ARENA_NEW(arena, 1, struct tt_height_branches);
    bool good = s != NULL;

    sets->room = s;
    for (size_t k = 0; k < TT_MOST_HEIGHT_SETS && good; k++) {
        good = make_branch(&s->now[k], arena, heights, most) &&
               make_branch(&s->next[2 * k], arena, heights, most) &&
               make_branch(&s->next[2 * k + 1], arena, heights, most);
    }
    if (!good) {
        return false;
    }
    s->size = most + most * most + heights->n_rows + heights->n_pads;
    s->pad_rows = TT_ARENA_NEW(arena, heights->n_pads, double);
    s->ca = TT_ARENA_NEW(arena, most, double);
    s->at = TT_ARENA_NEW(arena, most, size_t);
    return s->pad_rows != NULL && s->ca != NULL && s->at != NULL;
}

/* A branch of s->next like @from with @log_p; NULL where it would be given up anyway. */
static struct branch *add_branch(struct tt_height_branches *s, const struct branch *from,
                                 double log_p)
{
    s->best_next = fmax(s->best_next, log_p);
    if (!(log_p > s->best_next - HEIGHT_SET_GIVEN_UP)) {
        return NULL;
    }
    struct branch *to = &s->next[s->n_next++];
    to->log_p = log_p;
    memcpy(to->x, from->x, s->size * sizeof *to->x);
    return to;
}

/* Share of late touches to be expected on the pad of row @i. */
static double late_share(const struct tt_height_branches *s, const struct branch *b,
                         const struct tt_heights *h, size_t i)
{
    size_t pad = h->rows[i].pad;
    double late = 0;

    for (size_t p = 0; p < h->n_pads; p++) {
        late += b->late[p];
    }
    double run = (late + SHARE_PRIOR_LATE) / ((double)i + SHARE_PRIOR_TOUCHES);
    return (b->late[pad] + SHARE_STRENGTH * run) / (s->pad_rows[pad] + SHARE_STRENGTH);
}

/* Branch @k with row @i good, and with it off. */
static void divide(struct tt_height_branches *s, const struct tt_height_fit *fit, size_t i,
                   size_t k, double sd)
{
    struct branch *good, *off, *b = &s->now[k];
    size_t n = fit->n, pad = fit->heights->rows[i].pad;
    const double *a = fit->design + i * n;
    double r = fit->given[i], known = 0, *ca = s->ca;

    memset(ca, 0, n * sizeof *ca);
    for (size_t m = 0; m < s->n_at; m++) {
        const double *column = b->covariance + s->at[m] * n, by = a[s->at[m]];
        for (size_t j = 0; j < n; j++) {
            ca[j] += column[j] * by;
        }
        r -= by * b->x[s->at[m]];
    }
    for (size_t m = 0; m < s->n_at; m++) {
        known += a[s->at[m]] * ca[s->at[m]];
    }
    double share = late_share(s, b, fit->heights, i),
           early = SHARE_PRIOR_EARLY / SHARE_PRIOR_TOUCHES;
    double least = OFF_FROM_SCATTERS * sd, spread = sqrt(2 * fmax(known, 1e-4 * sd * sd)),
           late = 0.5 * erfc((r + least) / spread), above = 0.5 * erfc((least - r) / spread);
    off = add_branch(s, b, b->log_p + log((share * late + early * above) * tt_off_density(r, sd)));
    if (off != NULL) {
        off->late[pad] += late > above ? 1 : 0;
        off->good[i] = 0;
    }
    double variance = known + sd * sd;
    good = add_branch(s, b,
                      b->log_p + log1p(-fmin(share + early, 0.99)) -
                          0.5 * (r * r / variance + log(2 * TT_PI * variance)));
    if (good == NULL) {
        return;
    }
    good->good[i] = 1;
    for (size_t j = 0; j < n; j++) {
        good->x[j] += ca[j] * r / variance;
        for (size_t m = 0; m < n; m++) {
            good->covariance[j * n + m] -= ca[j] * ca[m] / variance;
        }
    }
}

/* The most probable ones of s->next into s->now. */
static void keep_best(struct tt_height_branches *s)
{
    size_t kept = TT_MOST_HEIGHT_SETS + 1;
    double least = s->best_next - HEIGHT_SET_GIVEN_UP - HEIGHT_SET_STEP;

    while (kept > TT_MOST_HEIGHT_SETS) {
        least += HEIGHT_SET_STEP;
        kept = 0;
        for (size_t k = 0; k < s->n_next; k++) {
            kept += s->next[k].log_p > least;
        }
    }
    s->n = 0;
    for (size_t k = 0; k < s->n_next; k++) {
        if (s->next[k].log_p > least) {
            struct branch spare = s->now[s->n];
            s->now[s->n++] = s->next[k];
            s->next[k] = spare;
        }
    }
}

void tt_height_sets_find(struct tt_height_sets *sets, const struct tt_height_fit *fit, double sd_mm)
{
    struct tt_height_branches *s = sets->room;
    const struct tt_heights *h = fit->heights;

    memset(s->pad_rows, 0, h->n_pads * sizeof *s->pad_rows);
    memset(s->now[0].x, 0, s->size * sizeof *s->now[0].x);
    s->now[0].log_p = 0;
    for (size_t j = 0; j < fit->n; j++) {
        s->now[0].x[j] = fit->prior_value[j];
        s->now[0].covariance[j * fit->n + j] = fit->prior_u[j] * fit->prior_u[j];
    }
    s->n = 1;
    for (size_t i = 0; i < h->n_rows; i++) {
        s->n_next = s->n_at = 0;
        s->best_next = -INFINITY;
        for (size_t j = 0; j < fit->n; j++) {
            if (fit->design[i * fit->n + j] != 0) {
                s->at[s->n_at++] = j;
            }
        }
        for (size_t k = 0; k < s->n; k++) {
            divide(s, fit, i, k, sd_mm);
        }
        s->pad_rows[h->rows[i].pad] += 1;
        keep_best(s);
    }
    sets->best = -INFINITY;
    for (sets->n = 0; sets->n < s->n; sets->n++) {
        sets->good[sets->n] = s->now[sets->n].good;
        sets->log_p[sets->n] = s->now[sets->n].log_p;
        sets->best = fmax(sets->best, s->now[sets->n].log_p);
    }
}

/* ---- the evidence of one set ---- */

/* ln of a (a + 1) ... (a + n - 1). */
static double ln_rising(double a, size_t n)
{
    double sum = 0;

    for (size_t k = 0; k < n; k++) {
        sum += log(a + (double)k);
    }
    return sum;
}

/* ln probability of @some of @all, drawn by a share of Beta(@a, @b). */
static double ln_drawn(size_t some, size_t all, double a, double b)
{
    return ln_rising(a, some) + ln_rising(b, all - some) - ln_rising(a + b, all);
}

/* Off touches of @pad on one side. */
static size_t count_off(const struct tt_height_fit *fit, size_t pad, bool late, size_t *all)
{
    size_t n = 0;

    *all = 0;
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        bool here = pad == TT_NONE || fit->heights->rows[i].pad == pad;
        *all += here;
        n += here && fit->good[i] == 0 && (fit->residual[i] < 0) == late;
    }
    return n;
}

/* ln probability that these touches are late and early: the pads' shares are integrated out, that
 * of the run is summed over its prior, Beta(1, b). */
static double ln_shares(const struct tt_height_fit *fit)
{
    double sum = 0, most = -INFINITY, b = SHARE_PRIOR_TOUCHES - SHARE_PRIOR_LATE;
    size_t all, off;

    for (size_t k = 0; k < HEIGHT_SHARES; k++) {
        double share = 1 - pow(1 - ((double)k + 0.5) / HEIGHT_SHARES, 1 / b), ln = 0;
        for (size_t p = 0; p < fit->heights->n_pads; p++) {
            off = count_off(fit, p, true, &all);
            ln += ln_drawn(off, all, SHARE_STRENGTH * share, SHARE_STRENGTH * (1 - share));
        }
        sum = ln > most ? sum * exp(most - ln) + 1 : sum + exp(ln - most);
        most = fmax(most, ln);
    }
    off = count_off(fit, TT_NONE, false, &all);
    return most + log(sum / HEIGHT_SHARES) +
           ln_drawn(off, all, SHARE_PRIOR_EARLY, SHARE_PRIOR_TOUCHES - SHARE_PRIOR_EARLY);
}

/* The repeatability of the good ones; its relative change. */
static double update_scatter(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double sum = 0, good = 0, before = fit->variance_mm2;

    for (size_t i = 0; i < h->n_rows; i++) {
        good += fit->good[i];
        sum += fit->good[i] * fit->residual[i] * fit->residual[i];
    }
    fit->dof = fmax(good - fit->spent, 0.5);
    fit->pooled_dof = fit->dof + h->stated_dof;
    fit->own_mm2 = sum / fit->dof;
    fit->variance_mm2 =
        h->stated_dof > 0
            ? (h->stated_dof * (h->stated_mm2 + h->digit_mm2) + sum) / fit->pooled_dof
            : tt_usual_scatter_var(fit->own_mm2 - h->digit_mm2, fit->dof) + h->digit_mm2;
    return fabs(fit->variance_mm2 / before - 1);
}

/* Rows that are called off but lie with the good ones are good. */
static bool take_near(struct tt_height_fit *fit)
{
    bool any = false;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        bool near = fit->residual[i] * fit->residual[i] <
                    OFF_FROM_SCATTERS * OFF_FROM_SCATTERS * fit->variance_mm2;
        any = any || (near && fit->good[i] == 0);
        fit->good[i] = near ? 1 : fit->good[i];
    }
    return any;
}

/* ln density of the touches and of the unknowns. */
static double ln_rows(const struct tt_height_fit *fit)
{
    double sd = sqrt(fit->variance_mm2), sum = 0;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        double r = fit->residual[i];
        sum += fit->good[i] > 0 ? -0.5 * r * r / fit->variance_mm2 - log(sqrt(2 * TT_PI) * sd)
                                : log(tt_off_density(r, sd));
    }
    for (size_t j = 0; j < fit->n; j++) {
        double r = (fit->x[j] - fit->prior_value[j]) / fit->prior_u[j];
        sum -= 0.5 * r * r + log(fit->prior_u[j]);
    }
    return sum;
}

bool tt_height_score(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double sd = h->stated_dof > 0 ? sqrt(h->stated_mm2 + h->digit_mm2) : TT_FIRST_HEIGHT_SCATTER_MM;

    fit->variance_mm2 = sd * sd;
    for (size_t k = 0; k < MOST_HEIGHT_SCORE_STEPS; k++) {
        for (size_t i = 0; i < h->n_rows; i++) {
            fit->weight[i] = fit->good[i] / fit->variance_mm2;
        }
        if (!tt_height_solve(fit)) {
            return false;
        }
        if (update_scatter(fit) < HEIGHT_SCORED && !take_near(fit)) {
            break;
        }
    }
    fit->log_evidence = ln_rows(fit) + ln_shares(fit) +
                        tt_log_scatter(fmax(fit->variance_mm2 - h->digit_mm2, 1e-10), fit->dof,
                                       h->stated_mm2, h->stated_dof) -
                        0.5 * fit->log_det;
    for (size_t m = 0; m < fit->n_modes; m++) {
        fit->log_evidence += fit->modes[m].log_p;
    }
    return true;
}
