/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What people say of a run, and what its clock says: kept beside its results, which stay as they
 * are. */
#include "config.h"

#include <string.h>

#include "base/time.h"
#include "history/store/sql.h"
#include "history/store/store.h"

/* A statement with up to three texts; NULL binds nothing. */
static enum tiptrue_status run_with(struct tiptrue_history *store, const char *sql,
                                    const char *const text[3], struct tiptrue_error *error)
{
    sqlite3_stmt *statement;
    int code = SQLITE_OK;
    enum tiptrue_status status = tt_sql_get(store, sql, &statement, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    for (int i = 0; i < 3; i++) {
        if (text[i] != NULL) {
            tt_sql_text(statement, i + 1, text[i], &code);
        }
    }
    return code == SQLITE_OK ? tt_sql_finish(store, statement, error)
                             : tt_sql_fail(store, code, error);
}

enum tiptrue_status tt_store_say(struct tiptrue_history *store, const char *id, enum tt_saying what,
                                 const char *text, double now_s, struct tiptrue_error *error)
{
    static const char *const SQL[] = {
        [TT_SAY_EXCLUDE] = "UPDATE run SET excluded = ?2 WHERE id = ?1",
        [TT_SAY_INCLUDE] = "UPDATE run SET excluded = NULL, doubt = NULL WHERE id = ?1",
        [TT_SAY_STARTED] = "UPDATE run SET started = ?2, doubt = NULL WHERE id = ?1",
        [TT_SAY_NOTE] =
            "INSERT INTO note(run, time, text) SELECT no, ?3, ?2 FROM run WHERE id = ?1",
        [TT_SAY_DOUBT] = "UPDATE run SET doubt = ?2 WHERE id = ?1",
    };
    char time[TT_TIME_SIZE];
    enum tiptrue_status status = tt_sql_run(store, "BEGIN IMMEDIATE", error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    tt_time_write(now_s, time);
    status = run_with(store, SQL[what],
                      (const char *const[3]){id, text, what == TT_SAY_NOTE ? time : NULL}, error);
    if (status == TIPTRUE_OK) {
        status = run_with(store, "INSERT OR IGNORE INTO pending SELECT no FROM run WHERE id = ?1",
                          (const char *const[3]){id, NULL, NULL}, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_sql_run(store, "COMMIT", error);
    }
    if (status != TIPTRUE_OK) {
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL); /* the first error stays */
    }
    return status;
}

enum tiptrue_status tt_store_latest_start(struct tiptrue_history *store, const char *machine,
                                          bool *found, double *time_s, struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT max(time_s) FROM summary WHERE machine = ? AND time_stated AND left_out IS NULL";
    sqlite3_stmt *statement;
    int code = SQLITE_OK;
    enum tiptrue_status status = tt_sql_get(store, SQL, &statement, error);

    *found = false;
    if (status == TIPTRUE_OK) {
        tt_sql_text(statement, 1, machine != NULL ? machine : "", &code);
        status = code == SQLITE_OK ? tt_sql_next(store, statement, found, error)
                                   : tt_sql_fail(store, code, error);
    }
    if (status == TIPTRUE_OK && *found) {
        *found = sqlite3_column_type(statement, 0) != SQLITE_NULL;
        *time_s = sqlite3_column_double(statement, 0);
        sqlite3_reset(statement);
    }
    return status;
}
