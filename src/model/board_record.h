/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board as a history keeps it: the table as it was read, and what was said of it. */
#ifndef TT_MODEL_BOARD_RECORD_H
#define TT_MODEL_BOARD_RECORD_H

#include <stddef.h>

#include "model/record.h"

struct tt_board_record {
    char id[TT_RUN_ID_SIZE];   /* digest of the table */
    const char *machine;       /* the machine file's name */
    const char *started;       /* RFC 3339; NULL = not stated, and `added` stands in */
    const char *added;         /* when it was entered first */
    const char *judged;        /* when it was judged; RFC 3339, UTC, as `added` */
    const char *version;       /* of the program that judged */
    const char *verdict, *run; /* "keep", "update", "repeat"; the run it was joined with, or NULL */
    double time_s;             /* of `started`, else of `added`: seconds since 1970 */
    size_t parts_read, parts_used;
    struct tt_text table; /* these three only of a record that is loaded whole, or put */
    struct tt_text json;  /* tiptrue.placement/1 on one line */
    struct tt_text said;  /* the same for a person */
};

#endif
