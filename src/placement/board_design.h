/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The equation of a placed part, and its weighted sums over a board.
 *
 *     found - wanted = Delta_tip + R(theta) c_tip + E (q - middle) + noise
 *
 * Unknowns, by place: Delta of tip t at 2t (x, y); c of tip t at 2T + 2t; of E at 4T: scale x,
 * scale y, shear, turn (mm per mm), E = [[scale x, shear - turn], [turn, scale y]]. What all tips
 * share is the sum of the Deltas' columns.
 */
#ifndef TT_PLACEMENT_BOARD_DESIGN_H
#define TT_PLACEMENT_BOARD_DESIGN_H

#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"
#include "model/board.h"

/* Non-zeros of the two rows of one part. */
#define TT_PART_COLUMNS 8
enum { TT_GRID_SCALE_X, TT_GRID_SCALE_Y, TT_GRID_SHEAR, TT_GRID_TURN, TT_GRID_COLUMNS };

struct tt_part_row {
    double dx_mm, dy_mm;           /* found - wanted */
    double cosine, sine;           /* of the rotation */
    double along_x_mm, along_y_mm; /* wanted - middle */
    size_t tip;
};

struct tt_board_design {
    const struct tiptrue_board *board;
    size_t n, n_tips, n_unknowns;
    struct tt_machine_xy middle; /* mean of all wanted places */
    double reach_mm;             /* root mean square of wanted - middle on one axis; 0: one place */
    struct tt_part_row *rows;
    double *weight;    /* of each part, 0 to 1 */
    double *precision; /* 1 / variance of x, y of each tip, 1/mm2: at 2t, 2t + 1 */
};

/* Weighted sums. Symmetric matrix by rows, both triangles. */
struct tt_sums {
    size_t n_unknowns;
    double *normal; /* sum of a a^T w / v */
    double *right;  /* sum of a d w / v */
    double square;  /* sum of d^2 w / v */
    double weight;  /* sum of the weights: parts */
};

/* Index of an unknown. */
size_t tt_at_offset(const struct tt_board_design *design, size_t tip);
size_t tt_at_turning(const struct tt_board_design *design, size_t tip);
size_t tt_at_grid(const struct tt_board_design *design);

/* All parts with weight 1 and precision 1. */
TT_MUST_USE bool tt_board_design_init(struct tt_board_design *design,
                                      const struct tiptrue_board *board, struct tt_arena *arena);
TT_MUST_USE bool tt_sums_init(struct tt_sums *sums, size_t n_unknowns, struct tt_arena *arena);

/* The columns of one part's equation in x and in y: at[k] is the unknown, x[k], y[k] its factors.
 */
void tt_part_columns(const struct tt_board_design *design, const struct tt_part_row *row,
                     size_t at[TT_PART_COLUMNS], double x[TT_PART_COLUMNS],
                     double y[TT_PART_COLUMNS]);
/* Sums over the board. Cost linear in the parts. */
void tt_sums_make(struct tt_sums *sums, const struct tt_board_design *design);
/* Residual of a part with @unknowns. */
void tt_part_residual(const struct tt_board_design *design, const double unknowns[], size_t part,
                      double *x_mm, double *y_mm);

/* Means on the circle. */

/* Direction of the sum of the unit vectors (N. I. Fisher, Statistical analysis of circular data,
 * 1993, 2.3), each with its weight, in (-pi, pi]; 0 where they cancel or there are none. */
double tt_angle_mean(const double angles_rad[], const double weights[], size_t n);

#endif
