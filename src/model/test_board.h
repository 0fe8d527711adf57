/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board to be placed so that its parts tell the calibration: where each part goes, and what they
 * will tell. Written by placement, read by output. Places count from the board's lower left corner.
 */
#ifndef TT_MODEL_TEST_BOARD_H
#define TT_MODEL_TEST_BOARD_H

#include "model/placement.h"

/* Expanded uncertainties (95 %) to be expected. */
struct tt_test_tip {
    const char *name;
    size_t parts;
    struct tt_pair offset_mm, turning_mm;
    bool apart; /* its offset is told from what turns with the part */
};

struct tiptrue_test_board {
    const char *machine;
    double width_mm, height_mm;
    double u_mm;                  /* repeatability of a part that the uncertainties are for */
    double dof;                   /* to be expected; below 1 nothing is said of uncertainties */
    struct tt_wanted_part *parts; /* the first ones tell most */
    size_t n_parts;
    struct tt_test_tip *tips;
    size_t n_tips;
    bool grid_told;
    double scale_x, scale_y, shear, turn; /* mm per mm, expanded */
    struct tt_arena arena;
};

#endif
