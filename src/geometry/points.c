/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Centroid and spread of a set of points.
 *
 * All sums are taken of differences from the first point: a plate of 50 mm that lies a metre from
 * the machine's origin would lose four digits in sums of the coordinates themselves.
 */
#include "config.h"

#include "geometry/points.h"

#include <float.h>
#include <math.h>

static struct tt_machine_xy centroid_of(const struct tt_machine_xy points[], size_t n)
{
    double sum_x_mm = 0;
    double sum_y_mm = 0;
    for (size_t i = 0; i < n; i++) {
        sum_x_mm += points[i].x_mm - points[0].x_mm;
        sum_y_mm += points[i].y_mm - points[0].y_mm;
    }
    return (struct tt_machine_xy){.x_mm = points[0].x_mm + sum_x_mm / (double)n,
                                  .y_mm = points[0].y_mm + sum_y_mm / (double)n};
}

struct tt_points_summary tt_points_summarize(const struct tt_machine_xy points[], size_t n)
{
    const struct tt_machine_xy centroid = centroid_of(points, n);
    double sum_mm2 = 0;
    double reach_mm2 = 0;
    for (size_t i = 0; i < n; i++) {
        const double x_mm = points[i].x_mm - centroid.x_mm;
        const double y_mm = points[i].y_mm - centroid.y_mm;
        const double distance_mm2 = x_mm * x_mm + y_mm * y_mm;
        sum_mm2 += distance_mm2;
        reach_mm2 = distance_mm2 > reach_mm2 ? distance_mm2 : reach_mm2;
    }
    const double reach_mm = sqrt(reach_mm2);
    return (struct tt_points_summary){
        .centroid = centroid,
        .reach_mm = reach_mm,
        .rms_mm = sqrt(sum_mm2 / (double)n),
        /* half a unit in the last place of either coordinate, and as much again of the centroid */
        .rounding_mm = DBL_EPSILON * (fabs(centroid.x_mm) + fabs(centroid.y_mm) + 2 * reach_mm),
    };
}
