/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run's end: all it consists of stands in its arena. */
#include "config.h"

#include "model/run.h"

#include <stdlib.h>

#include "tiptrue.h"

void tiptrue_run_free(struct tiptrue_run *run)
{
    if (run != NULL) {
        tt_arena_clear(&run->arena);
        free(run->source.text);
        free(run);
    }
}
