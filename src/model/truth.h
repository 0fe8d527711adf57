/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A truth: what a simulated run is made from (tiptrue.truth/1). Names are resolved when a run is
 * made of it. */
#ifndef TT_MODEL_TRUTH_H
#define TT_MODEL_TRUTH_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/machine.h"

struct tt_truth_pose {
    const char *setup;
    struct tt_machine_xy mark; /* the reference mark */
    double yaw_rad;
};

/* Shape term of a tip: cos_mm cos(order psi) + sin_mm sin(order psi). */
struct tt_truth_shape {
    size_t order;
    double cos_mm, sin_mm;
};

struct tt_truth_tip {
    const char *name;
    struct tt_machine_xy offset;
    struct tt_tip_xy runout;
    double radius_mm;             /* contact radius */
    struct tt_stated height_mm;   /* the head's Z where its end meets the plane of the reference
                                     mark */
    struct tt_tip_xy face_runout; /* of the height: parts with cosine and sine of the rotation */
    struct tt_truth_shape *shape;
    size_t n_shape;
};

/* Of an edge along the normal, of a pad upwards. */
struct tt_truth_edge {
    const char *name;
    double shift_mm;
};

/* Shift of a group or of a mark. */
struct tt_truth_shift {
    const char *name;
    struct tt_plate_xy shift;
};

/* Share of touches that lie, and by how much: evenly distributed between two depths. */
struct tt_truth_fault {
    double share, from_mm, to_mm;
};

/* The camera: as in tt_camera_result (model/solution.h). */
struct tt_truth_camera {
    bool stated;
    double scale_mm[2]; /* per pixel, along the picture's axes */
    double turn_rad, shear_rad, kappa;
    bool mirrored;
    struct tt_stated sigma_px; /* per axis */
};

/* The machine's axes: as in tt_axes_result. Poses and offsets of the truth are in the machine's own
 * units of motion. */
struct tt_truth_axes {
    double scale_x, scale_y, square_rad;
};

struct tiptrue_truth {
    const char *file;
    struct tt_truth_pose *poses;
    size_t n_poses;
    struct tt_truth_tip *tips;
    size_t n_tips;
    struct tt_truth_edge *edges; /* those not named are where the plate file has them */
    size_t n_edges;
    struct tt_truth_shift *groups, *marks;
    size_t n_groups, n_marks;
    struct tt_truth_edge *pads; /* as edges */
    size_t n_pads;
    double slope_x, slope_y; /* of the plate: mm of height per mm along machine x and y */
    struct tt_stated height_sigma_mm;
    struct tt_stated touch_sigma_mm, sighting_sigma_mm, rotation_sigma_rad, resolution_mm;
    struct tt_truth_fault late, early; /* late: too deep in the conductor */
    double missed_share;               /* of touches that end without contact */
    double lost_motion_mm;             /* contact radius on X less that on Y */
    double latency_s;
    struct tt_machine_xy drift; /* of the plate, from the first row to the last */
    double moved_after;         /* share of the rows before the plate moves */
    struct tt_machine_xy moved;
    struct tt_stated temperature_C;
    struct tt_truth_camera camera;
    struct tt_truth_axes axes;
    struct tt_arena arena; /* owns all of the above */
};

#endif
