/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Words for the terms; the ends of a board and of what it says. */
#include "config.h"

#include "model/placement.h"

#include <stdlib.h>

#include "model/board.h"

static const char *const words[TT_TERM_KINDS] = {
    [TT_TERM_COMMON] = "common",
    [TT_TERM_OFFSET] = "offset",
    [TT_TERM_TURNING] = "turning",
    [TT_TERM_SCALE] = "scale",
    [TT_TERM_SCALE_X] = "scale-x",
    [TT_TERM_SCALE_Y] = "scale-y",
    [TT_TERM_SHEAR] = "shear",
    [TT_TERM_TURN] = "turn",
    [TT_TERM_ANGLE_COMMON] = "angle-common",
    [TT_TERM_MOVE] = "move",
    [TT_TERM_ANGLE] = "angle",
};

const char *tt_term_word(enum tt_term_kind kind)
{
    return words[kind];
}

void tiptrue_board_free(struct tiptrue_board *board)
{
    if (board != NULL) {
        free(board->source.text);
        tt_arena_clear(&board->arena);
        free(board);
    }
}

void tiptrue_placement_free(struct tiptrue_placement *placement)
{
    if (placement != NULL) {
        tt_arena_clear(&placement->arena);
        free(placement);
    }
}
