/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The runs of one machine over time, each reduced to what its offsets are compared by. Frames and
 * units as in model/solution.h. */
#ifndef TT_MODEL_SERIES_H
#define TT_MODEL_SERIES_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/solution.h"

/* A tip in one run. The offset is that with the plate held (`held` of a tip's result), since runs
 * are compared. Covariances are those of the run alone: a contribution of the history (the budget's
 * scatter between runs) is not in them. */
struct tt_series_tip {
    size_t tip; /* index into the series' names */
    enum tiptrue_verdict verdict;
    bool has_offset; /* both axes determined */
    bool doubted; /* refused for nothing but what the weeks can tell apart: between explanations of
                     the run (what they differ by is in the covariance), or an edge that moved */
    struct tt_machine_xy offset, full; /* full: as the machine was given it */
    struct tt_cov2 cov, same_plate_cov;
    double common_u_x_mm,
        common_u_y_mm; /* of the same-plate uncertainty, the part that all tips of the run share */
    double u_rivals_x_mm, u_rivals_y_mm; /* of it, what explanations of the run that were not
                                            excluded differ by */
    bool has_runout;
    struct tt_tip_xy runout;
    struct tt_cov2 runout_cov;
    bool has_radius;
    double radius_mm, u_radius_mm; /* contact radius; the plate's own errors left out of u */
    bool has_present;              /* the offset in use when the run was made */
    struct tt_machine_xy present;
    bool has_height;
    double height_mm, u_height_mm, full_u_height_mm; /* u: the pads' own errors left out */
    double common_u_height_mm; /* of u_height_mm, the part that all tips of the run share */
    const char *pads; /* where the slope was not known: the pads at whose middle the height holds,
                         one a line; NULL: it holds at the reference mark */
    bool has_present_height, has_permitted_height;
    double present_height_mm, permitted_height_mm;
};

/* An edge in one run: its shift along its normal to the free side, against where the plate file has
 * it. */
struct tt_series_edge {
    size_t edge; /* index into the series' names of edges; TT_NONE: of another plate */
    double shift_mm, u_shift_mm;
    size_t touches, late; /* made with it; of these set aside */
    bool freed;           /* the run found it elsewhere, and did not use its stated place */
};

/* What a shift of one edge by 1 mm along its normal does to a solution that does not know of it: mm
 * per mm. */
struct tt_series_response {
    struct tt_machine_xy *offset; /* [tip] */
    double *radius;               /* [tip] */
    double *edge;                 /* [edge]: to the edges' own estimated shifts */
};

/* Numbers of the machine itself: the picture's scales (mm per pixel) and turn (rad); what is wrong
 * with its axes (struct tt_axes_result). */
enum tt_series_number {
    TT_SERIES_SCALE_X,
    TT_SERIES_SCALE_Y,
    TT_SERIES_TURN,
    TT_SERIES_AXIS_X,
    TT_SERIES_AXIS_Y,
    TT_SERIES_AXIS_SQUARE,
    TT_SERIES_NUMBERS
};

struct tt_series_run {
    const char *id;
    double time_s;     /* seconds from 1970-01-01T00:00:00Z */
    bool time_stated;  /* false: the log does not say when it was made, and the time it was entered
                          stands in */
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
    struct tt_series_edge *edges;
    size_t n_edges;
    bool has_temperature;
    double temperature_C;
    bool has_u_touch,
        has_u_sighting; /* repeatability of one touch, one sighting, as found in the run */
    double u_touch_mm, u_sighting_mm;
    /* what the run itself shows of them, whatever is stated, with degrees of freedom; 0 = nothing
     */
    double own_touch_mm, own_touch_dof, own_sighting_mm, own_sighting_dof;
    bool can_tell; /* its log is there, and what it shows of them is not kept */
    double machine[TT_SERIES_NUMBERS],
        u_machine[TT_SERIES_NUMBERS]; /* u 0: the run does not say, or of axes that they are right
                                       */
    size_t marks;                     /* sighted or viewed: from three on they tell the axes */
    double
        lost_motion_mm; /* which the run found, and took out; 0: it looked as if there was none */
    bool left_out;      /* excluded, or its clock is not to be believed: kept out of trends */
    const char *note;   /* why; NULL: not left out */
};

struct tt_series {
    const char *machine; /* NULL = not stated */
    const char **tip_names;
    size_t n_tip_names;
    const char **edge_names; /* of the last run's plate */
    size_t n_edge_names;
    struct tt_series_response *response;    /* [edge]; NULL: not known */
    struct tt_series_response *lost_motion; /* the same of 1 mm of lost motion; NULL: not known */
    struct tt_series_run *runs;             /* by time, then by id */
    size_t n_runs;
    struct tt_arena *arena; /* the caller's: owns all of the above */
};

#endif
