/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "placement/angle.h"

#include <math.h>

double tt_angle_mean(const double angles_rad[], const double weights[], size_t n)
{
    double cosines = 0.0, sines = 0.0;
    for (size_t i = 0; i < n; i++) {
        cosines += weights[i] * cos(angles_rad[i]);
        sines += weights[i] * sin(angles_rad[i]);
    }
    return cosines == 0.0 && sines == 0.0 ? 0.0 : atan2(sines, cosines);
}
