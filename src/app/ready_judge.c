/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Whether a run may be asked about, and what it shows against the runs before it. */
#include "config.h"

#include "app/ready.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/time.h"
#include "app/weeks.h"
#include "history/store/store.h"
#include "history/store/summary.h"

static enum tiptrue_status check_age(const struct tiptrue_run *run, bool has_start,
                                     double started_s, const struct tiptrue_ready_options *options,
                                     struct tiptrue_error *error)
{
    char age[TT_HOURS_SIZE], most[TT_HOURS_SIZE];
    if (has_start && started_s - options->now_s > TT_CLOCK_DIFFERENCE_S) {
        return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0, "set the clocks right",
                       "the run was started at %s, which is %s from now", run->started,
                       tt_hours(started_s - options->now_s, age));
    }
    if (options->has_max_age && !has_start) {
        return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0,
                       "let the log say '# started: TIME', or ask without a limit",
                       "the log does not say when the run was started, so nobody knows whether it "
                       "is too old");
    }
    if (options->has_max_age && options->now_s - started_s > options->max_age_s) {
        return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0, "make a new run",
                       "the run was started %s ago, at %s; the most allowed is %s",
                       tt_hours(options->now_s - started_s, age), run->started,
                       tt_hours(options->max_age_s, most));
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_ready_not_last(const struct tiptrue_run *run, struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0,
                   "name the last run; where a clock was wrong, `tiptrue history started RUN TIME' "
                   "puts it right",
                   "the history has a later run of this machine: this is not the last one, %s",
                   run->id);
}

enum tiptrue_status tt_ready_admit(struct tiptrue_history *history,
                                   const struct tiptrue_machine *machine,
                                   const struct tiptrue_run *run,
                                   const struct tiptrue_ready_options *options, bool *later,
                                   struct tiptrue_error *error)
{
    struct tiptrue_error unseen = {0};
    double started_s = options->now_s;
    bool known = false, has_start = run->started != NULL &&
                                    tt_time_read(run->started, strlen(run->started), &started_s);
    enum tiptrue_status status = check_age(run, has_start, started_s, options, error);

    *later = false;
    if (status == TIPTRUE_OK) { /* of a run that is there: as it was corrected */
        known = tt_store_time(history, run->id, &started_s, &unseen) == TIPTRUE_OK;
        status = tt_store_has_later(history, machine->name, started_s, run->id, later, error);
    }
    return status == TIPTRUE_OK && *later && known ? tt_ready_not_last(run, error) : status;
}

/* The run before this one, on the same plate, that may be compared with; NULL: none. *self: this
 * one, or NULL. */
static const struct tt_series_run *run_before(const struct tt_series *series, const char *id,
                                              const struct tt_series_run **self)
{
    const struct tt_series_run *before = NULL;
    *self = NULL;
    for (size_t i = 0; i < series->n_runs; i++) {
        *self = strcmp(series->runs[i].id, id) == 0 ? &series->runs[i] : *self;
    }
    for (size_t i = 0; *self != NULL && i < series->n_runs; i++) {
        const struct tt_series_run *run = &series->runs[i];
        if (run != *self && run->time_s <= (*self)->time_s && !run->left_out &&
            run->verdict != TIPTRUE_REPEAT && strcmp(run->plate, (*self)->plate) == 0) {
            before = run;
        }
    }
    return before;
}

static const struct tt_series_edge *find_edge(const struct tt_series *series,
                                              const struct tt_series_run *run, const char *name)
{
    for (size_t i = 0; run != NULL && i < run->n_edges; i++) {
        if (run->edges[i].edge != TT_NONE &&
            strcmp(series->edge_names[run->edges[i].edge], name) == 0) {
            return &run->edges[i];
        }
    }
    return NULL;
}

/* Touches of @edge that were left out as late. Early ones are no matter of cleaning. */
static size_t count_late(const struct tiptrue_solution *solution, const struct tt_edge_result *edge)
{
    size_t n = 0;
    for (size_t i = 0; i < solution->n_rows; i++) {
        const struct tt_row_result *row = &solution->rows[i];
        n += row->kind == TT_TOUCH && row->set_aside && row->residual_mm < 0 &&
             strcmp(row->target, edge->name) == 0;
    }
    return n;
}

static enum tiptrue_status note_edges(struct tiptrue_ready *ready, const struct tt_series *series,
                                      const struct tt_series_run *before,
                                      struct tiptrue_error *error)
{
    const struct tiptrue_solution *solution = ready->solution;
    ready->edges = TT_ARENA_NEW(&ready->arena, solution->n_edges, struct tt_ready_edge);
    if (ready->edges == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < solution->n_edges; i++) {
        const struct tt_edge_result *edge = &solution->edges[i];
        const struct tt_series_edge *then = find_edge(series, before, edge->name);
        size_t late = count_late(solution, edge);
        if (late == 0) {
            continue;
        }
        ready->edges[ready->n_edges++] = (struct tt_ready_edge){edge->name,
                                                                edge->touches,
                                                                late,
                                                                then != NULL,
                                                                then != NULL ? then->touches : 0,
                                                                then != NULL ? then->late : 0};
    }
    return TIPTRUE_OK;
}

/* All tips' offsets changed, and by the same amount as far as can be told: two such differences
 * deviate by less than three of their standard uncertainties. */
static void judge_alike(struct tiptrue_ready *ready)
{
    const struct tiptrue_comparison *since = ready->since;
    double x_mm = 0, y_mm = 0;
    ready->all_alike = since->n_tips > 1 && since->same_plate;
    for (size_t i = 0; i < since->n_tips; i++) {
        const struct tt_difference *now = &since->tips[i].offset, *first = &since->tips[0].offset;
        double apart_mm = hypot(now->x - first->x, now->y - first->y);
        double u_mm = sqrt(now->cov.xx_mm2 + now->cov.yy_mm2);
        ready->all_alike =
            ready->all_alike && now->known && now->significant && apart_mm <= 3 * u_mm;
        x_mm += now->x / (double)since->n_tips;
        y_mm += now->y / (double)since->n_tips;
    }
    ready->alike = (struct tt_machine_xy){x_mm, y_mm};
}

static enum tiptrue_status compare_with(struct tiptrue_ready *ready,
                                        struct tiptrue_history *history,
                                        const struct tt_series_run *before,
                                        struct tiptrue_error *error)
{
    struct tiptrue_solution *then = NULL;
    snprintf(ready->before_id, sizeof ready->before_id, "%s", before->id);
    ready->before_s = before->time_s;
    enum tiptrue_status status = tiptrue_history_comparable(history, before->id, &then, error);
    if (status == TIPTRUE_OK) {
        status = tiptrue_compare(then, ready->solution, ready->trend, &ready->since, error);
    }
    if (status == TIPTRUE_OK) {
        judge_alike(ready);
    }
    tiptrue_solution_free(then);
    return status;
}

static bool note_written(void *context, const struct tt_store_exported *exported)
{
    struct tiptrue_ready *ready = context;
    double time_s;

    ready->written_since = exported->time != NULL &&
                           tt_time_read(exported->time, strlen(exported->time), &time_s) &&
                           time_s > ready->confirmed.time_s;
    return false; /* the newest one suffices */
}

/* What boards said last, and whether it is said of the offsets in use. */
static enum tiptrue_status look_at_boards(struct tiptrue_ready *ready,
                                          struct tiptrue_history *history,
                                          struct tiptrue_error *error)
{
    const char *machine = ready->machine->name;
    enum tiptrue_status status = tt_history_last_boards(history, machine, ready->now_s,
                                                        &ready->board, &ready->confirmed, error);

    if (status == TIPTRUE_OK && ready->confirmed.id[0] != '\0') {
        status = tt_store_exports(history, machine, note_written, ready, error);
    }
    return status;
}

enum tiptrue_status tt_ready_compare(struct tiptrue_ready *ready, struct tiptrue_history *history,
                                     struct tiptrue_error *error)
{
    const struct tt_store_query query = {.machine = ready->machine->name};
    const struct tiptrue_trend_options latest = {.most_runs = TT_LATEST_RUNS};
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = ready->machine->name};
    const struct tt_series_run *self = NULL, *before = NULL;
    enum tiptrue_status status =
        tt_history_series(history, series.machine, NULL, TT_LATEST_RUNS, &series, error);
    if (status == TIPTRUE_OK) {
        before = run_before(&series, ready->solution->run_id, &self);
        status = note_edges(ready, &series, before, error);
    }
    if (status == TIPTRUE_OK && series.n_runs > TT_FEWEST_TREND_RUNS) {
        status = tt_history_trend_in(history, &series, &query, &latest, &ready->trend, error);
    }
    if (status == TIPTRUE_OK && before != NULL) {
        status = compare_with(ready, history, before, error);
    }
    if (status == TIPTRUE_OK) {
        status = look_at_boards(ready, history, error);
    }
    tt_arena_clear(&arena);
    return status;
}
