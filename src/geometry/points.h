/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the fits of this room ask of a set of points before they start. */
#ifndef TT_GEOMETRY_POINTS_H
#define TT_GEOMETRY_POINTS_H

#include <stddef.h>

#include "model/frames.h"

struct tt_points_summary {
    struct tt_machine_xy centroid;
    double reach_mm;    /* largest distance of a point from the centroid */
    double rms_mm;      /* root mean square distance of the points from the centroid */
    double rounding_mm; /* what the rounding of the coordinates themselves may move a point by */
};

/* @n >= 1. */
struct tt_points_summary tt_points_summarize(const struct tt_machine_xy points[], size_t n);

#endif
