/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Plans: the moves that reach a wanted uncertainty with the fewest touches, or make the best of a
 * number of them. */
#ifndef TT_PLANNING_PLAN_H
#define TT_PLANNING_PLAN_H

#include "adjust/adjust.h"
#include "model/proposal.h"

/* Moves from nothing. TIPTRUE_E_USAGE: the options contradict each other. TIPTRUE_E_DATA: the files
 * say too little of a tip, or it fits nowhere. Where no touches on this plate determine the offset,
 * or no run on it would be used, the proposal is a refusal: TIPTRUE_OK all the same. */
TT_MUST_USE enum tiptrue_status
tt_plan_make(struct tt_adjust_workspace *workspace, const struct tiptrue_plate *plate,
             const struct tiptrue_machine *machine, const struct tiptrue_plan_options *options,
             struct tiptrue_proposal **proposal, struct tiptrue_error *error);

/* The same with the plate where the sightings of @run, which holds no touches, show it: for a
 * motion program, which must know that to a fraction of its start distance. TIPTRUE_E_DATA: a setup
 * in which fewer than two marks were sighted. */
TT_MUST_USE enum tiptrue_status
tt_plan_sighted(struct tt_adjust_workspace *workspace, const struct tiptrue_plate *plate,
                const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                const struct tiptrue_plan_options *options, struct tiptrue_proposal **proposal,
                struct tiptrue_error *error);

/* The touches that help most after @run; none where the target is met. */
TT_MUST_USE enum tiptrue_status
tt_plan_next(struct tt_adjust_workspace *workspace, const struct tiptrue_plate *plate,
             const struct tiptrue_machine *machine, const struct tiptrue_run *run,
             const struct tiptrue_plan_options *options, struct tiptrue_proposal **proposal,
             struct tiptrue_error *error);

#endif
