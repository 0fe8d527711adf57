/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The orthogonal-distance line through points (K. Pearson, Phil. Mag. 2 (1901) 559-572), with
 * covariance. */
#ifndef TT_GEOMETRY_LINE_H
#define TT_GEOMETRY_LINE_H

#include <stddef.h>

#include "base/status.h"
#include "model/frames.h"

/* cos(phi) x + sin(phi) y = d, phi in (-pi/2, pi/2]. */
struct tt_line {
    double normal_angle_rad; /* phi */
    double d_mm;
    double rms_mm;              /* root of (sum of squared distances / (n - 2)); 0 for n = 2 */
    double u_angle_rad, u_d_mm; /* standard, from rms_mm; 0 for n = 2 */
    double cov_angle_d_rad_mm;
};

/* Fit through @n points (n >= 2). TIPTRUE_E_DEGENERATE: they span less than @resolution_mm, or no
 * direction is better than another; *line is unchanged. */
TT_MUST_USE enum tiptrue_status tt_line_fit(const struct tt_machine_xy points[], size_t n,
                                            double resolution_mm, struct tt_line *line);

#endif
