/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Touches from above for a plan: on which pads, at which rotations, in which order.
 *
 * A-optimal: touch by touch the one is taken that lessens most the sum of the variances of the
 * tip's height, of the slope (at the distance of the furthest pad) and of its face runout, of all
 * tips' touches together, pads' own errors among the unknowns; then each is exchanged while that
 * sum falls (V. V. Fedorov, Theory of Optimal Experiments, 1972). The covariance is brought up to
 * date by the formula of planning/scene.h. Cost: touches x candidates x unknowns^2.
 */
#ifndef TT_PLANNING_FROM_ABOVE_H
#define TT_PLANNING_FROM_ABOVE_H

#include "model/proposal.h"
#include "planning/scene.h"

struct tt_height_probe {
    size_t tip, pad;     /* of the scene; of the plate */
    double rotation_rad; /* as logged */
};

/* What is planned, and expected of it. Arrays are of the arena it was made with. */
struct tt_height_plan {
    struct tt_height_probe *probes; /* in order */
    size_t n;
    struct tt_planned_height *expected; /* for each planned tip */
    size_t n_expected;
    double u_slope_x, u_slope_y; /* rad */
};

/* How many touches from above of which tips (of the scene). */
struct tt_height_wish {
    const size_t *tips;
    size_t n, each; /* each: of each tip, 1 or more */
};

/* The touches of @wish in the first setup of @scene, on pads that are in use and have a place.
 * TIPTRUE_E_DATA: the plate has no such pad. */
TT_MUST_USE enum tiptrue_status tt_plan_heights(const struct tt_scene *scene,
                                                const struct tt_height_wish *wish,
                                                struct tt_arena *arena, struct tt_height_plan *plan,
                                                struct tiptrue_error *error);

/* Where the head is expected at contact, and its Z as *z_mm by the present height; returns the
 * standard uncertainty of that Z, HUGE_VAL where the height is not stated. */
double tt_height_probe_place(const struct tt_scene *scene, const struct tt_height_probe *probe,
                             struct tt_machine_xy *head, double *z_mm);

#endif
