/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The explanations of the touches from above that a search has found. */
#ifndef TT_ADJUST_HEIGHT_POOL_H
#define TT_ADJUST_HEIGHT_POOL_H

#include "adjust/height_search.h"
#include "adjust/height_sets.h"

#define TT_MOST_HEIGHT_EXPLANATIONS 512

/* Modes, and which touches are good. */
struct tt_height_explanation {
    struct tt_height_mode modes[TT_MOST_HEIGHT_MODES];
    size_t n_modes;
    double *good; /* per row 1 or 0 */
    double log_evidence;
    bool expanded;
};

struct tt_height_pool {
    struct tt_arena *arena;
    const struct tt_heights *heights;
    struct tt_height_mode *table;
    size_t n_table;
    struct tt_height_explanation found[TT_MOST_HEIGHT_EXPLANATIONS];
    size_t n_found;
    struct tt_height_sets sets;
    double best[2]; /* about the most ln evidence so far, for each repeatability that is tried */
    double work;
    bool *imitated; /* per tip: late touches explain too much of what a face runout would */
};

/* height_decide.c: @choice by the explanations found, one at least: the best one, and what the
 * others leave of it. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_height_decide(struct tt_height_pool *pool,
                                                 struct tt_height_choice *choice);

/* Variances that the same touches, all good, would give. False: out of memory, or singular. */
TT_MUST_USE bool tt_height_all_good(const struct tt_height_pool *pool,
                                    struct tt_height_choice *choice);

#endif
