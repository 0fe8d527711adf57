/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the head is when a tip that came down on a pad makes contact, by the equation of
 * adjust/height_model.h. */
#include "config.h"

#include "planning/simulate_parts.h"

#include <math.h>

double tt_descend(const struct tt_descent *descent, const struct tt_pose *pose,
                  struct tt_machine_xy *h)
{
    const struct tt_truth_tip *tip = descent->tip;
    struct tt_plate_xy at =
        descent->pad->has_at ? descent->pad->at : (struct tt_plate_xy){0.0, 0.0};
    struct tt_machine_xy q = tt_pose_place(pose, descent->scale, at);
    double c = cos(descent->rotation_rad), s = sin(descent->rotation_rad);
    struct tt_machine_xy e = tt_tip_turn(c, s, tip->runout);

    *h = (struct tt_machine_xy){q.x_mm - tip->offset.x_mm - e.x_mm,
                                q.y_mm - tip->offset.y_mm - e.y_mm};
    return tip->height_mm.value + descent->slope_x * (q.x_mm - pose->mark.x_mm) +
           descent->slope_y * (q.y_mm - pose->mark.y_mm) + descent->pad->height_mm +
           descent->pad_shift_mm + tip->face_runout.x_mm * c + tip->face_runout.y_mm * s -
           descent->latency_s * descent->feed_mm_s;
}
