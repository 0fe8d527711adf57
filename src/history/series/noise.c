/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/noise.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/order.h"
#include "history/series/noise_parts.h"

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
    qsort(s->value, s->n, sizeof *s->value, tt_by_value);
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

/* A column of a class as the differences see it; false: it is not there in the run. Of a shared
 * class the column tells the axis. */
static bool deviation(const struct tt_values *v, enum tt_class c, size_t run, size_t column,
                      double *value)
{
    size_t tips, at = run * v->p + column, axis = column / v->tips;

    if (tt_is_shared(c)) {
        *value = shared_deviation(v, run, axis, &tips);
        return tips > 0;
    }
    *value = v->y[at];
    if (!tt_is_own(c)) {
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
    size_t first = tt_members_of(v, c).first;

    for (size_t tip = 0; tt_is_place(c) && tip < v->tips; tip++) {
        if (v->there[a * v->p + first + tip] != v->there[b * v->p + first + tip]) {
            return false;
        }
    }
    return v->plate[a] == v->plate[b];
}

/* Add the squares of differences over @lag runs of one member: of both axes together, or of the one
 * @axis (SIZE_MAX: all). */
static void add_squares(const struct tt_values *v, enum tt_class c, const struct tt_members *m,
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

/* What the differences say of each class. */
struct found {
    double v, rho, dof; /* variance from lag 1, correlation, differences' axes */
    bool known;
};

static struct found look(const struct tt_values *v, enum tt_class c, const struct tt_members *m,
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
    f.rho = f.v > 0 ? fmin(fmax(v2 / f.v - 1, -0.5), TT_MOST_RHO) : 0;
    return f;
}

/* The two parts of the tips' places draw their correlations together; the others stand alone. */
static void settle_phi(const struct found found[], double rho[TT_CLASSES])
{
    for (int c = 0; c < TT_CLASSES; c++) {
        bool place = tt_is_place((enum tt_class)c);
        const struct found *f = &found[c], *s = &found[c / 2 * 2], *d = s + place;
        double dofs = s->dof + d->dof,
               common = dofs > 0 ? (s->rho * s->dof + d->rho * d->dof) / dofs : 0;
        double w = place ? f->dof / (f->dof + TT_PHI_DOF) : 1;
        double se2 = place ? TT_PHI_SPREAD / fmax(f->dof + (1 - w) * dofs, 1)
                           : TT_WHITE * TT_PHI_SPREAD / fmax(f->dof, 1);
        rho[c] = f->known ? tt_shrink_phi(w * f->rho + (1 - w) * common, se2) : 0;
    }
}

/* A class's variance shared out to its columns by their own differences, each drawn to the common
 * one. */
static void share_out(const struct tt_values *v, enum tt_class c, const struct tt_members *m,
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
            if (tt_is_own(c) &&
                v->tips > 2) { /* a tip's deviation from the mean holds the others' too */
                raw = fmax((raw * (1 - 1 / tips) - lag1 / tips * (1 - 1 / tips)) / (1 - 2 / tips),
                           0.15 * lag1);
            } else if (tt_is_own(c)) {
                nu = 0; /* of two, the difference is all there is */
            }
            between[column] = s->n > 0 ? (nu * raw + CLASS_DOF * lag1) / (nu + CLASS_DOF) : lag1;
            sum += between[column];
        }
    }
    for (size_t k = 0; k < m->n * m->d && sum > 0; k++) {
        between[tt_member(m, k)] *= variance * (double)(m->n * m->d) / sum;
    }
}

/* The shared part of each axis of a class: what the mean of the tips has beyond their own parts. */
static void share_shared(struct tt_series_noise *noise, const struct tt_values *v, enum tt_class c,
                         double variance, double own, struct squares *s)
{
    const struct tt_members m = tt_members_of(v, c);
    double axis_v[2] = {0, 0}, tips = (double)v->tips;

    s->d = 1;
    for (size_t axis = 0; axis < m.d; axis++) {
        s->n = 0;
        add_squares(v, c, &m, 0, 1, axis, s);
        double nu = 0.5 * (double)s->n;
        axis_v[axis] = (nu * 0.5 * robust_variance(s) + CLASS_DOF * variance) / (nu + CLASS_DOF);
    }
    for (size_t axis = 0; axis < m.d; axis++) {
        double total = variance * axis_v[axis] * (double)m.d / fmax(axis_v[0] + axis_v[1], 1e-300);
        size_t column = m.first + axis * v->tips;
        noise->shared[column / v->tips] = fmax(total - own / tips - tt_stated_of(v, c, column), 0);
    }
}

/* Mean over the columns of a class of what is stated. */
static double class_stated(const struct tt_values *v, enum tt_class c, const struct tt_members *m)
{
    double sum = 0;

    for (size_t k = 0; k < m->n * m->d; k++) {
        sum += tt_stated_of(v, c, tt_member(m, k));
    }
    return m->n > 0 ? sum / (double)(m->n * m->d) : 0;
}

/* Mean over all tips of what is stated of their own, beside a shared class. */
static double own_stated(const struct tt_values *v, enum tt_class shared)
{
    struct tt_members m = tt_members_of(v, shared);

    m.n = m.n > 0 ? v->tips : 0;
    return class_stated(v, shared + 1, &m);
}

/* A class's variance, with its correlation, as that of its columns. */
static void settle_class(struct tt_series_noise *noise, const struct tt_values *v, enum tt_class c,
                         double variance, double rho, struct squares *s)
{
    struct tt_members m = tt_members_of(v, c);
    double stated = class_stated(v, c, &m);
    double white = tt_is_shared(c) ? stated + own_stated(v, c) / (double)v->tips : stated;

    noise->phi[c] = tt_is_place(c) ? tt_effective_phi(rho, fmax(variance, white), white) : rho;
    if (tt_is_shared(c)) {
        return;
    }
    share_out(v, c, &m, variance, s, noise->between);
    for (size_t k = 0; k < m.n * m.d; k++) {
        size_t column = tt_member(&m, k);
        noise->between[column] = fmax(noise->between[column] - tt_stated_of(v, c, column), 0);
    }
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
        struct tt_members m = tt_members_of(v, (enum tt_class)c);
        found[c] = look(v, (enum tt_class)c, &m, &s);
    }
    settle_phi(found, rho);
    for (int c = 0; c < TT_CLASSES; c++) {
        bool no_part = tt_is_own((enum tt_class)c) && v->tips == 1;
        variance[c] = no_part ? 0 : found[c].v / (1 - rho[c]);
        noise->nu[c] = fmax(0.5 * found[c].dof, TT_LEAST_DOF);
        settle_class(noise, v, (enum tt_class)c, variance[c], rho[c], &s);
    }
    for (int c = TT_SHARED; c <= TT_HEIGHT_SHARED; c += 2) {
        struct tt_members m = tt_members_of(v, (enum tt_class)c);
        if (m.n > 0) {
            double own = v->tips > 1 ? variance[c + 1] : v->mean_stated[m.first];
            share_shared(noise, v, (enum tt_class)c, variance[c],
                         fmax(own, own_stated(v, (enum tt_class)c)), &s);
        }
    }
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
    double g = 0, common = v->common[v->axes * run + axis] + noise->shared[axis];

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
