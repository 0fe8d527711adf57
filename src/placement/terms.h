/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which terms the parts show: every set of terms is an explanation with a prior probability and a
 * marginal likelihood; those that matter are found by steps, and all that were looked at are
 * weighed against each other, so that rivals stay.
 *
 * A term's coefficients have a normal prior about 0 whose size is a multiple of the repeatability
 * (of the grid: at the parts' root mean square distance), for small, middle and large ones alike;
 * the variance has Jeffreys' prior. The marginal likelihood is then that of a multivariate t
 * (A. O'Hagan and J. Forster, Bayesian inference, 2004, ch. 11):
 *
 *     ln m = -1/2 ln |A| + 1/2 sum ln(precision of the prior) - N/2 ln(d^T d - r^T A^-1 r),
 *     A = sum a a^T + prior, r = sum a d
 */
#ifndef TT_PLACEMENT_TERMS_H
#define TT_PLACEMENT_TERMS_H

#include <stdint.h>

#include "base/arena.h"
#include "base/status.h"
#include "model/board.h"
#include "model/placement.h"

/* A term is shown when its probability is at least this. Boards with nothing off show one in fewer
 * than 1 % (tests/simulation/placement.py). */
#define TT_TERM_SHOWN 0.9
/* An explanation within this of the likeliest one, in ln of probability, is a rival. */
#define TT_RIVAL_LN 4.6

#define TT_MOST_CANDIDATES (2 * TT_MOST_BOARD_TIPS + 7)

struct tt_term_candidate {
    struct tt_term term;
    size_t first, count; /* its columns */
    double ln_odds;      /* beforehand */
};

/* Columns 0 to n_fixed - 1 are in every explanation, with a precision of their own (0 = free). */
struct tt_term_problem {
    size_t n_columns, n_fixed;
    double *gram, *right; /* n_columns squared, by rows, both triangles; n_columns */
    double square;        /* d^T d */
    double n;             /* equations */
    double *unit;      /* of each column: the coefficient that moves a part by one repeatability */
    double *precision; /* of the fixed columns, in squared repeatabilities */
    struct tt_term_candidate candidates[TT_MOST_CANDIDATES];
    size_t n_candidates;
    size_t n_tips;
    bool origin_free; /* what all tips share is among the fixed columns, free */
};

/* What was looked at, likeliest first. */
struct tt_weighed {
    uint64_t *sets; /* bit k: candidate k */
    double *probabilities;
    size_t n;
    double of[TT_MOST_CANDIDATES]; /* of each candidate */
};

/* TIPTRUE_E_MEMORY is the only failure. Memory from @arena. */
TT_MUST_USE enum tiptrue_status tt_terms_weigh(const struct tt_term_problem *problem,
                                               struct tt_arena *arena, struct tt_weighed *weighed);

/* Index of the first explanation that puts others in the place of some terms of the likeliest one
 * and is a rival of it; TT_NONE: there is none. @from: look from there on, 1 at first. */
size_t tt_terms_rival(const struct tt_weighed *weighed, size_t from);

/* Probability that the explanation holds at least one of @candidates (bits). */
double tt_terms_any(const struct tt_weighed *weighed, uint64_t candidates);

#endif
