/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Heights of a run: rows collected, adjusted, and put into the solution. Findings in
 * height_findings.c. */
#ifndef TT_ADJUST_HEIGHTS_H
#define TT_ADJUST_HEIGHTS_H

#include "adjust/assemble.h"

/* Fill the heights, surfaces, rows and differences of the assembled view->solution; view->heights.
 * Nothing where the run has no touch from above on a pad of the plate, or the plate's pose is
 * nothing that a run without touches on edges has. */
TT_MUST_USE enum tiptrue_status tt_heights_fill(struct tt_view *view);

/* As tt_heights_fill, of touches that are still to be made or believed: the uncertainties to be
 * expected of good ones, with 3 um where no repeatability is stated. Values mean nothing. */
TT_MUST_USE enum tiptrue_status tt_heights_expect(struct tt_view *view);

/* Rows of @view's run into @heights; n_rows 0: none. */
TT_MUST_USE enum tiptrue_status tt_heights_collect(const struct tt_view *view,
                                                   struct tt_heights *heights);

/* height_doubts.c: heights at which the machine cannot have been, or touched, by its motion part;
 * rows of @pad that were not made where it is; a change of the @index-th tip's height that is not
 * plausible. */
TT_MUST_USE enum tiptrue_status tt_height_range(struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_height_places(struct tt_view *view, size_t pad);
TT_MUST_USE enum tiptrue_status tt_height_change(struct tt_view *view, size_t index);

#endif
