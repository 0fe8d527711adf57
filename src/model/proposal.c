/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A proposal's end: all it consists of stands in its plan's arena, but the two solutions. */
#include "config.h"

#include "model/proposal.h"

#include <stdlib.h>

#include "tiptrue.h"

void tiptrue_proposal_free(struct tiptrue_proposal *proposal)
{
    if (proposal != NULL) {
        tiptrue_solution_free(proposal->expected);
        tiptrue_solution_free(proposal->solved);
        tt_arena_clear(&proposal->plan.arena);
        free(proposal);
    }
}
