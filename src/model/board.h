/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board with parts: where each part was wanted and where a measuring device found it. Read by
 * ingest, never changed afterwards. */
#ifndef TT_MODEL_BOARD_H
#define TT_MODEL_BOARD_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "model/frames.h"

/* Tips of one board: what shows in its parts is searched for among some two terms for each. */
#define TT_MOST_BOARD_TIPS 22

/* One part. In the frame `board` both places count from the board's own origin, its axes parallel
 * to the machine's. Rotations are kept counter-clockwise, whatever the machine's sense. */
struct tt_part {
    const char *name; /* as in the file; NULL = none */
    size_t line;
    size_t tip; /* index into tt_board.tips */
    struct tt_machine_xy wanted, found;
    double rotation_rad;
    bool has_found_rotation;
    double found_rotation_rad;
};

struct tiptrue_board {
    const char *file, *machine, *started; /* machine, started: NULL = not stated */
    char id[17];                          /* digest of the file's bytes */
    bool own_frame;                       /* places are in the board's frame: where it lies on the
                                             machine is not known */
    bool clockwise; /* rotations were logged clockwise seen from above; they are turned here */
    bool has_u_board, has_u_device;
    double
        u_board_mm; /* standard uncertainty of the board's seat, each axis, common to all parts */
    double u_device_mm; /* of the measuring device, each axis, common to all parts */
    struct tt_part *parts;
    size_t n_parts;
    size_t n_not_found; /* rows without a found place: the part is not on the board */
    const char **tips;  /* those with parts, in the machine file's order, else as they appear */
    size_t n_tips;
    struct tt_bytes source; /* the file as read */
    struct tt_arena arena;
};

#endif
