/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Control charts, one value at a time, by the formulas of the NIST/SEMATECH e-Handbook of
 * Statistical Methods, 6.3.2.2 (individuals and moving range), 6.3.2.3 (tabular CUSUM), 6.3.2.4
 * (EWMA), 6.3.4.3 (Hotelling's T^2 of individuals), and ISO 7870-2, -4 and -6. Limits come from a
 * baseline; values are in any unit.
 */
#ifndef TT_HISTORY_SERIES_CHART_H
#define TT_HISTORY_SERIES_CHART_H

#include <stdbool.h>
#include <stddef.h>

/* Mean moving range of two over its expectation for one standard deviation. */
#define TT_D2 1.1283791670955126 /* 2 / sqrt(pi) */
/* Upper limit of a moving range of two: 1 + 3 d3/d2 times the mean range; D4 of the tables. */
#define TT_D4 3.2665

struct tt_baseline {
    double centre, sigma, mean_range;
};
/* @n >= 2 values in order of time: mean, and standard deviation from the moving ranges. */
struct tt_baseline tt_baseline_of(const double value[], size_t n);

struct tt_ewma {
    double lambda, width; /* weight of the newest value; half-width of the limits in standard
                             deviations of the EWMA */
    struct tt_baseline baseline;
    double z; /* begins as baseline.centre */
};
struct tt_ewma tt_ewma_begin(struct tt_baseline baseline, double lambda, double width);
/* The half-width of the limits about the centre: that of the long run, as the handbook has it. */
double tt_ewma_limit(const struct tt_ewma *ewma);
/* Take a value in; true: beyond the limits. */
bool tt_ewma_next(struct tt_ewma *ewma, double value);

struct tt_cusum {
    double slack, decision; /* in the unit of the values: k and h */
    double target, high, low;
};
/* @k and @h in standard deviations. */
struct tt_cusum tt_cusum_begin(struct tt_baseline baseline, double k, double h);
/* Take a value in: +1 above, -1 below, 0 within. */
int tt_cusum_next(struct tt_cusum *cusum, double value);

/* Hotelling's T^2 of individuals in the plane against a baseline of @n: covariance from successive
 * differences (D. S. Holmes and A. E. Mergen, Quality Engineering 5 (1993) 619-625), so that a slow
 * wander of the baseline does not widen it. */
struct tt_t2 {
    double centre[2], cov[3]; /* xx, xy, yy */
    size_t n;
};
struct tt_t2 tt_t2_of(const double x[], const double y[], size_t n);
double tt_t2_distance(const struct tt_t2 *chart, double x, double y);
/* The limit for a new value that one in 1/@alpha passes by chance. Successive differences are worth
 * 2 (n - 1) / 3 degrees of freedom. HUGE_VAL where the baseline is too short. */
double tt_t2_limit(const struct tt_t2 *chart, double alpha);

#endif
