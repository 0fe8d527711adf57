/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Normal equations whose matrix is bordered block-diagonal: border (poses, features) | one block
 * per tip.
 *
 * Blocks are eliminated by a Schur complement, so that cost grows linearly with their number. Every
 * column is scaled to a unit diagonal before the Cholesky factorisation (equilibration: N. J.
 * Higham, Accuracy and Stability of Numerical Algorithms, 2002, ch. 10): priors of 1 nm stand
 * beside coordinates of 1 m. Rounding left in a solution is taken out by the next Gauss-Newton
 * step, which starts from exact residuals. Matrices here are small (5 to some 40);
 * docs/dependencies.md says why they are not GSL's.
 *
 * Of symmetric matrices the lower triangle is filled in (a, d).
 *
 * An unknown is named by its block and its place: places below n_border are the border's, n_border
 * + k is the block's k-th.
 */
#ifndef TT_ADJUST_SYSTEM_H
#define TT_ADJUST_SYSTEM_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"

/* One non-zero of a design row: @value in @column of the cell's Gram matrix (0 for single rows), at
 * @place. */
struct tt_entry {
    size_t column, place;
    double value;
};

struct tt_system {
    size_t n_border, n_blocks, n_unknowns;
    const size_t *size;   /* of each block */
    size_t *first;        /* of each block: index of its first unknown among all, border first */
    size_t *d_at;         /* of each block: where its matrix starts in d */
    double *a, *b, *d;    /* border x border; all blocks' rows x border; block x block */
    double *g;            /* right side: sum of weight * row * residual */
    double *scale;        /* 1 / sqrt(diagonal) */
    double *la, *lb, *ld; /* factors: Cholesky of the Schur complement; L_t^-1 B_t; Cholesky of each
                             block (scaled) */
    double *c;            /* border covariance, after tt_system_invert */
};

/* Memory from @arena. @size is borrowed for the system's life. */
TT_MUST_USE enum tiptrue_status tt_system_init(struct tt_system *system, struct tt_arena *arena,
                                               size_t n_border, size_t n_blocks,
                                               const size_t size[]);
void tt_system_zero(struct tt_system *system);

/* Add weight * row row^T to the matrix and weight * residual * row to the right side. @block
 * TT_NONE: border only. */
void tt_system_add_row(struct tt_system *system, size_t block, const struct tt_entry entries[],
                       size_t n, double weight, double residual);

/* The same for a row that is 1 at @place and 0 elsewhere: a prior. */
void tt_system_add_diagonal(struct tt_system *system, size_t block, size_t place, double weight,
                            double residual);

/* Add many rows at once, each a linear combination of the entries' columns: in ascending order of
 * place, each place at most once.
 * @gram is the weighted Gram matrix of those @n_columns columns (stored whole), @right their
 * weighted products with the residuals.
 */
void tt_system_add_cell(struct tt_system *system, size_t block, const struct tt_entry entries[],
                        size_t n, const double gram[], const double right[], size_t n_columns);

/* Factor. False: the matrix is singular to working precision (an equilibrated pivot below 1e-11:
 * twelve digits of the sixteen are gone, which no combination that any touch or prior of real size
 * sees comes near). */
TT_MUST_USE bool tt_system_factor(struct tt_system *system);

/* @x = N^-1 v (both n_unknowns; may be the same array). After tt_system_factor. */
void tt_system_solve(const struct tt_system *system, const double v[], double x[]);

/* The forward substitution of it alone, @x (n_unknowns): x . x' = v^T N^-1 v' of two vectors. */
void tt_system_forward(const struct tt_system *system, const double v[], double x[]);

/* The half solution y of a vector that lives in the border (@border, n_border numbers) and one
 * block (@in_block; @block TT_NONE: none): y has n_border + size[block] numbers, y . y' = v^T N^-1
 * v' for two vectors of the same block; the border parts alone carry the product for different
 * blocks. */
void tt_system_half_solve(const struct tt_system *system, size_t block, const double border[],
                          const double in_block[], double y[]);

/* ln of the determinant of the matrix. After tt_system_factor. */
double tt_system_log_det(const struct tt_system *system);

/* @x = the solution for the blocks alone, the border held (its part of @x is 0), for the right side
 * as accumulated. A ridge of 1e-9 of each diagonal number keeps what is not seen where it is.
 * False: singular. Overwrites the factors. */
TT_MUST_USE bool tt_system_solve_blocks(struct tt_system *system, double x[]);

/* Border covariance into system->c. After tt_system_factor. */
void tt_system_invert(struct tt_system *system);

/* Covariance of a block with itself (@cc, size x size), with the border (@cb, size x n_border), and
 * the block's response to the border, D^-1 B (@response, size x n_border; cov of blocks s and t !=
 * s is response_s c response_t^T). After tt_system_invert. */
void tt_system_block_covariance(const struct tt_system *system, size_t block, double cc[],
                                double cb[], double response[]);

#endif
