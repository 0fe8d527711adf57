/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A machine's runs over time: its series, its trend, its latest run. */
#include "config.h"

#include "app/weeks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "app/history_care.h"
#include "app/revive.h"
#include "history/store/response.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "output/output.h"

/* The machines of a history, as a list in words: "'a', 'b'". */
struct machines {
    struct tt_buffer names;
    char *only; /* the first one */
    size_t n;
};

static enum tiptrue_status note_machine(void *context, const char *machine)
{
    struct machines *machines = context;

    tt_buffer_printf(&machines->names, "%s'%s'", machines->n > 0 ? ", " : "", machine);
    if (machines->n++ == 0) {
        machines->only = strdup(machine);
    }
    return machines->names.failed || machines->only == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;
}

/* The machine that is meant, for free(): the named one, or the only one there is. */
static enum tiptrue_status choose_machine(struct tiptrue_history *history, const char *named,
                                          char **machine, struct tiptrue_error *error)
{
    struct machines machines = {0};
    enum tiptrue_status status = tt_store_machines(history, note_machine, &machines, error);

    if (status == TIPTRUE_OK && named == NULL && machines.n > 1) {
        status =
            tt_fail(error, TIPTRUE_E_USAGE, tt_store_path(history), 0, 0, "name one by --machine",
                    "the history holds %zu machines: %.300s", machines.n, machines.names.text);
    } else if (status == TIPTRUE_OK && machines.n == 0) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, tt_store_path(history), 0, 0,
                         "enter runs by `tiptrue solve --history'", "the history holds no runs");
    } else if (status == TIPTRUE_OK) {
        *machine = strdup(named != NULL ? named : machines.only);
        status = *machine != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    }
    if (status == TIPTRUE_E_MEMORY) {
        tt_fail_memory(error);
    }
    tt_buffer_clear(&machines.names);
    free(machines.only);
    return status;
}

/* Only @tip is to be shown. */
static enum tiptrue_status choose_tip(struct tiptrue_trend *trend, const char *tip,
                                      struct tiptrue_error *error)
{
    struct tt_buffer names = {0};

    trend->shown_tip = TT_NONE;
    for (size_t i = 0; tip != NULL && i < trend->n_tips; i++) {
        tt_buffer_printf(&names, "%s'%s'", i > 0 ? ", " : "", trend->tips[i].name);
        if (strcmp(trend->tips[i].name, tip) == 0) {
            trend->shown_tip = i;
        }
    }
    enum tiptrue_status status = TIPTRUE_OK;
    if (tip != NULL && trend->shown_tip == TT_NONE) {
        status = tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, "name one of these by --tip",
                         "the runs have no tip '%s'; its tips are %.300s", tip,
                         names.text != NULL ? names.text : "none");
    }
    tt_buffer_clear(&names);
    return status;
}

/* Runs looked at where nothing else is asked for: some years of daily runs. */
#define DEFAULT_RUNS 2000
/* Of so many latest runs one has its log, or nobody knows what the solution does. */
#define LATEST_WITH_LOG 5

/* What a stored run makes of edges that shift: as it is kept, or as it is solved once more. */
static enum tiptrue_status respond(struct tiptrue_history *history, struct tt_series *series,
                                   const struct tt_series_run *run, struct tiptrue_error *error)
{
    struct tiptrue_workspace *workspace = NULL;
    struct tt_revived revived = {0};
    enum tiptrue_status status = tt_store_response(history, series, run, error);

    if (status != TIPTRUE_OK || series->response != NULL) {
        return status;
    }
    status = tiptrue_workspace_new(&workspace, error);
    if (status == TIPTRUE_OK) {
        status = tt_solve_again(history, workspace, run->id, &revived, error);
    }
    if (status == TIPTRUE_OK && revived.anew != NULL) {
        status = tt_response_take(series, run, revived.anew, error);
    }
    tt_revived_clear(&revived);
    tiptrue_workspace_free(workspace);
    return status;
}

/* What @run shows, by its log; kept where the history may be written. */
static enum tiptrue_status tell_run(struct tiptrue_history *history,
                                    struct tiptrue_workspace *workspace, struct tt_series_run *run,
                                    struct tiptrue_error *error)
{
    struct tt_revived revived = {0};
    enum tiptrue_status status = tt_solve_again(history, workspace, run->id, &revived, error);

    if (status == TIPTRUE_OK && revived.anew != NULL) {
        tt_response_own(revived.anew, run);
    }
    if (status == TIPTRUE_OK && tt_store_is_writable(history)) {
        status = tt_store_keep_response(history, run->id, revived.anew, error);
    }
    tt_revived_clear(&revived);
    return status;
}

/* What runs show that were stored before that was kept, or imported: each is solved again, by who
 * may write to the history once. */
static enum tiptrue_status tell_rest(struct tiptrue_history *history, struct tt_series *series,
                                     struct tiptrue_error *error)
{
    struct tiptrue_workspace *workspace = NULL;
    bool keep = false;
    enum tiptrue_status status = tt_store_repeatability(history, series, error);

    for (size_t i = 0; i < series->n_runs && status == TIPTRUE_OK; i++) {
        if (series->runs[i].can_tell && workspace == NULL) {
            status = tiptrue_workspace_new(&workspace, error);
            keep = status == TIPTRUE_OK && tt_store_is_writable(history);
            status = keep ? tt_store_begin(history, error) : status;
        }
        if (series->runs[i].can_tell && status == TIPTRUE_OK) {
            status = tell_run(history, workspace, &series->runs[i], error);
        }
    }
    status = keep ? tt_store_end(history, status, error) : status;
    tiptrue_workspace_free(workspace);
    return status;
}

/* Whether the run found an edge elsewhere, or lost motion: its solution makes nothing of where that
 * edge lies, or of what looks like lost motion. */
static bool has_freed(const struct tt_series_run *run)
{
    bool freed = run->lost_motion_mm != 0;

    for (size_t i = 0; i < run->n_edges; i++) {
        freed = freed || run->edges[i].freed;
    }
    return freed;
}

/* The runs of @machine, and what its solutions make of an edge that shifts, from the latest run
 * whose log is there: on its plate.
 */
enum tiptrue_status tt_history_series(struct tiptrue_history *history, const char *machine,
                                      const struct tt_store_query *query, size_t most_runs,
                                      struct tt_series *series, struct tiptrue_error *error)
{
    double since_s = -HUGE_VAL;
    bool cut = tt_history_bounds(query, &since_s);
    enum tiptrue_status status =
        tt_store_series(history, machine, since_s, cut ? 0 : most_runs, series, error);

    if (cut) {
        tt_history_cut(series, query->until_s, most_runs);
    }

    bool asked = status == TIPTRUE_OK && series->n_runs >= TT_FEWEST_TREND_RUNS;
    for (int any = 0; any < 2; any++) { /* of runs that took the edges as stated, or else of any */
        size_t tried = 0;
        for (size_t i = 0; asked && status == TIPTRUE_OK && tried < LATEST_WITH_LOG &&
                           i < series->n_runs && series->response == NULL;
             i++) {
            const struct tt_series_run *last = &series->runs[series->n_runs - 1], *run = last - i;
            if (strcmp(run->plate, last->plate) == 0 && (any || !has_freed(run))) {
                status = respond(history, series, run, error);
                tried++;
            }
        }
    }
    return status;
}

/* What a trend of the latest runs found is kept where the history may be written: a solve asks for
 * it next. */
static enum tiptrue_status keep_scatter(struct tiptrue_history *history,
                                        const struct tiptrue_trend *trend,
                                        struct tiptrue_error *error)
{
    return tt_store_is_writable(history) ? tt_store_keep_scatter(history, trend, error)
                                         : TIPTRUE_OK;
}

enum tiptrue_status tt_history_trend_in(struct tiptrue_history *history, struct tt_series *series,
                                        const struct tt_store_query *query,
                                        const struct tiptrue_trend_options *options,
                                        struct tiptrue_trend **trend, struct tiptrue_error *error)
{
    size_t stored = 0;
    enum tiptrue_status status = tell_rest(history, series, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_count_machine(history, series->machine, &stored, error);
    }
    if (status == TIPTRUE_OK && series->n_runs == 0) {
        status = tt_fail(
            error, TIPTRUE_E_NO_INPUT, tt_store_path(history), 0, 0,
            stored > 0 ? "ask for a longer time" : "`tiptrue history list' shows what there is",
            "no runs of machine '%s'%s", series->machine, stored > 0 ? " in that time" : "");
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_trend_of(series, stored, options, trend, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_notes(history, *trend, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_boards(history, *trend, query, error);
    }
    if (status == TIPTRUE_OK && options->most_runs == TT_LATEST_RUNS) {
        status = keep_scatter(history, *trend, error);
    }
    return status;
}

enum tiptrue_status tiptrue_history_trend(struct tiptrue_history *history,
                                          const struct tiptrue_history_query *query,
                                          const struct tiptrue_trend_options *options,
                                          struct tiptrue_trend **trend, struct tiptrue_error *error)
{
    static const struct tiptrue_trend_options NONE = {0};
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    struct tt_store_query wanted;
    struct tiptrue_trend *made = NULL;
    char *machine = NULL;
    enum tiptrue_status status = tt_history_query(history, query, &wanted, error);

    options = options != NULL ? options : &NONE;

    if (status == TIPTRUE_OK) {
        status = choose_machine(history, wanted.machine, &machine, error);
    }
    if (status == TIPTRUE_OK) {
        series.machine = machine;
        status = tt_history_series(history, machine, &wanted,
                                   options->most_runs > 0 ? options->most_runs : DEFAULT_RUNS,
                                   &series, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_trend_in(history, &series, &wanted, options, &made, error);
    }
    if (status == TIPTRUE_OK) {
        status = choose_tip(made, options->tip, error);
    }
    if (status == TIPTRUE_OK) {
        *trend = made;
    } else {
        tiptrue_trend_free(made);
    }
    tt_arena_clear(&arena);
    free(machine);
    return status;
}

enum tiptrue_status tiptrue_history_latest(struct tiptrue_history *history,
                                           const struct tiptrue_machine *machine,
                                           const struct tiptrue_text_options *options, char **text,
                                           bool *differs, struct tiptrue_error *error)
{
    static const struct tiptrue_trend_options NONE = {0};
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = machine->name};
    struct tiptrue_trend *trend = NULL;
    struct tt_buffer buffer = {0};
    size_t length;
    enum tiptrue_status status =
        tt_history_series(history, machine->name, NULL, TT_LATEST_RUNS, &series, error);

    *text = NULL;
    *differs = false;
    if (status == TIPTRUE_OK && series.n_runs > TT_FEWEST_TREND_RUNS) {
        status = tt_history_trend_of(&series, series.n_runs, &NONE, &trend, error);
        status = status == TIPTRUE_OK ? keep_scatter(history, trend, error) : status;
    }
    if (status == TIPTRUE_OK && trend != NULL && trend->latest.judged) {
        *differs = trend->latest.differs;
        tt_output_latest_text(trend, options, &buffer);
        status = tt_buffer_hand_over(&buffer, text, &length, error);
    }
    tiptrue_trend_free(trend);
    tt_arena_clear(&arena);
    return status;
}
