/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Words and end of a record. */
#include "config.h"

#include "model/record.h"

const char *const tt_document_words[TT_DOCUMENT_KINDS] = {[TT_DOCUMENT_PLATE] = "plate",
                                                          [TT_DOCUMENT_MACHINE] = "machine",
                                                          [TT_DOCUMENT_PLAN] = "plan",
                                                          [TT_DOCUMENT_PATTERN] = "pattern"};

void tt_record_clear(struct tt_record *record)
{
    tt_arena_clear(&record->arena);
    *record = (struct tt_record){0};
}

bool tt_board_record_keep(struct tt_board_record *record, struct tt_arena *arena)
{
    const char **const words[] = {&record->machine, &record->started, &record->added,
                                  &record->judged,  &record->version, &record->verdict,
                                  &record->run};
    bool good = true;

    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        *words[i] = tt_arena_keep(arena, *words[i], &good);
    }
    return good;
}
