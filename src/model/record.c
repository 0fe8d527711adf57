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
