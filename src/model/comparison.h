/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Two results against each other: differences are B less A, machine frame. Written by history, read
 * by output. */
#ifndef TT_MODEL_COMPARISON_H
#define TT_MODEL_COMPARISON_H

#include "base/arena.h"
#include "model/solution.h"

/* A difference in the plane and how likely one at least as large is when nothing changed. */
struct tt_difference {
    bool known;
    double x, y; /* mm; of a quantity on a line, x alone */
    struct tt_cov2 cov;
    double t2, dof, p; /* squared distance in units of the covariance; degrees of freedom of that
                          (HUGE_VAL: known) */
    bool significant;
};

struct tt_tip_comparison {
    const char *name;
    struct tt_difference offset, runout, radius, height; /* runout: of the vectors at rotation 0 */
    bool has_between; /* scatter between runs is in the offset's covariance */
    double between_x_mm, between_y_mm;
    const char *text; /* a plain sentence */
};

struct tt_pose_comparison {
    const char *setup;
    struct tt_difference mark, yaw; /* yaw in rad */
};

struct tt_compared_run {
    const char *id, *file, *machine, *plate, *plate_serial, *started; /* NULL: not stated */
    enum tiptrue_verdict verdict;
    bool least_squares; /* it has no verdict */
};

struct tiptrue_comparison {
    struct tt_compared_run a, b;
    bool same_run;
    bool same_plate;    /* the plate's own errors cancel from the differences */
    bool plate_by_name; /* taken for the same by its name, since no serial is stated */
    bool same_machine;
    struct tt_tip_comparison *tips; /* those that both have */
    size_t n_tips;
    const char **only_a, **only_b; /* names of tips */
    size_t n_only_a, n_only_b;
    struct tt_pose_comparison *poses; /* of setups that both have */
    size_t n_poses;
    struct tt_arena arena; /* owns all of the above */
};

#endif
