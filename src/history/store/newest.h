/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which result of a run counts. Nobody outside this folder includes this. */
#ifndef TT_HISTORY_STORE_NEWEST_H
#define TT_HISTORY_STORE_NEWEST_H

#include "history/store/sql.h"
#include "model/record.h"

/* A result as the store knows it. */
struct tt_known_result {
    sqlite3_int64 no;                           /* 0 = none */
    sqlite3_int64 documents[TT_DOCUMENT_KINDS]; /* 0 = none */
    char added[32], version[32];
};

/* The result of run number @run that counts: the latest one, of two at the same time the one
 * entered later; no is 0 where it has none. */
TT_MUST_USE enum tiptrue_status tt_find_newest(struct tiptrue_history *store, sqlite3_int64 run,
                                               struct tt_known_result *newest,
                                               struct tiptrue_error *error);

/* The numbers of the run @id and of that result; 0: there is none. */
TT_MUST_USE enum tiptrue_status tt_store_newest(struct tiptrue_history *store, const char *id,
                                                sqlite3_int64 *run, sqlite3_int64 *result,
                                                struct tiptrue_error *error);

/* A time or a version, cut to its room. */
void tt_copy_word(char to[32], const char *from);

#endif
