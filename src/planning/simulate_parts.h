/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How far the features of a plate lie off, by a truth. */
#ifndef TT_PLANNING_SIMULATE_PARTS_H
#define TT_PLANNING_SIMULATE_PARTS_H

#include "base/status.h"
#include "geometry/pose.h"
#include "model/plate.h"
#include "model/run.h"
#include "model/truth.h"

/* By index of the plate's edges, pads, groups and marks. */
struct tt_shifts {
    double *edge_mm; /* along the normal */
    double *pad_mm;  /* upwards */
    struct tt_plate_xy *group, *mark;
};

/* The shifts that @truth names, 0 of what it does not; memory from @arena. TIPTRUE_E_DATA: it names
 * what @plate does not have. */
TT_MUST_USE enum tiptrue_status tt_simulate_shifts(const struct tiptrue_plate *plate,
                                                   const struct tiptrue_truth *truth,
                                                   struct tt_arena *arena, struct tt_shifts *shifts,
                                                   struct tiptrue_error *error);

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
