/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* For tests of the store: a history of their own, and runs of the bench that go into it. */
#ifndef TT_TESTS_HISTORY_BENCH_STORE_H
#define TT_TESTS_HISTORY_BENCH_STORE_H

#include <unistd.h>

#include "../ingest/collect.h"
#include "history/store/store.h"
#include "ingest/ingest.h"

#define NOW_S 1774000000.0 /* 2026-03-20T09:46:40Z */

/* A file name of its own for each test, and what a run consists of. */
static char path[64];
static struct tiptrue_plate *plate;
static struct tiptrue_machine *machine;
static struct tiptrue_workspace *workspace;

static inline void set_up(void)
{
    char *plate_text = source_text("tests/cli/bench/plate.json"),
         *machine_text = source_text("tests/cli/bench/machine.json");
    int file;

    strcpy(path, "history-test-XXXXXX");
    file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    close(file);
    ck_assert_int_eq(unlink(path), 0);
    ck_assert_int_eq(
        tt_plate_read_bytes("plate", plate_text, strlen(plate_text), NULL, &plate, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(
        tt_machine_read_bytes("machine", machine_text, strlen(machine_text), NULL, &machine, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_workspace_new(&workspace, NULL), TIPTRUE_OK);
    free(plate_text);
    free(machine_text);
}

static inline void tear_down(void)
{
    char beside[80];

    tiptrue_workspace_free(workspace);
    tiptrue_machine_free(machine);
    tiptrue_plate_free(plate);
    unlink(path);
    snprintf(beside, sizeof beside, "%s-wal", path);
    unlink(beside);
    snprintf(beside, sizeof beside, "%s-shm", path);
    unlink(beside);
}

/* The run of the bench with @remark as a line of its own before it, solved. */
struct bench_run {
    struct tiptrue_run *run;
    struct tiptrue_solution *solution;
};

static inline struct bench_run make_run(const char *remark)
{
    struct bench_run made = {0};
    struct tt_buffer text = {0};
    char *log = source_text("tests/cli/bench/run.csv");

    tt_buffer_printf(&text, "# note: %s\n", remark);
    for (const char *at = log; *at != '\0';) { /* without a note of its own */
        const char *end = strchr(at, '\n') + 1;
        if (strncmp(at, "# note", 6) != 0) {
            tt_buffer_add(&text, at, (size_t)(end - at));
        }
        at = end;
    }
    struct tt_bytes bytes = {text.text, text.length};
    ck_assert_int_eq(
        tt_run_read_taken("run.csv", &bytes, plate, machine, NULL, NULL, NULL, &made.run, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_solve(workspace, plate, machine, made.run, NULL, &made.solution, NULL),
                     TIPTRUE_OK);
    free(log);
    return made;
}

static inline void free_run(struct bench_run *run)
{
    tiptrue_solution_free(run->solution);
    tiptrue_run_free(run->run);
}

static inline struct tiptrue_history *open_history(enum tiptrue_history_access access)
{
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};

    ck_assert_msg(tiptrue_history_open(path, access, &history, &error) == TIPTRUE_OK, "%s",
                  error.text);
    return history;
}

static inline enum tiptrue_status add(struct tiptrue_history *history, const struct bench_run *run,
                                      double now_s, struct tt_buffer *told)
{
    const struct tiptrue_sink sink = {collect_told, told};
    return tiptrue_history_add(history, plate, machine, NULL, NULL, run->run, run->solution, now_s,
                               &sink, NULL);
}

static inline struct tt_store_counts count(struct tiptrue_history *history)
{
    struct tt_store_counts counts = {0};
    ck_assert_int_eq(tt_store_count(history, &counts, NULL), TIPTRUE_OK);
    return counts;
}

#endif
