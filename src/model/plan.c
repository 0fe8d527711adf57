/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A plan's end: all it consists of stands in its arena. */
#include "config.h"

#include "model/plan.h"

#include <stdlib.h>

#include "tiptrue.h"

void tiptrue_plan_free(struct tiptrue_plan *plan)
{
    if (plan != NULL) {
        tt_arena_clear(&plan->arena);
        free(plan->source.text);
        free(plan);
    }
}
