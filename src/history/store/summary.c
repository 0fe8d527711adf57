/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Columns are bound and read by position: the lists of columns below, the order of the calls and
 * the tables of schema.c go together. */
#include "config.h"

#include "history/store/summary.h"

#include <string.h>

#include "base/time.h"
#include "history/series/series.h"
#include "history/store/response.h"
#include "history/store/summary_columns.h"

#define RUN_COLUMNS                                                                                \
    "id, time_s, time_stated, plate_key, verdict, permitted_error_mm, has_pose, setup, "           \
    "mark_x_mm, "                                                                                  \
    "mark_y_mm, u_mark_x_mm, u_mark_y_mm, yaw_rad, u_yaw_rad, temperature_C, u_touch_mm, "         \
    "u_sighting_mm, left_out, machine_numbers"
enum { AT_MACHINE = 18, AT_RUN };
#define EDGE_COLUMNS "name, shift_mm, u_shift_mm, touches, late, freed"
static const char INSERT_RUN[] =
    "INSERT INTO summary(" RUN_COLUMNS
    ", machine, run, result, started, plate, plate_serial, tips, edges) "
    "VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)";
static const char INSERT_EDGE[] =
    "INSERT INTO edge(" EDGE_COLUMNS
    ", machine, time_s, run, position) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?)";
static const char INSERT_TIP[] =
    "INSERT INTO tip(" TT_TIP_COLUMNS ", machine, time_s, run, position)"
    " VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, "
    "?, ?, "
    "?, ?, ?, ?, ?, ?, ?)";

static const char *machine_of(const struct tiptrue_solution *solution)
{
    return solution->machine != NULL ? solution->machine : "";
}

static enum tiptrue_status remove_old(struct tiptrue_history *store, sqlite3_int64 run,
                                      struct tiptrue_error *error)
{
    static const char *const REMOVE[] = {"DELETE FROM edge WHERE (machine, time_s, run) = (SELECT "
                                         "machine, time_s, run FROM summary WHERE run = ?)",
                                         "DELETE FROM tip WHERE (machine, time_s, run) = (SELECT "
                                         "machine, time_s, run FROM summary WHERE run = ?)",
                                         "DELETE FROM summary WHERE run = ?",
                                         "DELETE FROM pending WHERE run = ?"};
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < sizeof REMOVE / sizeof REMOVE[0] && status == TIPTRUE_OK; i++) {
        status = tt_sql_do(store, REMOVE[i], TT_SQL_VALUES(TT_AS_INTEGER(run)), error);
    }
    return status;
}

static enum tiptrue_status insert_run(struct tiptrue_history *store, sqlite3_int64 run,
                                      sqlite3_int64 result, const struct tt_series_run *row,
                                      const struct tiptrue_solution *solution,
                                      struct tiptrue_error *error)
{
    struct tt_buffer numbers = {0};

    tt_run_numbers_write(row, &numbers);
    enum tiptrue_status status =
        numbers.failed
            ? tt_fail_memory(error)
            : tt_sql_do(
                  store, INSERT_RUN,
                  TT_SQL_VALUES(
                      TT_AS_TEXT(row->id), TT_AS_REAL(row->time_s), TT_AS_INTEGER(row->time_stated),
                      TT_AS_TEXT(row->plate), TT_AS_INTEGER(row->verdict),
                      TT_AS_KNOWN(row->has_permitted_error, TT_AS_REAL(row->permitted_error_mm)),
                      TT_AS_INTEGER(row->has_pose), TT_AS_TEXT(row->setup), TT_AS_XY(row->mark),
                      TT_AS_REAL(row->u_mark_x_mm), TT_AS_REAL(row->u_mark_y_mm),
                      TT_AS_REAL(row->yaw_rad), TT_AS_REAL(row->u_yaw_rad),
                      TT_AS_KNOWN(row->has_temperature, TT_AS_REAL(row->temperature_C)),
                      TT_AS_KNOWN(row->has_u_touch, TT_AS_REAL(row->u_touch_mm)),
                      TT_AS_KNOWN(row->has_u_sighting, TT_AS_REAL(row->u_sighting_mm)),
                      TT_AS_TEXT(row->note), TT_AS_TEXT(numbers.text),
                      TT_AS_TEXT(machine_of(solution)), TT_AS_INTEGER(run), TT_AS_INTEGER(result),
                      TT_AS_TEXT(solution->started), TT_AS_TEXT(solution->plate),
                      TT_AS_TEXT(solution->plate_serial), TT_AS_COUNT(row->n_tips),
                      TT_AS_COUNT(row->n_edges)),
                  error);
    tt_buffer_clear(&numbers);
    return status;
}

static enum tiptrue_status insert_tips(struct tiptrue_history *store, sqlite3_int64 run,
                                       const struct tt_series *series,
                                       const struct tiptrue_solution *solution,
                                       struct tiptrue_error *error)
{
    const struct tt_series_run *row = &series->runs[0];
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < row->n_tips && status == TIPTRUE_OK; i++) {
        struct tt_sql_value values[TT_TIP_AFTER + 4] = {[TT_TIP_AFTER] =
                                                            TT_AS_TEXT(machine_of(solution)),
                                                        TT_AS_REAL(row->time_s),
                                                        TT_AS_INTEGER(run),
                                                        TT_AS_COUNT(i)};
        tt_tip_values(series->tip_names[row->tips[i].tip], &row->tips[i], values);
        status =
            tt_sql_do(store, INSERT_TIP, (struct tt_sql_values){values, TT_TIP_AFTER + 4}, error);
    }
    return status;
}

static enum tiptrue_status insert_edges(struct tiptrue_history *store, sqlite3_int64 run,
                                        const struct tt_series *series,
                                        const struct tiptrue_solution *solution,
                                        struct tiptrue_error *error)
{
    const struct tt_series_run *row = &series->runs[0];
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < row->n_edges && status == TIPTRUE_OK; i++) {
        const struct tt_series_edge *edge = &row->edges[i];
        status =
            tt_sql_do(store, INSERT_EDGE,
                      TT_SQL_VALUES(TT_AS_TEXT(series->edge_names[edge->edge]),
                                    TT_AS_REAL(edge->shift_mm), TT_AS_REAL(edge->u_shift_mm),
                                    TT_AS_COUNT(edge->touches), TT_AS_COUNT(edge->late),
                                    TT_AS_INTEGER(edge->freed), TT_AS_TEXT(machine_of(solution)),
                                    TT_AS_REAL(row->time_s), TT_AS_INTEGER(run), TT_AS_COUNT(i)),
                      error);
    }
    return status;
}

/* What the store says of a run beside its results. */
struct said {
    double entered_s; /* seconds since 1970 */
    char id[TT_RUN_ID_SIZE];
    bool has_started; /* corrected by somebody */
    double started_s;
    const char *left_out; /* in an arena; NULL: it counts */
};

static enum tiptrue_status find_run(struct tiptrue_history *store, sqlite3_int64 run,
                                    struct said *said, struct tt_arena *arena,
                                    struct tiptrue_error *error)
{
    static const char SQL[] =
        "SELECT added, id, started, coalesce(excluded, doubt) FROM run WHERE no = ?";
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status =
        tt_sql_first(store, SQL, TT_SQL_VALUES(TT_AS_INTEGER(run)), &statement, &row, error);

    *said = (struct said){0};
    if (status == TIPTRUE_OK && row) {
        const char *added = tt_sql_word(statement, 0), *text = tt_sql_word(statement, 1);
        const char *started = tt_sql_column(statement, 2), *left_out = tt_sql_column(statement, 3);
        (void)tt_time_read(added, strlen(added), &said->entered_s);
        if (strlen(text) < TT_RUN_ID_SIZE) {
            strcpy(said->id, text);
        }
        said->has_started =
            started != NULL && tt_time_read(started, strlen(started), &said->started_s);
        said->left_out = tt_arena_copy(arena, left_out);
        if (left_out != NULL && said->left_out == NULL) {
            status = tt_fail_memory(error);
        }
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_summary_write(struct tiptrue_history *store, sqlite3_int64 run,
                                     sqlite3_int64 result, const struct tiptrue_solution *solution,
                                     struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    struct said said;
    enum tiptrue_status status = find_run(store, run, &said, &arena, error);

    if (status == TIPTRUE_OK) {
        status = tt_series_add(&series, solution, said.entered_s, error);
    }
    if (status == TIPTRUE_OK) {
        struct tt_series_run *row = &series.runs[0];
        row->id = said.id; /* the store's own */
        row->note = said.left_out;
        row->time_stated = row->time_stated || said.has_started;
        row->time_s = said.has_started ? said.started_s : row->time_s;
        status = remove_old(store, run, error);
    }
    if (status == TIPTRUE_OK) {
        status = insert_run(store, run, result, &series.runs[0], solution, error);
    }
    if (status == TIPTRUE_OK) {
        status = insert_tips(store, run, &series, solution, error);
    }
    if (status == TIPTRUE_OK) {
        status = insert_edges(store, run, &series, solution, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_response_write(store, result, solution, error);
    }
    tt_arena_clear(&arena);
    return status;
}

static bool fill_run(struct tt_series *series, sqlite3_stmt *from, struct tt_series_run *run)
{
    struct tt_arena *arena = series->arena;
    bool good = true;

    run->id = tt_arena_keep(arena, tt_sql_column(from, 0), &good);
    run->time_s = sqlite3_column_double(from, 1);
    run->time_stated = sqlite3_column_int(from, 2) != 0;
    run->plate = tt_arena_keep(arena, tt_sql_column(from, 3), &good);
    run->verdict = tt_verdict_column(from, 4);
    run->has_permitted_error = sqlite3_column_type(from, 5) != SQLITE_NULL;
    run->permitted_error_mm = sqlite3_column_double(from, 5);
    run->has_pose = sqlite3_column_int(from, 6) != 0;
    run->setup = tt_arena_keep(arena, tt_sql_column(from, 7), &good);
    run->mark = tt_xy_columns(from, 8);
    run->u_mark_x_mm = sqlite3_column_double(from, 10);
    run->u_mark_y_mm = sqlite3_column_double(from, 11);
    run->yaw_rad = sqlite3_column_double(from, 12);
    run->u_yaw_rad = sqlite3_column_double(from, 13);
    run->has_temperature = sqlite3_column_type(from, 14) != SQLITE_NULL;
    run->temperature_C = sqlite3_column_double(from, 14);
    run->has_u_touch = sqlite3_column_type(from, 15) != SQLITE_NULL;
    run->u_touch_mm = sqlite3_column_double(from, 15);
    run->has_u_sighting = sqlite3_column_type(from, 16) != SQLITE_NULL;
    run->u_sighting_mm = sqlite3_column_double(from, 16);
    run->note = tt_arena_keep(arena, tt_sql_column(from, 17), &good);
    run->left_out = run->note != NULL;
    tt_run_numbers_read(tt_sql_column(from, AT_MACHINE), run);
    return good;
}

static bool fill_edge(struct tt_series *series, sqlite3_stmt *from, struct tt_series_edge *edge)
{
    const char *name = tt_sql_column(from, 0);

    edge->edge = name != NULL ? tt_series_edge_index(series, name) : TT_NONE;
    edge->shift_mm = sqlite3_column_double(from, 1);
    edge->u_shift_mm = sqlite3_column_double(from, 2);
    edge->touches = (size_t)sqlite3_column_int64(from, 3);
    edge->late = (size_t)sqlite3_column_int64(from, 4);
    edge->freed = sqlite3_column_int(from, 5) != 0;
    return edge->edge != TT_NONE;
}

/* Since when @most_runs runs were made: as *since_s, if that is later. */
static enum tiptrue_status limit_runs(struct tiptrue_history *store, const char *machine,
                                      size_t most_runs, double *since_s,
                                      struct tiptrue_error *error)
{
    static const char SQL[] = "SELECT time_s FROM summary WHERE machine = ? ORDER BY time_s DESC, "
                              "run DESC LIMIT 1 OFFSET ?";
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status = tt_sql_first(
        store, SQL, TT_SQL_VALUES(TT_AS_TEXT(machine), TT_AS_INTEGER((sqlite3_int64)most_runs - 1)),
        &statement, &row, error);

    if (status == TIPTRUE_OK && row) {
        double latest_s = sqlite3_column_double(statement, 0);
        *since_s = latest_s > *since_s ? latest_s : *since_s;
        sqlite3_reset(statement);
    }
    return status;
}

/* The numbers of tips and edges stand in the row behind the run's own columns; both follow in the
 * same order as the runs. */
static enum tiptrue_status read_runs(struct tiptrue_history *store, sqlite3_stmt *runs,
                                     sqlite3_stmt *tips, sqlite3_stmt *edges,
                                     struct tt_series *series, struct tiptrue_error *error)
{
    bool tip_row = false, edge_row = false;
    enum tiptrue_status status = tt_sql_next(store, tips, &tip_row, error);

    if (status == TIPTRUE_OK) {
        status = tt_sql_next(store, edges, &edge_row, error);
    }
    while (tt_sql_row(store, runs, &status, error)) {
        sqlite3_int64 number = sqlite3_column_int64(runs, AT_RUN);
        size_t n_tips = (size_t)sqlite3_column_int64(runs, AT_RUN + 1),
               n_edges = (size_t)sqlite3_column_int64(runs, AT_RUN + 2);
        struct tt_series_run *run = tt_series_new_run(series, n_tips, n_edges);
        bool good = run != NULL && fill_run(series, runs, run);
        for (size_t i = 0;
             good && i < n_tips && tip_row && sqlite3_column_int64(tips, TT_TIP_AFTER) == number;
             i++) {
            good = tt_tip_columns(series, tips, &run->tips[i]);
            status = tt_sql_next(store, tips, &tip_row, error);
        }
        for (size_t i = 0;
             good && i < n_edges && edge_row && sqlite3_column_int64(edges, 6) == number; i++) {
            good = fill_edge(series, edges, &run->edges[i]);
            status = tt_sql_next(store, edges, &edge_row, error);
        }
        if (!good) {
            status = tt_fail_memory(error);
        }
    }
    tt_sql_reset_all(store);
    return status;
}

enum tiptrue_status tt_store_series(struct tiptrue_history *store, const char *machine,
                                    double since_s, size_t most_runs, struct tt_series *series,
                                    struct tiptrue_error *error)
{
    static const char RUNS[] =
        "SELECT " RUN_COLUMNS ", run, tips, edges FROM summary WHERE machine = ? AND time_s >= ?"
        " ORDER BY machine, time_s, run";
    static const char TIPS[] =
        "SELECT " TT_TIP_COLUMNS ", run FROM tip WHERE machine = ? AND time_s >= ?"
        " ORDER BY machine, time_s, run, position";
    static const char EDGES[] =
        "SELECT " EDGE_COLUMNS ", run FROM edge WHERE machine = ? AND time_s >= ?"
        " ORDER BY machine, time_s, run, position";
    static const char *const SQL[] = {RUNS, TIPS, EDGES};
    sqlite3_stmt *statement[3];
    bool own = !store->in_group;
    enum tiptrue_status status = own ? tt_sql_run(store, "BEGIN", error)
                                     : TIPTRUE_OK; /* all statements see the same moment */

    if (status == TIPTRUE_OK && most_runs > 0) {
        status = limit_runs(store, machine, most_runs, &since_s, error);
    }
    for (size_t i = 0; i < 3 && status == TIPTRUE_OK; i++) {
        status = tt_sql_ask(store, SQL[i], TT_SQL_VALUES(TT_AS_TEXT(machine), TT_AS_REAL(since_s)),
                            &statement[i], error);
    }
    if (status == TIPTRUE_OK) {
        status = read_runs(store, statement[0], statement[1], statement[2], series, error);
    }
    if (own) {
        tt_sql_roll_back(store); /* nothing was written */
    }
    if (status == TIPTRUE_OK) {
        tt_series_sort(series);
    }
    return status;
}

enum tiptrue_status tt_store_count_machine(struct tiptrue_history *store, const char *machine,
                                           size_t *runs, struct tiptrue_error *error)
{
    sqlite3_stmt *statement;
    bool row;
    enum tiptrue_status status =
        tt_sql_first(store, "SELECT count(*) FROM summary WHERE machine = ?",
                     TT_SQL_VALUES(TT_AS_TEXT(machine)), &statement, &row, error);

    if (status == TIPTRUE_OK) {
        *runs = row ? (size_t)sqlite3_column_int64(statement, 0) : 0;
        sqlite3_reset(statement);
    }
    return status;
}

enum tiptrue_status tt_store_machines(struct tiptrue_history *store,
                                      enum tiptrue_status (*each)(void *context,
                                                                  const char *machine),
                                      void *context, struct tiptrue_error *error)
{
    /* one step through the primary key for each machine, not one for each run */
    static const char SQL[] =
        "WITH RECURSIVE m(name) AS (SELECT min(machine) FROM summary UNION ALL"
        " SELECT (SELECT min(machine) FROM summary WHERE machine > m.name) FROM m WHERE m.name IS "
        "NOT NULL)"
        " SELECT name FROM m WHERE name IS NOT NULL";
    sqlite3_stmt *statement;
    enum tiptrue_status status = tt_sql_get(store, SQL, &statement, error);

    while (tt_sql_row(store, statement, &status, error)) {
        status = each(context, tt_sql_word(statement, 0));
    }
    tt_sql_reset_all(store);
    return status;
}
