/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The store row by row: each column is read into its own number, each fault of a file is told in
 * its own words, each of SQLite's codes has its status, and no statement is left half-way. */
#include "config.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>

#include "app/solved.h"
#include "bench_store.h"
#include "history/series/series.h"
#include "history/store/response.h"
#include "history/store/sql.h"
#include "history/store/summary.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static void do_sql(struct tiptrue_history *history, const char *sql)
{
    struct tiptrue_error error = {0};

    ck_assert_msg(tt_sql_run(history, sql, &error) == TIPTRUE_OK, "%s: %s", sql, error.text);
}

/* A history with the bench's run in it, whose id is @id. */
static struct tiptrue_history *with_a_run(char id[TT_RUN_ID_SIZE])
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_buffer told = {0};

    ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
    strcpy(id, run.run->id);
    free_run(&run);
    tt_buffer_clear(&told);
    return history;
}

START_TEST(codes_have_their_words)
{
    static const struct {
        int code;
        enum tiptrue_status status;
        const char *text, *hint;
    } CASES[] = {
        {SQLITE_OK, TIPTRUE_OK, "", ""},
        {SQLITE_NOMEM, TIPTRUE_E_MEMORY, "out of memory",
         "close other programs, or give a smaller file"},
        {SQLITE_FULL, TIPTRUE_E_IO, "the history cannot be written: the disk is full",
         "make room; what was stored before is as it was"},
        {SQLITE_READONLY, TIPTRUE_E_IO, "the history cannot be written: it is read-only",
         "the file and its folder must both be writable"},
        {SQLITE_PERM, TIPTRUE_E_IO, "the history cannot be written: it is read-only",
         "the file and its folder must both be writable"},
        {SQLITE_CANTOPEN, TIPTRUE_E_IO, "the history cannot be opened: no such table: nowhere",
         "the file and its folder must both be there and writable"},
        {SQLITE_IOERR, TIPTRUE_E_IO,
         "reading or writing the history failed: no such table: nowhere",
         "what was stored before is as it was"},
        {SQLITE_IOERR | (7 << 8), TIPTRUE_E_IO,
         "reading or writing the history failed: no such table: nowhere",
         "what was stored before is as it was"},
        {SQLITE_BUSY, TIPTRUE_E_IO, "the history is held by another process, for 7 s already",
         "another process may hold the lock; try again"},
        {SQLITE_LOCKED, TIPTRUE_E_IO, "the history is held by another process, for 7 s already",
         "another process may hold the lock; try again"},
        {SQLITE_NOTADB, TIPTRUE_E_DATA, "not a tiptrue history", "is it the file that was meant?"},
        {SQLITE_CORRUPT, TIPTRUE_E_DATA, "the history is damaged: no such table: nowhere",
         "keep a copy; export what can be read, and import it into a new history"},
        {SQLITE_ERROR, TIPTRUE_E_DATA, "the history is damaged: no such table: nowhere",
         "keep a copy; export what can be read, and import it into a new history"},
        {SQLITE_TOOBIG, TIPTRUE_E_DATA,
         "the text is too large for the history: at most 1 GB can be stored", ""},
        {SQLITE_RANGE, TIPTRUE_E_INTERNAL, "the history answers 'no such table: nowhere' (code 25)",
         ""}};
    struct tiptrue_history store = {.path = path, .waited_ms = 7999};

    ck_assert_int_eq(sqlite3_open(":memory:", &store.db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(store.db, "SELECT 1 FROM nowhere", NULL, NULL, NULL),
                     SQLITE_ERROR);
    for (size_t k = 0; k < COUNT(CASES); k++) {
        struct tiptrue_error error = {0};
        ck_assert_int_eq(tt_sql_fail(&store, CASES[k].code, &error), CASES[k].status);
        ck_assert_str_eq(error.text, CASES[k].text);
        ck_assert_str_eq(error.hint, CASES[k].hint);
    }
    ck_assert_int_eq(sqlite3_close(store.db), SQLITE_OK);
    store.db = NULL; /* SQLite had no memory for it */
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_sql_fail(&store, SQLITE_CANTOPEN, &error), TIPTRUE_E_IO);
    ck_assert_str_eq(error.text, "the history cannot be opened: out of memory");
    error = (struct tiptrue_error){0};
    ck_assert_int_eq(tt_sql_fail(&store, SQLITE_MISUSE, &error), TIPTRUE_E_INTERNAL);
    ck_assert_str_eq(error.text,
                     "the history answers 'bad parameter or other API misuse' (code 21)");
}
END_TEST

START_TEST(no_row_where_none_could_be_asked_for)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    sqlite3_stmt *statement;
    bool row = true;
    sqlite3_int64 number = 37;

    ck_assert_int_eq(tt_sql_first(history, "SELECT 1 FROM nowhere", TT_SQL_VALUES(TT_AS_INTEGER(7)),
                                  &statement, &row, NULL),
                     TIPTRUE_E_DATA);
    ck_assert(!row);
    ck_assert_int_eq(tt_sql_number(history, "SELECT 41 WHERE 0", &number, NULL), TIPTRUE_OK);
    ck_assert_int_eq(number, 0);
    tiptrue_history_close(history);
}
END_TEST

/* ---- what is wrong with a file ---- */

static void collect_text(void *context, const char *text)
{
    tt_buffer_printf(context, "%s\n", text);
}

START_TEST(each_fault_has_its_words)
{
#define OF_TIME "a time that is none, of "
    static const struct {
        const char *sql, *told; /* $: the run's id */
    } CASES[] = {
        {"", ""},
        {"DELETE FROM summary; DELETE FROM response; DELETE FROM result",
         "a run without a result: $\na run without a summary: $\n"},
        {"DELETE FROM summary", "a run without a summary: $\n"},
        {"DELETE FROM summary; INSERT INTO pending SELECT no FROM run", ""},
        {"UPDATE run SET added = '2026-03-20 09:46:40'", OF_TIME "run $\n"},
        {"UPDATE run SET started = 'at seven'", OF_TIME "run $\n"},
        {"UPDATE run SET started = '2026-03-20T09:46:40.25+01:30'", ""},
        {"UPDATE result SET added = 'a' || char(10) || 'b'", OF_TIME "a result of run $\n"},
        {"INSERT INTO note(run, time, text) SELECT no, '2026', 'n' FROM run",
         OF_TIME "a note on run $\n"},
        {"INSERT INTO export(run, time, file) SELECT no, '12:30', 'f' FROM run",
         OF_TIME "an export of run $\n"},
        {"INSERT INTO export(run, time, file, old_digest) SELECT no, '2026-03-20T09:46:40Z', 'f',"
         " '00000000000000a' FROM run",
         "a digest that is none, of an export of run $\n"},
        {"INSERT INTO export(run, time, file, new_digest) SELECT no, '2026-03-20T09:46:40Z', 'f',"
         " '00000000000000A7' FROM run",
         "a digest that is none, of an export of run $\n"},
        {"INSERT INTO export(run, time, file, old_digest, new_digest) SELECT no, "
         "'2026-03-20T09:46:40Z', 'f', '00000000000000a7', '00000000000000b8' FROM run",
         ""},
        {"UPDATE run SET id = substr(id, 1, 14) || char(10) || char(27), added = '2'",
         OF_TIME "run # \\u001b\nthe log of run # \\u001b: its bytes are not those that were "
                 "stored\n"},
        {"PRAGMA foreign_keys = OFF; INSERT INTO log(run, text) VALUES(77, x'61')",
         "a reference to nothing: log 77 -> run\n"},
        {"UPDATE document SET digest = '00000000000000a7' WHERE kind = 'plate'",
         "the plate document 1: its bytes are not those that were stored\n"},
        {"UPDATE log SET text = x''",
         "the log of run $: its bytes are not those that were stored\n"},
        {"UPDATE result SET json = x'7b7d'",
         "a result of run $: its bytes are not those that were stored\n"},
        {"INSERT OR REPLACE INTO response SELECT no, x'31', '00000000000000a7' FROM result",
         "what is kept of run $: its bytes are not those that were stored\n"},
        {"INSERT INTO scatter VALUES('loom', '00000000000000a7', x'31', '00000000000000a7')",
         "the scatter that is kept of machine loom: its bytes are not those that were stored\n"},
    };

    for (size_t k = 0; k < COUNT(CASES); k++) {
        char id[TT_RUN_ID_SIZE];
        struct tiptrue_history *history = with_a_run(id);
        struct tt_buffer told = {0}, expected = {0};
        do_sql(history, CASES[k].sql);
        ck_assert_int_eq(tt_store_verify(history, collect_text, &told, NULL), TIPTRUE_OK);
        for (const char *c = CASES[k].told; *c != '\0'; c++) {
            if (*c == '$' || *c == '#') {
                tt_buffer_add(&expected, id, *c == '$' ? 16 : 14);
            } else {
                tt_buffer_putc(&expected, *c);
            }
        }
        assert_told(&told, expected.text != NULL ? expected.text : "");
        tt_buffer_clear(&told);
        tt_buffer_clear(&expected);
        tiptrue_history_close(history);
        tear_down();
        set_up();
    }
}
END_TEST

/* A part that cannot be read is told, and the next ones are read all the same. */
START_TEST(what_cannot_be_read_is_a_fault)
{
    char id[TT_RUN_ID_SIZE];
    struct tiptrue_history *history = with_a_run(id);
    struct tt_buffer told = {0};

    do_sql(history, "DROP TABLE scatter; DROP TABLE note; UPDATE run SET added = '2'");
    ck_assert_int_eq(tt_store_verify(history, collect_text, &told, NULL), TIPTRUE_OK);
    ck_assert_ptr_nonnull(strstr(told.text, "a time that is none, of run "));
    ck_assert_ptr_nonnull(strstr(told.text, "the history is damaged: no such table: note\n"));
    ck_assert_ptr_nonnull(strstr(told.text, "the history is damaged: no such table: scatter\n"));
    tt_buffer_clear(&told);
    tiptrue_history_close(history);
}
END_TEST

/* ---- columns ---- */

START_TEST(each_column_of_a_run_is_read)
{
    char id[TT_RUN_ID_SIZE];
    struct tiptrue_history *history = with_a_run(id);
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};

    do_sql(history, "UPDATE summary SET time_s = 1773000011.5, time_stated = 0, plate_key = 'P7',"
                    " verdict = 1, permitted_error_mm = 0.0031, has_pose = 1, setup = 'S7',"
                    " mark_x_mm = 17.25, mark_y_mm = -23.5, u_mark_x_mm = 0.0011,"
                    " u_mark_y_mm = 0.0013, yaw_rad = -0.0371, u_yaw_rad = 0.00017,"
                    " temperature_C = 23.75, u_touch_mm = 0.0019, u_sighting_mm = 0.0023,"
                    " left_out = 'dropped', machine_numbers = NULL;"
                    "UPDATE edge SET time_s = 1773000011.5, shift_mm = 0.0041 + position,"
                    " u_shift_mm = 0.0043, touches = 47, late = 3, freed = 1;"
                    "UPDATE tip SET time_s = 1773000011.5");
    ck_assert_int_eq(tt_store_series(history, machine->name, -HUGE_VAL, 0, &series, NULL),
                     TIPTRUE_OK);
    ck_assert_uint_eq(series.n_runs, 1);
    const struct tt_series_run *run = series.runs;
    ck_assert_str_eq(run->id, id);
    ck_assert_double_eq(run->time_s, 1773000011.5);
    ck_assert(!run->time_stated && run->has_pose && run->left_out);
    ck_assert_str_eq(run->plate, "P7");
    ck_assert_str_eq(run->setup, "S7");
    ck_assert_str_eq(run->note, "dropped");
    ck_assert_int_eq(run->verdict, TIPTRUE_UPDATE);
    const double got[] = {run->permitted_error_mm, run->mark.x_mm,     run->mark.y_mm,
                          run->u_mark_x_mm,        run->u_mark_y_mm,   run->yaw_rad,
                          run->u_yaw_rad,          run->temperature_C, run->u_touch_mm,
                          run->u_sighting_mm};
    static const double PUT[] = {0.0031,  17.25,   -23.5, 0.0011, 0.0013,
                                 -0.0371, 0.00017, 23.75, 0.0019, 0.0023};
    for (size_t k = 0; k < COUNT(PUT); k++) {
        ck_assert_msg(got[k] == PUT[k], "number %zu", k);
    }
    ck_assert(run->has_permitted_error && run->has_temperature && run->has_u_touch &&
              run->has_u_sighting);
    ck_assert_uint_gt(run->n_edges, 1);
    for (size_t k = 0; k < run->n_edges; k++) {
        ck_assert_double_eq(run->edges[k].shift_mm, 0.0041 + (double)k);
        ck_assert_double_eq(run->edges[k].u_shift_mm, 0.0043);
        ck_assert(run->edges[k].touches == 47 && run->edges[k].late == 3 && run->edges[k].freed);
    }
    static const char *const OPTIONAL[] = {"permitted_error_mm", "temperature_C", "u_touch_mm",
                                           "u_sighting_mm", "left_out"};
    for (size_t k = 0; k < COUNT(OPTIONAL); k++) {
        char sql[80];
        snprintf(sql, sizeof sql, "UPDATE summary SET %s = NULL, has_pose = 0, time_stated = 1",
                 OPTIONAL[k]);
        do_sql(history, sql);
        series = (struct tt_series){.arena = &arena};
        ck_assert_int_eq(tt_store_series(history, machine->name, 1773000011.5, 1, &series, NULL),
                         TIPTRUE_OK);
        run = series.runs;
        ck_assert(!run->has_pose && run->time_stated);
        ck_assert(!run->has_permitted_error && run->has_temperature == (k < 1) &&
                  run->has_u_touch == (k < 2) && run->has_u_sighting == (k < 3) &&
                  run->left_out == (k < 4));
    }
    tt_arena_clear(&arena);
    tiptrue_history_close(history);
}
END_TEST

/* What a list shows is written beside; a run whose log states no start is of when it was entered.
 */
START_TEST(each_column_of_a_list_is_written)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_solved solved = {0};
    struct tt_put_outcome outcome;
    sqlite3_stmt *statement;
    bool row;

    ck_assert_int_eq(
        tt_solved_make(&solved, plate, machine, NULL, NULL, run.run, run.solution, NOW_S, NULL),
        TIPTRUE_OK);
    for (int stated = 0; stated < 2; stated++) {
        struct tiptrue_solution said = *solved.solution;
        said.started = stated ? "2026-03-14T06:12:07Z" : NULL;
        said.plate = "pane";
        said.plate_serial = "S-73";
        solved.result.added = stated ? "2026-03-21T09:46:40Z" : solved.result.added;
        solved.result.version = stated ? "77" : "76";
        ck_assert_int_eq(
            tt_store_put(history, &solved.record, &said, TT_PUT_SOLVED, &outcome, NULL),
            TIPTRUE_OK);
        ck_assert_int_eq(
            tt_sql_first(history,
                         "SELECT machine, started, plate, plate_serial, tips, edges, time_s, "
                         "time_stated, run, result, id, verdict FROM summary",
                         (struct tt_sql_values){NULL, 0}, &statement, &row, NULL),
            TIPTRUE_OK);
        ck_assert(row);
        ck_assert_str_eq(tt_sql_word(statement, 0), machine->name);
        ck_assert_str_eq(tt_sql_word(statement, 1), stated ? said.started : "");
        ck_assert_str_eq(tt_sql_word(statement, 2), "pane");
        ck_assert_str_eq(tt_sql_word(statement, 3), "S-73");
        ck_assert_uint_eq((size_t)sqlite3_column_int(statement, 4), said.n_tips);
        ck_assert_uint_eq((size_t)sqlite3_column_int(statement, 5), said.n_edges);
        ck_assert_double_eq(sqlite3_column_double(statement, 6), stated ? 1773468727 : NOW_S);
        ck_assert_int_eq(sqlite3_column_int(statement, 7), stated);
        ck_assert_int_eq(sqlite3_column_int(statement, 8), 1);
        ck_assert_int_eq(sqlite3_column_int(statement, 9), 1 + stated);
        ck_assert_str_eq(tt_sql_word(statement, 10), run.run->id);
        ck_assert_int_eq(sqlite3_column_int(statement, 11), said.verdict);
        sqlite3_reset(statement);
    }
    tt_solved_clear(&solved);
    free_run(&run);
    tiptrue_history_close(history);
}
END_TEST

/* ---- boards ---- */

static const struct tt_board_record BOARD = {.id = "00000000000000a7",
                                             .machine = "loom",
                                             .started = "2026-03-14T06:12:00Z",
                                             .added = "2026-03-15T07:13:01Z",
                                             .judged = "2026-03-16T08:14:02Z",
                                             .version = "7.7",
                                             .verdict = "update",
                                             .run = "00000000000000b8",
                                             .time_s = 1773468720.0,
                                             .parts_read = 37,
                                             .parts_used = 31,
                                             .table = {"t,a\n", 4},
                                             .json = {"{\"j\":1}", 7},
                                             .said = {"said it\n", 8}};

static enum tiptrue_status fail_at_board(void *context, const struct tt_board_record *board)
{
    ck_assert_double_eq(board->time_s, BOARD.time_s);
    ++*(int *)context;
    return TIPTRUE_E_DATA;
}

/* No statement may stand half-way: it would hold its lock. */
static void check_idle(struct tiptrue_history *history, const char *after)
{
    for (sqlite3_stmt *s = sqlite3_next_stmt(history->db, NULL); s != NULL;
         s = sqlite3_next_stmt(history->db, s)) {
        ck_assert_msg(!sqlite3_stmt_busy(s), "after %s: %s", after, sqlite3_sql(s));
    }
}

START_TEST(boards_come_back)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct tt_board_outcome outcome = {0};
    struct tt_board_record got, later = BOARD;
    struct tt_arena arena = {0};
    struct tiptrue_error error = {0};
    char id[TT_RUN_ID_SIZE];
    int met = 0;

    ck_assert_int_eq(tt_store_put_board(history, &BOARD, &outcome, NULL), TIPTRUE_OK);
    ck_assert(outcome.is_new && !outcome.judged_anew);
    ck_assert_int_eq(tt_store_put_board(history, &BOARD, &outcome, NULL), TIPTRUE_OK);
    check_idle(history, "tt_store_put_board");
    ck_assert(!outcome.is_new && !outcome.judged_anew);
    ck_assert_str_eq(outcome.since, "2026-03-15T07:13:01Z");
    ck_assert_int_eq(tt_store_load_board(history, BOARD.id, &arena, &got, NULL), TIPTRUE_OK);
    check_idle(history, "tt_store_load_board");
    const char *const words[][2] = {{BOARD.id, got.id},           {BOARD.machine, got.machine},
                                    {BOARD.started, got.started}, {BOARD.added, got.added},
                                    {BOARD.judged, got.judged},   {BOARD.version, got.version},
                                    {BOARD.verdict, got.verdict}, {BOARD.run, got.run}};
    for (size_t k = 0; k < COUNT(words); k++) {
        ck_assert_str_eq(words[k][1], words[k][0]);
    }
    ck_assert(got.time_s == BOARD.time_s && got.parts_read == 37 && got.parts_used == 31);
    ck_assert(got.table.length == 4 && memcmp(got.table.text, BOARD.table.text, 4) == 0);
    ck_assert(got.json.length == 7 && memcmp(got.json.text, BOARD.json.text, 7) == 0);
    ck_assert(got.said.length == 8 && memcmp(got.said.text, BOARD.said.text, 8) == 0);
    ck_assert_int_eq(tt_store_find_board(history, "0000", id, NULL), TIPTRUE_OK);
    ck_assert_str_eq(id, BOARD.id);

    static const struct {
        struct tt_store_query query;
        int met;
    } QUERIES[] = {{{0}, 1},
                   {{.machine = "loom"}, 1},
                   {{.machine = "loam"}, 0},
                   {{.has_since = true, .since_s = 1773468720.0}, 1},
                   {{.has_since = true, .since_s = 1773468720.5}, 0},
                   {{.has_until = true, .until_s = 1773468720.0}, 1},
                   {{.has_until = true, .until_s = 1773468719.5}, 0}};
    for (size_t k = 0; k < COUNT(QUERIES); k++) {
        met = 0;
        ck_assert_int_eq(tt_store_boards(history, &QUERIES[k].query, fail_at_board, &met, NULL),
                         QUERIES[k].met == 1 ? TIPTRUE_E_DATA : TIPTRUE_OK);
        ck_assert_int_eq(met, QUERIES[k].met);
        check_idle(history, "tt_store_boards");
    }

    later.verdict = "keep";
    later.version = "7.8"; /* of another judgement, which is older than the one that is there */
    later.judged = "2026-03-16T08:14:01Z";
    ck_assert_int_eq(tt_store_put_board(history, &later, &outcome, NULL), TIPTRUE_OK);
    ck_assert(!outcome.judged_anew);
    later.judged = "2026-03-16T08:14:03Z";
    ck_assert_int_eq(tt_store_put_board(history, &later, &outcome, NULL), TIPTRUE_OK);
    ck_assert(outcome.judged_anew && !outcome.is_new);
    ck_assert_int_eq(tt_store_load_board(history, BOARD.id, &arena, &got, NULL), TIPTRUE_OK);
    ck_assert_str_eq(got.verdict, "keep");
    ck_assert_str_eq(got.added, BOARD.added);
    later.table = (struct tt_text){"t,b\n", 4};
    ck_assert_int_eq(tt_store_put_board(history, &later, &outcome, &error), TIPTRUE_E_DATA);
    ck_assert_str_eq(error.text, "board 00000000000000a7 is in the history already with another "
                                 "table: two tables have the same digest");
    ck_assert_str_eq(error.hint, "keep both tables, and add a remark line to one of them");
    error = (struct tiptrue_error){0};
    ck_assert_int_eq(tt_store_load_board(history, "00000000000000b8", &arena, &got, &error),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "there is no board 00000000000000b8");
    ck_assert_str_eq(error.hint, "history list shows what is there");
    check_idle(history, "refusals");
    tt_arena_clear(&arena);
    tiptrue_history_close(history);
}
END_TEST

/* ---- statements ---- */

static enum tiptrue_status fail_at_entry(void *context, const struct tt_record_entry *entry)
{
    strcpy(context, entry->id);
    return TIPTRUE_E_DATA;
}

static enum tiptrue_status fail_at_note(void *context, const char *id, double time_s,
                                        const char *text)
{
    ck_assert_double_eq(time_s, 1773468720);
    ck_assert_str_eq(text, "bumped");
    strcpy(context, id);
    return TIPTRUE_E_DATA;
}

static enum tiptrue_status fail_at_machine(void *context, const char *name)
{
    ck_assert_str_eq(name, machine->name);
    (void)context;
    return TIPTRUE_E_DATA;
}

START_TEST(nothing_stays_half_way)
{
    char id[TT_RUN_ID_SIZE], found[TT_RUN_ID_SIZE] = "";
    struct tiptrue_history *history = with_a_run(id);
    struct tt_record record = {0};
    const struct tt_store_query all = {0};
    bool is = false;
    double time_s = 0;
    size_t runs = 0;

    ck_assert_int_eq(tt_store_say(history, id, TT_SAY_NOTE, "bumped", NOW_S, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_notes(history, machine->name, fail_at_note, found, NULL),
                     TIPTRUE_E_DATA);
    ck_assert_str_eq(found, id);
    check_idle(history, "tt_store_notes");
    ck_assert_int_eq(tt_store_next_unsummarised(history, found, &is, NULL), TIPTRUE_OK);
    ck_assert(is);
    check_idle(history, "tt_store_next_unsummarised");
    found[0] = '\0';
    ck_assert_int_eq(tt_store_list(history, &all, fail_at_entry, found, NULL), TIPTRUE_E_DATA);
    ck_assert_str_eq(found, id);
    check_idle(history, "tt_store_list");
    ck_assert_int_eq(tt_store_machines(history, fail_at_machine, NULL, NULL), TIPTRUE_E_DATA);
    check_idle(history, "tt_store_machines");
    ck_assert_int_eq(tt_store_load(history, id, true, &record, NULL), TIPTRUE_OK);
    tt_record_clear(&record);
    check_idle(history, "tt_store_load");
    ck_assert_int_eq(tt_store_time(history, id, &time_s, NULL), TIPTRUE_OK);
    ck_assert_double_eq(time_s, 1773468720);
    check_idle(history, "tt_store_time");
    ck_assert_int_eq(tt_store_knows(history, id, &is, NULL), TIPTRUE_OK);
    ck_assert(is);
    ck_assert_int_eq(tt_store_knows(history, "00000000000000a7", &is, NULL), TIPTRUE_OK);
    ck_assert(!is);
    check_idle(history, "tt_store_knows");
    ck_assert_int_eq(tt_store_latest_start(history, machine->name, &is, &time_s, NULL), TIPTRUE_OK);
    ck_assert(is && time_s == 1773468720);
    ck_assert_int_eq(tt_store_latest_start(history, "loam", &is, &time_s, NULL), TIPTRUE_OK);
    ck_assert(!is);
    check_idle(history, "tt_store_latest_start");
    ck_assert_int_eq(tt_store_count_machine(history, machine->name, &runs, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(runs, 1);
    check_idle(history, "tt_store_count_machine");
    ck_assert_int_eq(tiptrue_history_find(history, id, found, NULL), TIPTRUE_OK);
    check_idle(history, "tiptrue_history_find");
    tiptrue_history_close(history);
}
END_TEST

/* Who has it open when it is moved away writes nothing into it, and begins nothing. */
START_TEST(a_history_that_was_moved_is_not_written)
{
    char id[TT_RUN_ID_SIZE], away[80];
    struct tiptrue_history *history = with_a_run(id);

    snprintf(away, sizeof away, "%s-away", path);
    ck_assert_int_eq(rename(path, away), 0);
    for (int i = 0; i < 2; i++) {
        struct tiptrue_error error = {0};
        ck_assert_int_eq(tt_store_begin(history, &error), TIPTRUE_E_IO);
        ck_assert_str_eq(error.text, "the history was moved or removed by another process");
        ck_assert_str_eq(error.hint, "try again");
        ck_assert(sqlite3_get_autocommit(history->db) && !history->in_group);
    }
    ck_assert_int_eq(rename(away, path), 0);
    ck_assert_int_eq(tt_store_begin(history, NULL), TIPTRUE_OK);
    ck_assert(history->in_group);
    tt_store_rollback(history);
    ck_assert(!history->in_group && sqlite3_get_autocommit(history->db));
    ck_assert_int_eq(tt_store_begin_reading(history, NULL), TIPTRUE_OK);
    ck_assert(history->in_group && !sqlite3_get_autocommit(history->db));
    tiptrue_history_close(history);
}
END_TEST

/* ---- results ---- */

/* How many results are new where @record is put as @how. */
static size_t new_results(struct tiptrue_history *history, const struct tt_solved *solved,
                          enum tt_put how)
{
    struct tt_put_outcome outcome;

    ck_assert_int_eq(tt_store_put(history, &solved->record, solved->solution, how, &outcome, NULL),
                     TIPTRUE_OK);
    return outcome.new_results;
}

START_TEST(results_that_are_there_are_no_new_ones)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_solved solved = {0};

    ck_assert_int_eq(
        tt_solved_make(&solved, plate, machine, NULL, NULL, run.run, run.solution, NOW_S, NULL),
        TIPTRUE_OK);
    struct tt_record_result twice[] = {solved.result, solved.result}, whole = solved.result;
    solved.record.results = twice;
    solved.record.n_results = 2;
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_MERGED), 1);
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_MERGED), 0);
    solved.record.n_results = 1;
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_ANEW), 0);
    twice[0].version = "7.7";
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_ANEW), 1);
    twice[0] = whole; /* it is there, and counts no longer */
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_ANEW), 1);
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_SOLVED), 0);
    memset(twice[0].documents, 0, sizeof twice[0].documents); /* bare */
    twice[0].version = "7.8";
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_MERGED), 0);
    do_sql(history, "UPDATE result SET plate = NULL");
    ck_assert_uint_eq(new_results(history, &solved, TT_PUT_MERGED), 1);
    ck_assert_uint_eq(count(history).results, 4);
    solved.record.results = &solved.result;
    tt_solved_clear(&solved);
    free_run(&run);
    tiptrue_history_close(history);
}
END_TEST

/* A solution that knows what shifting edges do to its tips, and not to its edges, tells nothing. */
START_TEST(half_a_response_is_none)
{
    char id[TT_RUN_ID_SIZE];
    struct tiptrue_history *history = with_a_run(id);
    struct bench_run run = make_run("first");
    static double numbers[64] = {0.073, 0.0191};
    sqlite3_stmt *statement;
    bool row;

    for (size_t i = 0; i < run.solution->n_tips; i++) {
        run.solution->tips[i].edge_response = numbers;
    }
    for (size_t i = 0; i < run.solution->n_edges; i++) {
        run.solution->edges[i].edge_response = NULL;
    }
    ck_assert_int_eq(tt_store_keep_response(history, id, run.solution, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_sql_first(history, "SELECT numbers FROM response",
                                  (struct tt_sql_values){NULL, 0}, &statement, &row, NULL),
                     TIPTRUE_OK);
    ck_assert(row);
    ck_assert_str_eq(tt_sql_word(statement, 0), "0 0 0 0 0 0 ");
    sqlite3_reset(statement);
    free_run(&run);
    tiptrue_history_close(history);
}
END_TEST

START_TEST(forgetting_needs_something_to_forget)
{
    char id[TT_RUN_ID_SIZE];
    struct tiptrue_history *history = with_a_run(id);
    struct tt_board_outcome outcome;
    struct tiptrue_error error = {0};

    ck_assert_int_eq(tt_store_put_board(history, &BOARD, &outcome, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_history_forget(history, "00000000000000c9", &error),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "there is no run 00000000000000c9 in the history");
    ck_assert_uint_eq(count(history).runs + count(history).boards, 2);
    ck_assert_int_eq(tiptrue_history_forget(history, BOARD.id, NULL), TIPTRUE_OK);
    ck_assert(count(history).runs == 1 && count(history).boards == 0);
    ck_assert_int_eq(tiptrue_history_forget(history, id, NULL), TIPTRUE_OK);
    ck_assert(count(history).runs == 0 && count(history).results == 0 && count(history).logs == 0 &&
              count(history).documents == 0);
    tiptrue_history_close(history);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("store, row by row");
    TCase *tests = tcase_create("store");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_test(tests, codes_have_their_words);
    tcase_add_test(tests, no_row_where_none_could_be_asked_for);
    tcase_add_test(tests, each_fault_has_its_words);
    tcase_add_test(tests, what_cannot_be_read_is_a_fault);
    tcase_add_test(tests, each_column_of_a_run_is_read);
    tcase_add_test(tests, each_column_of_a_list_is_written);
    tcase_add_test(tests, boards_come_back);
    tcase_add_test(tests, nothing_stays_half_way);
    tcase_add_test(tests, a_history_that_was_moved_is_not_written);
    tcase_add_test(tests, results_that_are_there_are_no_new_ones);
    tcase_add_test(tests, half_a_response_is_none);
    tcase_add_test(tests, forgetting_needs_something_to_forget);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? 0 : 1;
}
