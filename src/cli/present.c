/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See present.h. A file that has the name of a word is ./machine. */
#include "config.h"

#include "cli/inputs.h"

#include <string.h>

enum tiptrue_status cli_present_read(const char *word, struct tiptrue_machine *machine,
                                     struct tiptrue_error *error)
{
    if (word != NULL && strcmp(word, "machine") == 0) {
        return TIPTRUE_OK;
    }
    if (word != NULL && strcmp(word, "none") == 0) {
        tiptrue_machine_present_none(machine);
        return TIPTRUE_OK;
    }
    return tiptrue_machine_present(machine, word, error);
}
