/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Memory that runs out at any moment of a history's life, in our code or within SQLite: it is told
 * as such, and what the history holds is sound, with the run whole or not at all. See
 * memory_test.c, whose way of failing requests this is; those that SQLite makes for itself count,
 * too, each known by calls enough to reach out of its own ways to memory.
 */
#define _GNU_SOURCE /* Dl_info */
#include "config.h"

#include <cJSON.h>
#include <sqlite3.h>
#include <unistd.h>

#include "../unit/ingest/collect.h"
#include "ingest/ingest.h"
#include "starve.h"
#include "tiptrue.h"

#define NOW_S 1774000000.0

/* The innermost calls by which kinds of requests are told, and requests that are all tried. */
enum { CALLS = 6, ALL = 40 };

static sqlite3_mem_methods plain;

/* In place of the C library's, for SQLite too: nobody pulls the plug here, and waiting for the disk
 * would take most of the time. */
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

static char *plate_path, *machine_path, *log_path;
static char path[40], exported[64], second[64];

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
    plate_path = source_path("tests/cli/bench/plate.json");
    machine_path = source_path("tests/cli/bench/machine.json");
    log_path = source_path("tests/cli/bench/run.csv");
    strcpy(path, "history-memory-XXXXXX");
    int file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    close(file);
    snprintf(exported, sizeof exported, "%s.jsonl", path);
    snprintf(second, sizeof second, "%s.2", path);
}

static void remove_all(void)
{
    static const char *const ENDS[] = {"", "-wal", "-shm", ".2", ".2-wal", ".2-shm", ".jsonl"};
    char name[80];

    for (size_t i = 0; i < sizeof ENDS / sizeof ENDS[0]; i++) {
        snprintf(name, sizeof name, "%s%s", path, ENDS[i]);
        unlink(name);
    }
}

struct job {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_workspace *workspace;
    struct tiptrue_run *run;
    struct tiptrue_solution *solution;
};

static enum tiptrue_status write_file(void *context, const char *text, size_t length)
{
    return fwrite(text, 1, length, context) == length ? TIPTRUE_OK : TIPTRUE_E_IO;
}

static enum tiptrue_status export(struct tiptrue_history *history, struct tiptrue_error *error) {
    FILE *file = fopen(exported, "w"); const struct tiptrue_writer writer = {write_file, file};

    if (file == NULL){
        return TIPTRUE_E_MEMORY; /* the C library's own buffer */
    }
enum tiptrue_status status = tiptrue_history_export(history, NULL, false, &writer, error);
fclose(file);
return status;
}

static enum tiptrue_status read_back(struct tiptrue_history *history, const struct job *job,
                                     struct tiptrue_error *error)
{
    struct tiptrue_history_counts counts;
    char *text = NULL;
    bool changed = true;
    enum tiptrue_status status =
        tiptrue_history_again(history, job->workspace, job->run != NULL ? "b38cfcbc5ede7d62" : "",
                              false, NOW_S, NULL, &changed, &text, NULL, error);

    if (status == TIPTRUE_OK && (changed || text == NULL)) {
        status = TIPTRUE_E_INTERNAL; /* Check's own calls need memory, too: told outside */
    }
    free(text);
    return status == TIPTRUE_OK ? tiptrue_history_verify(history, NULL, &counts, error) : status;
}

/* What is asked of a history: its trend, the run against itself, the scatter between runs. */
static enum tiptrue_status ask(struct tiptrue_history *history, const struct job *job,
                               struct tiptrue_error *error)
{
    struct tiptrue_trend *trend = NULL;
    struct tiptrue_comparison *comparison = NULL;
    struct tiptrue_between *between = NULL;
    char *text = NULL, *of_two = NULL;
    enum tiptrue_status status = tiptrue_history_trend(history, NULL, NULL, &trend, error);

    if (status == TIPTRUE_OK) {
        status = tiptrue_trend_text(trend, false, NULL, &text, NULL, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_compare(job->solution, job->solution, trend, &comparison, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_comparison_text(comparison, true, NULL, &of_two, NULL, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_history_between(history, job->machine, &between, error);
    }
    free(text);
    free(of_two);
    tiptrue_between_free(between);
    tiptrue_comparison_free(comparison);
    tiptrue_trend_free(trend);
    return status;
}

/* Make a history, enter the run, export it, import that into another one, solve it anew, verify. */
static enum tiptrue_status whole_job(const struct job *job, struct tiptrue_error *error)
{
    const struct tiptrue_import_options options = {.now_s = NOW_S};
    const char *const paths[] = {exported};
    struct tiptrue_history *history = NULL;
    enum tiptrue_status status = tiptrue_history_open(path, TIPTRUE_HISTORY_WRITE, &history, error);

    if (status == TIPTRUE_OK) {
        status = tiptrue_history_add(history, job->plate, job->machine, NULL, NULL, job->run,
                                     job->solution, NOW_S, NULL, error);
    }
    if (status == TIPTRUE_OK) {
        status = export(history, error);
    }
    tiptrue_history_close(history);
    history = NULL;
    if (status == TIPTRUE_OK) {
        status = tiptrue_history_open(second, TIPTRUE_HISTORY_WRITE, &history, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_history_import(history, job->workspace, paths, 1, &options, NULL, NULL,
                                        NULL, error);
    }
    if (status == TIPTRUE_OK) {
        status = read_back(history, job, error);
    }
    if (status == TIPTRUE_OK) {
        status = ask(history, job, error);
    }
    tiptrue_history_close(history);
    return status;
}

/* What is left is a history with the run or without it, or no history yet. */
static void check_left(const char *name, size_t n)
{
    struct tiptrue_history *history = NULL;
    struct tiptrue_history_counts counts = {0};
    struct tiptrue_error error = {0};

    ck_assert_msg(tiptrue_history_open(name, TIPTRUE_HISTORY_WRITE, &history, &error) == TIPTRUE_OK,
                  "request %zu: %s", n, error.text);
    ck_assert_msg(tiptrue_history_verify(history, NULL, &counts, &error) == TIPTRUE_OK,
                  "request %zu: %s", n, error.text);
    ck_assert(counts.runs <= 1 && counts.logs == counts.runs && counts.results == counts.runs &&
              counts.documents == 2 * counts.runs);
    tiptrue_history_close(history);
}

/* The job with the @n-th request failing; whether it did. */
static bool disturbed(const struct job *job, size_t n, bool once)
{
    struct tiptrue_error error = {0};

    remove_all();
    starve(&heap, n, once);
    const enum tiptrue_status status = whole_job(job, &error);
    const bool failed = heap.failed;
    starve(&heap, 0, false);
    ck_assert_msg(status == TIPTRUE_E_MEMORY || (status == TIPTRUE_OK && (once || !failed)),
                  "request %zu: status %d, '%s'", n, (int)status, error.text);
    check_left(path, n);
    if (access(second, F_OK) == 0) {
        check_left(second, n);
    }
    return failed;
}

START_TEST(memory_runs_out)
{
    struct job job = {0};
    struct tiptrue_error error = {0};
    size_t n = 1;

    ck_assert_int_eq(tiptrue_plate_read(plate_path, NULL, &job.plate, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_machine_read(machine_path, NULL, &job.machine, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tiptrue_run_read_whole(log_path, job.plate, job.machine, NULL, NULL, NULL, &job.run, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_workspace_new(&job.workspace, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tiptrue_solve(job.workspace, job.plate, job.machine, job.run, NULL, &job.solution, NULL),
        TIPTRUE_OK);
    for (int again = 0; again < 2; again++) { /* what is made once for all is made */
        remove_all();
        memset(&heap.sites, 0, sizeof heap.sites);
        note_kinds(&heap);
        heap.sites.calls = CALLS;
        ck_assert_int_eq(whole_job(&job, &error), TIPTRUE_OK);
    }
    while (disturbed(&job, n, _i == 1)) {
        n = n < ALL ? n + 1 : next_tried(&heap, n);
    }
    /* to the end of what was noted; that took longer, which brings a request more */
    ck_assert_uint_ge(n, heap.sites.n);
    ck_assert_msg(n > 500, "only %zu requests", n);
    remove_all();
    tiptrue_solution_free(job.solution);
    tiptrue_workspace_free(job.workspace);
    tiptrue_run_free(job.run);
    tiptrue_machine_free(job.machine);
    tiptrue_plate_free(job.plate);
    free(plate_path);
    free(machine_path);
    free(log_path);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history memory");
    TCase *tests = tcase_create("all");
    tcase_add_checked_fixture(tests, set_up, NULL);
    tcase_add_loop_test(tests, memory_runs_out, 0, 2);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int bad = srunner_ntests_failed(runner);
    srunner_free(runner);
    return bad ? EXIT_FAILURE : EXIT_SUCCESS;
}
