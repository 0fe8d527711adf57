/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The ends of what passes between rooms: all that each consists of stands in its arena, but for the
 * text it was read from and a proposal's two solutions. */
#include "config.h"

#include "model/run.h"

#include <stdlib.h>

#include "model/plan.h"
#include "model/plate.h"
#include "model/proposal.h"
#include "model/truth.h"
#include "tiptrue.h"

void tiptrue_run_free(struct tiptrue_run *run)
{
    if (run != NULL) {
        tt_arena_clear(&run->arena);
        free(run->source.text);
        free(run);
    }
}

void tiptrue_plan_free(struct tiptrue_plan *plan)
{
    if (plan != NULL) {
        tt_arena_clear(&plan->arena);
        free(plan->source.text);
        free(plan);
    }
}

void tiptrue_plate_free(struct tiptrue_plate *plate)
{
    if (plate != NULL) {
        tt_arena_clear(&plate->arena);
        free(plate->source.text);
        free(plate);
    }
}

void tiptrue_truth_free(struct tiptrue_truth *truth)
{
    if (truth != NULL) {
        tt_arena_clear(&truth->arena);
        free(truth);
    }
}

void tiptrue_proposal_free(struct tiptrue_proposal *proposal)
{
    if (proposal != NULL) {
        tiptrue_solution_free(proposal->expected);
        tiptrue_solution_free(proposal->solved);
        tt_arena_clear(&proposal->plan.arena);
        free(proposal);
    }
}
