/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See sql.h. Result codes: https://www.sqlite.org/rescode.html. */
#include "config.h"

#include "history/store/sql.h"

#include <stdlib.h>
#include <string.h>

/* What the system said, where SQLite knows it. */
static const char *reason(struct tiptrue_history *store)
{
    int number = store->db != NULL ? sqlite3_system_errno(store->db) : 0;
    return number != 0         ? strerror(number)
           : store->db != NULL ? sqlite3_errmsg(store->db)
                               : "out of memory";
}

enum tiptrue_status tt_sql_fail(struct tiptrue_history *store, int code,
                                struct tiptrue_error *error)
{
    const char *path = store->path;

    switch (code & 0xFF) {
    case SQLITE_OK:
        return TIPTRUE_OK;
    case SQLITE_NOMEM:
        return tt_fail_memory(error);
    case SQLITE_FULL:
        return tt_fail(error, TIPTRUE_E_IO, path, 0, 0,
                       "make room; what was stored before is as it was",
                       "the history cannot be written: the disk is full");
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return tt_fail(error, TIPTRUE_E_IO, path, 0, 0,
                       "the file and its folder must both be writable",
                       "the history cannot be written: it is read-only");
    case SQLITE_CANTOPEN:
        return tt_fail(error, TIPTRUE_E_IO, path, 0, 0,
                       "the file and its folder must both be there and writable",
                       "the history cannot be opened: %s", reason(store));
    case SQLITE_IOERR:
        return tt_fail(error, TIPTRUE_E_IO, path, 0, 0, "what was stored before is as it was",
                       "reading or writing the history failed: %s", reason(store));
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return tt_fail(
            error, TIPTRUE_E_IO, path, 0, 0, "another process may hold the lock; try again",
            "the history is held by another process, for %lu s already", store->waited_ms / 1000);
    case SQLITE_NOTADB:
        return tt_fail(error, TIPTRUE_E_DATA, path, 0, 0, "is it the file that was meant?",
                       "not a tiptrue history");
    case SQLITE_CORRUPT:
    case SQLITE_ERROR: /* of statements that are part of this program: a table of the file is not as
                          they expect it */
        return tt_fail(error, TIPTRUE_E_DATA, path, 0, 0,
                       "keep a copy; export what can be read, and import it into a new history",
                       "the history is damaged: %s", sqlite3_errmsg(store->db));
    case SQLITE_TOOBIG:
        return tt_fail(error, TIPTRUE_E_DATA, path, 0, 0, NULL,
                       "the text is too large for the history: at most 1 GB can be stored");
    default:
        return tt_fail(error, TIPTRUE_E_INTERNAL, path, 0, 0, NULL,
                       "the history answers '%s' (code %d)",
                       store->db != NULL ? sqlite3_errmsg(store->db) : sqlite3_errstr(code), code);
    }
}

/* One already prepared, made ready for new values; NULL: there is none. */
static sqlite3_stmt *find(struct tiptrue_history *store, const char *sql)
{
    for (size_t i = 0; i < store->n_kept; i++) {
        if (store->kept[i].sql == sql) {
            sqlite3_reset(store->kept[i].statement);
            sqlite3_clear_bindings(store->kept[i].statement);
            return store->kept[i].statement;
        }
    }
    return NULL;
}

enum tiptrue_status tt_sql_get(struct tiptrue_history *store, const char *sql,
                               sqlite3_stmt **statement, struct tiptrue_error *error)
{
    sqlite3_stmt *made = find(store, sql);

    if (made == NULL) {
        if (store->n_kept == store->room) {
            void *grown = realloc(store->kept, (2 * store->room + 16) * sizeof *store->kept);
            if (grown == NULL) {
                return tt_fail_memory(error);
            }
            store->kept = grown;
            store->room = 2 * store->room + 16;
        }
        int code = sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &made, NULL);
        if (code != SQLITE_OK) {
            return tt_sql_fail(store, code, error);
        }
        store->kept[store->n_kept].sql = sql;
        store->kept[store->n_kept++].statement = made;
    }
    *statement = made;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_sql_next(struct tiptrue_history *store, sqlite3_stmt *statement, bool *row,
                                struct tiptrue_error *error)
{
    store->waited_ms = 0;
    int code = sqlite3_step(statement);

    *row = code == SQLITE_ROW;
    if (code == SQLITE_ROW) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = code == SQLITE_DONE ? TIPTRUE_OK : tt_sql_fail(store, code, error);
    sqlite3_reset(statement);
    return status;
}

bool tt_sql_row(struct tiptrue_history *store, sqlite3_stmt *statement, enum tiptrue_status *status,
                struct tiptrue_error *error)
{
    bool row = false;

    if (*status == TIPTRUE_OK) {
        *status = tt_sql_next(store, statement, &row, error);
    }
    return row;
}

/* To its end, for what gives no row. */
static enum tiptrue_status finish(struct tiptrue_history *store, sqlite3_stmt *statement,
                                  struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;

    while (tt_sql_row(store, statement, &status, error)) {
    }
    return status;
}

/* Bind one value; texts must live until the statement is reset. */
static int bind(sqlite3_stmt *statement, int at, const struct tt_sql_value *v)
{
    const char *text = v->text.text;
    size_t length = v->kind == TT_SQL_TEXT && text != NULL ? strlen(text) : v->text.length;

    switch (v->kind) {
    case TT_SQL_INTEGER:
        return sqlite3_bind_int64(statement, at, v->integer);
    case TT_SQL_REAL:
        return sqlite3_bind_double(statement, at, v->real);
    case TT_SQL_ROOM:
        return sqlite3_bind_zeroblob64(statement, at, length);
    case TT_SQL_TEXT:
    case TT_SQL_WORDS:
    case TT_SQL_BLOB:
        break;
    }
    return text == NULL ? SQLITE_OK
           : v->kind == TT_SQL_BLOB
               ? sqlite3_bind_blob64(statement, at, text, length, SQLITE_STATIC)
               : sqlite3_bind_text64(statement, at, text, length, SQLITE_STATIC, SQLITE_UTF8);
}

enum tiptrue_status tt_sql_ask(struct tiptrue_history *store, const char *sql,
                               struct tt_sql_values values, sqlite3_stmt **statement,
                               struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_sql_get(store, sql, statement, error);

    for (size_t i = 0; i < values.n && status == TIPTRUE_OK; i++) {
        status = tt_sql_fail(store, bind(*statement, (int)i + 1, &values.value[i]), error);
    }
    return status;
}

enum tiptrue_status tt_sql_first(struct tiptrue_history *store, const char *sql,
                                 struct tt_sql_values values, sqlite3_stmt **statement, bool *row,
                                 struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_sql_ask(store, sql, values, statement, error);

    *row = false;
    return status == TIPTRUE_OK ? tt_sql_next(store, *statement, row, error) : status;
}

enum tiptrue_status tt_sql_any(struct tiptrue_history *store, const char *sql,
                               struct tt_sql_values values, bool *any, struct tiptrue_error *error)
{
    sqlite3_stmt *statement;
    enum tiptrue_status status = tt_sql_first(store, sql, values, &statement, any, error);

    if (status == TIPTRUE_OK) {
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_sql_do(struct tiptrue_history *store, const char *sql,
                              struct tt_sql_values values, struct tiptrue_error *error)
{
    sqlite3_stmt *statement;
    enum tiptrue_status status = tt_sql_ask(store, sql, values, &statement, error);

    return status == TIPTRUE_OK ? finish(store, statement, error) : status;
}

enum tiptrue_status tt_sql_run(struct tiptrue_history *store, const char *sql,
                               struct tiptrue_error *error)
{
    store->waited_ms = 0;
    return tt_sql_fail(store, sqlite3_exec(store->db, sql, NULL, NULL, NULL), error);
}

enum tiptrue_status tt_sql_number(struct tiptrue_history *store, const char *sql,
                                  sqlite3_int64 *number, struct tiptrue_error *error)
{
    sqlite3_stmt *statement;
    bool row = false;
    enum tiptrue_status status =
        tt_sql_first(store, sql, (struct tt_sql_values){NULL, 0}, &statement, &row, error);

    if (status == TIPTRUE_OK) {
        *number = row ? sqlite3_column_int64(statement, 0) : 0;
        sqlite3_reset(statement);
    }
    return status;
}

void tt_sql_reset_all(struct tiptrue_history *store)
{
    for (size_t i = 0; i < store->n_kept; i++) {
        sqlite3_reset(store->kept[i].statement);
    }
}

void tt_sql_roll_back(struct tiptrue_history *store)
{
    /* once more: rolling back needs memory itself, and an open transaction would fail all that
     * follows */
    for (int i = 0; i < 2 && store->db != NULL && !sqlite3_get_autocommit(store->db); i++) {
        tt_sql_reset_all(store);
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
    }
}

const char *tt_sql_column(sqlite3_stmt *statement, int column)
{
    return (const char *)sqlite3_column_text(statement, column);
}

const char *tt_sql_word(sqlite3_stmt *statement, int column)
{
    const char *text = tt_sql_column(statement, column);

    return text != NULL ? text : "";
}

struct tt_text tt_sql_column_text(sqlite3_stmt *statement, int column)
{
    const char *text = sqlite3_column_blob(statement, column);
    size_t length = (size_t)sqlite3_column_bytes(statement, column);

    if (text == NULL && sqlite3_column_type(statement, column) != SQLITE_NULL) {
        text = ""; /* an empty blob has no address */
    }
    return (struct tt_text){text, length};
}
