/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Capability of a process for symmetric limits about 0, with what is not known of it for want of
 * parts. Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6; ISO 22514-2 (indices hold
 * for a normal distribution; else the share itself is stated). */
#include "config.h"

#include <math.h>
#include <stdlib.h>

#include "base/distribution.h"
#include "base/order.h"
#include "placement/work.h"

/* Halvings of an interval that end at the resolution of a double's mantissa. */
#define HALVINGS 52
#define TAIL (0.5 * (1.0 - TT_PLACED_COVERAGE))

/* A^2 of @sorted values against the normal law with their mean and standard deviation, as computed;
 * *p: its probability (R. B. D'Agostino and M. A. Stephens, Goodness-of-fit techniques, 1986, table
 * 4.9, with their factor 1 + 0.75 / n + 2.25 / n^2). */
static double anderson_darling(const double sorted[], size_t n, double mean, double deviation,
                               double *p)
{
    double sum = 0.0, size = (double)n;
    for (size_t i = 0; i < n; i++) {
        double low = tt_normal_lower((sorted[i] - mean) / deviation);
        double high = tt_normal_lower(-(sorted[n - 1 - i] - mean) / deviation);
        sum += (2.0 * (double)i + 1.0) * (log(fmax(low, 1e-300)) + log(fmax(high, 1e-300)));
    }
    double a2 = -size - sum / size, a = a2 * (1.0 + 0.75 / size + 2.25 / (size * size));
    *p = a < 0.2    ? -expm1(-13.436 + 101.14 * a - 223.73 * a * a)
         : a < 0.34 ? -expm1(-8.318 + 42.796 * a - 59.938 * a * a)
         : a < 0.6  ? exp(0.9177 - 4.279 * a - 1.38 * a * a)
         : a < 13.0 ? exp(1.2937 - 5.709 * a + 0.0186 * a * a)
                    : 0.0;
    return a2;
}

/* chi squared of @dof that is exceeded with @probability: between 0 and far above its mean. */
static double chi2_quantile(double probability, double dof)
{
    double low = 0.0, high = dof + 12.0 * sqrt(2.0 * dof) + 40.0;
    for (int i = 0; i < HALVINGS; i++) {
        double middle = 0.5 * (low + high);
        *(tt_chi2_upper(middle, dof) > probability ? &low : &high) = middle;
    }
    return 0.5 * (low + high);
}

/* The share of which more than @k of @n parts have @probability (C. J. Clopper and E. S. Pearson,
 * Biometrika 26 (1934) 404-413). */
static double share_limit(size_t k, size_t n, double probability)
{
    double low = 0.0, high = 1.0;
    for (int i = 0; i < HALVINGS; i++) {
        double middle = 0.5 * (low + high);
        *(tt_binomial_upper((unsigned)k, middle, (unsigned)n) < probability ? &low : &high) =
            middle;
    }
    return 0.5 * (low + high);
}

static void shares(struct tt_capability_axis *c, const double values[], double limit)
{
    for (size_t i = 0; i < c->parts; i++) {
        c->within += fabs(values[i]) <= limit;
    }
    c->share_low = c->within == 0 ? 0.0 : share_limit(c->within - 1, c->parts, TAIL);
    c->share_high = c->within == c->parts ? 1.0 : share_limit(c->within, c->parts, 1.0 - TAIL);
}

/* Cp by chi squared of the variance; Cpk by its normal approximation (handbook, 6.1.6; A. F.
 * Bissell, Appl. Stat. 39 (1990) 331-340). */
static void indices(struct tt_capability_axis *c, double limit)
{
    double nu = (double)c->parts - 1.0, z = tt_student_quantile(1.0 - TAIL, 1e9);
    c->cp = limit / (3.0 * c->standard_deviation);
    c->cp_low = c->cp * sqrt(chi2_quantile(1.0 - TAIL, nu) / nu);
    c->cp_high = c->cp * sqrt(chi2_quantile(TAIL, nu) / nu);
    c->cpk = (limit - fabs(c->mean)) / (3.0 * c->standard_deviation);
    double u = sqrt(1.0 / (9.0 * (nu + 1.0)) + c->cpk * c->cpk / (2.0 * nu));
    c->cpk_low = c->cpk - z * u;
    c->cpk_high = c->cpk + z * u;
    c->share_normal = tt_normal_lower((limit - c->mean) / c->standard_deviation) -
                      tt_normal_lower((-limit - c->mean) / c->standard_deviation);
}

struct tt_capability_axis tt_capability(double values[], size_t n, double limit)
{
    struct tt_capability_axis c = {.parts = n};
    double squares = 0.0;
    if (n < TT_LEAST_CAPABILITY) {
        return c;
    }
    qsort(values, n, sizeof(*values), tt_by_value);
    for (size_t i = 0; i < n; i++) {
        c.mean += values[i] / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        squares += (values[i] - c.mean) * (values[i] - c.mean);
    }
    c.standard_deviation = sqrt(squares / ((double)n - 1.0));
    shares(&c, values, limit);
    if (c.standard_deviation > 0.0) {
        c.a2 = anderson_darling(values, n, c.mean, c.standard_deviation, &c.p_normal);
        c.normal = c.p_normal >= TT_NORMAL_P;
        indices(&c, limit);
    }
    return c;
}

/* What of a part is looked at: its error in x, in y (mm), in rotation (rad, as the machine counts);
 * false: it has none. */
static bool error_of(const struct tt_placing *p, size_t i, int axis, double *value)
{
    double turned = p->angles.turned_rad[i];
    *value = axis == 0             ? p->design.rows[i].dx_mm
             : axis == 1           ? p->design.rows[i].dy_mm
             : p->board->clockwise ? -turned
                                   : turned;
    return axis < 2 || p->board->parts[i].has_found_rotation;
}

static struct tt_capability_axis of_axis(const struct tt_placing *p, size_t tip, int axis,
                                         double limit, double values[])
{
    size_t n = 0;
    for (size_t i = 0; i < p->design.n; i++) {
        if (tip == TT_NONE || p->design.rows[i].tip == tip) {
            n += error_of(p, i, axis, &values[n]);
        }
    }
    return tt_capability(values, n, limit);
}

bool tt_placing_capability(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    double *values = TT_ARENA_NEW(&p->scratch, p->design.n + 1, double);
    r->capability = TT_ARENA_NEW(&r->arena, r->n_tips + 1, struct tt_capability);
    if (values == NULL || r->capability == NULL) {
        return false;
    }
    for (size_t k = 0; (r->has_limit_mm || r->has_limit_rad) && k <= r->n_tips; k++) {
        struct tt_capability *c = &r->capability[k];
        *c = (struct tt_capability){.tip = k == 0 ? TT_NONE : k - 1};
        if (r->has_limit_mm) {
            c->x = of_axis(p, c->tip, 0, r->limit_mm, values);
            c->y = of_axis(p, c->tip, 1, r->limit_mm, values);
            c->has_place = c->x.parts >= TT_LEAST_CAPABILITY;
        }
        if (r->has_limit_rad) {
            c->rotation = of_axis(p, c->tip, 2, r->limit_rad, values);
            c->has_rotation = c->rotation.parts >= TT_LEAST_CAPABILITY;
        }
        r->n_capability = k + 1;
    }
    return true;
}
