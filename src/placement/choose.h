/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which parts to place so that the terms are told best: one after the other, each where it lowers
 * the sum of the variances most (A-optimal), variances counted by what the term moves a part. */
#ifndef TT_PLACEMENT_CHOOSE_H
#define TT_PLACEMENT_CHOOSE_H

#include "model/placement.h"
#include "placement/board_design.h"

/* Where parts may go, and what is known before. */
struct tt_part_choice {
    const struct tt_board_design *design; /* its tips, middle and unknowns */
    struct tt_machine_xy low, high;       /* corners of the rectangle */
    size_t steps;                         /* places along each side */
    double u_mm;                          /* repeatability of one part, each axis */
    double *covariance; /* of the unknowns, mm2; updated for the parts that are chosen */
    bool clockwise;     /* the machine counts rotations clockwise */
};

/* Choose @n parts. false: out of memory. Cost: n times tips times places. */
TT_MUST_USE bool tt_parts_choose(struct tt_part_choice *choice, struct tt_wanted_part parts[],
                                 size_t n, struct tt_arena *scratch);

#endif
