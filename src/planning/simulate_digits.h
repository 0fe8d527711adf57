/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The digits that a simulated run is printed with. */
#ifndef TT_PLANNING_SIMULATE_DIGITS_H
#define TT_PLANNING_SIMULATE_DIGITS_H

#include "model/run.h"

/* Fewest decimals of a millimetre; decimals of pixels. */
#define TT_LEAST_DECIMALS 4
#define TT_PIXEL_DECIMALS 3

/* Decimals, four to nine, that show @step_mm exactly, or without one (0) are fine enough for
 * @sigma_mm. */
int tt_simulate_decimals(double step_mm, double sigma_mm);

/* Round the coordinates of @run to what will be printed: so many decimals of sightings, of touches,
 * and of the Z of heights. */
void tt_simulate_digits(struct tiptrue_run *run, int sighting_decimals, int touch_decimals,
                        int height_decimals);

#endif
