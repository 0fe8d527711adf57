/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the head is when a tip that came down on a pad makes contact, by the equation of
 * adjust/height_model.h. */
#ifndef TT_PLANNING_DESCEND_H
#define TT_PLANNING_DESCEND_H

#include "geometry/pose.h"
#include "model/plate.h"
#include "model/truth.h"

struct tt_descent {
    const struct tt_truth_tip *tip;
    const struct tt_pad *pad;
    double pad_shift_mm;     /* how much higher the pad is than the plate says */
    double slope_x, slope_y; /* mm of height per mm along machine x and y */
    double latency_s, feed_mm_s;
    double rotation_rad; /* counter-clockwise seen from above */
    double scale;        /* thermal, of the plate */
};

/* The head's place with the tip's centre over the pad (over the reference mark, of a pad without a
 * place), as *h; returns its Z at contact, mm. */
double tt_descend(const struct tt_descent *descent, const struct tt_pose *pose,
                  struct tt_machine_xy *h);

#endif
