/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How much runs scatter, from the residuals of a fit: by moments. */
#include "config.h"

#include <gsl/gsl_sf_psi.h>
#include <math.h>
#include <string.h>

#include "history/track_parts.h"

/* Turns of taking apart what members scatter: the last changes a covariance by less than a thousandth of itself. */
#define OWN_TURNS 12
/* A correlation from run to run is taken for real from so many standard deviations of one by chance on: one quiet series in fifty
 * loses a little power. */
#define PERSISTENCE_SHOWS 2.0
/* Beyond, what persists is a level or a drift. */
#define MOST_PERSISTENCE 0.8

/* What a member's residual in a run is against the mean of the others' there; false: there are none. */
static bool against_others(const struct tt_track *t, size_t run, size_t member, struct tt_pair *difference, double *others)
{
    struct tt_pair sum = {0, 0};

    *others = 0;
    for (size_t k = 0; k < t->members; k++) {
        if (k != member && t->there[run * t->members + k]) {
            sum.x += t->residual[run * t->members + k].x;
            sum.y += t->residual[run * t->members + k].y;
            (*others)++;
        }
    }
    const struct tt_pair *r = &t->residual[run * t->members + member];
    double n = fmax(*others, 1);
    *difference = (struct tt_pair){r->x - sum.x / n, r->y - sum.y / n};
    return *others > 0;
}

/* Covariance of each member's own deviation, into own[]: from its differences from the mean of the others in the same run, in which
 * what they share cancels. Such a difference has the member's own covariance and the others' over the square of their number; a few
 * turns of damped substitution take these apart. Members that are never seen with others: their whole one less the shared. */
static void gather_own(struct tt_track *t)
{
    size_t members = t->members;

    /* spread[k]: sum of squares of the differences; spread[members + k]: what is shared in those that are none; others[k, l]: how
     * much of l's own is in them */
    memset(t->others, 0, members * members * sizeof *t->others);
    memset(t->spread, 0, 2 * members * sizeof *t->spread);
    for (size_t run = 0; run < t->n; run++) {
        for (size_t k = 0; k < members; k++) {
            struct tt_pair d;
            double m;
            if (!t->there[run * members + k]) {
                continue;
            }
            if (!against_others(t, run, k, &d, &m)) {
                t->spread[members + k] = tt_sym2_plus(t->spread[members + k], tt_track_shared_cov(t, run), 1);
            }
            t->spread[k] = tt_sym2_plus(t->spread[k], (struct tt_sym2){d.x * d.x, d.x * d.y, d.y * d.y}, 1);
            t->others[k * members + k]++;
            for (size_t l = 0; m > 0 && l < members; l++) {
                t->others[k * members + l] += l != k && t->there[run * members + l] ? 1 / (m * m) : 0;
            }
        }
    }
    for (int turn = 0; turn < OWN_TURNS; turn++) {
        for (size_t k = 0; k < members; k++) {
            double n = t->others[k * members + k], in_others = 0;
            if (!(t->dof[k] > 0) || !(n > 0)) {
                t->next[k] = (struct tt_sym2){0, 0, 0};
                continue;
            }
            struct tt_sym2 now = tt_sym2_plus((struct tt_sym2){0, 0, 0}, t->spread[k], 1 / t->dof[k]);
            now = tt_sym2_plus(now, t->spread[members + k], -1 / n);
            for (size_t l = 0; l < members; l++) {
                if (l != k) {
                    in_others += t->others[k * members + l];
                    now = turn > 0 ? tt_sym2_plus(now, t->own[l], -t->others[k * members + l] / n) : now;
                }
            }
            /* the first turn begins where all are alike */
            t->next[k] = turn == 0 ? tt_sym2_plus((struct tt_sym2){0, 0, 0}, now, n / (n + in_others))
                                   : tt_sym2_plus(tt_sym2_plus((struct tt_sym2){0, 0, 0}, t->own[k], 0.5), now, 0.5);
        }
        memcpy(t->own, t->next, members * sizeof *t->own);
    }
    for (size_t k = 0; k < members; k++) {
        t->own[k] = tt_sym2_not_negative(t->own[k]);
    }
}

/* How many degrees of freedom one run adds to what differences from the others tell of a member's own scatter, where all of
 * @members scatter alike: the variance of the estimate above, from that of the sample variances of the differences and their
 * correlations. Two members share one estimate. */
static double worth_of_differences(double members)
{
    if (members < 3) {
        return 1;
    }
    double others = members - 1, a = 1 / (1 - 1 / (others * others)), b = a / (others * members);
    double variance = 1 + 1 / others, correlation = (-2 / others + (members - 2) / (others * others)) / variance;
    double v = 2 * variance * variance, with = (members - 1) * correlation * correlation;
    return 2 / (a * a * v + b * b * members * v * (1 + with) - 2 * a * b * v * (1 + with));
}

/* What is left of a member's whole scatter when the shared one is taken off tells of its own too, and the better the less is
 * shared: both estimates together, each by its worth. Sets own_dof. */
static void add_whole(struct tt_track *t)
{
    for (size_t k = 0; k < t->members; k++) {
        struct tt_sym2 whole = {0, 0, 0}, shared = {0, 0, 0};
        double n = 0;
        t->own_dof[k] = t->dof[k];
        if (t->members == 1 || !(t->dof[k] > 0)) {
            continue;
        }
        for (size_t run = 0; run < t->n; run++) {
            const struct tt_pair *r = &t->residual[run * t->members + k];
            if (t->there[run * t->members + k]) {
                whole = tt_sym2_plus(whole, (struct tt_sym2){r->x * r->x, r->x * r->y, r->y * r->y}, 1 / t->dof[k]);
                shared = tt_sym2_plus(shared, tt_track_shared_cov(t, run), 1);
                n++;
            }
        }
        shared = tt_sym2_plus((struct tt_sym2){0, 0, 0}, shared, 1 / n);
        struct tt_sym2 rest = tt_sym2_not_negative(tt_sym2_plus(whole, shared, -1));
        double o = t->own[k].xx + t->own[k].yy, s = shared.xx + shared.yy;
        double by_differences = worth_of_differences((double)t->members);
        double by_rest = o > 0 ? o * o / ((o + s) * (o + s) + s * s) : 0, all = by_differences + by_rest;
        t->own[k] = tt_sym2_plus(tt_sym2_plus((struct tt_sym2){0, 0, 0}, t->own[k], by_differences / all), rest, by_rest / all);
        t->own_dof[k] = t->dof[k] * fmin(all, 1);
    }
}

/* The same less what the runs themselves state of it. */
static struct tt_sym2 less_stated(const struct tt_track *t, size_t k)
{
    struct tt_sym2 sum = {0, 0, 0};
    double n = 0;

    for (size_t run = 0; run < t->n; run++) {
        if (t->there[run * t->members + k]) {
            sum = tt_sym2_plus(sum, t->stated[run * t->members + k], 1);
            sum = tt_sym2_plus(sum, t->common[run], t->members > 1 ? -1 : 0);
            n++;
        }
    }
    return n > 0 ? tt_sym2_plus(t->own[k], sum, -1 / n) : t->own[k];
}

/* The root of trigamma(y) = @value, by Newton's method on 1/trigamma, which is nearly straight (Smyth 2004, appendix). */
static double inverse_trigamma(double value)
{
    double y = 0.5 + 1 / value;

    for (int i = 0; i < 50; i++) {
        double step = gsl_sf_psi_1(y) * (1 - gsl_sf_psi_1(y) / value) / gsl_sf_psi_n(2, y);
        y += step;
        if (fabs(step) < 1e-8 * y) {
            break;
        }
    }
    return y;
}

/* Few runs know a scatter badly, but members and axes that scatter alike know it together. Each covariance is drawn towards the one
 * they have in common, by as many degrees of freedom as their likeness bears out: none where they clearly differ. G. K. Smyth,
 * Linear models and empirical Bayes methods, Stat. Appl. Genet. Mol. Biol. 3 (2004), section 6.2; here of the variances along the
 * principal axes of all. Returns the degrees of freedom so won. */
static double moderate(struct tt_track *t)
{
    struct tt_sym2 mean = {0, 0, 0};
    double n = 0, sum = 0, sum2 = 0, expected = 0, known = 0;

    if (t->axes != 2) {
        return 0;
    }
    for (size_t k = 0; k < t->members; k++) {
        if (t->own_dof[k] > 2 && t->own[k].xx > 0 && t->own[k].yy > 0) {
            mean = tt_sym2_plus(mean, t->own[k], 1);
        }
    }
    double half = 0.5 * (mean.xx - mean.yy), root = hypot(half, mean.xy);
    double c2 = root > 0 ? half / root : 1, s2 = root > 0 ? mean.xy / root : 0; /* of twice the angle */
    for (size_t k = 0; k < t->members; k++) {
        const struct tt_sym2 *o = &t->own[k];
        if (!(t->own_dof[k] > 2 && o->xx > 0 && o->yy > 0)) {
            continue;
        }
        double middle = 0.5 * (o->xx + o->yy), along = 0.5 * (o->xx - o->yy) * c2 + o->xy * s2, d = 0.5 * t->own_dof[k];
        known += t->own_dof[k];
        for (int axis = 0; axis < 2; axis++) {
            double variance = fmax(middle + (axis == 0 ? along : -along), 1e-9 * middle);
            double e = log(variance) - gsl_sf_psi(d) + log(d);
            sum += e;
            sum2 += e * e;
            expected += gsl_sf_psi_1(d);
            n++;
        }
    }
    if (n < 2) {
        return 0;
    }
    double excess = (sum2 - sum * sum / n) / (n - 1) - expected / n;
    /* what all know together is known no better than from all of them */
    double most = known, dof = excess > 1e-6 ? fmin(2 * inverse_trigamma(excess), most) : most;
    double variance = exp(sum / n + gsl_sf_psi(0.5 * dof) - log(0.5 * dof));
    for (size_t k = 0; k < t->members; k++) {
        struct tt_sym2 *o = &t->own[k];
        double own = t->own_dof[k] / (t->own_dof[k] + dof), other = (1 - own) * variance;
        *o = (struct tt_sym2){own * o->xx + other, own * o->xy, own * o->yy + other};
    }
    return dof;
}

/* Scatter between runs from the residuals, by moments: what members have in common from products of two of them, what is their own
 * from the rest. */
double tt_track_persistence(const struct tt_track *t)
{
    double sum = 0, whole = 0, pairs = 0;

    for (size_t k = 0; k < t->members; k++) {
        const struct tt_pair *before = NULL;
        for (size_t run = 0; run < t->n; run++) {
            const struct tt_pair *r = &t->residual[run * t->members + k];
            if (!t->there[run * t->members + k]) {
                continue;
            }
            if (before != NULL) {
                sum += before->x * r->x + before->y * r->y;
                whole += 0.5 * (before->x * before->x + r->x * r->x + before->y * before->y + r->y * r->y);
                pairs += t->axes;
            }
            before = r;
        }
    }
    /* values that members share in part are not quite as many independent ones */
    double r = whole > 0 ? sum / whole : 0, chance = pairs > 0 ? sqrt((t->members > 1 ? 1.5 : 1) / pairs) : 1;
    return r > PERSISTENCE_SHOWS * chance ? fmin(r, MOST_PERSISTENCE) : 0;
}

void tt_track_scatter(struct tt_track *t)
{
    struct tt_sym2 cross = {0, 0, 0}, common = {0, 0, 0};
    double pairs = 0, runs = 0, freed = 0;

    for (size_t run = 0; run < t->n; run++) {
        bool any = false;
        for (size_t a = 0; a < t->members; a++) {
            for (size_t b = 0; b < a; b++) {
                const struct tt_pair *r = &t->residual[run * t->members + a], *q = &t->residual[run * t->members + b];
                if (t->there[run * t->members + a] && t->there[run * t->members + b]) {
                    cross = tt_sym2_plus(cross, (struct tt_sym2){r->x * q->x, 0.5 * (r->x * q->y + r->y * q->x), r->y * q->y}, 1);
                    pairs++;
                    any = true;
                }
            }
        }
        if (any) {
            common = tt_sym2_plus(common, t->common[run], 1);
            runs++;
        }
    }
    t->shared = (struct tt_sym2){0, 0, 0};
    freed = t->dof[t->members];
    if (pairs > 0 && freed > 0) {
        cross = tt_sym2_plus((struct tt_sym2){0, 0, 0}, cross, runs / freed / pairs);
        t->shared = tt_sym2_not_negative(tt_sym2_plus(cross, common, -1 / runs));
    }
    gather_own(t);
    add_whole(t);
    t->prior_dof = moderate(t);
    for (size_t k = 0; k < t->members; k++) {
        t->own[k] = tt_sym2_not_negative(less_stated(t, k));
    }
}
