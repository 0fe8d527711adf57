/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Algebra of 2 x 2 matrices. */
#ifndef TT_HISTORY_PLANE_H
#define TT_HISTORY_PLANE_H

#include <math.h>

#include "history/track.h"

/* A general 2 x 2, for products of symmetric ones. */
struct tt_mat2 {
    double xx, xy, yx, yy;
};

static inline struct tt_sym2 tt_sym2_plus(struct tt_sym2 a, struct tt_sym2 b, double times)
{
    return (struct tt_sym2){a.xx + times * b.xx, a.xy + times * b.xy, a.yy + times * b.yy};
}

/* @a without its negative part: the nearest covariance matrix. */
static inline struct tt_sym2 tt_sym2_not_negative(struct tt_sym2 a)
{
    double middle = 0.5 * (a.xx + a.yy), half = 0.5 * (a.xx - a.yy), root = hypot(half, a.xy);
    double high = middle + root, low = middle - root;

    if (low >= 0) {
        return a;
    }
    if (high <= 0) {
        return (struct tt_sym2){0, 0, 0};
    }
    /* the part of the larger eigenvalue alone */
    double c = root > 0 ? (half + root) / (2 * root) : 0.5, s = root > 0 ? (root - half) / (2 * root) : 0.5;
    return (struct tt_sym2){high * c, high * a.xy / (2 * root), high * s};
}

static inline struct tt_sym2 tt_sym2_inverse(struct tt_sym2 a)
{
    double det = a.xx * a.yy - a.xy * a.xy;
    return (struct tt_sym2){a.yy / det, -a.xy / det, a.xx / det};
}

static inline struct tt_pair tt_sym2_times(struct tt_sym2 a, struct tt_pair v)
{
    return (struct tt_pair){a.xx * v.x + a.xy * v.y, a.xy * v.x + a.yy * v.y};
}

static inline struct tt_mat2 tt_sym2_product(struct tt_sym2 a, struct tt_sym2 b)
{
    return (struct tt_mat2){a.xx * b.xx + a.xy * b.xy, a.xx * b.xy + a.xy * b.yy, a.xy * b.xx + a.yy * b.xy,
                            a.xy * b.xy + a.yy * b.yy};
}

static inline struct tt_mat2 tt_mat2_product(struct tt_mat2 a, struct tt_sym2 b)
{
    return (struct tt_mat2){a.xx * b.xx + a.xy * b.xy, a.xx * b.xy + a.xy * b.yy, a.yx * b.xx + a.yy * b.xy,
                            a.yx * b.xy + a.yy * b.yy};
}

/* Q = M (1 + G M)^-1; symmetric, since both are. */
static inline struct tt_sym2 tt_sym2_shared_part(struct tt_sym2 m, struct tt_sym2 g)
{
    struct tt_mat2 gm = tt_sym2_product(g, m);
    double a = 1 + gm.xx, b = gm.xy, c = gm.yx, d = 1 + gm.yy, det = a * d - b * c;
    /* M times the inverse of [a b; c d] */
    return (struct tt_sym2){(m.xx * d - m.xy * c) / det, (m.xy * a - m.xx * b) / det, (m.yy * a - m.xy * b) / det};
}

/* v' A^-1 v. */
static inline double tt_sym2_distance2(struct tt_sym2 a, struct tt_pair v)
{
    return (a.yy * v.x * v.x - 2 * a.xy * v.x * v.y + a.xx * v.y * v.y) / (a.xx * a.yy - a.xy * a.xy);
}

#endif
