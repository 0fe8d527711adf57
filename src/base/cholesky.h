/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Small dense symmetric positive definite systems by Cholesky's factorisation. Matrices are by
 * rows, n x n; only the lower triangle is read. Cost n^3 / 6. */
#ifndef TT_BASE_CHOLESKY_H
#define TT_BASE_CHOLESKY_H

#include <stdbool.h>
#include <stddef.h>

/* Replace the lower triangle of @a by its factor L, a = L L^T. false: not positive definite, to a
 * relative 1e-13 of each diagonal; @a is spoilt. */
bool tt_cholesky(double a[], size_t n);
/* b := L^-1 b; b := L^-T b. */
void tt_cholesky_forward(const double l[], size_t n, double b[]);
void tt_cholesky_backward(const double l[], size_t n, double b[]);
/* ln of the determinant of a. */
double tt_cholesky_ln_det(const double l[], size_t n);
/* a^-1 into @inverse (both triangles), from its factor. @inverse is not @l. */
void tt_cholesky_invert(const double l[], size_t n, double inverse[]);

#endif
