/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From chosen touches to a proposal: moves with names and ids, what is expected of them, and what
 * limits it. */
#ifndef TT_PLANNING_PROPOSE_H
#define TT_PLANNING_PROPOSE_H

#include "model/proposal.h"
#include "planning/design.h"
#include "planning/from_above.h"

/* What a proposal is made of. */
struct tt_choice {
    const struct tt_scene *scene;
    const struct tt_probe *probes; /* in order */
    size_t n_probes;
    const struct tt_height_plan *heights; /* NULL: none */
    size_t first_id;
    double target_mm, target_view_mm; /* 0 = none */
    const struct tt_design
        *designs; /* for what was left out; one for each tip that was planned for */
    size_t n_designs;
    struct tiptrue_solution *expected; /* becomes the proposal's */
};

/* The largest same-plate expanded uncertainty of a tip on its axes; HUGE_VAL where it is not
 * determined. */
double tt_same_plate_mm(const struct tt_tip_result *tip);
/* What the same-plate variance of a tip (its worse axis) is made of, mm2. */
struct tt_parts {
    double touches, sightings, rest;
};
struct tt_parts tt_same_plate_parts(const struct tt_tip_result *tip);
/* Whether a run with what is @expected would be used: no finding against its determinacy. */
bool tt_plan_is_sound(const struct tiptrue_solution *expected);
/* The worst of the tips of @expected. */
const struct tt_tip_result *tt_worst_tip(const struct tiptrue_solution *expected);

/* *proposal becomes the caller's. On failure choice->expected stays the caller's. */
TT_MUST_USE enum tiptrue_status tt_propose(const struct tt_choice *choice,
                                           struct tiptrue_proposal **proposal,
                                           struct tiptrue_error *error);

/* One more note; beyond 64 they are dropped. */
void tt_proposal_note(struct tiptrue_proposal *proposal, struct tt_note note);

#endif
