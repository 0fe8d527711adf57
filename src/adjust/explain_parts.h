/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of explain.c, climb.c, starts.c, change_rows.c, near.c and decide.c: candidates for the
 * explanation of a run. */
#ifndef TT_ADJUST_EXPLAIN_PARTS_H
#define TT_ADJUST_EXPLAIN_PARTS_H

#include "adjust/explain.h"

/* A rival is within this of the best in ln evidence: posterior odds of 1 : 100. With 3.5 six per
 * cent fewer runs are refused and two per cent more end silently wrong, of those with half of a
 * short run's edge late. */
#define TT_RIVAL_LN 4.6

/* Touches times climbs from which films, pairs and rounds of the table are left out: ten seconds.
 */
#define TT_MOST_WORK 1e6

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
    struct tt_estimate *estimates; /* per block; NULL: not yet, or they cannot be */
    bool scored;                   /* its table was looked at */
};

struct tt_pool {
    const struct tt_search *search;
    struct tt_candidate *candidates, *best;
    const struct tt_candidate *only; /* nothing else is to be looked for; its stage has its state.
                                        NULL: not known */
    struct tt_stage *plain;          /* without any term */
    size_t n, n_edges_seen;
    double *keep, *left;                  /* scratch: per touch, per row */
    struct tt_estimable_scratch *scratch; /* NULL at first */
    double sight_var_mm2;
    double work; /* touches climbed */
};

/* What a climb is asked to do. */
struct tt_attempt {
    struct tt_stage *stage;
    const struct tt_candidate *parent; /* its modes are had already; NULL = none */
    const struct tt_mode *modes;       /* and these in addition */
    size_t n_modes;
    const double *keep; /* per row of the run; NULL = all */
    bool deviations, own_scatter;
};

/* ---- climb.c ---- */

/* A stage with the model of @terms, in the arena. @base (NULL: none) gives the robust start. */
TT_MUST_USE enum tiptrue_status tt_stage_new(struct tt_pool *pool, const struct tt_terms *terms,
                                             const struct tt_stage *base, struct tt_stage **out);
/* Climb as asked; where it ends becomes a candidate of @pool, unless it leads nowhere or where
 * another climb on the same model ended. */
TT_MUST_USE enum tiptrue_status tt_attempt_climb(struct tt_pool *pool,
                                                 const struct tt_attempt *attempt);
/* Its offsets and their covariances, unless they cannot be; not again. Its state is then that of
 * its stage if they are new. */
TT_MUST_USE enum tiptrue_status tt_candidate_estimate(struct tt_pool *pool,
                                                      struct tt_candidate *candidate);
/* A climb with @mode on top of @base's model, from all touches. */
TT_MUST_USE enum tiptrue_status tt_start_with(struct tt_pool *pool, struct tt_stage *base,
                                              const struct tt_candidate *parent,
                                              const struct tt_mode *mode);
/* The state of @candidate into its stage: unknowns, weights, design. */
void tt_candidate_return(const struct tt_candidate *candidate);
/* And factored, inverted, with its degrees of freedom. False: singular. */
TT_MUST_USE bool tt_candidate_restore(const struct tt_candidate *candidate);

/* ---- starts.c ---- */

/* All starts on top of @parent, the plain explanation of @base. */
TT_MUST_USE enum tiptrue_status tt_start_all(struct tt_pool *pool, struct tt_stage *base,
                                             const struct tt_candidate *parent);
/* Where touches of a tip on an edge came too early for @from, whose state its stage has: they may
 * be the good ones, and its others there late. A climb for each such edge, from these. */
TT_MUST_USE enum tiptrue_status tt_start_from_early(struct tt_pool *pool,
                                                    const struct tt_candidate *from);

/* ---- change_rows.c ---- */

/* Other rows for the change of the best explanation, or of the best one that has nothing besides;
 * its evidence is that of all these rows together. */
TT_MUST_USE enum tiptrue_status tt_change_rows(struct tt_pool *pool);

/* ---- near.c ---- */

/* Is @mode in it, or one that it excludes? */
bool tt_candidate_has(const struct tt_candidate *candidate, const struct tt_mode *mode);
/* Are all modes of @inner among those of @outer? Changes count as the same at any row. */
bool tt_candidate_within(const struct tt_candidate *inner, const struct tt_candidate *outer);
/* The best explanation with the fewest modes; the pool is not empty. */
struct tt_candidate *tt_plainest(const struct tt_pool *pool);
/* Best first. */
void tt_pool_sort(struct tt_pool *pool);
/* Do both call the same touches good? */
bool tt_same_touches(const struct tt_pool *pool, const struct tt_candidate *a,
                     const struct tt_candidate *b);
/* The same modes and the same good touches: one explanation, reached by two climbs that stop a
 * little apart. It counts once. */
bool tt_candidates_identical(const struct tt_pool *pool, const struct tt_candidate *a,
                             const struct tt_candidate *b);

/* ---- decide.c ---- */

/* Explanations that are not excluded, distinct, the best one first, in the arena; *n receives their
 * number. NULL: no memory. After tt_pool_sort. */
const struct tt_candidate **tt_not_excluded(struct tt_pool *pool, size_t *n);
/* What the candidates mean together. */
TT_MUST_USE enum tiptrue_status tt_decide(struct tt_pool *pool, struct tt_explanation *explanation);

#endif
