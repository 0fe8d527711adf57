/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The remarks before a board's rows: machine, started, units, frame, board_u, device_u. */
#ifndef TT_INGEST_BOARD_METADATA_H
#define TT_INGEST_BOARD_METADATA_H

#include "ingest/table.h"
#include "model/board.h"

enum tt_board_key {
    TT_BOARD_MACHINE,
    TT_BOARD_STARTED,
    TT_BOARD_UNITS,
    TT_BOARD_FRAME,
    TT_BOARD_BOARD_U,
    TT_BOARD_DEVICE_U,
    TT_BOARD_OPERATOR,
    TT_BOARD_NOTE,
    TT_BOARD_KEYS /* how many */
};

struct tt_board_metadata {
    struct tt_diagnose *diagnose;
    struct tiptrue_board *board; /* its uncertainties stay in the file's unit here */
    double mm_per_unit;
    const char *stated[TT_BOARD_KEYS]; /* where each key was; NULL = not yet */
    bool out_of_memory;
};

/* Enter one remark, @late: behind the header, where none of ours may stand. A remark of another
 * form is nobody's; an unknown key is a warning. */
void tt_board_remark(struct tt_board_metadata *metadata, const struct tt_cell *remark, bool late);

#endif
