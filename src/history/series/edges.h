/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What edges that lie elsewhere, and lost motion, make of the runs of a series. Lengths mm.
 *
 * A run that found an edge elsewhere, or lost motion, has it out of its solution; the other runs
 * have it in, and so this one must, or the two would differ where nothing moved. To first order
 * that is what a solution makes of an edge that shifts (response in the series), times the shift,
 * and likewise of lost motion.
 */
#ifndef TT_HISTORY_SERIES_EDGES_H
#define TT_HISTORY_SERIES_EDGES_H

#include "base/arena.h"
#include "model/series.h"

/* A contrast that answers to an edge by less is decided by what is stated: as by the stated radii,
 * of which another tip than the stated one makes a shift of all edges. Seen: 0.99 and 0.11 on a
 * cross with stated radii; 0.3 keeps the first. */
#define TT_LEAST_RESPONSE 0.3

/* The offset (machine frame) and radius of @tip in @run, and the shift of its edge number @i, as if
 * it had found no edge elsewhere than stated, and no lost motion. */
void tt_put_edges_back(const struct tt_series *series, const struct tt_series_run *run, size_t tip,
                       double offset[2], double *radius);
double tt_shift_in(const struct tt_series *series, const struct tt_series_run *run, size_t i);

/* The edges' own shifts are what is left of the contacts when offset, radius and pose are taken
 * out: of four edges on a cross, one number seen four times. With h = R e of the edges' contact
 * errors e, u' h / s with R R' = u s^2 u' are as many numbers as there are, each with the variance
 * of one edge's contacts. Returned are the factors of the shifts,
 * [contrast * edges + edge], in the arena; *found receives how many contrasts there are, none where
 * the series knows no responses. NULL: no memory. */
double *tt_edge_contrasts(const struct tt_series *series, size_t *found, struct tt_arena *arena);

#endif
