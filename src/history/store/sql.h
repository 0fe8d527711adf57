/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* SQLite as the other files of this room use it: statements that are prepared once, and its result
 * codes as a status with the words of somebody whose disk is full. */
#ifndef TT_HISTORY_STORE_SQL_H
#define TT_HISTORY_STORE_SQL_H

#include <sqlite3.h>
#include <stdbool.h>

#include "base/status.h"
#include "model/record.h"

struct tiptrue_history {
    sqlite3 *db;
    char *path;
    bool writable;
    bool before_known, has_before; /* latest start of the machine's runs before the first one that
                                      this store was given */
    double before_s;
    bool in_group;           /* a transaction of several additions is open */
    unsigned long waited_ms; /* on other processes, in the present wait */
    unsigned long most_ms;   /* of a wait */
    void (*waiting)(void *context, const char *path); /* told once in a wait; NULL: nobody */
    void *waiting_context;
    bool made, added; /* the file was not there before; something was committed */
    struct {
        const char *sql; /* known by its address */
        sqlite3_stmt *statement;
    } * kept; /* each that was asked for, prepared: whoever has one may be stepping it */
    size_t n_kept, room;
};

/* The statement of @sql, a string that lives as long as the store; nothing is bound in it. It stays
 * the store's. */
TT_MUST_USE enum tiptrue_status tt_sql_get(struct tiptrue_history *store, const char *sql,
                                           sqlite3_stmt **statement, struct tiptrue_error *error);
/* The next row; *row false: there is none, and the statement is reset. */
TT_MUST_USE enum tiptrue_status tt_sql_next(struct tiptrue_history *store, sqlite3_stmt *statement,
                                            bool *row, struct tiptrue_error *error);
/* The same as the condition of a loop over all rows: false where *@status was or becomes a failure,
 * or there is none. */
bool tt_sql_row(struct tiptrue_history *store, sqlite3_stmt *statement, enum tiptrue_status *status,
                struct tiptrue_error *error);
/* Statements without values, one or more. */
TT_MUST_USE enum tiptrue_status tt_sql_run(struct tiptrue_history *store, const char *sql,
                                           struct tiptrue_error *error);
/* The one whole number that @sql gives (0 if it gives none). */
TT_MUST_USE enum tiptrue_status tt_sql_number(struct tiptrue_history *store, const char *sql,
                                              sqlite3_int64 *number, struct tiptrue_error *error);

/* All statements, after a reading that may have ended half-way: an unfinished one would hold its
 * view of the file. */
void tt_sql_reset_all(struct tiptrue_history *store);
/* End the open transaction, if there is one, without what it wrote. */
void tt_sql_roll_back(struct tiptrue_history *store);

/* Enter SQLite's result code as a status: TIPTRUE_E_IO where the disk, the rights or another
 * process are in the way. */
enum tiptrue_status tt_sql_fail(struct tiptrue_history *store, int code,
                                struct tiptrue_error *error);

/* What is bound to a statement, in the order of its parameters; texts must live until it is reset.
 */
struct tt_sql_value {
    enum { TT_SQL_TEXT, TT_SQL_WORDS, TT_SQL_BLOB, TT_SQL_ROOM, TT_SQL_INTEGER, TT_SQL_REAL } kind;
    struct tt_text text; /* NULL = NULL */
    sqlite3_int64 integer;
    double real;
};
struct tt_sql_values {
    const struct tt_sql_value *value;
    size_t n;
};
#define TT_SQL_VALUES(...)                                                                         \
    ((struct tt_sql_values){(const struct tt_sql_value[]){__VA_ARGS__},                            \
                            sizeof((const struct tt_sql_value[]){__VA_ARGS__}) /                   \
                                sizeof(struct tt_sql_value)})
#define TT_AS_TEXT(of) ((struct tt_sql_value){.kind = TT_SQL_TEXT, .text = {(of), 0}})
/* a struct tt_text as text */
#define TT_AS_WORDS(of) ((struct tt_sql_value){.kind = TT_SQL_WORDS, .text = (of)})
#define TT_AS_BLOB(of) ((struct tt_sql_value){.kind = TT_SQL_BLOB, .text = (of)})
/* room for a blob of @size bytes, to be written later */
#define TT_AS_ROOM(size) ((struct tt_sql_value){.kind = TT_SQL_ROOM, .text = {"", (size)}})
#define TT_AS_INTEGER(of) ((struct tt_sql_value){.kind = TT_SQL_INTEGER, .integer = (of)})
#define TT_AS_COUNT(of) TT_AS_INTEGER((sqlite3_int64)(of))
#define TT_AS_NUMBER(of) TT_AS_KNOWN((of) != 0, TT_AS_INTEGER(of)) /* 0 = NULL */
#define TT_AS_REAL(of) ((struct tt_sql_value){.kind = TT_SQL_REAL, .real = (of)})
/* two reals of a point, three of a covariance, mm^2 */
#define TT_AS_XY(of) TT_AS_REAL((of).x_mm), TT_AS_REAL((of).y_mm)
#define TT_AS_COV(of) TT_AS_REAL((of).xx_mm2), TT_AS_REAL((of).xy_mm2), TT_AS_REAL((of).yy_mm2)
/* @value, NULL where it is not known */
#define TT_AS_KNOWN(known, value) ((known) ? (value) : TT_AS_TEXT(NULL))

/* The statement of @sql with @values bound; the same, and its first row, *row false: there is none;
 * only whether it has a row; and to its end, for what gives no row. */
TT_MUST_USE enum tiptrue_status tt_sql_ask(struct tiptrue_history *store, const char *sql,
                                           struct tt_sql_values values, sqlite3_stmt **statement,
                                           struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_sql_first(struct tiptrue_history *store, const char *sql,
                                             struct tt_sql_values values, sqlite3_stmt **statement,
                                             bool *row, struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_sql_any(struct tiptrue_history *store, const char *sql,
                                           struct tt_sql_values values, bool *any,
                                           struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_sql_do(struct tiptrue_history *store, const char *sql,
                                          struct tt_sql_values values, struct tiptrue_error *error);

/* Columns; NULL where the column is. They live until the next step. */
const char *tt_sql_column(sqlite3_stmt *statement, int column);
const char *tt_sql_word(sqlite3_stmt *statement, int column); /* "" where it is NULL */
struct tt_text tt_sql_column_text(sqlite3_stmt *statement, int column);

#endif
