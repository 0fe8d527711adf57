/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Summaries against the results that they are derived from: they are derived once more, into
 * temporary tables that stand before the file's by their name
 * (https://www.sqlite.org/lang_naming.html), and compared column by column. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/store/newest.h"
#include "history/store/sql.h"
#include "history/store/store.h"
#include "history/store/summary.h"

/* What another processor's rounding leaves open: both are derived from the same digits. Covariances
 * are some 1e-7 mm2, so that the absolute part has to be far below. */
#define SAME_PART 1e-12
#define SAME_MM 1e-18
/* Larger numbers are times, which are whole seconds. */
#define MOST_LENGTH_MM 1e6

static const char SHADOWS[] = "PRAGMA query_only = OFF;"
                              "CREATE TEMP TABLE IF NOT EXISTS summary AS"
                              " SELECT * FROM main.summary WHERE 0;"
                              "CREATE TEMP TABLE IF NOT EXISTS tip AS"
                              " SELECT * FROM main.tip WHERE 0;"
                              "CREATE TEMP TABLE IF NOT EXISTS edge AS"
                              " SELECT * FROM main.edge WHERE 0;"
                              "CREATE TEMP TABLE IF NOT EXISTS pending AS"
                              " SELECT * FROM main.pending WHERE 0";

static bool is_same(sqlite3_stmt *a, sqlite3_stmt *b, int column)
{
    int type = sqlite3_column_type(a, column);

    if (type != sqlite3_column_type(b, column)) {
        return false;
    }
    if (type == SQLITE_FLOAT) {
        double x = sqlite3_column_double(a, column), y = sqlite3_column_double(b, column);
        return fabs(x) < MOST_LENGTH_MM ? fabs(x - y) <= SAME_PART * fabs(x) + SAME_MM : x == y;
    }
    struct tt_text x = tt_sql_column_text(a, column), y = tt_sql_column_text(b, column);
    bool there = x.text != NULL && y.text != NULL; /* else memory ran out, or both are empty */
    return type == SQLITE_NULL ||
           (x.length == y.length &&
            (x.length == 0 || (there && memcmp(x.text, y.text, x.length) == 0)));
}

/* The name of the first column that differs, or NULL. */
static const char *differs(sqlite3_stmt *statement[2])
{
    for (int c = 0; c < sqlite3_column_count(statement[0]); c++) {
        if (!is_same(statement[0], statement[1], c)) {
            return sqlite3_column_name(statement[0], c);
        }
    }
    return NULL;
}

/* *where: the name of the first column that differs, "rows" where their numbers do; NULL: none. It
 * lives as long as the store's statements. */
static enum tiptrue_status compare(struct tiptrue_history *store, const char *const sql[2],
                                   sqlite3_int64 run, const char **where,
                                   struct tiptrue_error *error)
{
    sqlite3_stmt *statement[2];
    enum tiptrue_status status = TIPTRUE_OK;
    bool row[2] = {true, true};

    for (int i = 0; i < 2 && status == TIPTRUE_OK; i++) {
        status = tt_sql_ask(store, sql[i], TT_SQL_VALUES(TT_AS_INTEGER(run)), &statement[i], error);
    }
    while (status == TIPTRUE_OK && *where == NULL && row[0] && row[1]) {
        status = tt_sql_next(store, statement[0], &row[0], error);
        status = status == TIPTRUE_OK ? tt_sql_next(store, statement[1], &row[1], error) : status;
        if (status == TIPTRUE_OK) {
            *where = row[0] != row[1] ? "rows" : row[0] ? differs(statement) : NULL;
        }
    }
    if (status == TIPTRUE_OK && sqlite3_errcode(store->db) == SQLITE_NOMEM) {
        *where = NULL; /* a column that could not be read is none that differs */
        status = tt_fail_memory(error);
    }
    return status;
}

enum tiptrue_status tt_store_check_summary(struct tiptrue_history *store, const char *id,
                                           const struct tiptrue_solution *solution,
                                           const char **where, struct tiptrue_error *error)
{
    static const char *const TABLES[][2] = {
        {"SELECT * FROM main.summary WHERE run = ?", "SELECT * FROM temp.summary WHERE run = ?"},
        {"SELECT * FROM main.tip WHERE run = ? ORDER BY position",
         "SELECT * FROM temp.tip WHERE run = ? ORDER BY position"},
        {"SELECT * FROM main.edge WHERE run = ? ORDER BY position",
         "SELECT * FROM temp.edge WHERE run = ? ORDER BY position"},
    };
    static const char PENDING[] = "SELECT count(*) FROM main.pending";
    sqlite3_int64 run, result, pending = 0;
    enum tiptrue_status status = tt_sql_number(store, PENDING, &pending, error);

    *where = NULL;
    if (status != TIPTRUE_OK || pending > 0) {
        return status; /* of an older schema: they are still to be derived */
    }
    status = tt_sql_run(store, SHADOWS, error);
    status = status == TIPTRUE_OK ? tt_store_newest(store, id, &run, &result, error) : status;
    if (status == TIPTRUE_OK && result != 0) {
        status = tt_summary_write(store, run, result, solution, error);
        for (size_t i = 0; i < 3 && status == TIPTRUE_OK && *where == NULL; i++) {
            status = compare(store, TABLES[i], run, where, error);
        }
    }
    tt_sql_reset_all(store);
    return status;
}

enum tiptrue_status tt_store_check_end(struct tiptrue_history *store, struct tiptrue_error *error)
{
    return tt_sql_run(store,
                      "DROP TABLE IF EXISTS temp.summary; DROP TABLE IF EXISTS temp.tip;"
                      "DROP TABLE IF EXISTS temp.edge; DROP TABLE IF EXISTS temp.pending",
                      error);
}
