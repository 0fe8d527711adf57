/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/noise.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* Differences whose square is beyond this many variances (1 axis, 2 axes) hold a change or an
 * outlier and are left out; what that takes from a normal distribution is put back by KEPT (the
 * chi-squared distribution's F(c; d + 2) / F(c; d)). With 9 for one axis steps of 3 standard
 * deviations would enter. */
static const double CUT[] = {0, 6.25, 9};
static const double KEPT[] = {0, 0.911257, 0.949452};
/* Median of chi-squared. */
static const double MEDIAN[] = {0, 0.454936, 1.386294};
#define ROUNDS 6
/* With as many prior degrees of freedom a column's variance is drawn to that of its class (G. K.
 * Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004), article 3, with the prior stated): 12 makes tips
 * of 1, 3 and 5 um distinct within 20 runs. */
#define CLASS_DOF 12.0
/* Likewise the autocorrelation of the shared and of the own part to their common one. */
#define PHI_DOF 40.0
/* Variance of an autocorrelation from second differences, times the degrees of freedom; from
 * residuals it is 1. */
#define PHI_SPREAD 2.2
/* Classes other than offsets are white unless it is plain: their spread counts this many times. */
#define WHITE 4.0
#define MOST_RHO 0.8
#define MOST_PHI 0.85
#define LEAST_DOF 3.0
/* Residual lag products are blended with the differences' ratio by the runs of a segment over
 * themselves plus this. */
#define SEGMENT_RUNS 12.0

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Squares of differences of vectors with d axes, for a scale about 0. */
struct squares {
    double *value;
    size_t n, d;
};

/* Variance per axis: median start, then the truncated mean square to a fixed point. */
static double robust_variance(struct squares *s)
{
    double n = (double)s->n;

    if (s->n == 0) {
        return 0;
    }
    qsort(s->value, s->n, sizeof *s->value, by_size);
    double median =
        s->n % 2 ? s->value[s->n / 2] : 0.5 * (s->value[s->n / 2 - 1] + s->value[s->n / 2]);
    double s2 = median / MEDIAN[s->d] * (1 + 2 / n);
    for (int round = 0; round < ROUNDS; round++) {
        double sum = 0;
        size_t k = 0;
        while (k < s->n && s->value[k] <= CUT[s->d] * s2) {
            sum += s->value[k++];
        }
        if (k == 0) {
            break;
        }
        s2 = sum / (double)k / (double)s->d / KEPT[s->d];
    }
    return s2;
}

/* Deviations of the offsets of a run: their mean, and each from it, over the root of 1 - 1/m so
 * that all have a tip's variance. */
static double shared_deviation(const struct tt_values *v, size_t run, size_t axis, size_t *tips)
{
    double sum = 0;

    *tips = 0;
    for (size_t tip = 0; tip < v->tips; tip++) {
        size_t at = run * v->p + tt_at_offset(v, tip, axis);
        if (v->there[at]) {
            sum += v->y[at];
            ++*tips;
        }
    }
    return *tips > 0 ? sum / (double)*tips : 0;
}

/* A column of a class as the differences see it; false: it is not there in the run. For TT_SHARED
 * the column tells the axis. */
static bool deviation(const struct tt_values *v, enum tt_class c, size_t run, size_t column,
                      double *value)
{
    size_t tips, at = run * v->p + column, axis = column / v->tips;

    if (c == TT_SHARED) {
        *value = shared_deviation(v, run, axis, &tips);
        return tips > 0;
    }
    *value = v->y[at];
    if (c != TT_OWN) {
        return v->there[at];
    }
    double mean = shared_deviation(v, run, axis, &tips);
    if (!v->there[at] || tips < 2) {
        return false;
    }
    *value = (v->y[at] - mean) / sqrt(1 - 1 / (double)tips);
    return true;
}

/* Two runs are compared where the same tips are there, on one plate. */
static bool are_alike(const struct tt_values *v, enum tt_class c, size_t a, size_t b)
{
    for (size_t tip = 0; c <= TT_OWN && tip < v->tips; tip++) {
        if (v->there[a * v->p + tip] != v->there[b * v->p + tip]) {
            return false;
        }
    }
    return v->plate[a] == v->plate[b];
}

/* The columns of a class; its second axes follow `pair` columns later, where `d` is 2. */
struct members {
    size_t first, n, pair, d;
};

static struct members members_of(const struct tt_values *v, enum tt_class c)
{
    switch (c) {
    case TT_SHARED:
        return (struct members){0, 1, v->tips, 2};
    case TT_OWN:
        return (struct members){0, v->tips > 1 ? v->tips : 0, v->tips, 2};
    case TT_RUNOUT:
        return (struct members){2 * v->tips, v->tips, v->tips, 2};
    case TT_RADIUS:
        return (struct members){4 * v->tips, v->tips, 0, 1};
    case TT_MARK:
        return (struct members){5 * v->tips, 1, 1, 2};
    case TT_YAW:
        return (struct members){5 * v->tips + 2, 1, 0, 1};
    case TT_EDGES:
    case TT_CLASSES:
        break;
    }
    return (struct members){5 * v->tips + 3, v->contrasts, 0, 1};
}

/* Add the squares of differences over @lag runs of one member: of both axes together, or of the one
 * @axis (SIZE_MAX: all). */
static void add_squares(const struct tt_values *v, enum tt_class c, const struct members *m,
                        size_t member, size_t lag, size_t axis, struct squares *s)
{
    for (size_t run = lag; run < v->n; run++) {
        double sum = 0;
        bool good = are_alike(v, c, run - lag, run);
        for (size_t a = 0; a < m->d && good; a++) {
            double now = 0, then = 0;
            size_t column = m->first + member + a * m->pair;
            if (axis != SIZE_MAX && a != axis) {
                continue;
            }
            good = deviation(v, c, run, column, &now) && deviation(v, c, run - lag, column, &then);
            sum += (now - then) * (now - then);
        }
        if (good) {
            s->value[s->n++] = sum;
        }
    }
}

/* Mean of what the runs state of a column; for TT_SHARED the column tells the axis. */
static double stated_of(const struct tt_values *v, enum tt_class c, size_t column)
{
    return c == TT_SHARED ? v->mean_common[column / v->tips] : v->mean_stated[column];
}

/* Autocorrelation with the long-run variance of a white part of variance @white plus scatter whose
 * sum has variance @v and lag-1 correlation @rho: white measurement beside an autoregressive
 * process of first order is not one itself. */
static double effective_phi(double rho, double v, double white)
{
    if (!(rho > 0)) {
        return 0;
    }
    double f = fmin(rho * v / fmax(v - white, 0.5 * v), 0.9);
    return fmin(rho / (1 - f + rho), MOST_PHI);
}

/* Shrunk by what it is known with. */
static double shrink_phi(double f, double se2)
{
    return f > 0 ? f * f * f / (f * f + se2) : 0;
}

/* What the differences say of each class. */
struct found {
    double v, rho, dof; /* variance from lag 1, correlation, differences' axes */
    bool known;
};

static struct found look(const struct tt_values *v, enum tt_class c, const struct members *m,
                         struct squares *s)
{
    struct found f = {0};
    double v2;

    s->d = m->d;
    s->n = 0;
    for (size_t k = 0; k < m->n; k++) {
        add_squares(v, c, m, k, 1, SIZE_MAX, s);
    }
    f.dof = (double)(s->n * s->d);
    f.known = s->n > 1;
    f.v = 0.5 * robust_variance(s);
    s->n = 0;
    for (size_t k = 0; k < m->n; k++) {
        add_squares(v, c, m, k, 2, SIZE_MAX, s);
    }
    v2 = s->n > 0 ? 0.5 * robust_variance(s) : f.v;
    f.rho = f.v > 0 ? fmin(fmax(v2 / f.v - 1, -0.5), MOST_RHO) : 0;
    return f;
}

/* The two parts of the offsets draw their correlations together; the others stand alone. */
static void settle_phi(const struct found found[], double rho[TT_CLASSES])
{
    const struct found *s = &found[TT_SHARED], *d = &found[TT_OWN];
    double dofs = s->dof + d->dof,
           common = dofs > 0 ? (s->rho * s->dof + d->rho * d->dof) / dofs : 0;

    for (int c = 0; c < TT_CLASSES; c++) {
        const struct found *f = &found[c];
        double w = c <= TT_OWN ? f->dof / (f->dof + PHI_DOF) : 1;
        double se2 = c <= TT_OWN ? PHI_SPREAD / fmax(f->dof + (1 - w) * dofs, 1)
                                 : WHITE * PHI_SPREAD / fmax(f->dof, 1);
        rho[c] = f->known ? shrink_phi(w * f->rho + (1 - w) * common, se2) : 0;
    }
}

/* A class's variance shared out to its columns by their own differences, each drawn to the common
 * one. */
static void share_out(const struct tt_values *v, enum tt_class c, const struct members *m,
                      double variance, struct squares *s, double *between)
{
    double sum = 0, tips = (double)v->tips;

    s->d = 1;
    for (size_t k = 0; k < m->n; k++) {
        for (size_t axis = 0; axis < m->d; axis++) {
            size_t column = m->first + k + axis * m->pair;
            s->n = 0;
            add_squares(v, c, m, k, 1, axis, s);
            double nu = 0.5 * (double)s->n, raw = 0.5 * robust_variance(s), lag1 = variance;
            if (c == TT_OWN &&
                v->tips > 2) { /* a tip's deviation from the mean holds the others' too */
                raw = fmax((raw * (1 - 1 / tips) - lag1 / tips * (1 - 1 / tips)) / (1 - 2 / tips),
                           0.15 * lag1);
            } else if (c == TT_OWN) {
                nu = 0; /* of two, the difference is all there is */
            }
            between[column] = s->n > 0 ? (nu * raw + CLASS_DOF * lag1) / (nu + CLASS_DOF) : lag1;
            sum += between[column];
        }
    }
    for (size_t k = 0; k < m->n * m->d && sum > 0; k++) {
        size_t column = m->first + k % m->n + k / m->n * m->pair;
        between[column] *= variance * (double)(m->n * m->d) / sum;
    }
}

/* The shared part of each axis: what the mean of the tips has beyond their own parts. */
static void share_shared(struct tt_series_noise *noise, const struct tt_values *v, double variance,
                         double own, struct squares *s)
{
    const struct members m = members_of(v, TT_SHARED);
    double axis_v[2], tips = (double)v->tips;

    s->d = 1;
    for (size_t axis = 0; axis < 2; axis++) {
        s->n = 0;
        add_squares(v, TT_SHARED, &m, 0, 1, axis, s);
        double nu = 0.5 * (double)s->n;
        axis_v[axis] = (nu * 0.5 * robust_variance(s) + CLASS_DOF * variance) / (nu + CLASS_DOF);
    }
    for (size_t axis = 0; axis < 2; axis++) {
        double total = variance * axis_v[axis] * 2 / fmax(axis_v[0] + axis_v[1], 1e-300);
        noise->shared[axis] = fmax(total - own / tips - stated_of(v, TT_SHARED, axis * v->tips), 0);
    }
}

/* Mean over the columns of a class of what is stated. */
static double class_stated(const struct tt_values *v, enum tt_class c, const struct members *m)
{
    double sum = 0;

    for (size_t k = 0; k < m->n * m->d; k++) {
        sum += stated_of(v, c, m->first + k % m->n + k / m->n * m->pair);
    }
    return m->n > 0 ? sum / (double)(m->n * m->d) : 0;
}

enum tiptrue_status tt_noise_from_differences(struct tt_series_noise *noise,
                                              const struct tt_values *v, struct tt_arena *arena)
{
    size_t most = v->tips > v->contrasts ? v->tips : v->contrasts;
    struct squares s = {.value = TT_ARENA_NEW(arena, v->n * (most + 2), double)};
    struct found found[TT_CLASSES];
    double rho[TT_CLASSES], variance[TT_CLASSES];

    *noise = (struct tt_series_noise){.between = TT_ARENA_NEW(arena, v->p, double)};
    if (s.value == NULL || noise->between == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (int c = 0; c < TT_CLASSES; c++) {
        struct members m = members_of(v, (enum tt_class)c);
        found[c] = look(v, (enum tt_class)c, &m, &s);
    }
    settle_phi(found, rho);
    for (int c = 0; c < TT_CLASSES; c++) {
        variance[c] = found[c].v / (1 - rho[c]);
        noise->nu[c] = fmax(0.5 * found[c].dof, LEAST_DOF);
    }
    if (v->tips == 1) {
        variance[TT_OWN] = 0;
    }
    for (int c = 0; c < TT_CLASSES; c++) {
        struct members m = members_of(v, (enum tt_class)c);
        double stated = class_stated(v, (enum tt_class)c, &m);
        double white =
            c == TT_SHARED
                ? stated + class_stated(v, TT_OWN, &(struct members){0, v->tips, v->tips, 2}) /
                               (double)v->tips
                : stated;
        noise->phi[c] =
            c <= TT_OWN ? effective_phi(rho[c], fmax(variance[c], white), white) : rho[c];
        if (c == TT_SHARED) {
            continue;
        }
        share_out(v, (enum tt_class)c, &m, variance[c], &s, noise->between);
        for (size_t k = 0; k < m.n * m.d; k++) {
            size_t column = m.first + k % m.n + k / m.n * m.pair;
            noise->between[column] =
                fmax(noise->between[column] - stated_of(v, (enum tt_class)c, column), 0);
        }
    }
    double own = v->tips > 1 ? variance[TT_OWN] : stated_of(v, TT_OWN, 0);
    share_shared(noise, v, variance[TT_SHARED],
                 fmax(own, class_stated(v, TT_OWN, &(struct members){0, v->tips, v->tips, 2})), &s);
    return TIPTRUE_OK;
}

double tt_noise_variance(const struct tt_series_noise *noise, const struct tt_values *v, size_t run,
                         size_t column)
{
    return v->stated[run * v->p + column] + noise->between[column];
}

double tt_noise_mean_variance(const struct tt_series_noise *noise, const struct tt_values *v,
                              size_t column)
{
    return v->mean_stated[column] + noise->between[column];
}

bool tt_noise_offset_parts(const struct tt_series_noise *noise, const struct tt_values *v,
                           size_t run, size_t axis, double *own, double *shared)
{
    double g = 0, common = v->common[2 * run + axis] + noise->shared[axis];

    memset(own, 0, v->tips * v->tips * sizeof *own);
    for (size_t k = 0; k < v->tips; k++) {
        size_t column = tt_at_offset(v, k, axis);
        shared[k] =
            v->there[run * v->p + column] ? 1 / tt_noise_variance(noise, v, run, column) : 0;
        g += shared[k];
    }
    if (!(g > 0)) {
        return false;
    }
    /* V^-1/2 (1 - t t') with t along V^-1/2 1, and V^-1 1 over the root of g (1 + g common) */
    for (size_t k = 0; k < v->tips; k++) {
        for (size_t l = 0; l < v->tips && shared[k] > 0; l++) {
            own[k * v->tips + l] = sqrt(shared[k]) * ((k == l) - sqrt(shared[k] * shared[l]) / g);
        }
    }
    for (size_t k = 0; k < v->tips; k++) {
        shared[k] /= sqrt(g * (1 + g * common));
    }
    return true;
}

/* Whitened residuals of one class: @wide of them each run, 0 where not there. */
struct white {
    double *z;
    size_t wide;
    bool *there; /* [run * wide + k] */
};

static void whiten(const struct tt_series_noise *noise, const struct tt_values *v, enum tt_class c,
                   const double *residual, double *scratch, struct white *white)
{
    struct members m = members_of(v, c);
    size_t t = v->tips;

    white->wide = m.n * m.d;
    for (size_t run = 0; run < v->n; run++) {
        const double *r = residual + run * v->p;
        for (size_t axis = 0; axis < 2 && c <= TT_OWN; axis++) {
            bool any = tt_noise_offset_parts(noise, v, run, axis, scratch, scratch + t * t);
            for (size_t k = 0; k < m.n; k++) {
                size_t to = run * white->wide + axis * m.n + k;
                white->z[to] = 0;
                for (size_t l = 0; l < t && any; l++) {
                    double weight = c == TT_SHARED ? scratch[t * t + l] : scratch[l * t + k];
                    white->z[to] += weight * r[axis * t + l];
                }
                white->there[to] = any && (c == TT_SHARED || v->there[run * v->p + k]);
            }
        }
        for (size_t k = 0; k < white->wide && c > TT_OWN; k++) {
            size_t column = m.first + k % m.n + k / m.n * m.pair, to = run * white->wide + k;
            white->there[to] = v->there[run * v->p + column];
            white->z[to] =
                white->there[to] ? r[column] / sqrt(tt_noise_variance(noise, v, run, column)) : 0;
        }
    }
}

/* Scale and correlation of the whitened residuals of a class. */
struct settled {
    double s2, rho, dof, runs; /* runs of a segment */
};

/* A segment's mean takes of a lag-1 correlation, and short segments of all of it: where they are
 * short, the ratio of second to first differences speaks. */
static struct settled settle(const struct tt_values *v, enum tt_class c, const struct white *w,
                             double parameters, const bool *boundary)
{
    struct settled s = {.s2 = 1, .runs = (double)v->n};
    double sum = 0, lag = 0, d1 = 0, d2 = 0, n = 0, n1 = 0, n2 = 0, wide = (double)w->wide, own = 0;

    for (size_t run = 0; run < v->n; run++) {
        bool here = false;
        for (size_t k = 0; k < w->wide; k++) {
            size_t at = run * w->wide + k;
            if (!w->there[at]) {
                continue;
            }
            here = true;
            sum += w->z[at] * w->z[at];
            n += 1;
            bool one = run > 0 && !boundary[run] && w->there[at - w->wide];
            if (one) {
                lag += w->z[at] * w->z[at - w->wide];
                d1 += (w->z[at] - w->z[at - w->wide]) * (w->z[at] - w->z[at - w->wide]);
                n1 += 1;
            }
            if (one && run > 1 && !boundary[run - 1] && w->there[at - 2 * w->wide]) {
                d2 += (w->z[at] - w->z[at - 2 * w->wide]) * (w->z[at] - w->z[at - 2 * w->wide]);
                n2 += 1;
            }
        }
        own += here && c == TT_OWN ? 2 : 0; /* the columns of a run's own parts add up to nothing */
    }
    if (!(n > 0)) {
        return s;
    }
    double levels = c == TT_OWN ? wide - 2 : wide, free = n - own;
    s.dof = fmax(free - levels - parameters, LEAST_DOF);
    s.s2 = sum / s.dof;
    s.runs = (n / wide) / (1 + parameters / fmax(levels, 1));
    double share = s.runs / (s.runs + SEGMENT_RUNS),
           l = n1 > 0 && sum > 0 ? lag / n1 / (sum / n) : 0;
    double ratio = n2 > 0 && d1 > 0 ? (d2 / n2) / (d1 / n1) - 1 : 0;
    s.rho = share * (l + 1 / s.runs) / (1 - 3 / fmax(s.runs, 6)) + (1 - share) * ratio;
    s.rho = fmin(fmax(s.rho, -0.5), MOST_RHO);
    return s;
}

enum tiptrue_status tt_noise_from_residuals(struct tt_series_noise *noise,
                                            const struct tt_series_noise *before,
                                            const struct tt_values *v, const double *residual,
                                            const double parameters[TT_CLASSES],
                                            const bool *boundary, struct tt_arena *arena)
{
    size_t widest = 2 * (v->tips > v->contrasts ? v->tips : v->contrasts) + 2;
    struct white white = {.z = TT_ARENA_NEW(arena, v->n * widest, double),
                          .there = TT_ARENA_NEW(arena, v->n * widest, bool)};
    double *scratch = TT_ARENA_NEW(arena, v->tips * (v->tips + 1), double),
           *between = TT_ARENA_NEW(arena, v->p, double);
    struct settled s[TT_CLASSES];

    if (!white.z || !white.there || !scratch || !between) {
        return TIPTRUE_E_MEMORY;
    }
    for (int c = 0; c < TT_CLASSES; c++) {
        whiten(before, v, (enum tt_class)c, residual, scratch, &white);
        s[c] = settle(v, (enum tt_class)c, &white, parameters[c], boundary);
    }
    double dofs = s[TT_SHARED].dof + s[TT_OWN].dof;
    double common =
        dofs > 0 ? (s[TT_SHARED].rho * s[TT_SHARED].dof + s[TT_OWN].rho * s[TT_OWN].dof) / dofs : 0;
    double own_before = 0, own_after = 0, own_stated = 0;
    struct tt_series_noise made = {.between = between};
    for (int c = TT_CLASSES - 1; c >= 0;
         c--) { /* the shared part last: it is what the mean has beyond the tips' own */
        struct members m = members_of(v, (enum tt_class)c);
        double w = c <= TT_OWN ? s[c].dof / (s[c].dof + PHI_DOF) : 1;
        double se2 =
            c <= TT_OWN ? 1 / fmax(s[c].dof + (1 - w) * dofs, 1) : WHITE / fmax(s[c].dof, 1);
        double f = shrink_phi(w * s[c].rho + (1 - w) * common, se2), known = f * f / (f * f + se2),
               runs = fmax(s[c].runs, 2);
        /* the mean that was taken out of correlated runs */
        double scale = s[c].s2 * (1 + 2 * f / (1 - f) / runs * (1 - 1 / runs));
        double share = fmin(1, (double)v->n / 20 * (double)v->n / 20);
        made.nu[c] = fmax(s[c].dof / (1 + share * known * (1 + f) / (1 - f)), LEAST_DOF);
        made.phi[c] = f;
        for (size_t k = 0; k < m.n * m.d && c != TT_SHARED; k++) {
            size_t column = m.first + k % m.n + k / m.n * m.pair;
            double stated = stated_of(v, (enum tt_class)c, column),
                   total = stated + before->between[column];
            between[column] = fmax(scale * total - stated, 0);
            if (c == TT_OWN) {
                own_before += total / (double)(m.n * m.d);
                own_after += (stated + between[column]) / (double)(m.n * m.d);
                own_stated += stated / (double)(m.n * m.d);
            }
        }
        if (c == TT_OWN && v->tips > 1) {
            made.phi[c] = effective_phi(f, own_after, own_stated);
        }
        if (c == TT_SHARED) {
            double tips = (double)v->tips;
            if (v->tips == 1) {
                own_before = own_after = own_stated = stated_of(v, TT_OWN, 0);
            }
            double white_part = 0, total_part = 0;
            for (size_t axis = 0; axis < 2; axis++) {
                double stated = stated_of(v, TT_SHARED, axis * v->tips);
                double total = scale * (stated + before->shared[axis] + own_before / tips);
                made.shared[axis] = fmax(total - own_after / tips - stated, 0);
                white_part += 0.5 * (stated + own_stated / tips);
                total_part += 0.5 * total;
            }
            made.phi[c] = effective_phi(f, fmax(total_part, white_part), white_part);
        }
    }
    *noise = made;
    return TIPTRUE_OK;
}
