/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Looking for damage that SQLite sees (structure, references) and that only the digests show
 * (bytes). */
#include "config.h"

#include <string.h>

#include "base/buffer.h"
#include "base/digest.h"
#include "history/store/sql.h"
#include "history/store/store.h"

struct looker {
    struct tiptrue_history *store;
    void (*told)(void *context, const char *text);
    void *context;
    struct tiptrue_error *error;
};

/* Each row of @sql is a fault: @form with the row's first two columns as text. */
static enum tiptrue_status tell_rows(const struct looker *looker, const char *sql, const char *form,
                                     const char *good)
{
    sqlite3_stmt *statement;
    bool row = true;
    enum tiptrue_status status = tt_sql_get(looker->store, sql, &statement, looker->error);

    while (status == TIPTRUE_OK &&
           (status = tt_sql_next(looker->store, statement, &row, looker->error)) == TIPTRUE_OK &&
           row) {
        const char *first = tt_sql_column(statement, 0);
        struct tt_buffer text = {0};
        if (first != NULL && good != NULL && strcmp(first, good) == 0) {
            continue;
        }
        tt_buffer_puts(&text, form);
        tt_buffer_puts(&text, first != NULL ? first : "NULL");
        if (text.failed) {
            status = tt_fail_memory(looker->error);
        } else {
            looker->told(looker->context, text.text);
        }
        tt_buffer_clear(&text);
    }
    if (status != TIPTRUE_OK) {
        tt_sql_reset_all(looker->store);
    }
    return status;
}

/* Each row of @sql holds a name, a digest and the text it must be of. */
static enum tiptrue_status check_digests(const struct looker *looker, const char *sql,
                                         const char *form)
{
    sqlite3_stmt *statement;
    bool row = true;
    enum tiptrue_status status = tt_sql_get(looker->store, sql, &statement, looker->error);

    while (status == TIPTRUE_OK &&
           (status = tt_sql_next(looker->store, statement, &row, looker->error)) == TIPTRUE_OK &&
           row) {
        const char *stated = tt_sql_column(statement, 1);
        struct tt_text text = tt_sql_column_text(statement, 2);
        char digest[17];
        struct tt_buffer told = {0};
        tt_digest(text.text != NULL ? text.text : "", text.length, digest);
        if (stated != NULL && strcmp(stated, digest) == 0) {
            continue;
        }
        const char *name = tt_sql_column(statement, 0);
        tt_buffer_printf(&told, "%s %s: its bytes are not those that were stored", form,
                         name != NULL ? name : "");
        if (told.failed) {
            status = tt_fail_memory(looker->error);
        } else {
            looker->told(looker->context, told.text);
        }
        tt_buffer_clear(&told);
    }
    if (status != TIPTRUE_OK) {
        tt_sql_reset_all(looker->store);
    }
    return status;
}

enum tiptrue_status tt_store_verify(struct tiptrue_history *store,
                                    void (*told)(void *context, const char *text), void *context,
                                    struct tiptrue_error *error)
{
    const struct looker looker = {store, told, context, error};
    enum tiptrue_status status = tell_rows(&looker, "PRAGMA integrity_check", "structure: ", "ok");

    if (status == TIPTRUE_OK) {
        status = tell_rows(
            &looker,
            "SELECT \"table\" || ' ' || rowid || ' -> ' || parent FROM pragma_foreign_key_check",
            "a reference to nothing: ", NULL);
    }
    if (status == TIPTRUE_OK) {
        status = tell_rows(
            &looker,
            "SELECT id FROM run u WHERE NOT EXISTS(SELECT 1 FROM result r WHERE r.run = u.no)",
            "a run without a result: ", NULL);
    }
    if (status == TIPTRUE_OK) {
        status = tell_rows(
            &looker,
            "SELECT id FROM run u WHERE NOT EXISTS(SELECT 1 FROM summary s WHERE s.run = u.no)"
            " AND NOT EXISTS(SELECT 1 FROM pending p WHERE p.run = u.no)",
            "a run without a summary: ", NULL);
    }
    if (status == TIPTRUE_OK) {
        status = check_digests(
            &looker, "SELECT kind || ' document ' || no, digest, text FROM document", "the");
    }
    if (status == TIPTRUE_OK) {
        status = check_digests(&looker,
                               "SELECT u.id, u.id, l.text FROM run u JOIN log l ON l.run = u.no",
                               "the log of run");
    }
    if (status == TIPTRUE_OK) {
        status = check_digests(
            &looker, "SELECT u.id, r.digest, r.json FROM result r JOIN run u ON u.no = r.run",
            "a result of run");
    }
    return status;
}
