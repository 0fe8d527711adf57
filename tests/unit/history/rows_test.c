/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The store's tables, column by column: what is written comes back at its place, bounds of queries
 * take in what they say, each failure has its own words, and no statement is left half-way. */
#include "config.h"

#include <check.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "base/buffer.h"
#include "history/series/series.h"
#include "history/store/response.h"
#include "history/store/schema.h"
#include "history/store/sql.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "model/trend.h"

#define START_S 1774000000.0 /* 2026-03-20T09:46:40Z */
enum { TIPS = 3, EDGES = 2 };

static char path[64];
static struct tiptrue_history *store;

/* A statement that is being stepped would hold a moment of the file. */
static void check_idle(void)
{
    for (sqlite3_stmt *s = NULL; (s = sqlite3_next_stmt(store->db, s)) != NULL;) {
        ck_assert_msg(!sqlite3_stmt_busy(s), "half-way: %s", sqlite3_sql(s));
    }
    ck_assert(sqlite3_get_autocommit(store->db));
}

static void set_up(void)
{
    strcpy(path, "rows-test-XXXXXX");
    int file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    close(file);
    ck_assert_int_eq(unlink(path), 0);
    ck_assert_int_eq(tt_store_open(path, true, &store, NULL), TIPTRUE_OK);
}

static void remove_files(void)
{
    char beside[80];
    unlink(path);
    snprintf(beside, sizeof beside, "%s-wal", path);
    unlink(beside);
    snprintf(beside, sizeof beside, "%s-shm", path);
    unlink(beside);
}

static void tear_down(void)
{
    check_idle();
    tiptrue_history_close(store);
    remove_files();
}

static void run_sql(const char *sql)
{
    struct tiptrue_error error = {0};
    ck_assert_msg(tt_sql_run(store, sql, &error) == TIPTRUE_OK, "%s: %s", sql, error.text);
}

static sqlite3_int64 number(const char *sql)
{
    sqlite3_stmt *statement;
    ck_assert_int_eq(sqlite3_prepare_v2(store->db, sql, -1, &statement, NULL), SQLITE_OK);
    sqlite3_int64 value =
        sqlite3_step(statement) == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : 0;
    sqlite3_finalize(statement);
    return value;
}

/* A solution of three tips, of which the second was not measured, and two edges; no two numbers are
 * alike. */
struct made {
    struct tiptrue_solution solution;
    char started[32]; /* its, of put_hours */
    struct tt_tip_result tips[TIPS];
    struct tt_edge_result edges[EDGES];
    struct tt_pose_result pose;
    struct tt_height_result height;
    struct tt_budget_line rivals;
    struct tt_surface_result surface;
    struct tt_pad_result pads[2];
    struct tt_row_result rows[3];
    struct tt_finding freed;
    const char *edge_names[EDGES];
    double of_tip[TIPS][3 * (EDGES + 1)], of_edge[EDGES][EDGES + 1];
};

static struct tt_cov2 cov_of(double x)
{
    return (struct tt_cov2){1.03e-6 * x, -0.21e-6 * x, 0.87e-6 * x};
}

static void make_tip(struct made *m, size_t i)
{
    static const char *const NAMES[TIPS] = {"N1", "N2", "N3"};
    double x = 1.37 + (double)i;

    m->rivals = (struct tt_budget_line){
        .code = TT_BUDGET_RIVALS, .source = "rivals", .u_x_mm = 0.00113, .u_y_mm = 0.00271};
    m->height = (struct tt_height_result){.determined = true,
                                          .value_mm = -3.1416,
                                          .u_mm = 0.0123,
                                          .same_plate_u_mm = 0.0071,
                                          .has_present = true,
                                          .present_mm = -3.1234,
                                          .has_conformity = true,
                                          .permitted_error_mm = 0.0317};
    m->tips[i] = (struct tt_tip_result){.name = NAMES[i],
                                        .offset_determined_x = true,
                                        .offset_determined_y = true,
                                        .offset = {11.3 * x, -7.1 * x},
                                        .has_held = true,
                                        .held = {11.4 * x, -7.3 * x},
                                        .cov = cov_of(5.1 * x),
                                        .same_plate_cov = cov_of(3.7 * x),
                                        .common_u_x_mm = 0.00031 * x,
                                        .common_u_y_mm = 0.00047 * x,
                                        .runout_determined = true,
                                        .runout = {0.0131 * x, -0.0271 * x},
                                        .eccentricity_mm = 0.0301 * x,
                                        .u_eccentricity_mm = 0.0011 * x,
                                        .runout_angle_rad = 0.71,
                                        .u_runout_angle_rad = 0.037,
                                        .radius_determined = true,
                                        .contact_radius_mm = 0.41 * x,
                                        .same_plate_u_radius_mm = 0.0019 * x,
                                        .budget = i == 0 ? &m->rivals : NULL,
                                        .n_budget = i == 0,
                                        .has_present = true,
                                        .present = {11.9 * x, -7.9 * x},
                                        .height = i == 0 ? &m->height : NULL,
                                        .edge_response = m->of_tip[i],
                                        .verdict = i == 1 ? TIPTRUE_NOT_MEASURED : TIPTRUE_UPDATE,
                                        .offset_verdict = i == 0 ? TIPTRUE_UPDATE : TIPTRUE_KEEP};
    for (size_t k = 0; k < 3 * (EDGES + 1); k++) {
        m->of_tip[i][k] = 0.031 + 0.113 * (double)i - 0.0172 * (double)k;
    }
}

static void make_edges(struct made *m)
{
    static const char *const NAMES[EDGES] = {"north", "south"};

    for (size_t i = 0; i < EDGES; i++) {
        m->edges[i] = (struct tt_edge_result){.name = NAMES[i],
                                              .touches = 7 + 4 * i,
                                              .used = 6 + 4 * i,
                                              .shift_mm = 0.0013 - 0.0041 * (double)i,
                                              .u_shift_mm = 0.0007 + 0.0002 * (double)i,
                                              .edge_response = m->of_edge[i]};
        m->edge_names[i] = NAMES[i];
        for (size_t k = 0; k < EDGES + 1; k++) {
            m->of_edge[i][k] = -0.217 + 0.301 * (double)i + 0.0433 * (double)k;
        }
    }
    m->freed = (struct tt_finding){.code = TT_FINDING_EDGE_OFF,
                                   .severity = TIPTRUE_WARNING,
                                   .edge = 1,
                                   .tip = TT_NONE,
                                   .setup = TT_NONE};
    for (size_t i = 0; i < 3; i++) { /* late, early, late but used */
        m->rows[i] = (struct tt_row_result){
            .target = "south", .set_aside = i < 2, .residual_mm = i == 1 ? 0.071 : -0.083};
    }
}

static void make(struct made *m)
{
    *m = (struct made){0};
    for (size_t i = 0; i < TIPS; i++) {
        make_tip(m, i);
    }
    make_edges(m);
    m->pose =
        (struct tt_pose_result){"A", true, true, {101.7, -33.1}, 0.0017, 0.0029, -0.0123, 1.9e-5};
    m->pads[0].name = "P";
    m->pads[1].name = "Q";
    m->surface = (struct tt_surface_result){.setup = "A", .pads = m->pads, .n_pads = 2};
    m->solution = (struct tiptrue_solution){.machine = "bench",
                                            .plate = "square",
                                            .plate_serial = "S-17",
                                            .started = "2026-03-20T09:46:40Z",
                                            .has_temperature = true,
                                            .temperature_C = 21.7,
                                            .poses = &m->pose,
                                            .n_poses = 1,
                                            .tips = m->tips,
                                            .n_tips = TIPS,
                                            .has_u_touch = true,
                                            .u_touch_mm = 0.0021,
                                            .has_u_sighting = true,
                                            .u_sighting_mm = 0.0013,
                                            .own_touch_mm = 0.00271,
                                            .own_touch_dof = 33.25,
                                            .own_sighting_mm = 0.00187,
                                            .own_sighting_dof = 6.5,
                                            .surface = &m->surface,
                                            .n_surface = 1,
                                            .has_lost_motion = false,
                                            .edges = m->edges,
                                            .n_edges = EDGES,
                                            .n_marks = 4,
                                            .rows = m->rows,
                                            .n_rows = 3,
                                            .findings = &m->freed,
                                            .n_findings = 1,
                                            .edge_names = m->edge_names,
                                            .n_edge_names = EDGES,
                                            .has_permitted_error = true,
                                            .permitted_error_mm = 0.0271,
                                            .verdict = TIPTRUE_UPDATE};
}

/* What is put of one run; the rest of its record is as below. */
struct entry {
    const char *id, *added, *version, *json, *log, *plate, *machine;
};
static const struct entry FIRST = {
    "00000000000000a7", "2026-03-20T10:00:01Z", "0.9.1",          "{\"verdict\":\"update\"}",
    "touches",          "{\"plate\":1}",        "{\"machine\":2}"};

static struct tt_text text_of(const char *text)
{
    return (struct tt_text){text, text != NULL ? strlen(text) : 0};
}

static enum tiptrue_status put(const struct entry *e, const struct tiptrue_solution *solution,
                               enum tt_put how, struct tt_put_outcome *outcome,
                               struct tiptrue_error *error)
{
    struct tt_record_result result = {
        e->version, e->added, "update", {text_of(e->plate), text_of(e->machine)}, text_of(e->json)};
    struct tt_record record = {
        .added = e->added, .log = text_of(e->log), .results = &result, .n_results = 1};

    strcpy(record.id, e->id);
    return tt_store_put(store, &record, solution, how, outcome, error);
}

static struct tt_put_outcome put_good(const struct entry *e,
                                      const struct tiptrue_solution *solution, enum tt_put how)
{
    struct tt_put_outcome outcome = {0};
    struct tiptrue_error error = {0};
    ck_assert_msg(put(e, solution, how, &outcome, &error) == TIPTRUE_OK, "%s", error.text);
    check_idle();
    return outcome;
}

/* Runs a1, a2 ... of one machine, an hour apart from START_S on. */
static void put_hours(struct made *m, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        char id[17];
        struct entry e = FIRST;
        snprintf(id, sizeof id, "00000000000000a%zu", i + 1);
        snprintf(m->started, sizeof m->started, "2026-03-20T%02zu:46:40Z", 9 + i);
        e.id = id;
        m->solution.started = m->started;
        put_good(&e, &m->solution, TT_PUT_SOLVED);
    }
}

static void check_cov(struct tt_cov2 a, struct tt_cov2 b)
{
    ck_assert(a.xx_mm2 == b.xx_mm2 && a.xy_mm2 == b.xy_mm2 && a.yy_mm2 == b.yy_mm2);
}

static void check_tip(const struct tt_series_tip *a, const struct tt_series_tip *b)
{
    ck_assert_uint_eq(a->tip, b->tip);
    ck_assert_int_eq(a->verdict, b->verdict);
    ck_assert(a->offset.x_mm == b->offset.x_mm && a->offset.y_mm == b->offset.y_mm);
    ck_assert(a->full.x_mm == b->full.x_mm && a->full.y_mm == b->full.y_mm);
    check_cov(a->cov, b->cov);
    check_cov(a->same_plate_cov, b->same_plate_cov);
    check_cov(a->runout_cov, b->runout_cov);
    ck_assert(a->common_u_x_mm == b->common_u_x_mm && a->common_u_y_mm == b->common_u_y_mm);
    ck_assert(a->u_rivals_x_mm == b->u_rivals_x_mm && a->u_rivals_y_mm == b->u_rivals_y_mm);
    ck_assert(a->runout.x_mm == b->runout.x_mm && a->runout.y_mm == b->runout.y_mm);
    ck_assert(a->radius_mm == b->radius_mm && a->u_radius_mm == b->u_radius_mm);
    ck_assert(a->present.x_mm == b->present.x_mm && a->present.y_mm == b->present.y_mm);
    ck_assert(a->has_height == b->has_height && a->height_mm == b->height_mm);
    ck_assert(a->u_height_mm == b->u_height_mm && a->full_u_height_mm == b->full_u_height_mm);
    ck_assert(a->has_present_height == b->has_present_height);
    ck_assert(!a->has_present_height || a->present_height_mm == b->present_height_mm);
    ck_assert(a->has_permitted_height == b->has_permitted_height);
    ck_assert(!a->has_permitted_height || a->permitted_height_mm == b->permitted_height_mm);
    ck_assert(tt_series_same_place(a, b));
}

static void check_run(const struct tt_series_run *a, const struct tt_series_run *b)
{
    ck_assert_str_eq(a->plate, b->plate);
    ck_assert_int_eq(a->verdict, b->verdict);
    ck_assert(a->time_s == b->time_s && a->time_stated == b->time_stated);
    ck_assert(a->has_pose == b->has_pose && a->has_permitted_error == b->has_permitted_error);
    ck_assert(a->mark.x_mm == b->mark.x_mm && a->mark.y_mm == b->mark.y_mm);
    ck_assert(a->u_mark_x_mm == b->u_mark_x_mm && a->u_mark_y_mm == b->u_mark_y_mm);
    ck_assert(a->yaw_rad == b->yaw_rad && a->u_yaw_rad == b->u_yaw_rad);
    ck_assert(!a->has_permitted_error || a->permitted_error_mm == b->permitted_error_mm);
    ck_assert(a->has_temperature == b->has_temperature);
    ck_assert(!a->has_temperature || a->temperature_C == b->temperature_C);
    ck_assert(a->has_u_touch == b->has_u_touch);
    ck_assert(!a->has_u_touch || a->u_touch_mm == b->u_touch_mm);
    ck_assert(a->has_u_sighting == b->has_u_sighting);
    ck_assert(!a->has_u_sighting || a->u_sighting_mm == b->u_sighting_mm);
    ck_assert_uint_eq(a->marks, b->marks);
    ck_assert_uint_eq(a->n_tips, 2);
    ck_assert_uint_eq(b->n_tips, 2);
    ck_assert_uint_eq(a->n_edges, b->n_edges);
    for (size_t i = 0; i < a->n_tips; i++) {
        check_tip(&a->tips[i], &b->tips[i]);
    }
    for (size_t i = 0; i < a->n_edges; i++) {
        const struct tt_series_edge *e = &a->edges[i], *f = &b->edges[i];
        ck_assert(e->edge == f->edge && e->shift_mm == f->shift_mm);
        ck_assert(e->u_shift_mm == f->u_shift_mm && e->freed == f->freed);
        ck_assert(e->touches == f->touches && e->late == f->late);
    }
}

/* With each of the numbers that need not be there away in turn. */
START_TEST(each_column_of_a_run_comes_back)
{
    struct made m;
    make(&m);
    bool *const flags[] = {
        &m.solution.has_temperature,     &m.solution.has_u_touch, &m.solution.has_u_sighting,
        &m.solution.has_permitted_error, &m.pose.mark_determined, &m.height.has_present,
        &m.height.has_conformity,        &m.height.determined,    &m.surface.slope_determined};
    const size_t n = sizeof flags / sizeof flags[0];

    for (size_t i = 0; i <= n; i++) {
        struct tt_arena arena = {0};
        struct tt_series direct = {.arena = &arena}, read = {.arena = &arena};
        struct entry e = FIRST;
        char version[8];
        if (i < n) {
            *flags[i] = !*flags[i];
        }
        snprintf(version, sizeof version, "1.%zu", i);
        e.version = version;
        put_good(&e, &m.solution, TT_PUT_SOLVED);
        ck_assert_int_eq(tt_series_add(&direct, &m.solution, 0, NULL), TIPTRUE_OK);
        ck_assert_int_eq(tt_store_series(store, "bench", -HUGE_VAL, 0, &read, NULL), TIPTRUE_OK);
        ck_assert_uint_eq(read.n_runs, 1);
        check_run(&direct.runs[0], &read.runs[0]);
        ck_assert_str_eq(read.runs[0].id, FIRST.id);
        ck_assert(!read.runs[0].left_out && read.runs[0].note == NULL);
        ck_assert_str_eq(read.edge_names[1], "south");
        ck_assert_uint_eq(read.runs[0].edges[1].late, 1);
        ck_assert(read.runs[0].edges[1].freed && !read.runs[0].edges[0].freed);
        ck_assert(i == 4 || strcmp(read.runs[0].setup, "A") == 0);
        tt_arena_clear(&arena);
        if (i < n) {
            *flags[i] = !*flags[i];
        }
    }
    ck_assert_int_eq(number("SELECT count(*) FROM result"), (int)n + 1);
}
END_TEST

static enum tiptrue_status count_each(void *context, const struct tt_record_entry *entry)
{
    (void)entry;
    ++*(size_t *)context;
    return TIPTRUE_OK;
}

static enum tiptrue_status take_entry(void *context, const struct tt_record_entry *entry)
{
    const struct made *m = context;

    ck_assert_str_eq(entry->id, "00000000000000a1");
    ck_assert_str_eq(entry->machine, "bench");
    ck_assert_str_eq(entry->started, "2026-03-20T09:46:40Z");
    ck_assert_str_eq(entry->plate, "square");
    ck_assert_str_eq(entry->plate_serial, "S-17");
    ck_assert_str_eq(entry->verdict, "update");
    ck_assert_str_eq(entry->added, "2026-03-20T10:00:01Z");
    ck_assert_str_eq(entry->solved, "2026-03-21T11:00:02Z");
    ck_assert_str_eq(entry->version, "0.9.2");
    ck_assert_str_eq(entry->excluded, "a bent tip");
    ck_assert_double_eq(entry->time_s, START_S);
    ck_assert_uint_eq(entry->results, 2);
    ck_assert_uint_eq(entry->exports, 1);
    ck_assert(entry->has_log);
    ck_assert_uint_eq(entry->n_tips, 2);
    for (size_t i = 0; i < 2; i++) {
        const struct tt_tip_result *tip = &m->tips[2 * i];
        ck_assert_str_eq(entry->tips[i].name, tip->name);
        ck_assert(entry->tips[i].determined);
        ck_assert(entry->tips[i].x_mm == tip->offset.x_mm);
        ck_assert(entry->tips[i].y_mm == tip->offset.y_mm);
        ck_assert_str_eq(entry->tips[i].verdict, i == 0 ? "update" : "keep");
    }
    return TIPTRUE_E_USAGE; /* ends the reading, and is returned */
}

static const struct tt_record_export EXPORT = {"2026-03-20T10:02:17Z", "head.json",
                                               "00000000000000a7",     "00000000000000b8",
                                               {"{\"x\":36.18}", 11},  {"{\"x\":36.2}", 10}};

static size_t listed(const struct tt_store_query *query)
{
    size_t n = 0;
    ck_assert_int_eq(tt_store_list(store, query, count_each, &n, NULL), TIPTRUE_OK);
    check_idle();
    return n;
}

START_TEST(a_list_shows_each_column)
{
    struct made m;
    make(&m);
    struct entry later = FIRST;
    put_hours(&m, 3);
    later.id = "00000000000000a1";
    later.added = "2026-03-21T11:00:02Z";
    later.version = "0.9.2";
    m.solution.started = "2026-03-20T09:46:40Z";
    struct tt_put_outcome outcome = put_good(&later, &m.solution, TT_PUT_SOLVED);
    ck_assert_str_eq(outcome.since, "2026-03-20T10:00:01Z");
    ck_assert_str_eq(outcome.superseded, "2026-03-20T10:00:01Z");
    ck_assert_str_eq(outcome.superseded_version, "0.9.1");
    ck_assert_int_eq(tt_store_add_export(store, later.id, &EXPORT, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_add_export(store, later.id, &EXPORT, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_say(store, later.id, TT_SAY_EXCLUDE, "a bent tip", START_S, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(tt_store_summarise(store, later.id, &m.solution, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_list(store, &(struct tt_store_query){0}, take_entry, &m, NULL),
                     TIPTRUE_E_USAGE);
    check_idle();
    /* both ends are within */
    ck_assert_uint_eq(listed(&(struct tt_store_query){.machine = "bench"}), 3);
    ck_assert_uint_eq(listed(&(struct tt_store_query){.machine = "other"}), 0);
    ck_assert_uint_eq(
        listed(&(struct tt_store_query){.has_since = true, .since_s = START_S + 3600}), 2);
    ck_assert_uint_eq(
        listed(&(struct tt_store_query){.has_since = true, .since_s = START_S + 3600.5}), 1);
    ck_assert_uint_eq(
        listed(&(struct tt_store_query){.has_until = true, .until_s = START_S + 3600}), 2);
    ck_assert_uint_eq(listed(&(struct tt_store_query){
                          .machine = "bench", .has_until = true, .until_s = START_S + 3599.5}),
                      1);
}
END_TEST

START_TEST(a_series_is_of_the_latest_runs)
{
    static const struct {
        const char *machine;
        double since_s;
        size_t most, n;
    } ASKED[] = {{"bench", -HUGE_VAL, 0, 4},      {"bench", -HUGE_VAL, 3, 3},
                 {"bench", -HUGE_VAL, 4, 4},      {"bench", -HUGE_VAL, 5, 4},
                 {"bench", START_S + 3600, 0, 3}, {"bench", START_S + 3600.5, 0, 2},
                 {"bench", START_S + 7200, 3, 2}, {"bench", START_S, 1, 1},
                 {"other", -HUGE_VAL, 3, 0}};
    struct made m;
    make(&m);
    put_hours(&m, 4);

    for (size_t i = 0; i < sizeof ASKED / sizeof ASKED[0]; i++) {
        struct tt_arena arena = {0};
        struct tt_series series = {.arena = &arena};
        ck_assert_int_eq(tt_store_series(store, ASKED[i].machine, ASKED[i].since_s, ASKED[i].most,
                                         &series, NULL),
                         TIPTRUE_OK);
        ck_assert_msg(series.n_runs == ASKED[i].n, "case %zu: %zu", i, series.n_runs);
        if (series.n_runs > 0) {
            ck_assert_str_eq(series.runs[series.n_runs - 1].id, "00000000000000a4");
        }
        check_idle();
        tt_arena_clear(&arena);
    }
    size_t n = 0;
    ck_assert_int_eq(tt_store_count_machine(store, "bench", &n, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(n, 4);
    ck_assert_int_eq(tt_store_count_machine(store, "other", &n, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(n, 0);
    check_idle();
    /* within a reading that is open already, which stays open */
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    ck_assert_int_eq(tt_store_begin_reading(store, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_series(store, "bench", -HUGE_VAL, 0, &series, NULL), TIPTRUE_OK);
    ck_assert(!sqlite3_get_autocommit(store->db));
    tt_store_rollback(store);
    tt_arena_clear(&arena);
}
END_TEST

START_TEST(each_column_of_the_past_comes_back)
{
    struct made m;
    struct tiptrue_between past = {0};
    make(&m);
    put_hours(&m, 4);
    run_sql("UPDATE summary SET left_out = 'why' WHERE id = '00000000000000a4';"
            "UPDATE tip SET verdict = 2 WHERE run = 2"); /* all refused */
    ck_assert_int_eq(tt_store_past(store, "bench", 3, &past, NULL), TIPTRUE_OK);
    check_idle();
    ck_assert_uint_eq(past.n_past, 2);
    ck_assert_str_eq(past.past[0].id, "00000000000000a3");
    ck_assert_str_eq(past.past[1].id, "00000000000000a1");
    for (size_t i = 0; i < 2; i++) {
        const struct tt_past_run *run = &past.past[i];
        ck_assert_str_eq(run->plate, "S-17");
        ck_assert_uint_eq(strlen(run->document), 16);
        ck_assert_double_eq(run->time_s, START_S + (i == 0 ? 7200 : 0));
        ck_assert_uint_eq(run->n_edges, EDGES);
        ck_assert_uint_eq(run->n_tips, 2);
        for (size_t k = 0; k < EDGES; k++) {
            ck_assert_str_eq(run->edges[k].name, m.edges[k].name);
            ck_assert(run->edges[k].shift_mm == m.edges[k].shift_mm);
            ck_assert(run->edges[k].u_mm == m.edges[k].u_shift_mm);
            ck_assert(run->edges[k].freed == (k == 1));
        }
        for (size_t k = 0; k < 2; k++) {
            ck_assert_str_eq(run->tips[k].name, m.tips[2 * k].name);
            ck_assert(run->tips[k].held.x_mm == m.tips[2 * k].held.x_mm);
            ck_assert(run->tips[k].held.y_mm == m.tips[2 * k].held.y_mm);
        }
    }
    tt_arena_clear(&past.arena);
    past = (struct tiptrue_between){0};
    ck_assert_int_eq(tt_store_past(store, "bench", 1, &past, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(past.n_past, 1);
    ck_assert_str_eq(past.past[0].id, "00000000000000a3");
    tt_arena_clear(&past.arena);
    past = (struct tiptrue_between){0};
    ck_assert_int_eq(tt_store_past(store, NULL, 5, &past, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(past.n_past, 0);
    tt_arena_clear(&past.arena);
}
END_TEST

static enum tiptrue_status take_note(void *context, const char *id, double time_s, const char *text)
{
    struct tt_buffer *told = context;
    tt_buffer_printf(told, "%s %.0f %s\n", id + 14, time_s - START_S, text);
    return strcmp(text, "the end") == 0 ? TIPTRUE_E_USAGE : TIPTRUE_OK;
}

static void say(const char *id, enum tt_saying what, const char *text)
{
    ck_assert_int_eq(tt_store_say(store, id, what, text, START_S + 61, NULL), TIPTRUE_OK);
    check_idle();
}

START_TEST(what_is_said_of_a_run_stands_in_its_row)
{
    static const char A1[] = "00000000000000a1", A2[] = "00000000000000a2";
    struct made m;
    struct tt_buffer told = {0};
    make(&m);
    put_hours(&m, 2);

    say(A1, TT_SAY_EXCLUDE, "bent");
    ck_assert_int_eq(number("SELECT count(*) FROM run WHERE excluded = 'bent'"), 1);
    ck_assert_int_eq(number("SELECT run FROM pending"), 1);
    say(A1, TT_SAY_DOUBT, "clock");
    ck_assert_int_eq(number("SELECT no FROM run WHERE doubt = 'clock'"), 1);
    say(A1, TT_SAY_STARTED, "2026-03-19T07:00:00Z");
    ck_assert_int_eq(
        number("SELECT no FROM run WHERE started = '2026-03-19T07:00:00Z' AND doubt IS NULL"), 1);
    say(A1, TT_SAY_DOUBT, "clock");
    say(A1, TT_SAY_INCLUDE, NULL);
    ck_assert_int_eq(number("SELECT count(*) FROM run WHERE doubt IS NULL AND excluded IS NULL"),
                     2);
    say(A2, TT_SAY_NOTE, "cold");
    say(A1, TT_SAY_NOTE, "the end");
    say(A1, TT_SAY_NOTE, "not told");
    ck_assert_int_eq(
        number("SELECT run FROM note WHERE time = '2026-03-20T09:47:41Z' AND text = 'cold'"), 2);
    ck_assert_int_eq(tt_store_notes(store, "bench", take_note, &told, NULL), TIPTRUE_E_USAGE);
    ck_assert_str_eq(told.text, "a2 3600 cold\na1 0 the end\n");
    check_idle();
    tt_buffer_clear(&told);

    double time_s = 0;
    ck_assert_int_eq(tt_store_time(store, A2, &time_s, NULL), TIPTRUE_OK);
    ck_assert_double_eq(time_s, START_S + 3600);
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_store_time(store, "00000000000000b1", &time_s, &error), TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "there is no run 00000000000000b1 in the history");
    ck_assert_str_eq(error.file, path);
    ck_assert_str_eq(error.hint, "");
    bool known = false;
    ck_assert_int_eq(tt_store_knows(store, A2, &known, NULL), TIPTRUE_OK);
    ck_assert(known);
    ck_assert_int_eq(tt_store_knows(store, "00000000000000b1", &known, NULL), TIPTRUE_OK);
    ck_assert(!known);
}
END_TEST

/* Starts that count: stated ones, of runs that are not left out. A corrected start is one. */
START_TEST(the_latest_start_and_what_is_later)
{
    static const char A1[] = "00000000000000a1", A3[] = "00000000000000a3";
    struct made m;
    double time_s = 0;
    bool found = false;
    make(&m);
    ck_assert_int_eq(tt_store_latest_start(store, "bench", &found, &time_s, NULL), TIPTRUE_OK);
    ck_assert(!found);
    put_hours(&m, 3);
    ck_assert_int_eq(tt_store_latest_start(store, "bench", &found, &time_s, NULL), TIPTRUE_OK);
    ck_assert(found && time_s == START_S + 7200);
    ck_assert_int_eq(tt_store_latest_start(store, NULL, &found, &time_s, NULL), TIPTRUE_OK);
    ck_assert(!found);
    say(A3, TT_SAY_EXCLUDE, "bent");
    ck_assert_int_eq(tt_store_summarise(store, A3, &m.solution, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_latest_start(store, "bench", &found, &time_s, NULL), TIPTRUE_OK);
    ck_assert(found && time_s == START_S + 3600);
    static const struct {
        const char *machine;
        double after_s;
        const char *id;
        bool later;
    } ASKED[] = {{"bench", START_S, "a1", true},         {"bench", START_S + 3599.5, "a1", true},
                 {"bench", START_S + 3600, "a1", false}, {"bench", START_S, "a2", false},
                 {"other", START_S, "a1", false},        {NULL, START_S, "a1", false}};
    for (size_t i = 0; i < sizeof ASKED / sizeof ASKED[0]; i++) {
        char id[17];
        bool later = !ASKED[i].later;
        snprintf(id, sizeof id, "00000000000000%s", ASKED[i].id);
        ck_assert_int_eq(
            tt_store_has_later(store, ASKED[i].machine, ASKED[i].after_s, id, &later, NULL),
            TIPTRUE_OK);
        ck_assert_msg(later == ASKED[i].later, "case %zu", i);
        check_idle();
    }
    say(A1, TT_SAY_STARTED, "2026-03-21T09:46:40Z");
    m.solution.started = NULL; /* its log states none */
    ck_assert_int_eq(tt_store_summarise(store, A1, &m.solution, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_latest_start(store, "bench", &found, &time_s, NULL), TIPTRUE_OK);
    ck_assert(found && time_s == START_S + 86400);
    struct entry undated = FIRST; /* stands at the time of its entry, which is no start */
    undated.id = "00000000000000a9";
    undated.added = "2026-03-29T09:46:40Z";
    put_good(&undated, &m.solution, TT_PUT_SOLVED);
    ck_assert_int_eq(tt_store_time(store, undated.id, &time_s, NULL), TIPTRUE_OK);
    ck_assert_double_eq(time_s, START_S + 9 * 86400);
    ck_assert_int_eq(tt_store_latest_start(store, "bench", &found, &time_s, NULL), TIPTRUE_OK);
    ck_assert(found && time_s == START_S + 86400);
}
END_TEST

START_TEST(a_run_that_is_forgotten_takes_all_of_it_along)
{
    static const char *const TABLES[] = {"run",     "log",      "result", "summary", "tip",  "edge",
                                         "pending", "response", "export", "note",    "board"};
    struct made m;
    struct tiptrue_error error = {0};
    make(&m);
    put_hours(&m, 2);
    for (size_t i = 1; i <= 2; i++) {
        char id[17];
        snprintf(id, sizeof id, "00000000000000a%zu", i);
        ck_assert_int_eq(tt_store_add_export(store, id, &EXPORT, NULL), TIPTRUE_OK);
        say(id, TT_SAY_NOTE, "cold");
    }
    struct tt_board_record board = {.id = "00000000000000a1",
                                    .machine = "bench",
                                    .added = "2026-03-20T10:00:01Z",
                                    .judged = "2026-03-20T10:00:01Z",
                                    .version = "1",
                                    .verdict = "keep",
                                    .table = text_of("t"),
                                    .json = text_of("j"),
                                    .said = text_of("s")};
    struct tt_board_outcome outcome;
    for (size_t i = 1; i <= 2; i++) {
        board.id[15] = (char)('0' + i);
        ck_assert_int_eq(tt_store_put_board(store, &board, &outcome, NULL), TIPTRUE_OK);
    }
    struct entry other = FIRST; /* the second has a plate of its own too */
    other.id = "00000000000000a1";
    other.plate = "{\"plate\":7}";
    other.version = "0.9.3";
    m.solution.started = "2026-03-20T09:46:40Z";
    put_good(&other, &m.solution, TT_PUT_SOLVED);
    ck_assert_int_eq(number("SELECT count(*) FROM document"), 3);
    ck_assert_int_eq(tiptrue_history_forget(store, "00000000000000b1", &error), TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "there is no run 00000000000000b1 in the history");
    ck_assert_str_eq(error.file, path);
    ck_assert_int_eq(number("SELECT count(*) FROM run"), 2);
    ck_assert_int_eq(tiptrue_history_forget(store, other.id, NULL), TIPTRUE_OK);
    check_idle();
    for (size_t i = 0; i < sizeof TABLES / sizeof TABLES[0]; i++) {
        char all[80], left[80];
        bool twice = strcmp(TABLES[i], "tip") == 0 || strcmp(TABLES[i], "edge") == 0;
        snprintf(all, sizeof all, "SELECT count(*) FROM %s", TABLES[i]);
        ck_assert_msg(number(all) == 1 + twice, "%s: %lld", TABLES[i], (long long)number(all));
        if (i < 7 && i != 1) {
            snprintf(left, sizeof left, "SELECT max(%s) FROM %s", i == 0 ? "no" : "run", TABLES[i]);
            ck_assert_msg(number(left) == 2, "%s", left);
        }
    }
    ck_assert_int_eq(number("SELECT count(*) FROM document"), 2);
}
END_TEST

/* How a record is entered: which result is a new one, and which counts then. */
START_TEST(what_is_a_new_result)
{
    static const struct {
        enum tt_put how;
        const char *added, *version, *json, *plate;
        size_t new_results;
        const char *newest, *dated; /* version and date of what counts then */
    } PUT[] = {
        {TT_PUT_SOLVED, "2026-03-20T10:00:01Z", "1", "j1", "p1", 1, "1", "2026-03-20T10:00:01Z"},
        /* the same documents and version: other words are nothing new */
        {TT_PUT_SOLVED, "2026-03-20T10:00:02Z", "1", "j2", "p1", 0, "1", "2026-03-20T10:00:01Z"},
        {TT_PUT_SOLVED, "2026-03-20T10:00:03Z", "2", "j1", "p1", 1, "2", "2026-03-20T10:00:03Z"},
        /* the clock was set back: it is the newest all the same */
        {TT_PUT_SOLVED, "2026-03-20T09:00:00Z", "2", "j1", "p2", 1, "2", "2026-03-20T10:00:03Z"},
        {TT_PUT_SOLVED, "2026-03-20T10:00:04Z", "1", "j1", "p1", 1, "1", "2026-03-20T10:00:04Z"},
        {TT_PUT_ANEW, "2026-03-20T10:00:05Z", "1", "j1", "p1", 0, "1", "2026-03-20T10:00:04Z"},
        {TT_PUT_ANEW, "2026-03-20T10:00:06Z", "1", "j3", "p1", 1, "1", "2026-03-20T10:00:06Z"},
        /* not the one that counts, though it is there */
        {TT_PUT_ANEW, "2026-03-20T10:00:07Z", "2", "j1", "p1", 1, "2", "2026-03-20T10:00:07Z"},
        {TT_PUT_MERGED, "2026-03-20T10:00:08Z", "1", "j1", "p1", 0, "2", "2026-03-20T10:00:07Z"},
        {TT_PUT_MERGED, "2026-03-20T08:00:00Z", "0", "j1", "p1", 1, "2", "2026-03-20T10:00:07Z"},
        /* without documents, beside one that has them */
        {TT_PUT_MERGED, "2026-03-20T11:00:00Z", "5", "j5", NULL, 0, "2", "2026-03-20T10:00:07Z"},
        {TT_PUT_MERGED, "2026-03-20T12:00:00Z", "6", "j6", "p1", 1, "6", "2026-03-20T12:00:00Z"},
    };
    struct made m;
    make(&m);

    for (size_t i = 0; i < sizeof PUT / sizeof PUT[0]; i++) {
        struct entry e = FIRST;
        struct tt_record record = {0};
        e.added = PUT[i].added;
        e.version = PUT[i].version;
        e.json = PUT[i].json;
        e.plate = PUT[i].plate;
        e.machine = PUT[i].plate != NULL ? FIRST.machine : NULL;
        struct tt_put_outcome outcome = put_good(&e, &m.solution, PUT[i].how);
        ck_assert_msg(outcome.new_results == PUT[i].new_results, "case %zu", i);
        ck_assert(outcome.run_is_new == (i == 0) && outcome.log_is_new == (i == 0));
        ck_assert_int_eq(tt_store_load(store, FIRST.id, true, &record, NULL), TIPTRUE_OK);
        ck_assert_msg(strcmp(record.results[0].version, PUT[i].newest) == 0, "case %zu", i);
        ck_assert_msg(strcmp(record.results[0].added, PUT[i].dated) == 0, "case %zu", i);
        tt_record_clear(&record);
        check_idle();
    }
    /* a run without a log, which comes with a later record */
    struct entry e = FIRST;
    e.id = "00000000000000b1";
    e.log = e.plate = e.machine = NULL;
    struct tt_put_outcome outcome = put_good(&e, &m.solution, TT_PUT_SOLVED);
    ck_assert(outcome.run_is_new && !outcome.log_is_new && outcome.new_results == 1);
    e.log = "other touches";
    outcome = put_good(&e, &m.solution, TT_PUT_SOLVED);
    ck_assert(!outcome.run_is_new && outcome.log_is_new && outcome.new_results == 0);
    struct tiptrue_error error = {0};
    e.log = "other touched";
    ck_assert_int_eq(put(&e, &m.solution, TT_PUT_SOLVED, &outcome, &error), TIPTRUE_E_DATA);
    ck_assert_str_eq(error.text, "run 00000000000000b1 is in the history already with another log: "
                                 "two logs have the same digest");
    ck_assert_str_eq(error.hint, "keep both logs, and add a remark line to one of them");
    ck_assert_str_eq(error.file, path);
    check_idle();
    m.solution.least_squares = true;
    error = (struct tiptrue_error){0};
    ck_assert_int_eq(put(&FIRST, &m.solution, TT_PUT_SOLVED, &outcome, &error), TIPTRUE_E_DATA);
    ck_assert_str_eq(error.text,
                     "run 00000000000000a7: its result is of --least-squares, for comparison with "
                     "other programs; a history takes none");
    ck_assert_str_eq(error.hint, "enter the result of solve without --least-squares");
}
END_TEST

/* Of what is put in one group all or nothing is kept; a record that fails takes only itself. */
START_TEST(a_group_is_all_or_nothing)
{
    struct made m;
    make(&m);
    struct entry bad = FIRST;
    struct tt_put_outcome outcome;
    bad.log = "other touches";

    ck_assert_int_eq(tt_store_begin(store, NULL), TIPTRUE_OK);
    ck_assert_int_eq(put(&FIRST, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_OK);
    ck_assert_int_eq(put(&bad, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_E_DATA);
    ck_assert(!sqlite3_get_autocommit(store->db));
    tt_store_rollback(store);
    ck_assert_int_eq(number("SELECT count(*) FROM run"), 0);
    ck_assert_int_eq(tt_store_begin(store, NULL), TIPTRUE_OK);
    ck_assert_int_eq(put(&FIRST, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_OK);
    bad.version = "3";
    ck_assert_int_eq(put(&bad, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_E_DATA);
    ck_assert_int_eq(tt_store_end(store, TIPTRUE_OK, NULL), TIPTRUE_OK);
    ck_assert_int_eq(number("SELECT count(*) FROM run"), 1);
    ck_assert_int_eq(number("SELECT count(*) FROM result"), 1);
    ck_assert_int_eq(tt_store_begin(store, NULL), TIPTRUE_OK);
    bad.id = "00000000000000b2";
    bad.version = NULL; /* which is found when the run is entered already */
    ck_assert_int_eq(put(&bad, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_E_INTERNAL);
    ck_assert(!sqlite3_get_autocommit(store->db));
    ck_assert_int_eq(number("SELECT count(*) FROM run"), 1);
    bad.version = "3";
    bad.id = "00000000000000b1";
    ck_assert_int_eq(put(&bad, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_end(store, TIPTRUE_E_USAGE, NULL), TIPTRUE_E_USAGE);
    ck_assert_int_eq(number("SELECT count(*) FROM run"), 1);
}
END_TEST

/* What another process reads meanwhile is waited for, where the file has to be alone for a moment.
 */
START_TEST(opening_waits_for_who_reads)
{
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    int ready[2], status = 0;
    char byte;

    run_sql("PRAGMA journal_mode = DELETE");
    ck_assert_int_eq(pipe(ready), 0);
    pid_t child = fork();
    ck_assert_int_ge(child, 0);
    if (child == 0) {
        sqlite3 *other = NULL;
        bool good =
            sqlite3_open(path, &other) == SQLITE_OK &&
            sqlite3_exec(other, "BEGIN; SELECT count(*) FROM run", NULL, NULL, NULL) == SQLITE_OK &&
            write(ready[1], "r", 1) == 1;
        nanosleep(&(struct timespec){.tv_nsec = 60000000L}, NULL);
        _exit(good ? 0 : 1);
    }
    ck_assert_int_eq(read(ready[0], &byte, 1), 1);
    ck_assert_msg(tt_store_open(path, true, &history, &error) == TIPTRUE_OK, "%s", error.text);
    tiptrue_history_close(history);
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    close(ready[0]);
    close(ready[1]);
}
END_TEST

/* A record whose last result was there already says nothing of the one that counts now. */
START_TEST(the_result_that_counts_is_another)
{
    struct made m;
    sqlite3_stmt *statement;
    bool row;
    make(&m);
    put_good(&FIRST, &m.solution, TT_PUT_SOLVED);
    struct tt_record_result results[2] = {{"0.9.2",
                                           "2026-03-22T10:00:01Z",
                                           "update",
                                           {text_of(FIRST.plate), text_of(FIRST.machine)},
                                           text_of("j2")},
                                          {FIRST.version,
                                           FIRST.added,
                                           "update",
                                           {text_of(FIRST.plate), text_of(FIRST.machine)},
                                           text_of(FIRST.json)}};
    struct tt_record record = {
        .added = FIRST.added, .log = text_of(FIRST.log), .results = results, .n_results = 2};
    struct tt_put_outcome outcome;
    strcpy(record.id, FIRST.id);
    ck_assert_int_eq(tt_store_put(store, &record, &m.solution, TT_PUT_MERGED, &outcome, NULL),
                     TIPTRUE_OK);
    ck_assert_uint_eq(outcome.new_results, 1);
    ck_assert_int_eq(number("SELECT run FROM pending"), 1);
    ck_assert_int_eq(number("SELECT result FROM summary"), 1);
    /* a reading that a rollback ends is not left half-way */
    ck_assert_int_eq(tt_store_begin(store, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_sql_first(store, "SELECT id FROM run", (struct tt_sql_values){NULL, 0},
                                  &statement, &row, NULL),
                     TIPTRUE_OK);
    ck_assert(row);
    tt_store_rollback(store);
    check_idle();
}
END_TEST

/* A result whose offsets are without the plate held is derived again. */
START_TEST(runs_that_are_still_to_be_derived)
{
    struct made m;
    char id[TT_RUN_ID_SIZE] = "";
    bool found = true;
    make(&m);
    ck_assert_int_eq(tt_store_next_unsummarised(store, id, &found, NULL), TIPTRUE_OK);
    ck_assert(!found);
    m.tips[2].has_held = false;
    put_good(&FIRST, &m.solution, TT_PUT_SOLVED);
    ck_assert_int_eq(tt_store_next_unsummarised(store, id, &found, NULL), TIPTRUE_OK);
    ck_assert(found);
    ck_assert_str_eq(id, FIRST.id);
    check_idle();
    m.tips[2].has_held = true;
    ck_assert_int_eq(tt_store_summarise(store, "00000000000000b1", &m.solution, NULL), TIPTRUE_OK);
    ck_assert_int_eq(number("SELECT count(*) FROM pending"), 1);
    ck_assert_int_eq(tt_store_summarise(store, id, &m.solution, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_next_unsummarised(store, id, &found, NULL), TIPTRUE_OK);
    ck_assert(!found);
}
END_TEST

/* Runs of one second are found whatever their order; each shows its own numbers. */
START_TEST(what_each_run_shows_of_repeatability)
{
    struct made m;
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = "bench"};
    make(&m);
    for (size_t i = 0; i < 5; i++) {
        char id[17];
        struct entry e = FIRST;
        snprintf(id, sizeof id, "00000000000000a%zu", i < 4 ? 4 - i : 5);
        e.id = id;
        e.log = i == 2 ? NULL : FIRST.log;
        m.solution.started = i == 4 ? "2026-03-20T09:46:41Z" : "2026-03-20T09:46:40Z";
        m.solution.own_touch_mm = 0.001 + 0.0003 * (double)i;
        put_good(&e, &m.solution, TT_PUT_SOLVED);
    }
    run_sql("DELETE FROM response WHERE result IN (2, 3)");
    ck_assert_int_eq(tt_store_series(store, "bench", -HUGE_VAL, 0, &series, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_repeatability(store, &series, NULL), TIPTRUE_OK);
    check_idle();
    ck_assert_uint_eq(series.n_runs, 5);
    for (size_t i = 0; i < 5; i++) {
        const struct tt_series_run *run = &series.runs[i];
        size_t put_as = i < 4 ? 3 - i : 4;
        bool kept = put_as != 1 && put_as != 2;
        ck_assert_double_eq(run->own_touch_mm, kept ? 0.001 + 0.0003 * (double)put_as : 0);
        ck_assert_double_eq(run->own_touch_dof, kept ? 33.25 : 0);
        ck_assert_double_eq(run->own_sighting_mm, kept ? 0.00187 : 0);
        ck_assert_double_eq(run->own_sighting_dof, kept ? 6.5 : 0);
        ck_assert(run->can_tell == (put_as == 1)); /* the third has no log */
    }
    series.n_runs = 0;
    ck_assert_int_eq(tt_store_repeatability(store, &series, NULL), TIPTRUE_OK);
    tt_arena_clear(&arena);
}
END_TEST

START_TEST(the_scatter_that_is_kept)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = "bench"};
    struct tt_trend_tip tips[3] = {{.name = "N1"}, {.name = "N2"}, {.name = "N3"}};
    struct tt_between_tip between[2] = {{"N1", 0.0013, 0.0029, 7.5}, {"N3", 0.0017, 0.0031, 9.25}};
    struct tiptrue_trend trend = {.machine = "bench",
                                  .tips = tips,
                                  .n_tips = 3,
                                  .between = {.tips = between, .n_tips = 2},
                                  .between_of = "00000000000000c1"};
    bool known = true;
    struct tiptrue_between got = {0};

    for (size_t i = 0; i < 3; i++) {
        ck_assert_uint_eq(tt_series_tip_index(&series, tips[i].name), i);
    }
    ck_assert_int_eq(tt_store_scatter(store, &series, trend.between_of, &known, &got, NULL),
                     TIPTRUE_OK);
    ck_assert(!known);
    ck_assert_int_eq(tt_store_keep_scatter(store, &trend, NULL), TIPTRUE_OK);
    between[0].u_x_mm = 0.5; /* of the same runs: nothing is written */
    ck_assert_int_eq(tt_store_keep_scatter(store, &trend, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_scatter(store, &series, trend.between_of, &known, &got, NULL),
                     TIPTRUE_OK);
    check_idle();
    ck_assert(known);
    ck_assert_uint_eq(got.n_tips, 2);
    for (size_t i = 0; i < 2; i++) {
        ck_assert_str_eq(got.tips[i].name, between[i].name);
        ck_assert_double_eq(got.tips[i].u_x_mm, i == 0 ? 0.0013 : 0.0017);
        ck_assert_double_eq(got.tips[i].u_y_mm, i == 0 ? 0.0029 : 0.0031);
        ck_assert_double_eq(got.tips[i].dof, i == 0 ? 7.5 : 9.25);
    }
    tt_arena_clear(&got.arena);
    got = (struct tiptrue_between){0};
    series.n_tip_names = 2; /* a tip that the series does not know is left out */
    ck_assert_int_eq(tt_store_scatter(store, &series, trend.between_of, &known, &got, NULL),
                     TIPTRUE_OK);
    ck_assert(known && got.n_tips == 1);
    tt_arena_clear(&got.arena);
    got = (struct tiptrue_between){0};
    strcpy(trend.between_of, "00000000000000c2"); /* of other runs: in place of the first */
    ck_assert_int_eq(tt_store_keep_scatter(store, &trend, NULL), TIPTRUE_OK);
    ck_assert_int_eq(number("SELECT count(*) FROM scatter"), 1);
    ck_assert_int_eq(number("SELECT count(*) FROM scatter WHERE machine = 'bench' AND of = "
                            "'00000000000000c2' AND CAST(numbers AS TEXT) = "
                            "'0 0.5 0.0029 7.5 2 0.0017 0.0031 9.25 '"),
                     1);
    ck_assert_int_eq(tt_store_scatter(store, &series, "00000000000000c1", &known, &got, NULL),
                     TIPTRUE_OK);
    ck_assert(!known);
    trend.machine = series.machine = NULL;
    ck_assert_int_eq(tt_store_keep_scatter(store, &trend, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_scatter(store, &series, trend.between_of, &known, &got, NULL),
                     TIPTRUE_OK);
    ck_assert(known);
    tt_arena_clear(&got.arena);
    tt_arena_clear(&arena);
}
END_TEST

static const struct tt_board_record BOARD = {.id = "00000000000000d1",
                                             .machine = "bench",
                                             .started = "2026-03-20T09:46:40Z",
                                             .added = "2026-03-20T10:00:01Z",
                                             .judged = "2026-03-20T10:00:02Z",
                                             .version = "0.9.1",
                                             .verdict = "update",
                                             .run = "00000000000000a7",
                                             .time_s = START_S,
                                             .parts_read = 37,
                                             .parts_used = 31,
                                             .table = {"a table", 7},
                                             .json = {"{\"a\":1}", 7},
                                             .said = {"said of it", 10}};

static void check_board(const struct tt_board_record *a, const struct tt_board_record *b)
{
    ck_assert_str_eq(a->id, b->id);
    ck_assert_str_eq(a->machine, b->machine);
    ck_assert_pstr_eq(a->started, b->started);
    ck_assert_str_eq(a->added, b->added);
    ck_assert_str_eq(a->judged, b->judged);
    ck_assert_str_eq(a->version, b->version);
    ck_assert_str_eq(a->verdict, b->verdict);
    ck_assert_pstr_eq(a->run, b->run);
    ck_assert_double_eq(a->time_s, b->time_s);
    ck_assert_uint_eq(a->parts_read, b->parts_read);
    ck_assert_uint_eq(a->parts_used, b->parts_used);
}

static void check_loaded(const struct tt_board_record *expected)
{
    struct tt_arena arena = {0};
    struct tt_board_record got;

    ck_assert_int_eq(tt_store_load_board(store, expected->id, &arena, &got, NULL), TIPTRUE_OK);
    check_idle();
    check_board(&got, expected);
    ck_assert_uint_eq(got.table.length, expected->table.length);
    ck_assert_uint_eq(got.json.length, expected->json.length);
    ck_assert_uint_eq(got.said.length, expected->said.length);
    ck_assert_mem_eq(got.table.text, expected->table.text, got.table.length);
    ck_assert_mem_eq(got.json.text, expected->json.text, got.json.length);
    ck_assert_mem_eq(got.said.text, expected->said.text, got.said.length);
    tt_arena_clear(&arena);
}

static struct tt_board_outcome put_board(const struct tt_board_record *board)
{
    struct tt_board_outcome outcome = {0};
    ck_assert_int_eq(tt_store_put_board(store, board, &outcome, NULL), TIPTRUE_OK);
    check_idle();
    return outcome;
}

START_TEST(each_column_of_a_board_comes_back)
{
    struct tt_board_record board = BOARD;
    struct tt_board_outcome outcome = put_board(&board);

    ck_assert(outcome.is_new && !outcome.judged_anew);
    ck_assert_str_eq(outcome.since, "");
    check_loaded(&BOARD);
    outcome = put_board(&board);
    ck_assert(!outcome.is_new && !outcome.judged_anew);
    ck_assert_str_eq(outcome.since, BOARD.added);
    /* an earlier judgement does not replace it, whatever it says */
    board.judged = "2026-03-20T10:00:01Z";
    board.version = "0.8";
    outcome = put_board(&board);
    ck_assert(!outcome.is_new && !outcome.judged_anew);
    check_loaded(&BOARD);
    /* one of the same second does, and each of what it says differs is enough */
    for (int what = 0; what < 4; what++) {
        board = BOARD;
        board.version = what >= 0 ? "0.9.2" : BOARD.version;
        board.json = text_of(what >= 1 ? "{\"b\":22}" : "{\"a\":1}");
        board.said = text_of(what >= 2 ? "said otherwise" : "said of it");
        board.machine = what >= 3 ? "renamed" : "bench";
        board.started = what >= 1 ? NULL : BOARD.started;
        board.run = what >= 2 ? NULL : BOARD.run;
        board.verdict = what >= 1 ? "keep" : "update";
        board.time_s = START_S + what;
        board.parts_read = 41 + (size_t)what;
        board.parts_used = 29 - (size_t)what;
        outcome = put_board(&board);
        ck_assert_msg(!outcome.is_new && outcome.judged_anew, "case %d", what);
        check_loaded(&board);
    }
    struct tiptrue_error error = {0};
    board.table = text_of("b table");
    ck_assert_int_eq(tt_store_put_board(store, &board, &outcome, &error), TIPTRUE_E_DATA);
    ck_assert_str_eq(error.text,
                     "board 00000000000000d1 is in the history already with another table: two "
                     "tables have the same digest");
    ck_assert_str_eq(error.hint, "keep both tables, and add a remark line to one of them");
    error = (struct tiptrue_error){0};
    struct tt_arena arena = {0};
    ck_assert_int_eq(tt_store_load_board(store, "00000000000000d9", &arena, &board, &error),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "there is no board 00000000000000d9");
    ck_assert_str_eq(error.hint, "history list shows what is there");
    ck_assert_str_eq(error.file, path);
    ck_assert_int_eq(number("SELECT count(*) FROM board"), 1);
}
END_TEST

START_TEST(an_id_is_found_by_its_beginning)
{
    static const struct {
        const char *text;
        enum tiptrue_status status;
        const char *said, *hint, *file;
    } ASKED[] = {
        {"00000000000000d3", TIPTRUE_OK, "", "", ""},
        {"0000000000000", TIPTRUE_E_USAGE,
         "several runs have an id that begins with '0000000000000': 00000000000000a1, "
         "00000000000000d3 ...",
         "give more digits", path},
        {"00000000000000d4", TIPTRUE_E_NO_INPUT,
         "there is no run whose id begins with '00000000000000d4'",
         "history list shows what is there", path},
        {"", TIPTRUE_E_USAGE,
         "'' is not a run: an id has 16 digits out of 0-9 and a-f, of which the first few are "
         "enough",
         "history list shows them", ""},
        {"00000000000000d3a", TIPTRUE_E_USAGE,
         "'00000000000000d3a' is not a run: an id has 16 digits out of 0-9 and a-f, of which the "
         "first few are enough",
         "history list shows them", ""},
        {"0D", TIPTRUE_E_USAGE,
         "'0D' is not a run: an id has 16 digits out of 0-9 and a-f, of which the first few are "
         "enough",
         "history list shows them", ""}};
    struct made m;
    make(&m);
    struct entry other = FIRST;
    put_hours(&m, 1);
    other.id = "00000000000000d3";
    put_good(&other, &m.solution, TT_PUT_SOLVED);

    for (size_t i = 0; i < sizeof ASKED / sizeof ASKED[0]; i++) {
        struct tiptrue_error error = {0};
        char id[TT_RUN_ID_SIZE] = "";
        ck_assert_int_eq(tiptrue_history_find(store, ASKED[i].text, id, &error), ASKED[i].status);
        ck_assert_str_eq(error.text, ASKED[i].said);
        ck_assert_str_eq(error.hint, ASKED[i].hint);
        ck_assert_str_eq(error.file, ASKED[i].file);
        check_idle();
    }
    struct tiptrue_error error = {0};
    struct tt_record record = {0};
    ck_assert_int_eq(tt_store_load(store, "00000000000000d4", false, &record, &error),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "there is no run 00000000000000d4");
    ck_assert_str_eq(error.hint, "history list shows what is there");
    error = (struct tiptrue_error){0};
    run_sql("INSERT INTO run(id, added) VALUES('00000000000000e1', '2026-03-20T10:00:01Z')");
    ck_assert_int_eq(tt_store_load(store, "00000000000000e1", false, &record, &error),
                     TIPTRUE_E_DATA);
    ck_assert_str_eq(error.text, "run 00000000000000e1 has no result");
    ck_assert_str_eq(error.file, path);
    error = (struct tiptrue_error){0};
    ck_assert_int_eq(tt_store_add_export(store, "00000000000000d4", &EXPORT, &error),
                     TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "run 00000000000000d4 is not in the history");
    ck_assert_str_eq(error.hint, "solve --history enters it");
}
END_TEST

static void check_text(struct tt_text text, const char *expected)
{
    ck_assert_uint_eq(text.length, strlen(expected));
    ck_assert_mem_eq(text.text, expected, text.length);
}

START_TEST(each_column_of_a_record_comes_back)
{
    struct made m;
    struct tt_record record = {0};
    make(&m);
    struct tt_record_result result = {
        "0.9.1",
        "2026-03-20T10:00:01Z",
        "update",
        {text_of("a plate"), text_of("a machine"), text_of("a plan"), text_of("a pattern")},
        text_of("json")};
    struct tt_record put_record = {.id = "00000000000000a7",
                                   .added = "2026-03-19T10:00:01Z",
                                   .log = {"touches", 7},
                                   .results = &result,
                                   .n_results = 1,
                                   .exports = (struct tt_record_export[]){EXPORT},
                                   .n_exports = 1};
    struct tt_put_outcome outcome;
    ck_assert_int_eq(tt_store_put(store, &put_record, &m.solution, TT_PUT_MERGED, &outcome, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(tt_store_load(store, put_record.id, false, &record, NULL), TIPTRUE_OK);
    check_idle();
    ck_assert_str_eq(record.id, put_record.id);
    ck_assert_str_eq(record.added, put_record.added);
    check_text(record.log, "touches");
    ck_assert_uint_eq(record.n_results, 1);
    ck_assert_str_eq(record.results[0].version, "0.9.1");
    ck_assert_str_eq(record.results[0].added, "2026-03-20T10:00:01Z");
    ck_assert_str_eq(record.results[0].verdict, "update");
    check_text(record.results[0].json, "json");
    check_text(record.results[0].documents[TT_DOCUMENT_PLATE], "a plate");
    check_text(record.results[0].documents[TT_DOCUMENT_MACHINE], "a machine");
    check_text(record.results[0].documents[TT_DOCUMENT_PLAN], "a plan");
    check_text(record.results[0].documents[TT_DOCUMENT_PATTERN], "a pattern");
    ck_assert_uint_eq(record.n_exports, 1);
    const struct tt_record_export *export = &record.exports[0];
    ck_assert_str_eq(export->time, EXPORT.time);
    ck_assert_str_eq(export->file, EXPORT.file);
    ck_assert_str_eq(export->old_digest, EXPORT.old_digest);
    ck_assert_str_eq(export->new_digest, EXPORT.new_digest);
    check_text(export->old_values, "{\"x\":36.18}");
    check_text(export->new_values, "{\"x\":36.2}");
    tt_record_clear(&record);
}
END_TEST

static bool take_export(void *context, const struct tt_store_exported *exported)
{
    struct tt_buffer *told = context;

    ck_assert_str_eq(exported->plate, "S-17");
    ck_assert_str_eq(exported->file, "head.json");
    check_text(exported->old_values, "{\"x\":36.18}");
    check_text(exported->new_values, "{\"x\":36.2}");
    tt_buffer_printf(told, "%s %s\n", exported->run + 14, exported->time);
    return strcmp(exported->run, "00000000000000a2") != 0;
}

START_TEST(exports_of_a_machine_are_read_newest_first)
{
    struct made m;
    struct tt_buffer told = {0};
    make(&m);
    put_hours(&m, 3);
    for (size_t i = 1; i <= 3; i++) {
        char id[17], time[32];
        struct tt_record_export export = EXPORT;
        snprintf(id, sizeof id, "00000000000000a%zu", i);
        snprintf(time, sizeof time, "2026-03-20T10:02:%02zuZ", 20 - i);
        export.time = time;
        ck_assert_int_eq(tt_store_add_export(store, id, &export, NULL), TIPTRUE_OK);
    }
    ck_assert_int_eq(tt_store_exports(store, "bench", take_export, &told, NULL), TIPTRUE_OK);
    ck_assert_str_eq(told.text, "a3 2026-03-20T10:02:17Z\na2 2026-03-20T10:02:18Z\n");
    check_idle();
    tt_buffer_reset(&told);
    ck_assert_int_eq(tt_store_exports(store, "other", take_export, &told, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(told.length, 0);
    tt_buffer_clear(&told);
    struct tt_store_counts counts = {0};
    put_board(&BOARD);
    run_sql("INSERT INTO document(digest, kind, text) VALUES('00000000000000c1', 'plan', x'20');"
            "DELETE FROM log WHERE run = 1;"
            "INSERT INTO run(id, added) VALUES('00000000000000e1', 't'), ('00000000000000e2', "
            "'t')");
    ck_assert_int_eq(tt_store_count(store, &counts, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(counts.runs, 5);
    ck_assert_uint_eq(counts.logs, 2);
    ck_assert_uint_eq(counts.results, 3);
    ck_assert_uint_eq(counts.documents, 3);
    ck_assert_uint_eq(counts.exports, 3);
    ck_assert_uint_eq(counts.boards, 1);
}
END_TEST

static enum tiptrue_status take_machine(void *context, const char *machine)
{
    tt_buffer_printf(context, "%s;", machine);
    return strcmp(machine, "stop") == 0 ? TIPTRUE_E_USAGE : TIPTRUE_OK;
}

START_TEST(machines_are_told_in_the_order_of_the_alphabet)
{
    static const char *const NAMES[] = {"line", "bench", "bench", "annex"};
    struct made m;
    struct tt_buffer told = {0};
    make(&m);
    for (size_t i = 0; i < 4; i++) {
        char id[17];
        struct entry e = FIRST;
        snprintf(id, sizeof id, "00000000000000a%zu", i + 1);
        e.id = id;
        m.solution.machine = NAMES[i];
        put_good(&e, &m.solution, TT_PUT_SOLVED);
    }
    ck_assert_int_eq(tt_store_machines(store, take_machine, &told, NULL), TIPTRUE_OK);
    ck_assert_str_eq(told.text, "annex;bench;line;");
    check_idle();
    tt_buffer_reset(&told);
    run_sql("UPDATE summary SET machine = 'stop' WHERE run = 1; "
            "UPDATE summary SET machine = 'zone' WHERE run = 2");
    ck_assert_int_eq(tt_store_machines(store, take_machine, &told, NULL), TIPTRUE_E_USAGE);
    ck_assert_str_eq(told.text, "annex;bench;stop;");
    check_idle();
    tt_buffer_clear(&told);
}
END_TEST

/* by what is still the same, or no longer, after a factor: 1e-12 of itself and 1e-18 */
#define FURTHER " * (1 + %.9se-12) + iif(%.39s < 0, -1, 1) * %.9se-18"

/* Each column of the summary's tables that is not what the result says is named; a difference of
 * the last digits is none. */
static void check_columns(const char *table, const struct tiptrue_solution *solution)
{
    char sql[400];
    struct {
        char name[40];
        bool real;
    } columns[40];
    size_t n = 0;
    sqlite3_stmt *info;

    snprintf(sql, sizeof sql, "PRAGMA main.table_info(%s)", table);
    ck_assert_int_eq(sqlite3_prepare_v2(store->db, sql, -1, &info, NULL), SQLITE_OK);
    while (sqlite3_step(info) == SQLITE_ROW) {
        const char *name = (const char *)sqlite3_column_text(info, 1);
        ck_assert_uint_lt(n, 40);
        snprintf(columns[n].name, sizeof columns[n].name, "%s", name);
        columns[n].real = strcmp((const char *)sqlite3_column_text(info, 2), "REAL") == 0;
        n += sqlite3_column_int(info, 5) == 0 && strcmp(name, "result") != 0; /* not of the key */
    }
    sqlite3_finalize(info);
    for (size_t i = 0; i < n; i++) {
        const char *where = NULL;
        const char *name = columns[i].name;
        if (columns[i].real) {
            snprintf(sql, sizeof sql, "SAVEPOINT t; UPDATE main.%.9s SET %.39s = %.39s" FURTHER,
                     table, name, name, "0.995", name, "0.995");
            run_sql(sql);
            ck_assert_int_eq(tt_store_check_summary(store, FIRST.id, solution, &where, NULL),
                             TIPTRUE_OK);
            ck_assert_msg(where == NULL, "%s.%s", table, name);
            run_sql("ROLLBACK TO t; RELEASE t");
            snprintf(sql, sizeof sql, "SAVEPOINT t; UPDATE main.%.9s SET %.39s = %.39s" FURTHER,
                     table, name, name, "1.005", name, "1.005");
        } else {
            snprintf(sql, sizeof sql,
                     "SAVEPOINT t; UPDATE main.%.9s SET %.39s = coalesce(%.39s, 7) || 1", table,
                     name, name);
        }
        run_sql(sql);
        ck_assert_int_eq(tt_store_check_summary(store, FIRST.id, solution, &where, NULL),
                         TIPTRUE_OK);
        ck_assert_msg(where != NULL && strcmp(where, name) == 0, "%s.%s: %s", table, name,
                      where != NULL ? where : "nothing");
        run_sql("ROLLBACK TO t; RELEASE t");
    }
}

START_TEST(a_summary_that_is_not_the_results_is_found)
{
    struct made m;
    const char *where = "";
    make(&m);
    put_good(&FIRST, &m.solution, TT_PUT_SOLVED);
    ck_assert_int_eq(tt_store_check_summary(store, FIRST.id, &m.solution, &where, NULL),
                     TIPTRUE_OK);
    ck_assert_ptr_null(where);
    check_columns("summary", &m.solution);
    check_columns("tip", &m.solution);
    check_columns("edge", &m.solution);
    run_sql("SAVEPOINT t; DELETE FROM main.edge WHERE position = 1");
    ck_assert_int_eq(tt_store_check_summary(store, FIRST.id, &m.solution, &where, NULL),
                     TIPTRUE_OK);
    ck_assert_pstr_eq(where, "rows");
    run_sql("ROLLBACK TO t; RELEASE t");
    /* where runs are still to be derived, nothing is looked at */
    run_sql("INSERT INTO main.pending VALUES(1); UPDATE main.tip SET radius_mm = 7");
    ck_assert_int_eq(tt_store_check_summary(store, FIRST.id, &m.solution, &where, NULL),
                     TIPTRUE_OK);
    ck_assert_ptr_null(where);
    run_sql("DELETE FROM main.pending");
    ck_assert_int_eq(tt_store_check_summary(store, FIRST.id, &m.solution, &where, NULL),
                     TIPTRUE_OK);
    ck_assert_pstr_eq(where, "radius_mm");
    ck_assert_int_eq(number("SELECT count(*) FROM sqlite_temp_schema WHERE type = 'table'"), 4);
    ck_assert_int_eq(tt_store_check_end(store, NULL), TIPTRUE_OK);
    ck_assert_int_eq(number("SELECT count(*) FROM sqlite_temp_schema WHERE type = 'table'"), 0);
}
END_TEST

static void collect(void *context, const char *text)
{
    tt_buffer_printf(context, "%s\n", text);
}

/* Damage beside what store_rows_test.c looks at. */
START_TEST(damage_of_tables_and_exports_is_told)
{
    static const struct {
        const char *sql, *told;
    } DAMAGE[] = {
        {"DELETE FROM result", "a reference to nothing: summary -> result\n"}, /* without a rowid */
        {"UPDATE note SET time = 'noon'",
         "a time that is none, of a note on run 00000000000000a7\n"},
        {"UPDATE export SET old_digest = '00000000000000A7'",
         "a digest that is none, of an export of run 00000000000000a7\n"},
        {"UPDATE export SET new_digest = '000000000000000a7'",
         "a digest that is none, of an export of run 00000000000000a7\n"}};
    struct made m;
    make(&m);
    struct entry e = FIRST;
    struct tt_buffer told = {0};
    put_good(&e, &m.solution, TT_PUT_SOLVED);
    ck_assert_int_eq(tt_store_add_export(store, e.id, &EXPORT, NULL), TIPTRUE_OK);
    run_sql("PRAGMA foreign_keys = OFF;"
            "INSERT INTO note(run, time, text) VALUES(1, '2026-03-20T10:00:01Z', 'cold')");

    for (size_t i = 0; i < sizeof DAMAGE / sizeof DAMAGE[0]; i++) {
        tt_buffer_reset(&told);
        run_sql("SAVEPOINT t");
        run_sql(DAMAGE[i].sql);
        ck_assert_int_eq(tt_store_verify(store, collect, &told, NULL), TIPTRUE_OK);
        ck_assert_msg(strstr(told.text, DAMAGE[i].told) != NULL, "%s: %s", DAMAGE[i].sql,
                      told.text);
        run_sql("ROLLBACK TO t; RELEASE t");
        check_idle();
    }
    tt_buffer_clear(&told);
}
END_TEST

/* A table that is missing is told, and the others are looked at; where the memory or the disk
 * fails, that is the end. */
START_TEST(verifying_goes_on_behind_a_missing_table)
{
    struct tt_buffer told = {0};
    struct tiptrue_error error = {0};

    run_sql("DROP TABLE note");
    ck_assert_int_eq(tt_store_verify(store, collect, &told, NULL), TIPTRUE_OK);
    ck_assert_str_eq(told.text, "the history is damaged: no such table: note\n");
    sqlite3 *other = NULL;
    ck_assert_int_eq(sqlite3_open(path, &other), SQLITE_OK);
    run_sql("PRAGMA journal_mode = DELETE");
    ck_assert_int_eq(sqlite3_exec(other, "BEGIN EXCLUSIVE", NULL, NULL, NULL), SQLITE_OK);
    tt_store_wait(store, 3, NULL, NULL);
    tt_buffer_reset(&told);
    ck_assert_int_eq(tt_store_verify(store, collect, &told, &error), TIPTRUE_E_IO);
    ck_assert_str_eq(error.text, "the history is held by another process, for 0 s already");
    ck_assert_str_eq(error.hint, "another process may hold the lock; try again");
    ck_assert_str_eq(error.file, path);
    ck_assert_uint_eq(told.length, 0);
    ck_assert_int_eq(sqlite3_close(other), SQLITE_OK);
    tt_buffer_clear(&told);
}
END_TEST

/* What a header says, and what is made of it. */
START_TEST(headers_that_are_no_history)
{
    static const struct {
        const char *sql, *said, *hint;
    } HEADERS[] = {
        {"PRAGMA application_id = 0; PRAGMA user_version = 3",
         "a database of another program, not a tiptrue history", "is it the file that was meant?"},
        {"PRAGMA application_id = 0; PRAGMA user_version = 0",
         "a database of another program, not a tiptrue history", "is it the file that was meant?"},
        {"PRAGMA application_id = 7; PRAGMA user_version = 3",
         "a database of another program, not a tiptrue history", "is it the file that was meant?"},
        {"PRAGMA user_version = 13",
         "the history has schema version 13, written by a newer tiptrue; this one knows versions "
         "up to 12",
         "take the newer tiptrue; an older one must not write into its history"},
        {"PRAGMA user_version = 0",
         "the history is damaged: its header gives schema version 0; versions count from 1",
         "use a backup; without one, keep this file and begin a new history"},
        {"PRAGMA user_version = -1",
         "the history is damaged: its header gives schema version -1; versions count from 1",
         "use a backup; without one, keep this file and begin a new history"}};
    int version = 0;

    ck_assert_int_eq(TT_SCHEMA_VERSION, 12);
    ck_assert_int_eq(tt_schema_version(store, &version, NULL), TIPTRUE_OK);
    ck_assert_int_eq(version, TT_SCHEMA_VERSION);
    for (size_t i = 0; i < sizeof HEADERS / sizeof HEADERS[0]; i++) {
        struct tiptrue_error error = {0};
        run_sql("SAVEPOINT t");
        run_sql(HEADERS[i].sql);
        ck_assert_int_eq(tt_schema_version(store, &version, &error), TIPTRUE_E_DATA);
        ck_assert_str_eq(error.text, HEADERS[i].said);
        ck_assert_str_eq(error.hint, HEADERS[i].hint);
        ck_assert_str_eq(error.file, path);
        run_sql("ROLLBACK TO t; RELEASE t");
        ck_assert_int_eq(tt_schema_migrate(store, TT_SCHEMA_VERSION, NULL), TIPTRUE_OK);
    }
}
END_TEST

/* In a folder that may not be written, by who may not: the file is read as it is. Its name has
 * every character that a URI reads otherwise. */
static int read_closed(const char *name)
{
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    struct tt_record record = {0};

    if (geteuid() == 0 && (setgid(65534) != 0 || setuid(65534) != 0)) {
        return 1;
    }
    if (tt_store_open(name, true, &history, &error) != TIPTRUE_E_IO ||
        strcmp(error.text, "the history cannot be written: it is read-only") != 0) {
        return 4;
    }
    error = (struct tiptrue_error){0};
    if (tt_store_open(name, false, &history, &error) != TIPTRUE_OK) {
        return strstr(error.text, "runs wait in '") != NULL &&
                       strcmp(error.hint, "copy both files into a folder that can be written, and "
                                          "read them there") == 0
                   ? 77
                   : 2;
    }
    if (tt_store_is_writable(history) || strcmp(tt_store_path(history), name) != 0 ||
        tt_store_load(history, FIRST.id, true, &record, NULL) != TIPTRUE_OK) {
        return 3;
    }
    tt_record_clear(&record);
    tiptrue_history_close(history);
    return 0;
}

static int in_another_process(const char *name)
{
    int status = 0;
    pid_t child = fork();

    ck_assert_int_ge(child, 0);
    if (child == 0) {
        _exit(read_closed(name));
    }
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static void copy_file(const char *from, const char *to)
{
    FILE *in = fopen(from, "rb"), *out = fopen(to, "wb");
    int c;

    ck_assert(in != NULL && out != NULL);
    while ((c = getc(in)) != EOF) {
        putc(c, out);
    }
    fclose(in);
    ck_assert_int_eq(fclose(out), 0);
}

START_TEST(a_closed_folder_is_read_as_it_is)
{
    char folder[32], name[80], wal[96]; /* where anybody may go */
    struct made m;
    make(&m);
    put_good(&FIRST, &m.solution, TT_PUT_SOLVED);
    run_sql("PRAGMA wal_checkpoint(TRUNCATE)");
    snprintf(folder, sizeof folder, "%s/rows-test-XXXXXX", "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(name, sizeof name, "%s/a%%25?b#c.db", folder);
    snprintf(wal, sizeof wal, "%s-wal", name);
    copy_file(path, name);
    ck_assert_int_eq(chmod(name, 0444), 0);
    ck_assert_int_eq(chmod(folder, 0555), 0);
    ck_assert_int_eq(in_another_process(name), 0);
    ck_assert_int_eq(chmod(folder, 0755), 0);
    FILE *file = fopen(wal, "w");
    ck_assert_ptr_nonnull(file);
    fputs("waits", file);
    ck_assert_int_eq(fclose(file), 0);
    ck_assert_int_eq(chmod(wal, 0444), 0);
    ck_assert_int_eq(chmod(folder, 0555), 0);
    ck_assert_int_eq(in_another_process(name), 77);
    ck_assert_int_eq(chmod(folder, 0755), 0);
    ck_assert_int_eq(unlink(wal), 0);
    ck_assert_int_eq(unlink(name), 0);
    ck_assert_int_eq(rmdir(folder), 0);
}
END_TEST

/* A history that was made and got nothing is taken away; one that was there, or got a run, is not.
 */
START_TEST(an_empty_history_is_taken_away)
{
    static const char NAME[] = "rows-test-empty.db";
    struct tiptrue_history *history = NULL;
    struct stat about;

    unlink(NAME);
    for (int i = 0; i < 3; i++) {
        ck_assert_int_eq(tt_store_open(NAME, true, &history, NULL), TIPTRUE_OK);
        ck_assert(tt_store_is_writable(history));
        if (i == 1) {
            ck_assert_int_eq(tt_store_begin(history, NULL), TIPTRUE_OK);
            ck_assert_int_eq(tt_store_commit(history, NULL), TIPTRUE_OK);
        }
        tiptrue_history_close(history);
        ck_assert_int_eq(stat(NAME, &about) == 0, i > 0);
    }
    unlink(NAME);
    for (int i = 0; i < 2; i++) { /* not there; and no folder */
        struct tiptrue_error error = {0};
        char name[80];
        snprintf(name, sizeof name, i == 0 ? "%s" : "%s/h.db", i == 0 ? NAME : path);
        ck_assert_int_eq(tt_store_open(name, false, &history, &error), TIPTRUE_E_NO_INPUT);
        ck_assert_str_eq(error.text, i == 0
                                         ? "the history cannot be opened: No such file or directory"
                                         : "the history cannot be opened: Not a directory");
        ck_assert_str_eq(error.hint, i == 0 ? "solve --history or history import makes one" : "");
        ck_assert_str_eq(error.file, name);
    }
}
END_TEST

/* Where another process reads a file that is not in WAL mode, a commit fails, and nothing stays
 * open.
 */
START_TEST(a_commit_that_fails_is_rolled_back)
{
    sqlite3 *other = NULL;
    struct made m;
    struct tt_put_outcome outcome;
    make(&m);

    run_sql("PRAGMA journal_mode = DELETE");
    ck_assert_int_eq(sqlite3_open(path, &other), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(other, "BEGIN; SELECT count(*) FROM run", NULL, NULL, NULL),
                     SQLITE_OK);
    tt_store_wait(store, 3, NULL, NULL);
    ck_assert_int_eq(tt_store_begin(store, NULL), TIPTRUE_OK);
    ck_assert_int_eq(put(&FIRST, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_store_commit(store, NULL), TIPTRUE_E_IO);
    check_idle();
    ck_assert_int_eq(put(&FIRST, &m.solution, TT_PUT_SOLVED, &outcome, NULL), TIPTRUE_E_IO);
    check_idle();
    ck_assert_int_eq(sqlite3_close(other), SQLITE_OK);
    ck_assert_int_eq(number("SELECT count(*) FROM run"), 0);
}
END_TEST

static void note_waiting(void *context, const char *of)
{
    ck_assert_str_eq(of, path);
    ++*(int *)context;
}

/* After a second, once. */
START_TEST(who_waits_long_is_told)
{
    sqlite3 *other = NULL;
    int told = 0;
    struct tiptrue_error error = {0};

    ck_assert_int_eq(sqlite3_open(path, &other), SQLITE_OK);
    ck_assert_int_eq(sqlite3_exec(other, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    tt_store_wait(store, 1030, note_waiting, &told);
    ck_assert_int_eq(tt_store_begin(store, &error), TIPTRUE_E_IO);
    ck_assert_int_eq(told, 1);
    ck_assert_int_eq(sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_close(other), SQLITE_OK);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/rows");
    TCase *tests = tcase_create("rows");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_test(tests, each_column_of_a_run_comes_back);
    tcase_add_test(tests, a_list_shows_each_column);
    tcase_add_test(tests, a_series_is_of_the_latest_runs);
    tcase_add_test(tests, each_column_of_the_past_comes_back);
    tcase_add_test(tests, what_is_said_of_a_run_stands_in_its_row);
    tcase_add_test(tests, the_latest_start_and_what_is_later);
    tcase_add_test(tests, a_run_that_is_forgotten_takes_all_of_it_along);
    tcase_add_test(tests, what_is_a_new_result);
    tcase_add_test(tests, a_group_is_all_or_nothing);
    tcase_add_test(tests, opening_waits_for_who_reads);
    tcase_add_test(tests, the_result_that_counts_is_another);
    tcase_add_test(tests, runs_that_are_still_to_be_derived);
    tcase_add_test(tests, what_each_run_shows_of_repeatability);
    tcase_add_test(tests, the_scatter_that_is_kept);
    tcase_add_test(tests, each_column_of_a_board_comes_back);
    tcase_add_test(tests, an_id_is_found_by_its_beginning);
    tcase_add_test(tests, each_column_of_a_record_comes_back);
    tcase_add_test(tests, exports_of_a_machine_are_read_newest_first);
    tcase_add_test(tests, machines_are_told_in_the_order_of_the_alphabet);
    tcase_add_test(tests, a_summary_that_is_not_the_results_is_found);
    tcase_add_test(tests, damage_of_tables_and_exports_is_told);
    tcase_add_test(tests, verifying_goes_on_behind_a_missing_table);
    tcase_add_test(tests, headers_that_are_no_history);
    tcase_add_test(tests, a_closed_folder_is_read_as_it_is);
    tcase_add_test(tests, an_empty_history_is_taken_away);
    tcase_add_test(tests, a_commit_that_fails_is_rolled_back);
    tcase_add_test(tests, who_waits_long_is_told);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
