/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What was written into the configurations of a machine, newest first. */
#include "config.h"

#include "history/store/store.h"

#include "history/store/sql.h"

/* More exports than this are not gone back: the offset in use is of one of the last. */
#define MOST_EXPORTS 500

enum tiptrue_status tt_store_exports(struct tiptrue_history *store, const char *machine,
                                     bool (*each)(void *context,
                                                  const struct tt_store_exported *exported),
                                     void *context, struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT summary.id, summary.plate_key, export.time, export.file, export.old_values, "
        "export.new_values"
        " FROM export JOIN summary ON summary.run = export.run WHERE summary.machine = ?"
        " ORDER BY export.no DESC LIMIT ?";
    sqlite3_stmt *statement;
    bool row = true, more = true;
    enum tiptrue_status status =
        tt_sql_ask(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(machine), TT_AS_INTEGER(MOST_EXPORTS)),
                   &statement, error);

    while (status == TIPTRUE_OK && more &&
           (status = tt_sql_next(store, statement, &row, error)) == TIPTRUE_OK && row) {
        const struct tt_store_exported exported = {
            .run = tt_sql_column(statement, 0),
            .plate = tt_sql_column(statement, 1),
            .time = tt_sql_column(statement, 2),
            .file = tt_sql_column(statement, 3),
            .old_values = tt_sql_column_text(statement, 4),
            .new_values = tt_sql_column_text(statement, 5),
        };
        more = each(context, &exported);
    }
    tt_sql_reset_all(store);
    return status;
}
