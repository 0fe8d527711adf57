/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Means on the circle. */
#ifndef TT_PLACEMENT_ANGLE_H
#define TT_PLACEMENT_ANGLE_H

#include <stddef.h>

/* Direction of the sum of the unit vectors (N. I. Fisher, Statistical analysis of circular data,
 * 1993, 2.3), each with its weight, in (-pi, pi]; 0 where they cancel or there are none. */
double tt_angle_mean(const double angles_rad[], const double weights[], size_t n);

#endif
