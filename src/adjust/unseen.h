/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* External reliability (W. Baarda, Neth. Geod. Comm. 2/5, 1968): how large a fault of an edge or a
 * mark must be for this run to see it, and what it does to the offsets while it is not seen.
 * docs/method.md section 6.
 */
#ifndef TT_ADJUST_UNSEEN_H
#define TT_ADJUST_UNSEEN_H

#include "adjust/fit.h"

struct tt_unseen {
    double shift_mm;  /* the smallest fault that is seen in 90 % of runs, of a mark in whatever
                         direction; NaN = none is ever seen */
    double effect_mm; /* how far it moves an offset unseen, at most: over tips, determined axes and
                         directions of the fault; NaN = none is ever seen, or no offset is
                         determined */
};

/* @edge and @mark (one for each of the plate; NaN both for what was not touched or not sighted) at
 * the solution of @fit, whose system is factored; of a prediction, at the start values.
 * @determined: per block, the offset's x and y. Memory from @arena. TIPTRUE_E_MEMORY, or
 * TIPTRUE_OK. */
TT_MUST_USE enum tiptrue_status tt_unseen(const struct tt_fit *fit, struct tt_arena *arena,
                                          const bool determined[][2], struct tt_unseen edge[],
                                          struct tt_unseen mark[]);

#endif
