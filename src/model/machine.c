/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A machine's end: all it consists of stands in its arena; and what its tips' offsets are. */
#include "config.h"

#include "model/machine.h"

#include <stdlib.h>
#include <string.h>

#include "model/plate.h"
#include "tiptrue.h"

void tiptrue_machine_free(struct tiptrue_machine *machine)
{
    if (machine != NULL) {
        tt_arena_clear(&machine->arena);
        free(machine->source.text);
        free(machine);
    }
}

bool tt_found_with(const struct tt_tip *tip, const struct tiptrue_plate *plate)
{
    const char *name = plate->serial != NULL ? plate->serial : plate->name;

    return tip->has_offset && tip->offset_plate != NULL && strcmp(tip->offset_plate, name) == 0;
}
