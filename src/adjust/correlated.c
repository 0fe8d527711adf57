/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/correlated.h"

#include <math.h>
#include <stdlib.h>

#include "base/distribution.h"

/* Found with so small a probability in runs of independent touches: one false alarm in 1000. */
#define CORRELATED_IMPROBABLE 1e-3
/* Enlarges the variance of a mean by four; beyond it, it is no scatter any more. */
#define MOST_CORRELATION 0.6
/* Neighbours whose correlation, with the largest bias that the fit can have taken out, is below
 * this over the root of their number (its standard deviation) cannot be significant: 3.1 of them
 * would be. */
#define WORTH_ASKING 2.5
/* With fewer degrees of freedom of the touches nothing is asked: the beta distribution holds no
 * longer. */
#define LEAST_CORRELATED_DOF 6.0
/* The matrix of the residuals' covariance is made of so many touches at most (8 MB); of longer runs
 * the first ones tell. */
#define MOST_TESTED 1000
/* Of the correlation: to 4e-8. */
#define CORRELATION_BISECTIONS 24

/* ---- order ---- */

static bool sort_touches(struct tt_correlated *found, struct tt_arena *arena)
{
    const struct tt_model *model = found->fit->model;
    const size_t *touch = tt_model_touch_by_row(model, arena);

    found->touch = TT_ARENA_ROOM(arena, model->n_touches, size_t);
    found->gap = TT_ARENA_ROOM(arena, model->n_touches, size_t);
    if (touch == NULL || found->touch == NULL || found->gap == NULL) {
        return false;
    }
    for (size_t b = 0; b < model->n_blocks; b++) {
        size_t gap = 0;
        for (size_t row = 0, before = found->n; row < model->run->n_observations; row++) {
            size_t i = touch[row];
            if (i == TT_NONE || model->cells[model->cell_of[i]].block != b) {
                continue;
            }
            gap = found->n > before ? gap + 1 : 0;
            if (found->fit->weight[i] > 0) {
                found->touch[found->n] = i;
                found->gap[found->n++] = gap;
                gap = 0;
            }
        }
    }
    return true;
}

/* ---- the residuals' covariance ---- */

/* @row: of all unknowns, zero; receives the design row of touch @i, in units of its standard
 * deviation. */
static void fill_row(const struct tt_fit *fit, size_t i, double row[])
{
    const struct tt_model *model = fit->model;
    const struct tt_cell *cell = &model->cells[model->cell_of[i]];
    const double *slope = model->slope + i * model->stride;

    for (size_t k = 0; k < cell->n_entries; k++) {
        const struct tt_entry *e = &cell->entries[k];
        row[tt_unknown(model, cell->block, e->place)] +=
            sqrt(fit->weight[i]) * e->value * slope[e->column];
    }
}

void tt_correlated_gain(const struct tt_correlated *found, const double cov_x[], double gain[])
{
    const struct tt_fit *fit = found->fit;
    const struct tt_model *model = fit->model;
    double by_column[TT_MOST_COLUMNS];
    size_t last = TT_NONE;

    for (size_t k = 0; k < found->n; k++) {
        size_t i = found->touch[k], c = model->cell_of[i];
        if (c != last) {
            tt_cell_columns(model, &model->cells[c], cov_x, by_column);
            last = c;
        }
        gain[k] = sqrt(fit->weight[i]) * tt_cell_product(model, &model->cells[c], i, by_column);
    }
}

/* Working matrices, n x n: m = covariance of the standardised residuals of independent touches. */
struct matrices {
    size_t n;
    double *m, *product;          /* product: m times a matrix of the touches' correlation */
    double mean, variance, trace; /* of q; of m */
};

static bool fill_covariance(const struct tt_correlated *found, struct tt_arena *arena,
                            struct matrices *all)
{
    const struct tt_system *system = &found->fit->model->system;
    size_t n = all->n = found->n < MOST_TESTED ? found->n : MOST_TESTED;
    double *row = TT_ARENA_NEW(arena, system->n_unknowns, double),
           *column = TT_ARENA_NEW(arena, found->n, double);

    all->m = TT_ARENA_NEW(arena, n * n, double);
    all->product = TT_ARENA_NEW(arena, n * n, double);
    if (row == NULL || column == NULL || all->m == NULL || all->product == NULL) {
        return false;
    }
    for (size_t k = 0; k < n; k++) {
        for (size_t j = 0; j < system->n_unknowns; j++) {
            row[j] = 0;
        }
        fill_row(found->fit, found->touch[k], row);
        tt_system_solve(system, row, row);
        tt_correlated_gain(found, row, column);
        for (size_t l = 0; l < n; l++) {
            all->m[k * n + l] = (k == l ? 1 : 0) - column[l];
        }
        all->trace += all->m[k * n + k];
    }
    return true;
}

/* Is the k-th good touch the next of its tip after the one before? */
static bool follows(const struct tt_correlated *found, size_t k)
{
    return found->gap[k] == 1;
}

/* sum over k, l of a_kl a_lk. */
static double trace_of_square(const double a[], size_t n)
{
    double sum = 0;
    for (size_t k = 0; k < n; k++) {
        for (size_t l = 0; l < n; l++) {
            sum += a[k * n + l] * a[l * n + k];
        }
    }
    return sum;
}

/* Mean and variance of q = r^T A r / r^T r, A_kl = 1/2 of neighbours. */
static void fill_moments(const struct tt_correlated *found, struct matrices *all)
{
    size_t n = all->n;
    double sum = 0;

    for (size_t k = 1; k < n; k++) {
        sum += follows(found, k) ? all->m[k * n + k - 1] : 0;
    }
    all->mean = sum / all->trace;
    for (size_t k = 0; k < n; k++) { /* m (A - mean I) */
        const double *m = all->m + k * n;
        for (size_t l = 0; l < n; l++) {
            double before = l > 0 && follows(found, l) ? m[l - 1] : 0,
                   after = l + 1 < n && follows(found, l + 1) ? m[l + 1] : 0;
            all->product[k * n + l] = 0.5 * (before + after) - all->mean * m[l];
        }
    }
    all->variance = 2 * trace_of_square(all->product, n) /
                    (all->trace * all->trace + 2 * trace_of_square(all->m, n));
}

/* Probability of a @q as large, by the beta distribution of (1 + q) / 2 with the same mean and
 * variance. */
static double improbability(const struct matrices *all, double q)
{
    double mean = 0.5 * (1 + all->mean), variance = 0.25 * all->variance, y = 0.5 * (1 + q);
    double size = mean * (1 - mean) / variance - 1, a = mean * size, b = (1 - mean) * size;

    return size > 0 && y > 0 && y < 1 ? tt_fisher_upper(y * b / (a * (1 - y)), 2 * a, 2 * b) : 1;
}

/* ---- the process ---- */

/* @out = @v times the correlation matrix of the first @n touches. */
static void correlate(const struct tt_correlated *found, double rho, size_t n, const double v[],
                      double out[])
{
    double sum = 0;

    for (size_t k = 0; k < n;
         k++) { /* what earlier touches have in common with it, then what later ones have */
        sum = found->gap[k] == 0 || k == 0 ? 0 : pow(rho, (double)found->gap[k]) * (sum + v[k - 1]);
        out[k] = v[k] + sum;
    }
    sum = 0;
    for (size_t k = n; k-- > 0;) {
        out[k] += sum;
        sum = found->gap[k] == 0 ? 0 : pow(rho, (double)found->gap[k]) * (sum + v[k]);
    }
}

/* Expected q with touches that correlate by @rho: the covariance of the residuals is then m + m (R
 * - I) m. *size receives the expected sum of their squares; all->product = m R. */
static double expected(const struct tt_correlated *found, struct matrices *all, double rho,
                       double *size)
{
    size_t n = all->n;
    double lag = all->mean * all->trace, sum = all->trace;

    for (size_t k = 0; k < n; k++) {
        correlate(found, rho, n, all->m + k * n, all->product + k * n);
    }
    for (size_t k = 0; k < n; k++) {
        const double *row = all->product + k * n, *plain = all->m + k * n;
        bool neighbour = k > 0 && follows(found, k);
        for (size_t l = 0; l < n; l++) {
            sum += (row[l] - plain[l]) * plain[l];
            lag += neighbour ? (row[l] - plain[l]) * all->m[(k - 1) * n + l] : 0;
        }
    }
    *size = sum;
    return lag / sum;
}

/* The correlation with which q is to be expected, and what it makes of the scatter. */
static void estimate(struct tt_correlated *found, struct matrices *all)
{
    double low = 0, high = MOST_CORRELATION, size;

    if (expected(found, all, high, &size) < found->lag_1) {
        low = high;
    }
    for (size_t k = 0; k < CORRELATION_BISECTIONS && low < high; k++) {
        double middle = 0.5 * (low + high);
        *(expected(found, all, middle, &size) < found->lag_1 ? &low : &high) = middle;
    }
    found->rho = high;
    (void)expected(found, all, high, &size);
    const struct tt_fit *fit = found->fit;
    double stated = fit->scattered ? 0 : fit->noise->touch_dof,
           own = isinf(stated) ? 0 : fit->dof_touch / (fit->dof_touch + stated);
    found->variance = 1 + own * fmax(all->trace / size - 1, 0);
    double trace = 0;
    for (size_t k = 0; k < all->n; k++) {
        trace += all->product[k * all->n + k];
    }
    found->dof_share = fmin(trace * trace / trace_of_square(all->product, all->n) / all->trace, 1);
}

/* What correlation adds to the variance at each frequency: the spectrum of the process over that of
 * independent touches, less 1, where it is positive; back into lags by the midpoint rule. */
static void fill_lags(struct tt_correlated *found)
{
    double rho = found->rho;

    for (size_t j = 0; j < TT_LAGS; j++) {
        double w = ((double)j + 0.5) * TT_PI / TT_LAGS;
        double more = fmax((1 - rho * rho) / (1 - 2 * rho * cos(w) + rho * rho) - 1, 0);
        for (size_t k = 0; k < TT_LAGS; k++) {
            found->lag[k] += more * cos((double)k * w) / TT_LAGS;
        }
    }
    for (size_t k = 0, at = 0; k < found->n; k++) {
        at += found->gap[k] == 0 ? TT_LAGS : found->gap[k];
        found->place[k] = at;
    }
}

enum tiptrue_status tt_correlated_find(struct tt_correlated *found, struct tt_arena *arena,
                                       const struct tt_fit *fit)
{
    double products = 0, squares = 0, pairs = 0, last = 0;

    *found = (struct tt_correlated){.fit = fit, .p = 1, .variance = 1, .dof_share = 1};
    if (fit->deficient || fit->model->weak || !(fit->dof_touch >= LEAST_CORRELATED_DOF)) {
        return TIPTRUE_OK;
    }
    if (!sort_touches(found, arena)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t k = 0; k < found->n && k < MOST_TESTED; k++) {
        double r = fit->model->residual[found->touch[k]] * sqrt(fit->weight[found->touch[k]]);
        squares += r * r;
        products += follows(found, k) ? last * r : 0;
        pairs += follows(found, k);
        last = r;
    }
    /* Residuals so small that the largest enlargement leaves them below what the fit takes a touch
     * for need none. */
    if (!(squares * (1 + MOST_CORRELATION) / (1 - MOST_CORRELATION) >= fit->dof_touch)) {
        return TIPTRUE_OK;
    }
    found->lag_1 = products / squares;
    if (!((found->lag_1 + fit->spent_touch / fit->dof_touch) * sqrt(pairs) > WORTH_ASKING)) {
        return TIPTRUE_OK;
    }
    struct matrices all = {0};
    if (!fill_covariance(found, arena, &all)) {
        return TIPTRUE_E_MEMORY;
    }
    fill_moments(found, &all);
    found->p = improbability(&all, found->lag_1);
    if (!(found->p < CORRELATED_IMPROBABLE)) {
        return TIPTRUE_OK;
    }
    estimate(found, &all);
    found->gain[0] = TT_ARENA_NEW(arena, found->n, double);
    found->gain[1] = TT_ARENA_NEW(arena, found->n, double);
    found->place = TT_ARENA_NEW(arena, found->n, size_t);
    if (found->gain[0] == NULL || found->gain[1] == NULL || found->place == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    fill_lags(found);
    return TIPTRUE_OK;
}

double tt_correlated_extra(const struct tt_correlated *found, const double gain[],
                           const double other[])
{
    double sum = 0;

    for (size_t k = 0; k < found->n; k++) {
        double by_others = found->lag[0] * other[k];
        for (size_t l = k; l-- > 0 && found->place[k] - found->place[l] < TT_LAGS;) {
            by_others += found->lag[found->place[k] - found->place[l]] * other[l];
        }
        for (size_t l = k + 1; l < found->n && found->place[l] - found->place[k] < TT_LAGS; l++) {
            by_others += found->lag[found->place[l] - found->place[k]] * other[l];
        }
        sum += gain[k] * ((found->variance - 1) * other[k] + found->variance * by_others);
    }
    return sum;
}
