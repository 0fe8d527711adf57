/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How many touches and sightings, and which touches, for all tips of a plan.
 *
 * For a target: the uncertainty on the plate falls with every touch and every sighting, since the
 * plate is held. So for each number of sightings there is a fewest number of touches; it is found
 * from designs of a few sizes, between which u^2 is linear in one over the touches, then step by
 * step. All tips are judged together, by the solver's own covariance, as a run of them will be:
 * they share the pose. Tips that fit to the same places share one exchange.
 */
#ifndef TT_PLANNING_CHOOSE_H
#define TT_PLANNING_CHOOSE_H

#include "adjust/adjust.h"
#include "model/proposal.h"
#include "planning/design.h"

/* A tip is not planned more touches than this: 40 minutes of touching. What is not reached with
 * them is limited by something else.
 */
#define TT_MOST_TOUCHES 240

/* Touches of a tip without a target: six on each of four edges, the example's. */
#define TT_USUAL_TOUCHES 24

struct tt_planner {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_plan_options *options;
    struct tt_adjust_workspace *workspace;
    const struct tiptrue_run *sighted; /* NULL: the plate is where the machine file says */
    struct tt_arena arena;
    struct tt_scene scene;
    struct tt_design *designs; /* by planned tip */
    size_t *tips;              /* planned tips: index into the scene's */
    size_t n_tips, n_designs;
    struct tt_probe *chosen; /* of each planned tip, TT_MOST_TOUCHES + 1 apart */
    struct tt_probe *probes; /* all that are planned */
    size_t n_probes;
    size_t *counts; /* touches of each planned tip */
    struct tt_probe *scratch;
};

/* Choose the touches of every tip into planner->chosen and counts, and the sightings into the
 * scene, by the options. */
TT_MUST_USE enum tiptrue_status tt_choose(struct tt_planner *planner, struct tiptrue_error *error);

/* The fewest touches of all tips that a plan may have, by the rules of adjust/check.h. */
size_t tt_choose_bound(const struct tt_planner *planner);

/* The fewest touches of all tips, from @from on, with which a run would be used; 0: more than are
 * planned. */
TT_MUST_USE enum tiptrue_status tt_choose_least(struct tt_planner *planner, size_t from,
                                                size_t *least, struct tiptrue_error *error);

/* All tips' touches, one after the other, into planner->probes. */
void tt_choose_gather(struct tt_planner *planner);

#endif
