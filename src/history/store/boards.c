/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See boards.h. A board is known by the digest of its table; the bytes are compared when it is met
 * again. */
#include "config.h"

#include "history/store/store.h"

#include <math.h>
#include <stdio.h>

#include "base/digest.h"
#include "history/store/sql.h"

#define COLUMNS                                                                                    \
    "id, machine, started, added, judged, version, verdict, run, time_s, parts_read, parts_used"
enum { AFTER_COLUMNS = 11 };

/* Insert a board, or replace what was said of it: both take the same values. */
static const char INSERT[] =
    "INSERT INTO board(" COLUMNS ", text, json, digest, said, said_digest)"
    " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)";
static const char REPLACE[] =
    "UPDATE board SET machine = ?2, started = ?3, judged = ?5, version = ?6, verdict = ?7, "
    "run = ?8, time_s = ?9, parts_read = ?10, parts_used = ?11, json = ?13, digest = ?14, "
    "said = ?15, said_digest = ?16 WHERE id = ?1";

static enum tiptrue_status write_board(struct tiptrue_history *store, const char *sql,
                                       const struct tt_board_record *board,
                                       struct tiptrue_error *error)
{
    char digest[2][17];

    tt_digest(board->json.text, board->json.length, digest[0]);
    tt_digest(board->said.text, board->said.length, digest[1]);
    return tt_sql_do(
        store, sql,
        TT_SQL_VALUES(TT_AS_TEXT(board->id), TT_AS_TEXT(board->machine), TT_AS_TEXT(board->started),
                      TT_AS_TEXT(board->added), TT_AS_TEXT(board->judged),
                      TT_AS_TEXT(board->version), TT_AS_TEXT(board->verdict),
                      TT_AS_TEXT(board->run), TT_AS_REAL(board->time_s),
                      TT_AS_INTEGER((sqlite3_int64)board->parts_read),
                      TT_AS_INTEGER((sqlite3_int64)board->parts_used), TT_AS_BLOB(board->table),
                      TT_AS_BLOB(board->json), TT_AS_TEXT(digest[0]), TT_AS_BLOB(board->said),
                      TT_AS_TEXT(digest[1])),
        error);
}

/* What the store has of a board. */
struct known {
    bool there, same_table, same_judgement, later;
};

static enum tiptrue_status look_up(struct tiptrue_history *store,
                                   const struct tt_board_record *board, struct known *known,
                                   char since[32], struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT added, text = ?2, version = ?3 AND json = ?4 AND said = ?5 "
                              "AND machine = ?6, judged > ?7 FROM board WHERE id = ?1";
    sqlite3_stmt *statement;
    bool there;
    enum tiptrue_status status = tt_sql_first(
        store, SQL,
        TT_SQL_VALUES(TT_AS_TEXT(board->id), TT_AS_BLOB(board->table), TT_AS_TEXT(board->version),
                      TT_AS_BLOB(board->json), TT_AS_BLOB(board->said), TT_AS_TEXT(board->machine),
                      TT_AS_TEXT(board->judged)),
        &statement, &there, error);

    *known = (struct known){.there = there};
    if (status == TIPTRUE_OK && known->there) {
        snprintf(since, 32, "%s", tt_sql_word(statement, 0));
        known->same_table = sqlite3_column_int(statement, 1) != 0;
        known->same_judgement = sqlite3_column_int(statement, 2) != 0;
        known->later = sqlite3_column_int(statement, 3) != 0;
        sqlite3_reset(statement);
    }
    return status;
}

static enum tiptrue_status put(struct tiptrue_history *store, const struct tt_board_record *board,
                               struct tt_board_outcome *outcome, struct tiptrue_error *error)
{
    struct known known;
    enum tiptrue_status status = look_up(store, board, &known, outcome->since, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    if (!known.there) {
        outcome->is_new = true;
        return write_board(store, INSERT, board, error);
    }
    if (!known.same_table) {
        return tt_fail(error, TIPTRUE_E_DATA, store->path, 0, 0,
                       "keep both tables, and add a remark line to one of them",
                       "board %s is in the history already with another table: two tables have the "
                       "same digest",
                       board->id);
    }
    outcome->judged_anew = !known.same_judgement && !known.later;
    return outcome->judged_anew ? write_board(store, REPLACE, board, error) : TIPTRUE_OK;
}

enum tiptrue_status tt_store_put_board(struct tiptrue_history *store,
                                       const struct tt_board_record *board,
                                       struct tt_board_outcome *outcome,
                                       struct tiptrue_error *error)
{
    bool own = !store->in_group;
    struct tt_board_outcome made = {0};
    enum tiptrue_status status = own ? tt_store_begin(store, error) : TIPTRUE_OK;

    if (status != TIPTRUE_OK) {
        return status;
    }
    status = put(store, board, &made, error); /* one statement at most writes: all or nothing */
    status = own ? tt_store_end(store, status, error) : status;
    if (status == TIPTRUE_OK) {
        *outcome = made;
    }
    return status;
}

static void fill(sqlite3_stmt *from, struct tt_board_record *board)
{
    *board = (struct tt_board_record){.machine = tt_sql_word(from, 1),
                                      .started = tt_sql_column(from, 2),
                                      .added = tt_sql_word(from, 3),
                                      .judged = tt_sql_word(from, 4),
                                      .version = tt_sql_word(from, 5),
                                      .verdict = tt_sql_word(from, 6),
                                      .run = tt_sql_column(from, 7),
                                      .time_s = sqlite3_column_double(from, 8),
                                      .parts_read = (size_t)sqlite3_column_int64(from, 9),
                                      .parts_used = (size_t)sqlite3_column_int64(from, 10)};
    snprintf(board->id, sizeof board->id, "%s", tt_sql_word(from, 0));
}

enum tiptrue_status
tt_store_boards(struct tiptrue_history *store, const struct tt_store_query *query,
                enum tiptrue_status (*each)(void *context, const struct tt_board_record *board),
                void *context, struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT " COLUMNS " FROM board WHERE (?1 IS NULL OR machine = ?1)"
                              " AND time_s >= ?2 AND time_s <= ?3 ORDER BY time_s, id";
    sqlite3_stmt *statement;
    enum tiptrue_status status =
        tt_sql_ask(store, SQL,
                   TT_SQL_VALUES(TT_AS_TEXT(query->machine),
                                 TT_AS_REAL(query->has_since ? query->since_s : -HUGE_VAL),
                                 TT_AS_REAL(query->has_until ? query->until_s : HUGE_VAL)),
                   &statement, error);

    while (tt_sql_row(store, statement, &status, error)) {
        struct tt_board_record board;
        fill(statement, &board);
        status = each(context, &board);
    }
    if (status != TIPTRUE_OK) {
        tt_sql_reset_all(store);
    }
    return status;
}

static bool copy_text(struct tt_arena *arena, sqlite3_stmt *from, int column, struct tt_text *text)
{
    struct tt_text of = tt_sql_column_text(from, column);

    *text = (struct tt_text){tt_arena_copy_text(arena, of.text != NULL ? of.text : "", of.length),
                             of.length};
    return text->text != NULL;
}

enum tiptrue_status tt_store_load_board(struct tiptrue_history *store, const char *id,
                                        struct tt_arena *arena, struct tt_board_record *board,
                                        struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT " COLUMNS ", text, json, said FROM board WHERE id = ?";
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status =
        tt_sql_first(store, SQL, TT_SQL_VALUES(TT_AS_TEXT(id)), &statement, &row, error);

    if (status == TIPTRUE_OK && !row) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0,
                       "history list shows what is there", "there is no board %s", id);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    fill(statement, board);
    bool good = tt_board_record_keep(board, arena) &&
                copy_text(arena, statement, AFTER_COLUMNS, &board->table) &&
                copy_text(arena, statement, AFTER_COLUMNS + 1, &board->json) &&
                copy_text(arena, statement, AFTER_COLUMNS + 2, &board->said);
    sqlite3_reset(statement);
    return good ? TIPTRUE_OK : tt_fail_memory(error);
}

enum tiptrue_status tt_store_find_board(struct tiptrue_history *store, const char *text,
                                        char id[TT_RUN_ID_SIZE], struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT id FROM board WHERE id >= ?1 AND id < ?1 || 'g' ORDER BY id LIMIT 2";

    return tt_store_find_id(store, SQL, "board", text, id, error);
}
