/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Memory that runs out while a history of weeks is asked for all that it can tell, and a run and a
 * board are judged with it: told as such, and the history is sound. As in history_memory_test.c,
 * with arenas, too. */
#define _GNU_SOURCE /* Dl_info */
#include "config.h"

#include <cJSON.h>
#include <math.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

#include "../unit/ingest/collect.h"
#include "ingest/ingest.h"
#include "starve.h"
#include "tiptrue.h"

#define NOW_S 1768500000.0 /* 2026-01-15T18:00:00Z */

/* Runs in the history; the innermost calls by which kinds of requests are told. */
enum { RUNS = 9, HEAP_KIND = 6, ARENA_KIND = 3 };

static const char EXPORT[] =
    ", \"export\": [{\"file\": \"w.ini\", \"put\": [\"t1.offset.x=t1.x\", \"t1.offset.y=t1.y\", "
    "\"t2.offset.x:um=t2.x\", \"t2.offset.y=t2.y\", \"t3.offset.x=t3.x\", \"t3.offset.y=t3.y\"]}]}";
static const char CONFIGURATION[] = "[t1]\nx = -41.181\ny = 12.778\n[t2]\nx = -24266\ny = "
                                    "12.624\n[t3]\nx = -7.129\ny = 12.624\n";
static const char BOARD[] = "# machine: bench-2\n# started: 2026-01-14T07:40:00Z\n"
                            "part,tip,rotation,x,y,found_x,found_y,found_rotation\n";

static sqlite3_mem_methods plain;
static char folder[40], machine_path[60], base[60], path[60], board_path[60];

/* In place of the C library's, for SQLite too: nobody pulls the plug here. */
__attribute__((visibility("default"))) int fsync(int file)
{
    (void)file;
    return 0;
}

__attribute__((visibility("default"))) int fdatasync(int file)
{
    (void)file;
    return 0;
}

static void *sqlite_malloc(int size)
{
    return fails(&heap) ? NULL : plain.xMalloc(size);
}

static void *sqlite_realloc(void *piece, int size)
{
    return fails(&heap) ? NULL : plain.xRealloc(piece, size);
}

static void write_text(const char *to, const char *text)
{
    FILE *file = fopen(to, "w");

    ck_assert_ptr_nonnull(file);
    ck_assert_int_ge(fputs(text, file), 0);
    ck_assert_int_eq(fclose(file), 0);
}

static char *whole_path(const char *name, char to[60])
{
    snprintf(to, 60, "%s/%s", folder, name);
    return to;
}

/* A machine that exports its offsets, a configuration, a board of twelve parts. */
static void write_files(void)
{
    char *text = source_text("tests/field/13-weeks/machine.json"), name[60];
    struct tt_buffer made = {0};

    *strrchr(text, '}') = '\0';
    tt_buffer_puts(&made, text);
    tt_buffer_puts(&made, EXPORT);
    write_text(whole_path("machine.json", machine_path), made.text);
    write_text(whole_path("w.ini", name), CONFIGURATION);
    tt_buffer_clear(&made);
    tt_buffer_puts(&made, BOARD);
    for (int i = 0; i < 12; i++) {
        double x = 13.7 + 17.3 * (i % 4), y = 9.1 + 21.9 * (double)(i / 4);
        tt_buffer_printf(&made, "R%d,t%d,%d,%.3f,%.3f,%.3f,%.3f,%.2f\n", i, 1 + i % 2, 90 * (i % 4),
                         x, y, x + 0.011 + 0.003 * cos(7 * i), y - 0.007 + 0.003 * sin(5 * i),
                         90 * (i % 4) + 0.1 * cos(3 * i));
    }
    write_text(whole_path("board.csv", board_path), made.text);
    tt_buffer_clear(&made);
    free(text);
}

/* What is there before memory runs out. */
static struct tiptrue_plate *plate;
static struct tiptrue_workspace *workspace;
static struct tiptrue_run *run;

static void make_base(void)
{
    char *plate_path = source_path("tests/field/13-weeks/plate.json"), *logs[RUNS + 1], name[60];
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_history *history = NULL;

    for (int i = 0; i <= RUNS; i++) {
        snprintf(name, sizeof name, "tests/field/13-weeks/run-%03d.csv", 1 + i);
        logs[i] = source_path(name);
    }
    ck_assert_int_eq(tiptrue_plate_read(plate_path, NULL, &plate, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_machine_read(machine_path, NULL, &machine, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_workspace_new(&workspace, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tiptrue_run_read_whole(logs[RUNS], plate, machine, NULL, NULL, NULL, &run, NULL),
        TIPTRUE_OK);
    const struct tiptrue_import_options options = {
        .plate = plate, .machine = machine, .now_s = NOW_S};
    ck_assert_int_eq(
        tiptrue_history_open(whole_path("base.db", base), TIPTRUE_HISTORY_WRITE, &history, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_history_import(history, workspace, (const char *const *)logs, RUNS,
                                            &options, NULL, NULL, NULL, NULL),
                     TIPTRUE_OK);
    tiptrue_history_close(history);
    tiptrue_machine_free(machine);
    free(plate_path);
    for (int i = 0; i <= RUNS; i++) {
        free(logs[i]);
    }
    whole_path("work.db", path);
}

static void set_up(void)
{
    static cJSON_Hooks hooks = {__wrap_malloc, free};
    sqlite3_mem_methods methods;

    cJSON_InitHooks(&hooks);
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_GETMALLOC, &plain), SQLITE_OK);
    methods = plain;
    methods.xMalloc = sqlite_malloc;
    methods.xRealloc = sqlite_realloc;
    ck_assert_int_eq(sqlite3_config(SQLITE_CONFIG_MALLOC, &methods), SQLITE_OK);
    ck_assert_int_eq(sqlite3_initialize(), SQLITE_OK);
    strcpy(folder, "weeks-memory-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    write_files();
    make_base();
}

static void tear_down(void)
{
    static const char *const NAMES[] = {"machine.json", "w.ini",       "board.csv",
                                        "base.db",      "work.db",     "work.db-wal",
                                        "work.db-shm",  "base.db-wal", "base.db-shm"};
    char name[60];

    tiptrue_run_free(run);
    tiptrue_workspace_free(workspace);
    tiptrue_plate_free(plate);
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++) {
        unlink(whole_path(NAMES[i], name));
    }
    ck_assert_int_eq(rmdir(folder), 0);
}

static void copy_base(void)
{
    FILE *from = fopen(base, "rb"), *to = fopen(path, "wb");
    static char block[1 << 16];
    size_t got;
    char name[80];

    ck_assert(from != NULL && to != NULL);
    while ((got = fread(block, 1, sizeof block, from)) > 0) {
        ck_assert_uint_eq(fwrite(block, 1, got, to), got);
    }
    ck_assert(fclose(from) == 0 && fclose(to) == 0);
    snprintf(name, sizeof name, "%s-wal", path);
    unlink(name);
    snprintf(name, sizeof name, "%s-shm", path);
    unlink(name);
}

static void told(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    *(size_t *)context += diagnostic->text != NULL;
}

static enum tiptrue_status count_text(void *context, const char *text, size_t length)
{
    *(size_t *)context += text != NULL ? length : 0;
    return TIPTRUE_OK;
}

/* ---- what is asked; each ends with the first status that is not OK ---- */

static enum tiptrue_status ask_trend(struct tiptrue_history *history,
                                     struct tiptrue_machine *machine, struct tiptrue_error *error)
{
    const struct tiptrue_history_query query = {.machine = "bench-2", .since = "2026-01-01"};
    struct tiptrue_trend *trend = NULL;
    struct tiptrue_report *report = NULL;
    char *texts[4] = {NULL};
    bool differs;
    enum tiptrue_status status = tiptrue_history_trend(history, &query, NULL, &trend, error);

    status = status == TIPTRUE_OK ? tiptrue_trend_text(trend, true, NULL, &texts[0], NULL, error)
                                  : status;
    status = status == TIPTRUE_OK
                 ? tiptrue_history_latest(history, machine, NULL, &texts[1], &differs, error)
                 : status;
    status = status == TIPTRUE_OK ? tiptrue_report_new(NULL, &report, error) : status;
    status = status == TIPTRUE_OK ? tiptrue_report_add_history(report, history, "bench-2", error)
                                  : status;
    status = status == TIPTRUE_OK ? tiptrue_report_html(report, &texts[2], NULL, error) : status;
    tiptrue_report_free(report);
    tiptrue_trend_free(trend);
    for (size_t i = 0; i < 4; i++) {
        free(texts[i]);
    }
    return status;
}

static enum tiptrue_status ask_run(struct tiptrue_history *history, const char *id,
                                   struct tiptrue_error *error)
{
    static const enum tiptrue_history_part PARTS[] = {TIPTRUE_HISTORY_RESULT, TIPTRUE_HISTORY_LOG,
                                                      TIPTRUE_HISTORY_PLATE};
    struct tiptrue_solution *solution = NULL;
    char *again = NULL;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < 3 && status == TIPTRUE_OK; i++) {
        char *text = NULL;
        status = tiptrue_history_get(history, id, PARTS[i], &text, NULL, error);
        free(text);
    }
    status =
        status == TIPTRUE_OK ? tiptrue_history_comparable(history, id, &solution, error) : status;
    tiptrue_solution_free(solution);
    status = status == TIPTRUE_OK ? tiptrue_history_again(history, workspace, id, true, NOW_S, NULL,
                                                          NULL, &again, NULL, error)
                                  : status;
    free(again);
    status = status == TIPTRUE_OK
                 ? tiptrue_history_say(history, id, TIPTRUE_HISTORY_NOTE, "new tape", NOW_S, error)
                 : status;
    status = status == TIPTRUE_OK
                 ? tiptrue_history_say(history, id, TIPTRUE_HISTORY_EXCLUDE, "wet", NOW_S, error)
                 : status;
    return status;
}

static enum tiptrue_status ask_lists(struct tiptrue_history *history, struct tiptrue_error *error)
{
    size_t written = 0, n = 0;
    const struct tiptrue_writer writer = {count_text, &written};
    const struct tiptrue_history_query query = {.runs = 7};
    char(*ids)[TIPTRUE_RUN_ID_SIZE] = NULL, found[TIPTRUE_RUN_ID_SIZE] = "";
    bool board = false;
    enum tiptrue_status status = tiptrue_history_list(history, &query, false, NULL, &writer, error);

    status = status == TIPTRUE_OK ? tiptrue_history_list(history, NULL, true, NULL, &writer, error)
                                  : status;
    status = status == TIPTRUE_OK ? tiptrue_history_export(history, &query, true, &writer, error)
                                  : status;
    status = status == TIPTRUE_OK ? tiptrue_history_ids(history, &query, &ids, &n, error) : status;
    status = status == TIPTRUE_OK ? tiptrue_history_find_any(history, ids[3], found, &board, error)
                                  : status;
    status = status == TIPTRUE_OK ? ask_run(history, found, error) : status;
    free(ids);
    return status;
}

static enum tiptrue_status ask_board(struct tiptrue_history *history,
                                     struct tiptrue_machine *machine, struct tiptrue_error *error)
{
    struct tiptrue_board *board = NULL;
    struct tiptrue_placement *placement = NULL;
    struct tiptrue_report *report = NULL;
    char *texts[2] = {NULL};
    size_t notes = 0;
    const struct tiptrue_sink sink = {told, &notes};
    enum tiptrue_status status = tiptrue_board_read(board_path, machine, NULL, &board, error);

    status = status == TIPTRUE_OK ? tiptrue_place(board, machine, NULL, &placement, error) : status;
    status = status == TIPTRUE_OK
                 ? tiptrue_placement_text(placement, false, NULL, &texts[0], NULL, error)
                 : status;
    status = status == TIPTRUE_OK ? tiptrue_report_new(NULL, &report, error) : status;
    status = status == TIPTRUE_OK ? tiptrue_report_add_board(report, placement, error) : status;
    status = status == TIPTRUE_OK ? tiptrue_report_html(report, &texts[1], NULL, error) : status;
    status = status == TIPTRUE_OK
                 ? tiptrue_history_add_board(history, board, placement, NOW_S, &sink, error)
                 : status;
    status = status == TIPTRUE_OK
                 ? tiptrue_history_add_board(history, board, placement, NOW_S, &sink, error)
                 : status;
    tiptrue_report_free(report);
    tiptrue_placement_free(placement);
    tiptrue_board_free(board);
    free(texts[0]);
    free(texts[1]);
    return status;
}

static enum tiptrue_status ask_ready(struct tiptrue_history *history,
                                     struct tiptrue_machine *machine, struct tiptrue_error *error)
{
    const struct tiptrue_ready_inputs inputs = {
        .workspace = workspace, .history = history, .plate = plate, .machine = machine, .run = run};
    const struct tiptrue_ready_options options = {
        .now_s = NOW_S, .has_max_age = true, .max_age_s = 9e5};
    size_t notes = 0;
    const struct tiptrue_sink sink = {told, &notes};
    struct tiptrue_ready *ready = NULL;
    char *texts[2] = {NULL};
    enum tiptrue_status status = tiptrue_history_present(history, machine, NOW_S, error);

    status =
        status == TIPTRUE_OK ? tiptrue_ready_make(&inputs, &options, &sink, &ready, error) : status;
    if (status == TIPTRUE_OK && tiptrue_ready_state(ready) == TIPTRUE_READY_UPDATE) {
        bool none = tiptrue_ready_diff(ready)[0] == '\0';
        status = tiptrue_ready_write(ready, history, true, NOW_S, &sink, error);
        if (status == TIPTRUE_OK && (!none || strstr(tiptrue_ready_diff(ready), "w.ini") == NULL)) {
            status = TIPTRUE_E_INTERNAL; /* Check's own calls need memory, too: told outside */
        }
    }
    status = status == TIPTRUE_OK ? tiptrue_ready_text(ready, false, NULL, &texts[0], NULL, error)
                                  : status;
    status =
        status == TIPTRUE_OK ? tiptrue_ready_json(ready, NULL, 0, &texts[1], NULL, error) : status;
    tiptrue_ready_free(ready);
    free(texts[0]);
    free(texts[1]);
    return status;
}

static enum tiptrue_status ask_all(struct tiptrue_history *history, struct tiptrue_machine *machine,
                                   struct tiptrue_error *error)
{
    struct tiptrue_history_counts counts;
    enum tiptrue_status status = ask_lists(history, error);

    (void)machine;
    return status == TIPTRUE_OK ? tiptrue_history_verify(history, NULL, &counts, error) : status;
}

/* A part of the work, and how many kinds of requests it makes at least. */
static const struct part {
    enum tiptrue_status (*ask)(struct tiptrue_history *history, struct tiptrue_machine *machine,
                               struct tiptrue_error *error);
    size_t least;
} PARTS[] = {{ask_ready, 300}, {ask_board, 100}, {ask_trend, 150}, {ask_all, 100}};
enum { N_PARTS = sizeof PARTS / sizeof PARTS[0] };

static enum tiptrue_status whole_job(const struct part *part, struct tiptrue_error *error)
{
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_history *history = NULL;
    enum tiptrue_status status = tiptrue_machine_read(machine_path, NULL, &machine, error);

    status = status == TIPTRUE_OK ? tiptrue_machine_present(machine, NULL, error) : status;
    status = status == TIPTRUE_OK
                 ? tiptrue_history_open(path, TIPTRUE_HISTORY_WRITE, &history, error)
                 : status;
    status = status == TIPTRUE_OK ? part->ask(history, machine, error) : status;
    heap.left = arenas.left = 0; /* what closing does may fail silently */
    heap.sites.on = arenas.sites.on = false;
    tiptrue_history_close(history);
    tiptrue_machine_free(machine);
    return status;
}

/* The work with the @n-th request to @source failing. */
static void disturb(const struct part *part, struct source *source, size_t n, bool once)
{
    struct tiptrue_error error = {0};
    struct tiptrue_history *history = NULL;
    struct tiptrue_history_counts counts = {0};

    copy_base();
    starve(source, n, once);
    const enum tiptrue_status status = whole_job(part, &error);
    const bool failed = source->failed;
    starve(source, 0, false);
    ck_assert_msg(status == TIPTRUE_E_MEMORY || (status == TIPTRUE_OK && (once || !failed)),
                  "request %zu: status %d, '%s'", n, (int)status, error.text);
    if (n % 8 == 0) {
        ck_assert_int_eq(tiptrue_history_open(path, TIPTRUE_HISTORY_WRITE, &history, NULL),
                         TIPTRUE_OK);
        ck_assert_msg(tiptrue_history_verify(history, NULL, &counts, &error) == TIPTRUE_OK,
                      "request %zu: %s", n, error.text);
        ck_assert(counts.runs == RUNS || counts.runs == RUNS + 1);
        tiptrue_history_close(history);
    }
}

/* The first request of each kind fails, alone or with all after it in turn. */
static void disturb_all(const struct part *part, struct source *source, int calls)
{
    struct tiptrue_error error = {0};

    memset(&source->sites, 0, sizeof source->sites);
    for (int again = 0; again < 2; again++) { /* what is made once for all is made */
        copy_base();
        source->sites.n = 0;
        source->sites.on = again == 1;
        source->sites.calls = calls;
        ck_assert_msg(whole_job(part, &error) == TIPTRUE_OK, "%s", error.text);
    }
    for (size_t i = 0; i < source->sites.n; i++) {
        size_t kind = source->sites.first[i];
        if (kind > 0 && (!SANITIZED || kind % 3 == 0)) {
            disturb(part, source, i + 1, kind % 2 == 0);
        }
    }
}

START_TEST(memory_runs_out)
{
    const struct part *part = &PARTS[_i];

    set_up();
    disturb_all(part, &heap, HEAP_KIND);
    size_t kinds = heap.sites.n_kinds;
    disturb_all(part, &arenas, ARENA_KIND);
    kinds += arenas.sites.n_kinds;
    ck_assert_msg(kinds >= part->least, "only %zu kinds of requests", kinds);
    tear_down();
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("weeks memory");
    TCase *tests = tcase_create("all");
    tcase_add_loop_test(tests, memory_runs_out, 0, N_PARTS);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int bad = srunner_ntests_failed(runner);
    srunner_free(runner);
    return bad ? EXIT_FAILURE : EXIT_SUCCESS;
}
