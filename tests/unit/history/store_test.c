/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The store: what is one entry and what is two, which result counts, that nothing is lost on a
 * failure, older and foreign files, and that a series read from its tables is the one that the
 * results give. */
#include "config.h"

#include <math.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <signal.h>

#include "base/digest.h"
#include "bench_store.h"
#include "history/store/response.h"
#include "history/store/schema.h"
#include "history/series/series.h"
#include "history/store/sql.h"
#include "history/store/summary.h"
#include "history/store/summary_columns.h"
#include "output/history.h"
#include "app/solved.h"

START_TEST(the_same_run_is_one_entry)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first"), other = make_run("second");
    struct tt_buffer told = {0};

    ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
    ck_assert_int_eq(add(history, &other, NOW_S, &told), TIPTRUE_OK);
    assert_told(&told, "");
    ck_assert_int_eq(add(history, &run, NOW_S + 86400, &told), TIPTRUE_OK);
    char expected[200];
    snprintf(expected, sizeof expected,
             "run.csv: note: run %s is in the history already, since 2026-03-20T09:46:40Z, and "
             "nothing was written\n",
             run.run->id);
    assert_told(&told, expected);
    struct tt_store_counts counts = count(history);
    ck_assert_uint_eq(counts.runs, 2);
    ck_assert_uint_eq(counts.logs, 2);
    ck_assert_uint_eq(counts.results, 2);
    ck_assert_uint_eq(counts.documents, 2); /* plate and machine, each once */
    free_run(&run);
    free_run(&other);
    tt_buffer_clear(&told);
    tiptrue_history_close(history);
}
END_TEST

/* The machine file with another permitted error. */
static void change_machine(void)
{
    struct tt_buffer text = {0};
    const char *at = strstr(machine->source.text, "\"permitted_error\":"),
               *end = strpbrk(at + 18, ",}");

    tt_buffer_add(&text, machine->source.text, (size_t)(at - machine->source.text));
    tt_buffer_puts(&text, "\"permitted_error\": 0.00125");
    tt_buffer_puts(&text, end);
    tiptrue_machine_free(machine);
    machine = NULL;
    ck_assert_int_eq(tt_machine_read_bytes("machine", text.text, text.length, NULL, &machine, NULL),
                     TIPTRUE_OK);
    tt_buffer_clear(&text);
}

START_TEST(other_documents_make_a_newer_result_of_one_run)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_buffer told = {0};

    ck_assert_int_eq(run.solution->verdict, TIPTRUE_KEEP);
    ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
    change_machine();
    struct bench_run again = make_run("first");
    ck_assert_int_eq(again.solution->verdict, TIPTRUE_UPDATE);
    ck_assert_int_eq(add(history, &again, NOW_S - 3600, &told),
                     TIPTRUE_OK); /* the clock was set back, and yet it is the newer one */
    ck_assert_ptr_nonnull(strstr(
        told.text, "this result, of other documents, replaces that of 2026-03-20T09:46:40Z\n"));
    struct tt_store_counts counts = count(history);
    ck_assert_uint_eq(counts.runs, 1);
    ck_assert_uint_eq(counts.results, 2);
    ck_assert_uint_eq(counts.documents, 3);
    struct tiptrue_solution *newest = NULL;
    ck_assert_int_eq(tiptrue_history_solution(history, run.run->id, &newest, NULL), TIPTRUE_OK);
    ck_assert_int_eq(newest->verdict, TIPTRUE_UPDATE);
    tiptrue_solution_free(newest);
    struct tt_record record = {0};
    ck_assert_int_eq(tt_store_load(history, run.run->id, false, &record, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(record.n_results, 2);
    ck_assert_str_eq(record.results[0].verdict, "keep");
    ck_assert_str_eq(record.results[1].verdict, "update");
    ck_assert_uint_eq(record.log.length, run.run->source.length);
    ck_assert_mem_eq(record.log.text, run.run->source.text, record.log.length);
    tt_record_clear(&record);
    free_run(&run);
    free_run(&again);
    tt_buffer_clear(&told);
    tiptrue_history_close(history);
}
END_TEST

START_TEST(a_collision_of_digests_is_loud)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_buffer told = {0};
    struct tiptrue_error error = {0};

    ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
    run.run->source.text[run.run->source.length - 3] ^= 1; /* other bytes under the same id */
    ck_assert_int_eq(tiptrue_history_add(history, plate, machine, NULL, NULL, run.run, run.solution,
                                         NOW_S, NULL, &error),
                     TIPTRUE_E_DATA);
    ck_assert_ptr_nonnull(strstr(error.text, "two logs have the same digest"));
    ck_assert_uint_eq(count(history).results, 1);
    free_run(&run);
    tiptrue_history_close(history);
}
END_TEST

/* Beyond a megabyte a log is written and compared piece by piece. */
START_TEST(a_large_log_comes_back_byte_by_byte)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("large");
    struct tt_solved solved = {0};
    struct tt_put_outcome outcome;
    struct tt_record record = {0};
    size_t length = 3 * 1048576 + 777;
    char *log = malloc(length + 1);

    for (size_t i = 0; i < length; i++) {
        log[i] = (char)('a' + i * i % 23);
    }
    log[length] = '\0';
    ck_assert_int_eq(
        tt_solved_make(&solved, plate, machine, NULL, NULL, run.run, run.solution, NOW_S, NULL),
        TIPTRUE_OK);
    solved.record.log = (struct tt_text){log, length};
    ck_assert_int_eq(
        tt_store_put(history, &solved.record, run.solution, TT_PUT_SOLVED, &outcome, NULL),
        TIPTRUE_OK);
    ck_assert(outcome.run_is_new && outcome.log_is_new);
    ck_assert_int_eq(
        tt_store_put(history, &solved.record, run.solution, TT_PUT_SOLVED, &outcome, NULL),
        TIPTRUE_OK);
    ck_assert(!outcome.run_is_new && !outcome.log_is_new && outcome.new_results == 0);
    ck_assert_int_eq(tt_store_load(history, run.run->id, true, &record, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(record.log.length, length);
    ck_assert_mem_eq(record.log.text, log, length);
    tt_record_clear(&record);
    log[length - 1] = '#';
    ck_assert_int_eq(
        tt_store_put(history, &solved.record, run.solution, TT_PUT_SOLVED, &outcome, NULL),
        TIPTRUE_E_DATA);
    tt_solved_clear(&solved);
    free_run(&run);
    free(log);
    tiptrue_history_close(history);
}
END_TEST

/* 2026-11-26: the 49th statement took the place of the first, whether that one was being stepped or
 * not; there were 33 then. */
START_TEST(statements_in_use_stay)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    static char sql[80][40];
    sqlite3_stmt *first, *other;
    bool row = false;

    ck_assert_int_eq(tt_sql_get(history, "VALUES (37), (41), (43)", &first, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_sql_next(history, first, &row, NULL), TIPTRUE_OK);
    ck_assert(row && sqlite3_column_int(first, 0) == 37);
    for (size_t i = 0; i < 80; i++) {
        snprintf(sql[i], sizeof sql[i], "SELECT %zu", 7 * i);
        ck_assert_int_eq(tt_sql_get(history, sql[i], &other, NULL), TIPTRUE_OK);
        ck_assert_int_eq(tt_sql_next(history, other, &row, NULL), TIPTRUE_OK);
        ck_assert(row && sqlite3_column_int(other, 0) == (int)(7 * i));
    }
    ck_assert(sqlite3_next_stmt(history->db, NULL) != NULL && sqlite3_stmt_busy(first));
    ck_assert_int_eq(tt_sql_next(history, first, &row, NULL), TIPTRUE_OK);
    ck_assert(row && sqlite3_column_int(first, 0) == 41);
    tiptrue_history_close(history);
}
END_TEST

static void check_tip(const struct tt_series_tip *a, const struct tt_series_tip *b)
{
    ck_assert_uint_eq(a->tip, b->tip);
    ck_assert_int_eq(a->verdict, b->verdict);
    ck_assert(a->has_offset == b->has_offset && a->has_runout == b->has_runout &&
              a->has_radius == b->has_radius);
    ck_assert(a->has_present == b->has_present);
    ck_assert(a->offset.x_mm == b->offset.x_mm && a->offset.y_mm == b->offset.y_mm);
    ck_assert_mem_eq(&a->cov, &b->cov, sizeof a->cov);
    ck_assert_mem_eq(&a->same_plate_cov, &b->same_plate_cov, sizeof a->cov);
    ck_assert_mem_eq(&a->runout_cov, &b->runout_cov, sizeof a->cov);
    ck_assert(a->common_u_x_mm == b->common_u_x_mm && a->common_u_y_mm == b->common_u_y_mm);
    ck_assert(a->runout.x_mm == b->runout.x_mm && a->runout.y_mm == b->runout.y_mm);
    ck_assert(a->radius_mm == b->radius_mm && a->u_radius_mm == b->u_radius_mm);
    ck_assert(a->present.x_mm == b->present.x_mm && a->present.y_mm == b->present.y_mm);
}

START_TEST(a_series_from_the_tables_is_that_of_the_results)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct tt_arena arena = {0};
    struct tt_series direct = {.arena = &arena}, read = {.arena = &arena}, last = {.arena = &arena};
    struct tt_buffer told = {0};
    const char *name = NULL;

    for (int i = 0; i < 5; i++) {
        char remark[16];
        snprintf(remark, sizeof remark, "n%d", i);
        struct bench_run run = make_run(remark);
        name = machine->name;
        ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
        struct tiptrue_solution *stored = NULL; /* as the document has it, with ten decimals */
        ck_assert_int_eq(tiptrue_history_solution(history, run.run->id, &stored, NULL), TIPTRUE_OK);
        ck_assert_int_eq(tt_series_add(&direct, stored, NOW_S, NULL), TIPTRUE_OK);
        tiptrue_solution_free(stored);
        free_run(&run);
    }
    tt_series_sort(&direct);
    ck_assert_int_eq(tt_store_series(history, name, -HUGE_VAL, 0, &read, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(read.n_runs, 5);
    ck_assert_uint_eq(read.n_tip_names, direct.n_tip_names);
    for (size_t i = 0; i < 5; i++) {
        const struct tt_series_run *a = &direct.runs[i], *b = &read.runs[i];
        ck_assert_str_eq(a->id, b->id);
        ck_assert_str_eq(a->plate, b->plate);
        ck_assert_str_eq(a->setup, b->setup);
        ck_assert(a->time_s == b->time_s && a->time_stated == b->time_stated);
        ck_assert(a->has_pose && b->has_pose);
        ck_assert(a->mark.x_mm == b->mark.x_mm && a->mark.y_mm == b->mark.y_mm &&
                  a->yaw_rad == b->yaw_rad);
        ck_assert(a->u_mark_x_mm == b->u_mark_x_mm && a->u_mark_y_mm == b->u_mark_y_mm &&
                  a->u_yaw_rad == b->u_yaw_rad);
        ck_assert(a->has_permitted_error && a->permitted_error_mm == b->permitted_error_mm);
        ck_assert(a->has_u_touch == b->has_u_touch && a->u_touch_mm == b->u_touch_mm);
        ck_assert(a->has_u_sighting == b->has_u_sighting && a->u_sighting_mm == b->u_sighting_mm);
        ck_assert(a->has_temperature == b->has_temperature && a->temperature_C == b->temperature_C);
        ck_assert_uint_eq(a->n_tips, b->n_tips);
        for (size_t k = 0; k < a->n_tips; k++) {
            check_tip(&a->tips[k], &b->tips[k]);
        }
    }
    ck_assert_int_eq(tt_store_series(history, "no such machine", -HUGE_VAL, 0, &last, NULL),
                     TIPTRUE_OK);
    ck_assert_uint_eq(last.n_runs, 0);
    ck_assert_int_eq(tt_store_series(history, name, read.runs[0].time_s + 0.5, 0, &last, NULL),
                     TIPTRUE_OK);
    ck_assert_uint_eq(last.n_runs, 0);
    tt_arena_clear(&arena);
    tiptrue_history_close(history);
}
END_TEST

/* All numbers of a tip; flags and names stand beside. */
#define OF(member) offsetof(struct tt_series_tip, member)
static const size_t NUMBERS[] = {OF(offset.x_mm),
                                 OF(offset.y_mm),
                                 OF(full.x_mm),
                                 OF(full.y_mm),
                                 OF(cov.xx_mm2),
                                 OF(cov.xy_mm2),
                                 OF(cov.yy_mm2),
                                 OF(same_plate_cov.xx_mm2),
                                 OF(same_plate_cov.xy_mm2),
                                 OF(same_plate_cov.yy_mm2),
                                 OF(common_u_x_mm),
                                 OF(common_u_y_mm),
                                 OF(u_rivals_x_mm),
                                 OF(u_rivals_y_mm),
                                 OF(runout.x_mm),
                                 OF(runout.y_mm),
                                 OF(runout_cov.xx_mm2),
                                 OF(runout_cov.xy_mm2),
                                 OF(runout_cov.yy_mm2),
                                 OF(radius_mm),
                                 OF(u_radius_mm),
                                 OF(present.x_mm),
                                 OF(present.y_mm),
                                 OF(height_mm),
                                 OF(u_height_mm),
                                 OF(full_u_height_mm),
                                 OF(common_u_height_mm),
                                 OF(present_height_mm),
                                 OF(permitted_height_mm)};

/* The flags of a tip, one up in each pass. */
static void set_flags(struct tt_series_tip *tip, int up)
{
    bool *const flags[] = {
        &tip->has_offset, &tip->has_runout, &tip->has_radius,         &tip->has_present,
        &tip->doubted,    &tip->has_height, &tip->has_present_height, &tip->has_permitted_height};
    for (int k = 0; k < 8; k++) {
        *flags[k] = k == up;
    }
}

START_TEST(every_number_of_a_tip_comes_back)
{
    sqlite3 *db;
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};

    ck_assert_int_eq(sqlite3_open(":memory:", &db), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(db, "CREATE TABLE t(" TT_TIP_COLUMNS ")", NULL, NULL, NULL),
                     SQLITE_OK);
    struct tiptrue_history store = {.db = db};
    for (int up = 0; up < 8; up++) {
        sqlite3_stmt *from;
        struct tt_sql_value values[TT_TIP_AFTER];
        struct tt_series_tip put = {.verdict = TIPTRUE_UPDATE, .pads = "P\nQ"}, got = {0};
        set_flags(&put, up);
        for (size_t k = 0; k < sizeof NUMBERS / sizeof NUMBERS[0]; k++) {
            double number = 0.0137 * (double)(k + 1) - 0.2;
            bool kept = NUMBERS[k] < OF(height_mm) ||
                        (NUMBERS[k] < OF(present_height_mm) && put.has_height) ||
                        (NUMBERS[k] == OF(present_height_mm) && put.has_present_height) ||
                        (NUMBERS[k] == OF(permitted_height_mm) && put.has_permitted_height);
            memcpy((char *)&put + NUMBERS[k], kept ? &number : &(double){0}, sizeof number);
        }
        tt_tip_values("N2", &put, values);
        ck_assert_int_eq(
            tt_sql_do(&store,
                      "INSERT INTO t VALUES "
                      "(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
                      (struct tt_sql_values){values, TT_TIP_AFTER}, NULL),
            TIPTRUE_OK);
        ck_assert_int_eq(sqlite3_prepare_v2(db,
                                            "SELECT " TT_TIP_COLUMNS " FROM t ORDER BY rowid DESC",
                                            -1, &from, NULL),
                         SQLITE_OK);
        ck_assert_int_eq(sqlite3_step(from), SQLITE_ROW);
        ck_assert(tt_tip_columns(&series, from, &got));
        for (size_t k = 0; k < sizeof NUMBERS / sizeof NUMBERS[0]; k++) {
            ck_assert_msg(
                memcmp((char *)&put + NUMBERS[k], (char *)&got + NUMBERS[k], sizeof(double)) == 0,
                "number %zu, pass %d", k, up);
        }
        ck_assert(got.has_offset == put.has_offset && got.has_runout == put.has_runout &&
                  got.has_radius == put.has_radius && got.has_present == put.has_present &&
                  got.doubted == put.doubted && got.has_height == put.has_height &&
                  got.has_present_height == put.has_present_height &&
                  got.has_permitted_height == put.has_permitted_height);
        ck_assert_int_eq(got.verdict, TIPTRUE_UPDATE);
        ck_assert_str_eq(series.tip_names[got.tip], "N2");
        ck_assert_str_eq(got.pads, "P\nQ");
        sqlite3_finalize(from);
    }
    for (size_t i = 0; i < store.n_kept; i++) {
        sqlite3_finalize(store.kept[i].statement);
    }
    free(store.kept);
    ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
    tt_arena_clear(&arena);
}
END_TEST

START_TEST(every_number_of_the_machine_comes_back)
{
    struct tt_series_run put = {.marks = 7, .lost_motion_mm = -0.0123}, got = {0}, none = {0};
    struct tt_buffer text = {0};

    tt_run_numbers_write(&got, &text);
    ck_assert_uint_eq(text.length, 0);
    for (int k = 0; k < TT_SERIES_NUMBERS; k++) {
        put.machine[k] = 0.0173 - 0.0031 * k;
        put.u_machine[k] = 1.7e-5 * (k + 1);
    }
    tt_run_numbers_write(&put, &text);
    tt_run_numbers_read(text.text, &got);
    ck_assert_uint_eq(got.marks, 7);
    ck_assert_double_eq(got.lost_motion_mm, -0.0123);
    for (int k = 0; k < TT_SERIES_NUMBERS; k++) {
        ck_assert_double_eq(got.machine[k], put.machine[k]);
        ck_assert_double_eq(got.u_machine[k], put.u_machine[k]);
    }
    tt_run_numbers_read(NULL, &none);
    ck_assert(none.marks == 0 && none.machine[2] == 0 && none.u_machine[5] == 0);
    tt_run_numbers_read("0 0 0 0 0 0 0 0 0 0 0 0 999999 0", &none);
    ck_assert_uint_eq(none.marks, 999999);
    tt_run_numbers_read("0 0 0 0 0 0 0 0 0 0 0 0 1000000 0", &none); /* no plate has so many */
    ck_assert_uint_eq(none.marks, 0);
    tt_buffer_clear(&text);
}
END_TEST

/* The numbers that are kept for the newest result, for free(); NULL: none are. */
static char *kept_response(struct tiptrue_history *history)
{
    sqlite3_stmt *statement;
    bool row = false;
    char *kept = NULL;

    ck_assert_int_eq(
        tt_sql_get(history, "SELECT CAST(numbers AS TEXT) FROM response", &statement, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tt_sql_next(history, statement, &row, NULL), TIPTRUE_OK);
    if (row) {
        kept = strdup((const char *)sqlite3_column_text(statement, 0));
    }
    tt_sql_reset_all(history);
    return kept;
}

/* What the only run of the history shows of itself: *can_tell, whether it could be solved again. */
static struct tt_series_run shown_by_run(struct tiptrue_history *history, bool *has_response)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.machine = machine->name, .arena = &arena};

    ck_assert_int_eq(tt_store_series(history, machine->name, -HUGE_VAL, 0, &series, NULL),
                     TIPTRUE_OK);
    ck_assert_uint_eq(series.n_runs, 1);
    ck_assert_int_eq(tt_store_repeatability(history, &series, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_response(history, &series, &series.runs[0], NULL), TIPTRUE_OK);
    struct tt_series_run run = series.runs[0];
    *has_response = series.response != NULL;
    tt_arena_clear(&arena);
    return run;
}

/* The solution as if it knew what edges that shift do to it. */
static void give_response(struct tiptrue_solution *solution)
{
    static double numbers[64];
    double *at = numbers;

    solution->own_touch_mm = 0.00271;
    solution->own_touch_dof = 33.25;
    solution->own_sighting_mm = 0.00187;
    solution->own_sighting_dof = 6.5;
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        numbers[i] = 0.0713 - 0.0089 * (double)i;
    }
    for (size_t i = 0; i < solution->n_tips; i++, at += 3 * (solution->n_edges + 1)) {
        solution->tips[i].edge_response = at;
    }
    for (size_t i = 0; i < solution->n_edges; i++, at += solution->n_edges + 1) {
        solution->edges[i].edge_response = at;
    }
    ck_assert(at <= numbers + sizeof numbers / sizeof numbers[0]);
}

/* What a run shows of edges that shift is kept with it, and can be kept later; of a run that cannot
 * be solved again it is kept that nothing is known. */
START_TEST(responses_are_kept_later)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_buffer told = {0};
    bool has_response = false;

    give_response(run.solution);
    ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
    char *first = kept_response(history);
    ck_assert_ptr_nonnull(first);
    struct tt_series_run shown = shown_by_run(history, &has_response);
    ck_assert(has_response && !shown.can_tell);
    ck_assert_double_eq(shown.own_touch_mm, run.solution->own_touch_mm);
    ck_assert_double_eq(shown.own_touch_dof, run.solution->own_touch_dof);
    ck_assert_double_eq(shown.own_sighting_mm, run.solution->own_sighting_mm);
    ck_assert_double_eq(shown.own_sighting_dof, run.solution->own_sighting_dof);

    ck_assert_int_eq(tt_sql_run(history, "DELETE FROM response", NULL), TIPTRUE_OK);
    shown = shown_by_run(history, &has_response);
    ck_assert(!has_response);
    ck_assert(shown.can_tell);
    ck_assert_double_eq(shown.own_touch_mm, 0);

    ck_assert_int_eq(tt_store_keep_response(history, run.run->id, NULL, NULL), TIPTRUE_OK);
    char *nothing = kept_response(history);
    ck_assert_str_eq(nothing, "0 0 0 0 0 0 ");
    shown = shown_by_run(history, &has_response);
    ck_assert(!has_response && !shown.can_tell);
    ck_assert_double_eq(shown.own_touch_mm, 0);

    ck_assert_int_eq(tt_store_keep_response(history, "00000000000000a7", run.solution, NULL),
                     TIPTRUE_OK); /* a run that is not there */
    ck_assert_int_eq(tt_store_keep_response(history, run.run->id, run.solution, NULL), TIPTRUE_OK);
    char *again = kept_response(history);
    ck_assert_str_eq(again, first);
    struct tiptrue_history_counts counts;
    ck_assert_int_eq(tiptrue_history_verify(history, NULL, &counts, NULL), TIPTRUE_OK);
    free(first);
    free(nothing);
    free(again);
    free_run(&run);
    tt_buffer_clear(&told);
    tiptrue_history_close(history);
}
END_TEST

/* A history as version 1 of the schema had it: runs and results, no summaries. */
static void make_version_1(const struct bench_run *run)
{
    struct tiptrue_history old = {.path = path};
    struct tt_buffer json = {0};
    struct tt_solved solved = {0};
    char digest[17];

    ck_assert_int_eq(sqlite3_open(path, &old.db), SQLITE_OK);
    ck_assert_int_eq(tt_schema_migrate(&old, 1, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tt_solved_make(&solved, plate, machine, NULL, NULL, run->run, run->solution, NOW_S, NULL),
        TIPTRUE_OK);
    const struct tt_text json_text = {solved.json.text, solved.json.length};
    tt_digest(solved.json.text, solved.json.length, digest);
    ck_assert_int_eq(
        tt_sql_do(&old, "INSERT INTO run(no, id, added) VALUES(7, ?, '2026-03-01T06:30:00Z')",
                  TT_SQL_VALUES(TT_AS_TEXT(run->run->id)), NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tt_sql_do(&old,
                               "INSERT INTO result(run, version, added, verdict, digest, json)"
                               " VALUES(7, '0.0.9', '2026-03-01T06:30:00Z', 'keep', ?, ?)",
                               TT_SQL_VALUES(TT_AS_TEXT(digest), TT_AS_BLOB(json_text)), NULL),
                     TIPTRUE_OK);
    for (size_t i = 0; i < old.n_kept; i++) {
        sqlite3_finalize(old.kept[i].statement);
    }
    free(old.kept);
    ck_assert_int_eq(sqlite3_close(old.db), SQLITE_OK);
    tt_solved_clear(&solved);
    tt_buffer_clear(&json);
}

START_TEST(an_older_schema_is_brought_forward)
{
    struct bench_run run = make_run("old");
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    int version = 0;

    make_version_1(&run);
    for (int i = 0; i < 2; i++) { /* opened to read, as by a list, then once more to write */
        struct tiptrue_history *history =
            open_history(i == 0 ? TIPTRUE_HISTORY_READ : TIPTRUE_HISTORY_WRITE);
        ck_assert_int_eq(tt_schema_version(history, &version, NULL), TIPTRUE_OK);
        ck_assert_int_eq(version, TT_SCHEMA_VERSION);
        series = (struct tt_series){.arena = &arena};
        ck_assert_int_eq(tt_store_series(history, machine->name, -HUGE_VAL, 0, &series, NULL),
                         TIPTRUE_OK);
        ck_assert_uint_eq(series.n_runs, 1);
        ck_assert_str_eq(series.runs[0].id, run.run->id);
        ck_assert_double_eq_tol(series.runs[0].tips[0].offset.x_mm, run.solution->tips[0].held.x_mm,
                                1e-10);
        ck_assert_double_eq_tol(series.runs[0].tips[0].full.x_mm, run.solution->tips[0].offset.x_mm,
                                1e-10);
        struct tiptrue_history_counts counts;
        struct tt_buffer told = {0};
        const struct tiptrue_sink sink = {collect_told, &told};
        ck_assert_int_ne(tiptrue_history_verify(history, &sink, &counts, NULL), TIPTRUE_E_IO);
        assert_told(&told, "");
        ck_assert_uint_eq(counts.runs, 1);
        tiptrue_history_close(history);
    }
    tt_arena_clear(&arena);
    free_run(&run);
}
END_TEST

/* What opening the file says, after @sql was run on it; @sql NULL: it is filled with text. */
static void check_refused(const char *sql, enum tiptrue_history_access access,
                          enum tiptrue_status status, const char *text)
{
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    sqlite3 *db;

    unlink(path);
    if (sql != NULL) {
        ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
        ck_assert_int_eq(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
        ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
    } else {
        FILE *file = fopen(path, "w");
        ck_assert_ptr_nonnull(file);
        for (int i = 0; i < 300; i++) {
            fputs("kind,target,tip,x,y\n", file);
        }
        ck_assert_int_eq(fclose(file), 0);
    }
    ck_assert_int_eq(tiptrue_history_open(path, access, &history, &error), status);
    ck_assert_ptr_null(history);
    ck_assert_msg(strstr(error.text, text) != NULL, "%s", error.text);
    ck_assert_str_eq(error.file, path);
}

START_TEST(foreign_files_are_refused)
{
    for (int i = 0; i < 2; i++) {
        enum tiptrue_history_access access = i == 0 ? TIPTRUE_HISTORY_READ : TIPTRUE_HISTORY_WRITE;
        check_refused(NULL, access, TIPTRUE_E_DATA, "not a tiptrue history");
        check_refused("CREATE TABLE birds(name)", access, TIPTRUE_E_DATA,
                      "a database of another program");
        check_refused("PRAGMA application_id = 77", access, TIPTRUE_E_DATA,
                      "a database of another program");
        check_refused("PRAGMA application_id = 0x74697054; PRAGMA user_version = 9999", access,
                      TIPTRUE_E_DATA, "schema version 9999, written by a newer tiptrue");
    }
    check_refused("PRAGMA user_version = 0; VACUUM", TIPTRUE_HISTORY_READ, TIPTRUE_E_DATA,
                  "the file is empty");
    unlink(path);
    struct tiptrue_history *history = NULL;
    ck_assert_int_eq(tiptrue_history_open(path, TIPTRUE_HISTORY_READ, &history, NULL),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_int_eq(
        tiptrue_history_open("no-such-folder/h.db", TIPTRUE_HISTORY_WRITE, &history, NULL),
        TIPTRUE_E_IO);
    ck_assert_int_eq(tiptrue_history_open(".", TIPTRUE_HISTORY_READ, &history, NULL),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_ptr_null(history);
}
END_TEST

/* In a process of its own, whose files may grow to @limit bytes: adds until that fails, and returns
 * how many were added. */
static int add_until_full(rlim_t limit)
{
    pid_t child = fork();
    int status;

    ck_assert_int_ge(child, 0);
    if (child == 0) {
        struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
        const struct rlimit rlimit = {limit, limit};
        struct tt_buffer told = {0};
        signal(SIGXFSZ, SIG_IGN);
        if (setrlimit(RLIMIT_FSIZE, &rlimit) != 0) {
            _exit(200);
        }
        for (int i = 0; i < 100; i++) {
            char remark[16];
            snprintf(remark, sizeof remark, "f%d", i);
            struct bench_run run = make_run(remark);
            enum tiptrue_status added = add(history, &run, NOW_S, &told);
            if (added != TIPTRUE_OK) {
                _exit(added == TIPTRUE_E_IO ? i : 201);
            }
        }
        _exit(202);
    }
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert(WIFEXITED(status));
    return WEXITSTATUS(status);
}

START_TEST(a_full_disk_leaves_the_store_as_it_was)
{
    int added = add_until_full(400000);
    struct tiptrue_history_counts counts = {0};

    ck_assert_msg(added > 3 && added < 100, "%d", added);
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    ck_assert_int_eq(tiptrue_history_verify(history, NULL, &counts, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(counts.runs, (size_t)added);
    ck_assert_uint_eq(counts.results, (size_t)added);
    ck_assert_uint_eq(counts.logs, (size_t)added);
    tiptrue_history_close(history);
}
END_TEST

/* Another process writes, and does not end: who waits gives up when it was told to. */
START_TEST(waits_no_longer_than_it_may)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct tiptrue_error error = {0};
    sqlite3 *other = NULL;

    ck_assert_int_eq(sqlite3_open(path, &other), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    tt_store_wait(history, 37, NULL, NULL);
    ck_assert_int_eq(tt_sql_run(history, "BEGIN IMMEDIATE", &error), TIPTRUE_E_IO);
    ck_assert_uint_ge(history->waited_ms, 37);
    ck_assert_uint_le(history->waited_ms, 37 + 12);
    ck_assert_int_eq(sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_close(other), SQLITE_OK);
    tiptrue_history_close(history);
}
END_TEST

START_TEST(exports_are_kept_with_their_run)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_buffer told = {0};
    static const char OLD[] = "{\"t1.offset.x\":36.1842}", NEW[] = "{\"t1.offset.x\":36.1822}";
    const struct tt_record_export export = {"2026-03-20T10:02:17Z", "head.json",
                                            "00000000000000a7",     "00000000000000b8",
                                            {OLD, strlen(OLD)},     {NEW, strlen(NEW)}};
    struct tiptrue_error error = {0};

    ck_assert_int_eq(tt_store_add_export(history, run.run->id, &export, &error),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_add_export(history, run.run->id, &export, NULL), TIPTRUE_OK);
    struct tt_record record = {0};
    ck_assert_int_eq(tt_store_load(history, run.run->id, false, &record, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(record.n_exports, 1);
    ck_assert_str_eq(record.exports[0].file, "head.json");
    ck_assert_str_eq(record.exports[0].old_values.text, OLD);
    ck_assert_str_eq(record.exports[0].new_values.text, NEW);
    ck_assert_str_eq(record.exports[0].new_digest, "00000000000000b8");
    tt_record_clear(&record);
    free_run(&run);
    tiptrue_history_close(history);
}
END_TEST

START_TEST(runs_are_found_by_the_beginning_of_their_id)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct tt_buffer told = {0};
    char ids[40][TT_RUN_ID_SIZE], found[TT_RUN_ID_SIZE], begin[2] = "";

    for (int i = 0; i < 40; i++) { /* more than the 16 first digits: two begin alike */
        char remark[16];
        snprintf(remark, sizeof remark, "r%d", i);
        struct bench_run run = make_run(remark);
        strcpy(ids[i], run.run->id);
        ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
        for (int k = 0; k < i; k++) {
            begin[0] = ids[k][0] == ids[i][0] ? ids[i][0] : begin[0];
        }
        free_run(&run);
    }
    char all_but_two[TT_RUN_ID_SIZE];
    snprintf(all_but_two, sizeof all_but_two, "%.14s", ids[23]);
    ck_assert_int_eq(tiptrue_history_find(history, all_but_two, found, NULL), TIPTRUE_OK);
    ck_assert_str_eq(found, ids[23]);
    struct tiptrue_error several = {0}, none = {0}, wrong = {0};
    ck_assert_int_eq(tiptrue_history_find(history, begin, found, &several), TIPTRUE_E_USAGE);
    ck_assert_ptr_nonnull(strstr(several.text, "several runs have an id that begins with"));
    ck_assert_int_eq(tiptrue_history_find(history, "00000000000000a7", found, &none),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_int_eq(tiptrue_history_find(history, "run.csv", found, &wrong), TIPTRUE_E_USAGE);
    tiptrue_history_close(history);
}
END_TEST

START_TEST(damage_is_found)
{
    struct tiptrue_history *history = open_history(TIPTRUE_HISTORY_WRITE);
    struct bench_run run = make_run("first");
    struct tt_buffer told = {0};
    const struct tiptrue_sink sink = {collect_told, &told};
    struct tiptrue_history_counts counts = {0};

    ck_assert_int_eq(add(history, &run, NOW_S, &told), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_history_verify(history, &sink, &counts, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tt_sql_run(
            history,
            "UPDATE document SET text = CAST(text || ' ' AS BLOB) WHERE kind = 'plate';"
            "UPDATE log SET text = CAST(replace(CAST(text AS TEXT), 'touch', 'toucj') AS BLOB);"
            "UPDATE result SET json = CAST(replace(CAST(json AS TEXT), '\"verdict\"', "
            "'\"verdicd\"') AS BLOB)",
            NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_history_verify(history, &sink, &counts, NULL), TIPTRUE_E_DATA);
    ck_assert_ptr_nonnull(
        strstr(told.text, "the plate document 1: its bytes are not those that were stored"));
    ck_assert_ptr_nonnull(strstr(told.text, "the log of run "));
    ck_assert_ptr_nonnull(strstr(told.text, "a result of run "));
    ck_assert_ptr_nonnull(strstr(told.text, "cannot be read: "));
    ck_assert_uint_eq(counts.faults, 4);
    free_run(&run);
    tt_buffer_clear(&told);
    tiptrue_history_close(history);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("store");
    TCase *tests = tcase_create("store");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_test(tests, the_same_run_is_one_entry);
    tcase_add_test(tests, other_documents_make_a_newer_result_of_one_run);
    tcase_add_test(tests, a_collision_of_digests_is_loud);
    tcase_add_test(tests, a_large_log_comes_back_byte_by_byte);
    tcase_add_test(tests, a_series_from_the_tables_is_that_of_the_results);
    tcase_add_test(tests, every_number_of_a_tip_comes_back);
    tcase_add_test(tests, every_number_of_the_machine_comes_back);
    tcase_add_test(tests, responses_are_kept_later);
    tcase_add_test(tests, statements_in_use_stay);
    tcase_add_test(tests, an_older_schema_is_brought_forward);
    tcase_add_test(tests, foreign_files_are_refused);
    tcase_add_test(tests, a_full_disk_leaves_the_store_as_it_was);
    tcase_add_test(tests, waits_no_longer_than_it_may);
    tcase_add_test(tests, exports_are_kept_with_their_run);
    tcase_add_test(tests, runs_are_found_by_the_beginning_of_their_id);
    tcase_add_test(tests, damage_is_found);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? 0 : 1;
}
