/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of explain.c and decide.c: candidates for the explanation of a run. */
#ifndef TT_ADJUST_EXPLAIN_PARTS_H
#define TT_ADJUST_EXPLAIN_PARTS_H

#include "adjust/explain.h"

/* A rival is within this of the best in ln evidence: posterior odds of 1 : 100. With 3.5 six per
 * cent fewer runs are refused and two per cent more end silently wrong, of those with half of a
 * short run's edge late. */
#define TT_RIVAL_LN 4.6
/* Offsets are estimated of explanations within this of the best so far: none further off becomes a
 * rival. */
#define TT_ESTIMATED_LN 12.0

/* A model with its fit, on which several candidates are climbed; the state is that of the last one.
 */
struct tt_stage {
    struct tt_terms terms; /* as it was made; the model's borrow edge_out from the last candidate */
    struct tt_model model;
    struct tt_fit fit;
    double *start_x; /* the robust start */
};

/* Of one tip: machine frame, mm. */
struct tt_estimate {
    struct tt_machine_xy offset;
    struct tt_cov2 same_plate;                   /* without the plate's own errors */
    struct tt_machine_xy same_plate_expanded_mm; /* 95 %, each axis */
    struct tt_cov2 whole;                        /* with them */
    struct tt_machine_xy expanded_mm;
};

struct tt_candidate {
    struct tt_candidate *next;
    struct tt_stage *stage;
    struct tt_terms terms;
    struct tt_mode modes[TT_MOST_MODES];
    size_t n_modes;
    double log_prior, log_likelihood, log_evidence;
    double *x,
        *good; /* unknowns of its stage; per row of the run: probability that it is a good touch */
    double touch_var_mm2, view_var_mm2;
    struct tt_estimate *estimates; /* per block */
    bool estimated, scored;
};

struct tt_pool {
    const struct tt_search *search;
    struct tt_candidate *candidates, *best;
    struct tt_stage *plain; /* without any term */
    size_t n, n_edges_seen;
    double *keep, *left; /* scratch: per touch, per row */
    double sight_var_mm2;
    double work; /* touches climbed */
};

/* The state of @candidate into its stage, factored and inverted. False: singular. */
TT_MUST_USE bool tt_candidate_restore(const struct tt_candidate *candidate);
/* Is @mode in it, or one that it excludes? */
bool tt_candidate_has(const struct tt_candidate *candidate, const struct tt_mode *mode);
/* Are all modes of @inner among those of @outer? Changes count as the same at any row. */
bool tt_candidate_within(const struct tt_candidate *inner, const struct tt_candidate *outer);
/* Best first. */
void tt_pool_sort(struct tt_pool *pool);
/* Is every usable touch good in it? */
bool tt_all_good(const struct tt_pool *pool, const struct tt_candidate *candidate);
/* Explanations that are not excluded, distinct, the best one first, in the arena; *n receives their
 * number. NULL: no memory. After tt_pool_sort. */
const struct tt_candidate **tt_not_excluded(struct tt_pool *pool, size_t *n);
/* What the candidates mean together. */
TT_MUST_USE enum tiptrue_status tt_decide(struct tt_pool *pool, struct tt_explanation *explanation);

#endif
