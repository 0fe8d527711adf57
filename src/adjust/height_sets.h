/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which touches from above are good under one explanation: the sets that are probable, followed
 * touch by touch, and the evidence of each. Source: docs/method.md, section 13. */
#ifndef TT_ADJUST_HEIGHT_SETS_H
#define TT_ADJUST_HEIGHT_SETS_H

#include "adjust/height_model.h"

/* Sets that are followed at once. */
#define TT_MOST_HEIGHT_SETS 64

/* The sets found, and room to find them. */
struct tt_height_sets {
    size_t n;
    const double *good[TT_MOST_HEIGHT_SETS]; /* per row 1 or 0; until the next search */
    double log_p[TT_MOST_HEIGHT_SETS];       /* about the ln evidence, less that of the modes */
    double best;                             /* of log_p */
    struct tt_height_branches *room;
};

/* Room for @most unknowns, in @arena. False: out of memory. */
TT_MUST_USE bool tt_height_sets_init(struct tt_height_sets *sets, struct tt_arena *arena,
                                     const struct tt_heights *heights, size_t most);

/* Sets of good touches under the modes of @fit, which has proper priors, where contacts repeat to
 * @sd_mm > 0. */
void tt_height_sets_find(struct tt_height_sets *sets, const struct tt_height_fit *fit,
                         double sd_mm);

/* @fit with the touches of fit->good (1 or 0), and those taken back that are no further off than
 * good ones are: unknowns, repeatability, ln evidence. False: singular. */
TT_MUST_USE bool tt_height_score(struct tt_height_fit *fit);

/* Whether least squares of all touches stands: by its largest residual and its scatter. */
bool tt_height_looks_clean(const struct tt_height_fit *fit);

#endif
