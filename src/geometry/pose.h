/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A pose: where the plate lies on the machine. The only place where one frame becomes another.
 * q = m + s R(beta) u, with m the reference mark in the machine frame, beta the yaw, s the thermal
 * scale, u in the plate frame.
 */
#ifndef TT_GEOMETRY_POSE_H
#define TT_GEOMETRY_POSE_H

#include <stddef.h>

#include "base/status.h"
#include "model/frames.h"

struct tt_pose {
    struct tt_machine_xy mark; /* m */
    double yaw_rad;            /* beta, counter-clockwise seen from above */
    double cos_yaw, sin_yaw;
};

struct tt_pose tt_pose_make(struct tt_machine_xy mark, double yaw_rad);

/* The point @at of the plate frame, in the machine frame; @scale is s (1 = at the temperature of
 * measurement). */
struct tt_machine_xy tt_pose_place(const struct tt_pose *pose, double scale, struct tt_plate_xy at);

/* The direction or small shift @v of the plate frame, in the machine frame: R(beta) v. */
struct tt_machine_xy tt_pose_turn(const struct tt_pose *pose, struct tt_plate_xy v);

/* The other way: the point @q of the machine frame, in the plate frame (at the temperature of
 * measurement). */
struct tt_plate_xy tt_pose_back(const struct tt_pose *pose, struct tt_machine_xy q);

/* The tip vector @v (runout) at the rotation whose cosine and sine are given, in the machine frame:
 * R(theta) v. theta counter-clockwise seen from above. */
static inline struct tt_machine_xy tt_tip_turn(double cos_rotation, double sin_rotation,
                                               struct tt_tip_xy v)
{
    return (struct tt_machine_xy){cos_rotation * v.x_mm - sin_rotation * v.y_mm,
                                  sin_rotation * v.x_mm + cos_rotation * v.y_mm};
}

/* The pose that carries @n points (n >= 2) of the plate closest to their places on the machine,
 * least squares, @scales[i] the thermal scale of each (B. K. P. Horn, J. Opt. Soc. Am. A 4 (1987)
 * 629-642, in the plane). The centroid is matched exactly. TIPTRUE_E_DEGENERATE: the points lie
 * within @resolution_mm of one another; *pose is unchanged. */
TT_MUST_USE enum tiptrue_status tt_pose_fit(const struct tt_plate_xy plate[],
                                            const struct tt_machine_xy machine[],
                                            const double scales[], size_t n, double resolution_mm,
                                            struct tt_pose *pose);

/* @angle_rad brought into (-pi, pi]. */
double tt_angle_wrap(double angle_rad);

#endif
