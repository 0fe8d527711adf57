/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files of a track share; nobody else includes this. */
#ifndef TT_HISTORY_TRACK_PARTS_H
#define TT_HISTORY_TRACK_PARTS_H

#include "history/plane.h"
#include "history/track.h"

/* Part of a pivot, or of what a term acts on, that must be left beside the other terms: doubles carry 16 digits. */
#define TT_TRACK_SINGULAR 1e-10

/* Covariance of a member's own deviation in a run; of what all its members share. */
struct tt_sym2 tt_track_own_cov(const struct tt_track *track, size_t run, size_t member);
struct tt_sym2 tt_track_shared_cov(const struct tt_track *track, size_t run);
/* Where @member stands in arrays that have a last place for all members alike. */
size_t tt_track_column(const struct tt_track *track, size_t member);

/* Element of the normal equations; weighted sum of the values, or of the residuals once they are fitted. */
struct tt_mat2 tt_track_product(const struct tt_track *track, const struct tt_term *a, const struct tt_term *b);
struct tt_pair tt_track_residual(const struct tt_track *track, const struct tt_term *a);
/* x = L^-1 x, x = L'^-1 x with the factor of the normal equations. */
void tt_track_solve_lower(const struct tt_track *track, double *x);
void tt_track_solve_upper(const struct tt_track *track, double *x);

/* Scatter between runs from the residuals; how much of it persists from one run to the next (track_scatter.c). */
void tt_track_scatter(struct tt_track *track);
double tt_track_persistence(const struct tt_track *track);

#endif
