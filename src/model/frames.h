/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The frames, as types: a vector of one frame cannot be used as one of another without a compile
 * error. Only geometry/pose.c turns one into another.
 *
 * machine: the controller's X and Y, right-handed seen from above. plate: origin at the reference
 * mark, x right, y up, from above. tip: the machine frame's directions at rotation 0, turning with
 * the tip, counter-clockwise from above.
 */
#ifndef TT_MODEL_FRAMES_H
#define TT_MODEL_FRAMES_H

struct tt_machine_xy {
    double x_mm, y_mm;
};
struct tt_plate_xy {
    double x_mm, y_mm;
};
struct tt_tip_xy {
    double x_mm, y_mm;
};

/* No index: a feature, tip or setup that is not there. */
#define TT_NONE ((size_t)-1)

#define TT_PI 3.14159265358979323846

static inline double tt_rad_from_deg(double angle_deg)
{
    return angle_deg * (TT_PI / 180.0);
}

static inline double tt_deg_from_rad(double angle_rad)
{
    return angle_rad * (180.0 / TT_PI);
}

/* The international inch (by definition 25.4 mm exactly). */
#define TT_MM_PER_INCH 25.4
#define TT_MM_PER_UM 0.001

#endif
