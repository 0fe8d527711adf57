/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The direct fits, to check the adjustment by: the orthogonal-distance line through the contacts of
 * an edge, and the circle through the centres of a tip over rotation (geometry/line.h, circle.h).
 *
 * Both take the touches that the adjustment used. Their difference from it is therefore a linear
 * function L v of the adjustment's residuals v, to first order, with the covariance
 * L (W^-1 - A N^-1 A^T) L^T, in which nothing is that both have in common. The variance of a touch
 * is estimated from the same residuals, so that a squared distance T^2 of k quantities with f
 * degrees of freedom is judged by F(k, f - k) of (T^2 / k) / ((f - T^2) / (f - k)) (k = 1: W. R.
 * Thompson, Ann. Math. Stat. 6 (1935) 214-219; A. J. Pope, NOAA TR NOS 65 NGS 1, 1976). What the
 * two must have in common, since they weigh the touches alike, is left out. docs/method.md,
 * section 6.
 */
#ifndef TT_ADJUST_DIRECT_H
#define TT_ADJUST_DIRECT_H

#include <stdbool.h>

#include "base/status.h"

struct tt_difference;
struct tt_view;

/* Contacts this close along an edge are at one place: more than a runout, less than a tip's width.
 * Doubled, short edges have no line. */
#define TT_SAME_PLACE_MM 0.5

/* Standard uncertainties of a direct fit within which it does not disagree. */
#define TT_DIRECT_EXPANDED 2.0

/* The line through an edge's contacts, in the plate's frame, where they are at two places or more.
 */
struct tt_direct_line {
    bool spans;
    double turned_rad;      /* counter-clockwise, against the edge as the adjustment has it */
    double u_turned_rad;    /* standard, of the line alone, from the contacts' own scatter */
    double span_mm;         /* along the edge */
    double straightness_mm; /* between the outermost contacts across the line, repeatability
                               included; NaN: fewer than three places (ISO 12780-1: peak to valley
                               about the least-squares line) */
};

/* Fill view->lines, one for each edge of the plate, and the straightness of view->solution->edges.
 * False: out of memory. Cost: touches + edges x cells. */
TT_MUST_USE bool tt_direct_lines(struct tt_view *view);

/* The finding of the @index-th tip of the solution, where the circle through its centres disagrees
 * with a probability below @most_p; @f: memory for it. No circle where the touches span none: fewer
 * than three rotations at which edges that cross were touched, rotations on one side, or a runout
 * that scatter hides. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_direct_check_circle(struct tt_view *view, size_t index,
                                                       struct tt_difference *f, double most_p);

#endif
