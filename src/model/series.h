/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The runs of one machine over time, each reduced to what its offsets are compared by. Frames and units as in model/solution.h. */
#ifndef TT_MODEL_SERIES_H
#define TT_MODEL_SERIES_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/solution.h"

/* A tip in one run. The offset is that with the plate held (`held` of a tip's result), since runs are compared. Covariances are
 * those of the run alone: a contribution of the history (the budget's scatter between runs) is not in them. */
struct tt_series_tip {
    size_t tip; /* index into the series' names */
    enum tiptrue_verdict verdict;
    bool has_offset;                   /* both axes determined */
    struct tt_machine_xy offset, full; /* full: as the machine was given it */
    struct tt_cov2 cov, same_plate_cov;
    double common_u_x_mm, common_u_y_mm; /* of the same-plate uncertainty, the part that all tips of the run share */
    bool has_runout;
    struct tt_tip_xy runout;
    struct tt_cov2 runout_cov;
    bool has_radius;
    double radius_mm, u_radius_mm; /* contact radius; the plate's own errors left out of u */
    bool has_present;              /* the offset in use when the run was made */
    struct tt_machine_xy present;
};

struct tt_series_run {
    const char *id;
    double time_s;     /* seconds from 1970-01-01T00:00:00Z */
    bool time_stated;  /* false: the log does not say when it was made, and the time it was entered stands in */
    const char *plate; /* what tells plates apart: the serial, else the name, else "" */
    enum tiptrue_verdict verdict;
    bool has_pose; /* of the first setup whose mark and yaw are determined */
    const char *setup;
    struct tt_machine_xy mark;
    double u_mark_x_mm, u_mark_y_mm, yaw_rad, u_yaw_rad;
    bool has_permitted_error;
    double permitted_error_mm;
    struct tt_series_tip *tips;
    size_t n_tips;
};

struct tt_series {
    const char *machine; /* NULL = not stated */
    const char **tip_names;
    size_t n_tip_names;
    struct tt_series_run *runs; /* by time, then by id */
    size_t n_runs;
    struct tt_arena *arena; /* the caller's: owns all of the above */
    size_t room_runs, room_names;
};

#endif
