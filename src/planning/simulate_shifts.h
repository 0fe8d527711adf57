/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How far the features of a plate lie off, by a truth. */
#ifndef TT_PLANNING_SIMULATE_SHIFTS_H
#define TT_PLANNING_SIMULATE_SHIFTS_H

#include "base/status.h"
#include "model/plate.h"
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

#endif
