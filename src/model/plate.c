/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A plate's end: all it consists of stands in its arena. */
#include "config.h"

#include "model/plate.h"

#include <stdlib.h>

#include "tiptrue.h"

void tiptrue_plate_free(struct tiptrue_plate *plate)
{
    if (plate != NULL) {
        tt_arena_clear(&plate->arena);
        free(plate->source.text);
        free(plate);
    }
}
