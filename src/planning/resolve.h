/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Moves of a plan with their names turned into indexes of plate and machine. */
#ifndef TT_PLANNING_RESOLVE_H
#define TT_PLANNING_RESOLVE_H

#include "base/status.h"
#include "model/machine.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/run.h"

struct tt_resolved_move {
    const struct tt_move *move;
    size_t target, tip,
        setup;             /* tip, setup: index into the table below; tip TT_NONE for sightings */
    struct tt_plate_xy at; /* touches: on the edge, its middle where the plan says nothing;
                              heights: the pad's place */
};

struct tt_resolved {
    struct tt_resolved_move *moves;
    size_t n_moves;
    const char **tips; /* the machine's first, then others in order of appearance */
    size_t n_tips;
    const char **setups; /* in order of appearance */
    double *turned_rad;  /* of each, against the machine file's yaw */
    size_t n_setups;
};

/* Memory from @arena; texts are borrowed. TIPTRUE_E_DATA: a name that plate or machine does not
 * have, or a height without a tip. */
TT_MUST_USE enum tiptrue_status
tt_plan_resolve(const struct tiptrue_plan *plan, const struct tiptrue_plate *plate,
                const struct tiptrue_machine *machine, struct tt_arena *arena,
                struct tt_resolved *resolved, struct tiptrue_error *error);

#endif
