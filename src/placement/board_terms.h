/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The terms that a board's places, and its rotations, may show, as a problem of placement/terms.h.
 */
#ifndef TT_PLACEMENT_BOARD_TERMS_H
#define TT_PLACEMENT_BOARD_TERMS_H

#include "placement/board_fit.h"
#include "placement/terms.h"

/* The unknowns that a column of the problem is the sum of: first, first + stride, ... */
struct tt_unknown_span {
    size_t first, stride, count;
};

struct tt_board_terms {
    struct tt_term_problem problem;
    struct tt_unknown_span *spans; /* of each column */
};

/* Of the places, from the sums of @fit, whose weights are 1 / variance; @repeatability_mm: of one
 * part on one axis. */
TT_MUST_USE bool tt_board_terms_init(struct tt_board_terms *terms,
                                     const struct tt_board_design *design,
                                     const struct tt_board_fit *fit, double repeatability_mm,
                                     struct tt_arena *arena);

/* Columns beside those of the design's unknowns, of one candidate. */
struct tt_more_columns {
    size_t count;
    const double *const *cross; /* of each: its sums with the unknowns' columns */
    const double *gram, *right; /* count squared; count */
    const double *unit;
    struct tt_term term;
    double odds;
};

/* Append the candidate to @terms, and let it be found by tt_terms_weigh. */
TT_MUST_USE bool tt_board_terms_append(struct tt_board_terms *terms,
                                       const struct tt_more_columns *more, struct tt_arena *arena);

/* Least squares of the columns (all of them differ) with the given @precision beforehand, in 1/mm2
 * or 1: their values into @values, their covariance into @covariance (n x n, by rows; it has room
 * for twice as many numbers). false: the
 * parts do not tell them apart. */
TT_MUST_USE bool tt_board_terms_solve(const struct tt_term_problem *problem, const size_t columns[],
                                      const double precision[], size_t n, double values[],
                                      double covariance[]);

/* Index of the candidate, TT_NONE if it is none. */
size_t tt_candidate_find(const struct tt_term_problem *problem, enum tt_term_kind kind, size_t tip);

/* Sums over wrapped differences of rotations. */
struct tt_angle_sums {
    size_t n_tips;
    const double *sum, *n_of; /* of each tip: the differences, and how many there are */
    double square;            /* of all */
    double u_rad;             /* repeatability */
};

/* Of the rotations: one column for each tip, and one for all of them. */
TT_MUST_USE bool tt_angle_terms_init(struct tt_term_problem *problem,
                                     const struct tt_angle_sums *sums, struct tt_arena *arena);

#endif
