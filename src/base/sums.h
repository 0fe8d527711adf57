/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sums in which a search spends its time, inlined: products of vectors, two numbers at a time, and
 * logarithms, one for many. */
#ifndef TT_BASE_SUMS_H
#define TT_BASE_SUMS_H

#include <math.h>
#include <stddef.h>
#include <string.h>

/* Two numbers side by side, which SSE2, NEON and their like add and multiply at once. */
typedef double tt_pair __attribute__((vector_size(2 * sizeof(double))));

/* The two numbers at @at, which need no alignment. */
static inline tt_pair tt_pair_at(const double at[2])
{
    tt_pair p;
    memcpy(&p, at, sizeof p);
    return p;
}

/* The scalar product of @a and @b, @n numbers each. */
static inline double tt_dot(const double a[], const double b[], size_t n)
{
    tt_pair sum = {0, 0};
    size_t k = 0;

    for (; k + 2 <= n; k += 2) {
        sum += tt_pair_at(a + k) * tt_pair_at(b + k);
    }
    return sum[0] + sum[1] + (k < n ? a[k] * b[k] : 0);
}

/* @by times @a is added to @sum, @n numbers each. */
static inline void tt_add_times(double sum[], double by, const double a[], size_t n)
{
    size_t k = 0;

    for (; k + 2 <= n; k += 2) {
        tt_pair s = tt_pair_at(sum + k) + by * tt_pair_at(a + k);
        memcpy(sum + k, &s, sizeof s);
    }
    if (k < n) {
        sum[k] += by * a[k];
    }
}

/* The logarithm of a product: begin with {0, 1}. */
struct tt_log_product {
    double sum, product;
};

/* @factor > 0. */
static inline void tt_log_times(struct tt_log_product *log_of, double factor)
{
    double product = log_of->product * factor;

    if (!(product > 1e-200 && product < 1e200)) {
        log_of->sum += log(log_of->product);
        product = factor;
    }
    log_of->product = product;
}

/* It; the product may go on. */
static inline double tt_log_product(struct tt_log_product log_of)
{
    return log_of.sum + log(log_of.product);
}

#endif
