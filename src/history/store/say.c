/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What people say of a run, and what its clock says: kept beside its results, which stay as they
 * are. */
#include "config.h"

#include "base/time.h"
#include "history/store/sql.h"
#include "history/store/store.h"

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
    status = tt_sql_do(store, SQL[what],
                       TT_SQL_VALUES(TT_AS_TEXT(id), TT_AS_TEXT(text),
                                     TT_AS_TEXT(what == TT_SAY_NOTE ? time : NULL)),
                       error);
    if (status == TIPTRUE_OK) {
        status = tt_sql_do(store, "INSERT OR IGNORE INTO pending SELECT no FROM run WHERE id = ?1",
                           TT_SQL_VALUES(TT_AS_TEXT(id)), error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_sql_run(store, "COMMIT", error);
    }
    if (status != TIPTRUE_OK) {
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL); /* the first error stays */
    }
    return status;
}

enum tiptrue_status tiptrue_history_forget(struct tiptrue_history *store, const char *id,
                                           struct tiptrue_error *error)
{
#define OF_RUN " WHERE run = (SELECT no FROM run WHERE id = ?1)"
    static const char *const SQL[] = {
        "DELETE FROM export" OF_RUN,
        "DELETE FROM note" OF_RUN,
        "DELETE FROM edge" OF_RUN,
        "DELETE FROM tip" OF_RUN,
        "DELETE FROM summary" OF_RUN,
        "DELETE FROM pending" OF_RUN,
        "DELETE FROM response WHERE result IN (SELECT no FROM result" OF_RUN ")",
        "DELETE FROM scatter WHERE ?1 IS NOT NULL",
        "DELETE FROM result" OF_RUN,
        "DELETE FROM log" OF_RUN,
        "DELETE FROM document WHERE ?1 IS NOT NULL AND no NOT IN (SELECT plate FROM result WHERE "
        "plate NOT NULL UNION SELECT machine FROM result WHERE machine NOT NULL UNION SELECT plan "
        "FROM result WHERE plan NOT NULL UNION SELECT pattern FROM result WHERE pattern NOT NULL)",
        "DELETE FROM run WHERE id = ?1",
        "DELETE FROM board WHERE id = ?1",
    };
#undef OF_RUN
    /* what is deleted is overwritten with zeros, in the file and in the log beside it */
    enum tiptrue_status status =
        tt_sql_run(store, "PRAGMA secure_delete = ON; BEGIN IMMEDIATE", error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    bool gone = false; /* a row of the last two */
    for (size_t i = 0; i < sizeof SQL / sizeof SQL[0] && status == TIPTRUE_OK; i++) {
        status = tt_sql_do(store, SQL[i], TT_SQL_VALUES(TT_AS_TEXT(id)), error);
        gone = gone || (i >= sizeof SQL / sizeof SQL[0] - 2 && sqlite3_changes(store->db) > 0);
    }
    if (status == TIPTRUE_OK && !gone) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0, NULL,
                         "there is no run %s in the history", id);
    }
    status = status == TIPTRUE_OK ? tt_sql_run(store, "COMMIT", error) : status;
    if (status != TIPTRUE_OK) {
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL); /* the first error stays */
        return status;
    }
    return tt_sql_run(store, "PRAGMA wal_checkpoint(TRUNCATE)", error);
}

/* The one row of @sql for @id, whose first column is *value; *row false: there is none. */
static enum tiptrue_status look_up(struct tiptrue_history *store, const char *sql, const char *id,
                                   bool *row, double *value, struct tiptrue_error *error)
{
    sqlite3_stmt *statement;
    enum tiptrue_status status =
        tt_sql_first(store, sql, TT_SQL_VALUES(TT_AS_TEXT(id)), &statement, row, error);

    if (status == TIPTRUE_OK && *row) {
        *value = sqlite3_column_double(statement, 0);
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_store_time(struct tiptrue_history *store, const char *id, double *time_s,
                                  struct tiptrue_error *error)
{
    bool row = false;
    enum tiptrue_status status =
        look_up(store, "SELECT time_s FROM summary WHERE id = ?", id, &row, time_s, error);

    return status == TIPTRUE_OK && !row ? tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0,
                                                  NULL, "there is no run %s in the history", id)
                                        : status;
}

enum tiptrue_status tt_store_notes(struct tiptrue_history *store, const char *machine,
                                   enum tiptrue_status (*each)(void *context, const char *id,
                                                               double time_s, const char *text),
                                   void *context, struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT s.id, s.time_s, n.text FROM note n JOIN summary s ON s.run = "
                              "n.run WHERE s.machine = ? ORDER BY n.no";
    sqlite3_stmt *statement;
    enum tiptrue_status status =
        tt_sql_ask(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(machine)), &statement, error);

    while (tt_sql_row(store, statement, &status, error)) {
        status = each(context, tt_sql_word(statement, 0), sqlite3_column_double(statement, 1),
                      tt_sql_word(statement, 2));
    }
    if (status != TIPTRUE_OK) {
        tt_sql_reset_all(store);
    }
    return status;
}

enum tiptrue_status tt_store_knows(struct tiptrue_history *store, const char *id, bool *known,
                                   struct tiptrue_error *error)
{
    double one;

    return look_up(store, "SELECT 1 FROM run WHERE id = ?", id, known, &one, error);
}

enum tiptrue_status tt_store_latest_start(struct tiptrue_history *store, const char *machine,
                                          bool *found, double *time_s, struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT max(time_s) FROM summary WHERE machine = ? AND time_stated AND left_out IS NULL";
    sqlite3_stmt *statement;
    enum tiptrue_status status =
        tt_sql_first(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(machine != NULL ? machine : "")),
                     &statement, found, error);

    if (status == TIPTRUE_OK && *found) {
        *found = sqlite3_column_type(statement, 0) != SQLITE_NULL;
        *time_s = sqlite3_column_double(statement, 0);
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_store_has_later(struct tiptrue_history *store, const char *machine,
                                       double time_s, const char *id, bool *later,
                                       struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT 1 FROM summary WHERE machine = ? AND time_s > ? AND id <> ?"
                              " AND left_out IS NULL LIMIT 1";

    return tt_sql_any(store, SQL,
                      TT_SQL_VALUES(TT_AS_TEXT(machine != NULL ? machine : ""), TT_AS_REAL(time_s),
                                    TT_AS_TEXT(id)),
                      later, error);
}
