/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Fill a history with many runs, through the library, and time what is asked of it then:
 *   fill_history FILE RUNS MACHINES PLATE MACHINE LOG
 * Each run is LOG with another start and the mark shifted a little, solved; each machine is MACHINE
 * with another name. Writes one line `name value` for each figure, times in ms.
 */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/buffer.h"
#include "base/time.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "ingest/bytes.h"
#include "ingest/ingest.h"
#include "app/solved.h"
#include "tiptrue.h"

#define FIRST_S 1767225600.0 /* 2026-01-01 */
#define GROUP 500
#define TIMED 200

static void must(enum tiptrue_status status, const struct tiptrue_error *error)
{
    if (status != TIPTRUE_OK) {
        fprintf(stderr, "fill_history: %s: %s\n", error->file, error->text);
        exit(1);
    }
}

static double now_ms(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return 1e3 * (double)time.tv_sec + 1e-6 * (double)time.tv_nsec;
}

struct filling {
    struct tiptrue_history *history;
    struct tiptrue_workspace *workspace;
    struct tiptrue_plate *plate;
    struct tiptrue_machine **machines;
    size_t n_machines;
    struct tt_bytes log;
    struct tiptrue_error error;
};

/* The machine file under the name "bench-NN". */
static struct tiptrue_machine *named_machine(struct filling *filling, const struct tt_bytes *text,
                                             size_t number)
{
    struct tiptrue_machine *machine = NULL;
    struct tt_buffer changed = {0};
    const char *name = strstr(text->text, "\"name\":"), *value = strchr(name + 7, '"'),
               *end = strchr(value + 1, '"');

    tt_buffer_add(&changed, text->text, (size_t)(value + 1 - text->text));
    tt_buffer_printf(&changed, "bench-%02zu", number);
    tt_buffer_puts(&changed, end);
    must(tt_machine_read_bytes("machine", changed.text, changed.length, NULL, &machine,
                               &filling->error),
         &filling->error);
    tt_buffer_clear(&changed);
    return machine;
}

/* The log as the @number-th run: another start, and a remark that no other has. */
static struct tt_bytes shifted_log(const struct filling *filling, size_t number)
{
    struct tt_buffer text = {0};
    char started[TT_TIME_SIZE];
    const char *at = filling->log.text;

    tt_time_write(FIRST_S + 977.0 * (double)number, started);
    tt_buffer_printf(&text, "# note: run %zu\n# started: %s\n", number, started);
    while (*at == '#') {
        const char *line = strchr(at, '\n') + 1;
        if (strncmp(at, "# started", 9) != 0 && strncmp(at, "# note", 6) != 0 &&
            strncmp(at, "# machine", 9) != 0) {
            tt_buffer_add(&text, at, (size_t)(line - at));
        }
        at = line;
    }
    tt_buffer_puts(&text, at);
    return (struct tt_bytes){text.text, text.length};
}

static void add(struct filling *filling, size_t number)
{
    const struct tiptrue_machine *machine = filling->machines[number % filling->n_machines];
    struct tt_bytes log = shifted_log(filling, number);
    struct tiptrue_run *run = NULL;
    struct tiptrue_solution *solution = NULL;
    struct tt_solved solved = {0};
    struct tt_put_outcome outcome;

    must(tt_run_read_taken("run", &log, filling->plate, machine, NULL, NULL, NULL, &run,
                           &filling->error),
         &filling->error);
    must(tiptrue_solve(filling->workspace, filling->plate, machine, run, NULL, &solution,
                       &filling->error),
         &filling->error);
    must(tt_solved_make(&solved, filling->plate, machine, NULL, NULL, run, solution, FIRST_S,
                        &filling->error),
         &filling->error);
    must(tt_store_put(filling->history, &solved.record, solved.solution, TT_PUT_SOLVED, &outcome,
                      &filling->error),
         &filling->error);
    if (!outcome.run_is_new) {
        fprintf(stderr, "fill_history: run %zu was there already\n", number);
        exit(1);
    }
    tt_solved_clear(&solved);
    tiptrue_solution_free(solution);
    tiptrue_run_free(run);
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void fill(struct filling *filling, size_t runs)
{
    double begin = now_ms();

    for (size_t i = 0; i < runs; i += GROUP) {
        must(tt_store_begin(filling->history, &filling->error), &filling->error);
        for (size_t k = i; k < i + GROUP && k < runs; k++) {
            add(filling, k);
        }
        must(tt_store_commit(filling->history, &filling->error), &filling->error);
    }
    printf("fill_each %.3f\n", (now_ms() - begin) / (double)runs);
}

/* One after the other, each on disk before the next. */
static void time_adding(struct filling *filling, size_t from)
{
    double times[TIMED];

    for (size_t i = 0; i < TIMED; i++) {
        double begin = now_ms();
        add(filling, from + i);
        times[i] = now_ms() - begin;
    }
    qsort(times, TIMED, sizeof times[0], compare);
    printf("add_median %.3f\nadd_99 %.3f\nadd_most %.3f\n", times[TIMED / 2],
           times[TIMED * 99 / 100], times[TIMED - 1]);
}

static enum tiptrue_status count_entry(void *context, const struct tt_record_entry *entry)
{
    size_t *n = context;
    *n += entry->n_tips > 0;
    return TIPTRUE_OK;
}

static void time_reading(struct filling *filling)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    const struct tt_store_query query = {.machine = "bench-07"};
    size_t n = 0;
    double begin = now_ms();

    must(tt_store_series(filling->history, "bench-07", -HUGE_VAL, 0, &series, &filling->error),
         &filling->error);
    printf("series %.3f\nseries_runs %zu\nseries_tips %zu\n", now_ms() - begin, series.n_runs,
           series.n_tip_names);
    begin = now_ms();
    must(tt_store_list(filling->history, &query, count_entry, &n, &filling->error),
         &filling->error);
    printf("list %.3f\nlist_runs %zu\n", now_ms() - begin, n);
    tt_arena_clear(&arena);
}

int main(int argc, char *argv[])
{
    struct filling filling = {0};
    struct tiptrue_error *error = &filling.error;
    struct tt_bytes machine;

    if (argc != 7) {
        fprintf(stderr, "usage: fill_history FILE RUNS MACHINES PLATE MACHINE LOG\n");
        return 64;
    }
    size_t runs = strtoul(argv[2], NULL, 10);
    filling.n_machines = strtoul(argv[3], NULL, 10);
    filling.machines = calloc(filling.n_machines, sizeof(struct tiptrue_machine *));
    must(tiptrue_plate_read(argv[4], NULL, &filling.plate, error), error);
    must(tt_bytes_read(argv[5], &machine, error), error);
    must(tt_bytes_read(argv[6], &filling.log, error), error);
    for (size_t i = 0; i < filling.n_machines; i++) {
        filling.machines[i] = named_machine(&filling, &machine, i);
    }
    must(tiptrue_workspace_new(&filling.workspace, error), error);
    must(tiptrue_history_open(argv[1], TIPTRUE_HISTORY_WRITE, &filling.history, error), error);
    fill(&filling, runs);
    time_adding(&filling, runs);
    tiptrue_history_close(filling.history);
    double begin = now_ms();
    must(tiptrue_history_open(argv[1], TIPTRUE_HISTORY_READ, &filling.history, error), error);
    printf("open %.3f\n", now_ms() - begin);
    time_reading(&filling);
    tiptrue_history_close(filling.history);
    tiptrue_workspace_free(filling.workspace);
    for (size_t i = 0; i < filling.n_machines; i++) {
        tiptrue_machine_free(filling.machines[i]);
    }
    free(filling.machines);
    tiptrue_plate_free(filling.plate);
    tt_bytes_clear(&machine);
    tt_bytes_clear(&filling.log);
    return 0;
}
