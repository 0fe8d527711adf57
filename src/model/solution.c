/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The end of a solution. */
#include "config.h"

#include "model/solution.h"

#include <stdlib.h>

void tiptrue_solution_free(struct tiptrue_solution *solution)
{
    if (!solution) {
        return;
    }
    /* the arena lies in the block and owns the rest, never the block itself */
    tt_arena_clear(&solution->arena);
    free(solution);
}
