/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/chart.h"

#include <math.h>

struct tt_baseline tt_baseline_of(const double value[], size_t n)
{
    struct tt_baseline baseline = {0};

    for (size_t i = 0; i < n; i++) {
        baseline.centre += value[i] / (double)n;
    }
    for (size_t i = 1; i < n; i++) {
        baseline.mean_range += fabs(value[i] - value[i - 1]) / (double)(n - 1);
    }
    baseline.sigma = baseline.mean_range / TT_D2;
    return baseline;
}

struct tt_ewma tt_ewma_begin(struct tt_baseline baseline, double lambda, double width)
{
    return (struct tt_ewma){
        .lambda = lambda, .width = width, .baseline = baseline, .z = baseline.centre};
}

double tt_ewma_limit(const struct tt_ewma *ewma)
{
    return ewma->width * ewma->baseline.sigma * sqrt(ewma->lambda / (2 - ewma->lambda));
}

bool tt_ewma_next(struct tt_ewma *ewma, double value)
{
    ewma->z = ewma->lambda * value + (1 - ewma->lambda) * ewma->z;
    return fabs(ewma->z - ewma->baseline.centre) > tt_ewma_limit(ewma);
}

struct tt_cusum tt_cusum_begin(struct tt_baseline baseline, double k, double h)
{
    return (struct tt_cusum){
        .slack = k * baseline.sigma, .decision = h * baseline.sigma, .target = baseline.centre};
}

int tt_cusum_next(struct tt_cusum *cusum, double value)
{
    cusum->high = fmax(0, cusum->high + value - cusum->target - cusum->slack);
    cusum->low = fmax(0, cusum->low + cusum->target - cusum->slack - value);
    return cusum->high > cusum->decision ? 1 : cusum->low > cusum->decision ? -1 : 0;
}

struct tt_t2 tt_t2_of(const double x[], const double y[], size_t n)
{
    struct tt_t2 chart = {.n = n};

    for (size_t i = 0; i < n; i++) {
        chart.centre[0] += x[i] / (double)n;
        chart.centre[1] += y[i] / (double)n;
    }
    for (size_t i = 1; i < n; i++) {
        double dx = x[i] - x[i - 1], dy = y[i] - y[i - 1], weight = 1 / (2 * (double)(n - 1));
        chart.cov[0] += weight * dx * dx;
        chart.cov[1] += weight * dx * dy;
        chart.cov[2] += weight * dy * dy;
    }
    return chart;
}

double tt_t2_distance(const struct tt_t2 *chart, double x, double y)
{
    double dx = x - chart->centre[0], dy = y - chart->centre[1],
           det = chart->cov[0] * chart->cov[2] - chart->cov[1] * chart->cov[1];

    return det > 0
               ? (chart->cov[2] * dx * dx - 2 * chart->cov[1] * dx * dy + chart->cov[0] * dy * dy) /
                     det
               : 0;
}

double tt_t2_limit(const struct tt_t2 *chart, double alpha)
{
    double n = (double)chart->n, dof = 2 * (n - 1) / 3;

    if (!(dof > 2)) {
        return HUGE_VAL;
    }
    /* T^2 (dof - 1) / (2 dof) follows F(2, dof - 1), whose quantile has a closed form; the centre's
     * own scatter adds 1 + 1/n */
    double f = 0.5 * (dof - 1) * expm1(-2 / (dof - 1) * log(alpha));
    return (1 + 1 / n) * 2 * dof / (dof - 1) * f;
}
