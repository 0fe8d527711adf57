/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Boards with parts, beside the runs. */
#ifndef TT_HISTORY_STORE_BOARDS_H
#define TT_HISTORY_STORE_BOARDS_H

#include "history/store/store.h"
#include "model/board_record.h"

/* What came of entering one. */
struct tt_board_outcome {
    bool is_new, judged_anew; /* neither: nothing was written */
    char since[32];           /* when it was added; empty for a new one */
};

/* Enter a board, in a transaction of its own unless a group is open. One that is there already with
 * the same judgement by the same version is left as it is; another judgement replaces the one there
 * was, unless that is later. TIPTRUE_E_DATA: its id stands for another table. */
TT_MUST_USE enum tiptrue_status tt_store_put_board(struct tiptrue_history *store,
                                                   const struct tt_board_record *board,
                                                   struct tt_board_outcome *outcome,
                                                   struct tiptrue_error *error);

/* Hand over each board that @query (its times are of boards) asks for, in order of time, without
 * table, json and said; texts live during the call, whose status ends the reading where it is not
 * TIPTRUE_OK. */
TT_MUST_USE enum tiptrue_status
tt_store_boards(struct tiptrue_history *store, const struct tt_store_query *query,
                enum tiptrue_status (*each)(void *context, const struct tt_board_record *board),
                void *context, struct tiptrue_error *error);

/* All of the board @id, its texts in @arena. TIPTRUE_E_NO_INPUT: there is none. */
TT_MUST_USE enum tiptrue_status tt_store_load_board(struct tiptrue_history *store, const char *id,
                                                    struct tt_arena *arena,
                                                    struct tt_board_record *board,
                                                    struct tiptrue_error *error);

/* The board whose id begins with @text, as tiptrue_history_find has runs. */
TT_MUST_USE enum tiptrue_status tt_store_find_board(struct tiptrue_history *store, const char *text,
                                                    char id[TT_RUN_ID_SIZE],
                                                    struct tiptrue_error *error);

#endif
