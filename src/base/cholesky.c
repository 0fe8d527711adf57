/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "base/cholesky.h"

#include <math.h>

/* What is left of a diagonal below this share of it is rounding: n eps with n in the hundreds. */
#define LEAST_PIVOT 1e-13

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
        for (size_t k = 0; k < i; k++) {
            b[i] -= l[i * n + k] * b[k];
        }
        b[i] /= l[i * n + i];
    }
}

void tt_cholesky_backward(const double l[], size_t n, double b[])
{
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++) {
            b[i] -= l[k * n + i] * b[k];
        }
        b[i] /= l[i * n + i];
    }
}

double tt_cholesky_ln_det(const double l[], size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += 2.0 * log(l[i * n + i]);
    }
    return sum;
}

void tt_cholesky_invert(const double l[], size_t n, double inverse[])
{
    for (size_t j = 0; j < n; j++) {
        double *row = &inverse[j * n]; /* the j-th column is the j-th row */
        for (size_t i = 0; i < n; i++) {
            row[i] = i == j ? 1.0 : 0.0;
        }
        tt_cholesky_forward(l, n, row);
        tt_cholesky_backward(l, n, row);
    }
}
