/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A machine's end: all it consists of stands in its arena. */
#include "config.h"

#include "model/machine.h"

#include <stdlib.h>

#include "tiptrue.h"

void tiptrue_machine_free(struct tiptrue_machine *machine)
{
    if (machine != NULL) {
        tt_arena_clear(&machine->arena);
        free(machine->source.text);
        free(machine);
    }
}
