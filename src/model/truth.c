/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A truth's end: all it consists of stands in its arena. */
#include "config.h"

#include "model/truth.h"

#include <stdlib.h>

#include "tiptrue.h"

void tiptrue_truth_free(struct tiptrue_truth *truth)
{
    if (truth != NULL) {
        tt_arena_clear(&truth->arena);
        free(truth);
    }
}
