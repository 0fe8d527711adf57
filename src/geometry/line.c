/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The orthogonal-distance line: through the centroid, along the major axis of the second moments
 * (K. Pearson, Phil. Mag. 2 (1901) 559-572). Linear in n; allocates nothing.
 */
#include "config.h"

#include "geometry/line.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>

#include "geometry/points.h"

/* Second moments about the centroid. */
struct moments {
    double xx_mm2, xy_mm2, yy_mm2;
};

static struct moments moments_of(const struct tt_machine_xy points[], size_t n,
                                 struct tt_machine_xy centroid)
{
    struct moments sum = {0};
    for (size_t i = 0; i < n; i++) {
        const double x_mm = points[i].x_mm - centroid.x_mm;
        const double y_mm = points[i].y_mm - centroid.y_mm;
        sum.xx_mm2 += x_mm * x_mm;
        sum.xy_mm2 += x_mm * y_mm;
        sum.yy_mm2 += y_mm * y_mm;
    }
    return sum;
}

/* Whether the two principal moments differ by more than rounding can make them: each sum of n
 * squares is off by at most n + 2 roundings, and each coordinate by its own, which weighs in with
 * the sum of the distances, at most sqrt(n * trace). */
static bool has_direction(struct moments moments, size_t n, double rounding_mm)
{
    const double trace_mm2 = moments.xx_mm2 + moments.yy_mm2;
    const double difference_mm2 = hypot(2 * moments.xy_mm2, moments.xx_mm2 - moments.yy_mm2);
    const double count = (double)n;
    return difference_mm2 >
           2 * (count + 2) * DBL_EPSILON * trace_mm2 + 4 * rounding_mm * sqrt(count * trace_mm2);
}

/* The normal of the major axis, in (-pi/2, pi/2]. */
static double normal_angle_of(struct moments moments)
{
    const double along_rad =
        atan2(2 * moments.xy_mm2, moments.xx_mm2 - moments.yy_mm2) / 2; /* [-pi/2, pi/2] */
    const double normal_rad = along_rad > 0 ? along_rad - TT_PI / 2 : along_rad + TT_PI / 2;
    return normal_rad > -TT_PI / 2 ? normal_rad
                                   : TT_PI / 2; /* a tiny along_rad is lost in the difference */
}

/* Sums over the points in the line's own directions, about the centroid. */
struct spread {
    double along_mm2, across_mm2;
    double extent_mm; /* between the outermost feet on the line */
};

static struct spread spread_about(const struct tt_machine_xy points[], size_t n,
                                  struct tt_machine_xy centroid, double normal_rad)
{
    const double c = cos(normal_rad);
    const double s = sin(normal_rad);
    struct spread spread = {0};
    double lowest_mm = HUGE_VAL;
    double highest_mm = -HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        const double x_mm = points[i].x_mm - centroid.x_mm;
        const double y_mm = points[i].y_mm - centroid.y_mm;
        const double across_mm = c * x_mm + s * y_mm;
        const double along_mm = -s * x_mm + c * y_mm;
        spread.across_mm2 += across_mm * across_mm;
        spread.along_mm2 += along_mm * along_mm;
        lowest_mm = along_mm < lowest_mm ? along_mm : lowest_mm;
        highest_mm = along_mm > highest_mm ? along_mm : highest_mm;
    }
    spread.extent_mm = highest_mm - lowest_mm;
    return spread;
}

/* Covariance for equal, independent errors of variance s2 in every coordinate. The angle's error is
 * S_tn / (along - across) to first order, S_tn the mixed moment, whose variance is s2 * along; the
 * scatter's own share of the moments is thereby kept. The line turns about the centroid, whose
 * place along the line couples angle and distance. */
static void enter_covariance(struct tt_line *line, struct spread spread, size_t n,
                             struct tt_machine_xy centroid)
{
    if (n == 2) {
        return;
    }
    const double variance_mm2 = spread.across_mm2 / (double)(n - 2);
    const double excess_mm2 = spread.along_mm2 - spread.across_mm2;
    const double angle_variance = variance_mm2 * spread.along_mm2 / (excess_mm2 * excess_mm2);
    const double along_mm =
        cos(line->normal_angle_rad) * centroid.y_mm - sin(line->normal_angle_rad) * centroid.x_mm;
    line->rms_mm = sqrt(variance_mm2);
    line->u_angle_rad = sqrt(angle_variance);
    line->u_d_mm = sqrt(variance_mm2 / (double)n + along_mm * along_mm * angle_variance);
    line->cov_angle_d_rad_mm = along_mm * angle_variance;
}

enum tiptrue_status tt_line_fit(const struct tt_machine_xy points[], size_t n, double resolution_mm,
                                struct tt_line *line)
{
    if (n < 2) {
        return TIPTRUE_E_DEGENERATE;
    }
    const struct tt_points_summary summary = tt_points_summarize(points, n);
    const struct moments moments = moments_of(points, n, summary.centroid);
    if (!has_direction(moments, n, summary.rounding_mm)) {
        return TIPTRUE_E_DEGENERATE;
    }
    const double normal_rad = normal_angle_of(moments);
    const struct spread spread = spread_about(points, n, summary.centroid, normal_rad);
    if (spread.extent_mm < resolution_mm) {
        return TIPTRUE_E_DEGENERATE;
    }
    struct tt_line fit = {
        .normal_angle_rad = normal_rad,
        .d_mm = cos(normal_rad) * summary.centroid.x_mm + sin(normal_rad) * summary.centroid.y_mm,
    };
    enter_covariance(&fit, spread, n, summary.centroid);
    *line = fit;
    return TIPTRUE_OK;
}
