/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/store/newest.h"

#include <stdio.h>

void tt_copy_word(char to[32], const char *from)
{
    snprintf(to, 32, "%s", from);
}

enum tiptrue_status tt_find_newest(struct tiptrue_history *store, sqlite3_int64 run,
                                   struct tt_known_result *newest, struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT no, plate, machine, plan, pattern, added, version FROM result WHERE run = ?"
        " ORDER BY added DESC, no DESC LIMIT 1";
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status =
        tt_sql_first(store, SQL, TT_SQL_VALUES(TT_AS_INTEGER(run)), &statement, &row, error);

    *newest = (struct tt_known_result){0};
    if (status == TIPTRUE_OK && row) {
        newest->no = sqlite3_column_int64(statement, 0);
        for (int i = 0; i < TT_DOCUMENT_KINDS; i++) {
            newest->documents[i] = sqlite3_column_int64(statement, 1 + i);
        }
        tt_copy_word(newest->added, tt_sql_word(statement, 5));
        tt_copy_word(newest->version, tt_sql_word(statement, 6));
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_store_newest(struct tiptrue_history *store, const char *id,
                                    sqlite3_int64 *run, sqlite3_int64 *result,
                                    struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT no FROM run WHERE id = ?";
    struct tt_known_result newest = {0};
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status =
        tt_sql_first(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(id)), &statement, &row, error);

    *run = *result = 0;
    if (status == TIPTRUE_OK && row) {
        *run = sqlite3_column_int64(statement, 0);
        sqlite3_reset(statement);
        status = tt_find_newest(store, *run, &newest, error);
        *result = newest.no;
    }
    return status;
}
