/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "base/cholesky.h"

#include <math.h>
#include <string.h>

#include "base/sums.h"

/* What is left of a diagonal below this share of it is rounding: n eps with n in the hundreds. */
#define LEAST_PIVOT 1e-13

/* Here and in the forward substitution two numbers are not taken at once: the last of them has just
 * been stored by itself, and a processor waits for that longer than it would compute. */
bool tt_cholesky(double a[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double whole = a[i * n + i];
        for (size_t j = 0; j <= i; j++) {
            double sum = a[i * n + j];
            for (size_t k = 0; k < j; k++) {
                sum -= a[i * n + k] * a[j * n + k];
            }
            if (j < i) {
                a[i * n + j] = sum / a[j * n + j];
            } else if (sum > LEAST_PIVOT * whole) { /* false, too, of what is not a number */
                a[i * n + i] = sqrt(sum);
            } else {
                return false;
            }
        }
    }
    return true;
}

void tt_cholesky_forward(const double l[], size_t n, double b[])
{
    for (size_t i = 0; i < n; i++) {
        double sum = b[i];
        for (size_t k = 0; k < i; k++) {
            sum -= l[i * n + k] * b[k];
        }
        b[i] = sum / l[i * n + i];
    }
}

void tt_cholesky_backward(const double l[], size_t n, double b[])
{
    for (size_t i = n; i-- > 0;) {
        b[i] /= l[i * n + i];
        tt_add_times(b, -b[i], l + i * n, i);
    }
}

double tt_cholesky_ln_det(const double l[], size_t n)
{
    struct tt_log_product det = {0, 1};

    for (size_t i = 0; i < n; i++) {
        tt_log_times(&det, l[i * n + i]);
    }
    return 2 * tt_log_product(det);
}

/* L^-1 row by row, the upper triangle 0. */
static void invert_factor(const double l[], size_t n, double inverse[])
{
    memset(inverse, 0, n * n * sizeof *inverse);
    for (size_t i = 0; i < n; i++) {
        double *row = inverse + i * n;
        row[i] = 1;
        for (size_t k = 0; k < i; k++) {
            tt_add_times(row, -l[i * n + k], inverse + k * n, k + 1);
        }
        for (size_t j = 0; j <= i; j++) {
            row[j] /= l[i * n + i];
        }
    }
}

void tt_cholesky_invert(const double l[], size_t n, double inverse[])
{
    invert_factor(l, n, inverse);
    /* its transpose times itself: row i of that needs rows i and below */
    for (size_t i = 0; i < n; i++) {
        double *row = inverse + i * n, own = row[i];
        for (size_t j = 0; j <= i; j++) {
            row[j] *= own;
        }
        for (size_t k = i + 1; k < n; k++) {
            const double *below = inverse + k * n;
            tt_add_times(row, below[i], below, i + 1);
        }
        for (size_t j = 0; j < i; j++) {
            inverse[j * n + i] = row[j];
        }
    }
}
