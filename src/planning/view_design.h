/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which marks a plan views, how often, and where in the picture.
 *
 * Candidates are the corners of the picture, the middles of its sides and its middle, an eighth of
 * it away from its edges, of each mark in use. A-optimal on two places: the tip's axis on this
 * plate (the offset with the plate held), and a feature at the picture's corner, by scale, turn and
 * shear. View by view the candidate is taken that lessens the sum of both variances most; then each
 * is exchanged while that sum falls (V. V. Fedorov, Theory of Optimal Experiments, 1972). Every
 * covariance is the adjustment's own (planning/scene.h). Cost: views x candidates x one covariance
 * of a run with one tip's touches.
 */
#ifndef TT_PLANNING_VIEW_DESIGN_H
#define TT_PLANNING_VIEW_DESIGN_H

#include "planning/scene.h"

/* Views of a setup at least: twice the three places that tell a picture; at most. */
#define TT_LEAST_VIEWS 6
#define TT_MOST_VIEWS 100

/* How many views of each setup: @n, or 0: the fewest with which the place of a feature at the
 * picture's corner is known to @corner_mm, expanded (95 %). */
struct tt_view_wish {
    size_t n;
    double corner_mm;
    const struct tt_probe *probes; /* usual touches of one tip, which make the run whole */
    size_t n_probes;
    struct tt_adjust_workspace *workspace;
};

/* The expanded uncertainty (95 %) of a feature's place at the picture's corner, by what is
 * @expected; HUGE_VAL: the views do not tell. */
double tt_view_corner_mm(const struct tiptrue_solution *expected);

/* Scale, turn and whether it is mirrored, as @found by views, into the camera of @machine; nothing
 * where they do not tell it. */
void tt_view_camera(struct tiptrue_machine *machine, const struct tt_camera_result *found);

/* The views of @wish into @scene, in place of its sightings; where a run was begun, beside what it
 * holds: then its touches count, and @wish has one of them at least, which is not made. Memory from
 * @arena. TIPTRUE_E_DATA: the machine file does not state the picture's size and scale.
 * TIPTRUE_E_USAGE: too few, or too many.
 */
TT_MUST_USE enum tiptrue_status tt_plan_views(struct tt_scene *scene,
                                              const struct tt_view_wish *wish,
                                              struct tt_arena *arena, struct tiptrue_error *error);

#endif
