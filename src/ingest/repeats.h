/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Blocks of rows that stand in a file twice. */
#ifndef TT_INGEST_REPEATS_H
#define TT_INGEST_REPEATS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/status.h"

/* Numbers of a row at most. */
#define TT_MOST_REPEATED 20

/* Rows of any kind: all that a row states, as numbers. */
struct tt_repeatable {
    const void *rows;
    size_t n;
    size_t n_numbers;
    void (*numbers)(const void *rows, size_t i, double numbers[]);
};

/* again[i] (false before) becomes true for each row of a block of @least rows or more, or of the
 * second half of all rows, that equals earlier ones in their order; *count: how many. @scratch:
 * memory. false: out of memory. Cost: linear in the rows. */
TT_MUST_USE bool tt_repeats_find(const struct tt_repeatable *rows, size_t least, bool again[],
                                 size_t *count, struct tt_arena *scratch);

#endif
