/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The machine: what is known of it before a run, the offsets in use, and the limits it must keep. */
#ifndef TT_MODEL_MACHINE_H
#define TT_MODEL_MACHINE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/bytes.h"
#include "model/frames.h"

struct tt_tip {
    const char *name;
    bool has_radius; /* a stated contact radius with its standard uncertainty */
    double radius_mm, u_radius_mm;
    bool has_offset; /* the present offset */
    struct tt_machine_xy offset;
    const char *offset_plate; /* serial of the plate the present offset was found with, or NULL */
    bool has_runout;
    struct tt_tip_xy runout;
};

struct tt_limits {
    bool has_permitted_error, has_expanded, has_runout;
    double permitted_error_mm; /* largest distance of the offset in use from the true one */
    double expanded_mm;        /* largest expanded uncertainty (95 %) of the offset, per axis */
    double runout_mm;          /* largest eccentricity */
};

struct tiptrue_machine {
    const char *file;
    const char *name;
    bool clockwise;        /* rotation is logged clockwise seen from above */
    double u_rotation_rad; /* 0 = not stated */
    double resolution_mm;  /* of the reported coordinates, 0 = not stated */
    bool has_u_sighting, has_u_touch;
    double u_sighting_mm, u_touch_mm; /* standard, per axis and per touch, without the resolution */
    bool has_yaw;
    double yaw_rad, u_yaw_rad;
    bool has_mark; /* where the reference mark is, used only by setups without a sighting of any mark */
    struct tt_machine_xy mark;
    bool has_u_mark;
    double u_mark_mm;
    struct tt_tip *tips;
    size_t n_tips; /* 0: the file names none, and any tip of a run is accepted */
    struct tt_limits limits;
    struct tt_bytes source; /* the document as read */
    struct tt_arena arena;
};

#endif
