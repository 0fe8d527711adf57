/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Names to indexes, in order of appearance, and what a misspelt name may have meant. */
#ifndef TT_INGEST_NAMES_H
#define TT_INGEST_NAMES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "ingest/diagnose.h"

struct tt_names {
    struct tt_arena
        *arena; /* what the table itself is made of; set by the owner, the rest starts as {0} */
    const char **texts; /* borrowed, NUL-terminated */
    size_t *lengths;
    size_t count, capacity;
    size_t last;     /* found last: rows come in runs of one name */
    uint32_t *slots; /* index + 1, 0 = free; NULL while the names are few */
    size_t n_slots;
};

/* Index of the name, or TT_NONE. */
size_t tt_names_find(struct tt_names *names, const char *text, size_t length);
/* Enter a name that is not there, borrowed for the table's life. false: out of memory. */
bool tt_names_add(struct tt_names *names, const char *text);

/* Index of the one of @n names that @text is most likely a misspelling of, or TT_NONE when none is
 * near. */
size_t tt_names_nearest(const char *const *known, size_t n, const char *text, size_t length);
/* "did you mean 'east'? known edges: 'east', 'west'", as much as fits; @what is the plural. */
void tt_names_hint(const char *const *known, size_t n, const char *what, const char *text,
                   size_t length, char hint[TT_HINT_SIZE]);

#endif
