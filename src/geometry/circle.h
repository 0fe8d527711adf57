/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The circle through points: algebraic start, geometric finish (least squared distances), with
 * covariance.
 *
 * Algebraic: G. Taubin 1991 as in N. Chernov, Circular and Linear Regression, 2010, ch. 5;
 * geometric: Gauss-Newton with step control on the distances (W. Gander, G. H. Golub, R. Strebel,
 * BIT 34 (1994) 558-578).
 */
#ifndef TT_GEOMETRY_CIRCLE_H
#define TT_GEOMETRY_CIRCLE_H

#include <stddef.h>

#include "base/status.h"
#include "model/frames.h"

struct tt_circle {
    struct tt_machine_xy centre;
    double radius_mm;
    double rms_mm;        /* root of (sum of squared distances / (n - 3)); 0 for n = 3 */
    double cov_mm2[3][3]; /* of (x, y, radius), from rms_mm; 0 for n = 3 */
};

/* The algebraic circle (Taubin's). n >= 3. rms_mm and cov_mm2 are 0. TIPTRUE_E_DEGENERATE: the
 * points lie on a line or on one place within @resolution_mm; *circle is unchanged. */
TT_MUST_USE enum tiptrue_status tt_circle_fit_algebraic(const struct tt_machine_xy points[],
                                                        size_t n, double resolution_mm,
                                                        struct tt_circle *circle);
/* The geometric circle. n >= 3. Errors as above, also when the iteration runs away towards a line.
 */
TT_MUST_USE enum tiptrue_status tt_circle_fit(const struct tt_machine_xy points[], size_t n,
                                              double resolution_mm, struct tt_circle *circle);

#endif
