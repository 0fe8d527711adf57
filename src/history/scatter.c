/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The sum of squares falls with s^2, and convexly, so that Newton's method from 0 climbs to the root without ever passing it. */
#include "config.h"

#include "history/scatter.h"

#include <math.h>

/* Newton's steps: each at least halves what is missing. */
#define STEPS 200
#define CLOSE 1e-12

static double weighted_mean(const double value[], const double u[], size_t n, double s2, double *weight)
{
    double sum = 0;

    *weight = 0;
    for (size_t i = 0; i < n; i++) {
        double w = 1 / (u[i] * u[i] + s2);
        *weight += w;
        sum += w * value[i];
    }
    return sum / *weight;
}

/* Sum of squares in excess of its expectation, and by how much it falls with s^2. */
static double excess(const double value[], const double u[], size_t n, double mean, double s2, double expected, double *fall)
{
    double sum = -expected;

    *fall = 0;
    for (size_t i = 0; i < n; i++) {
        double w = 1 / (u[i] * u[i] + s2), r = value[i] - mean;
        sum += w * r * r;
        *fall += w * w * r * r;
    }
    return sum;
}

static struct tt_between finish(const double u[], size_t n, double s2, double expected)
{
    struct tt_between between = {.s = sqrt(s2)};
    double weight = 0;

    for (size_t i = 0; i < n; i++) {
        weight += 1 / (u[i] * u[i] + s2);
    }
    /* the sum of squares has the variance 2 (n - p) and the slope -weight in s^2 */
    double u_s2 = sqrt(2 * expected) / weight;
    if (s2 > 0) {
        between.u = u_s2 / (2 * between.s);
        between.dof = 2 * s2 * s2 / (u_s2 * u_s2);
    } else {
        between.u = sqrt(u_s2); /* what could have stayed unseen */
    }
    return between;
}

struct tt_between tt_between_of_residuals(const double residual[], const double u[], size_t n, double parameters)
{
    double expected = (double)n - parameters, s2 = 0, fall;

    if (!(expected > 0)) {
        return (struct tt_between){0};
    }
    for (int step = 0; step < STEPS; step++) {
        double more = excess(residual, u, n, 0, s2, expected, &fall);
        if (!(more > CLOSE * expected)) {
            break;
        }
        s2 += more / fall;
    }
    return finish(u, n, s2, expected);
}

struct tt_between tt_between_of_values(const double value[], const double u[], size_t n)
{
    double expected = (double)n - 1, s2 = 0, fall, weight;

    if (!(expected > 0)) {
        return (struct tt_between){0};
    }
    for (int step = 0; step < STEPS; step++) {
        double mean = weighted_mean(value, u, n, s2, &weight), more = excess(value, u, n, mean, s2, expected, &fall);
        if (!(more > CLOSE * expected)) {
            break;
        }
        s2 += more / fall;
    }
    struct tt_between between = finish(u, n, s2, expected);
    between.mean = weighted_mean(value, u, n, s2, &weight);
    between.u_mean = 1 / sqrt(weight);
    return between;
}
