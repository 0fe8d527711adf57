/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls of tiptrue.h on a history: what the store keeps as text is read, solved and written
 * here by the other rooms. */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/time.h"
#include "history/store/sql.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "ingest/diagnose.h"
#include "model/between.h"
#include "output/history.h"
#include "app/history_care.h"
#include "app/revive.h"
#include "app/solved.h"
#include "app/weeks.h"
#include "tiptrue.h"

static void tell(const struct tiptrue_sink *sink, enum tiptrue_severity severity, const char *file,
                 const char *text)
{
    tt_tell(sink, &(struct tiptrue_diagnostic){.severity = severity, .file = file, .text = text});
}

/* What the person who adds a run should know. */
static void tell_outcome(const struct tiptrue_sink *sink, const char *file, const char *id,
                         const char *version, const struct tt_put_outcome *outcome)
{
    char text[400];

    if (outcome->run_is_new) {
        return;
    }
    if (outcome->new_results == 0 && !outcome->log_is_new) {
        snprintf(text, sizeof text,
                 "run %s is in the history already, since %s, and nothing was written", id,
                 outcome->since);
    } else if (outcome->new_results == 0) {
        snprintf(text, sizeof text,
                 "run %s is in the history already, since %s, and has its log now", id,
                 outcome->since);
    } else {
        bool other = strcmp(outcome->superseded_version, version) != 0;
        snprintf(
            text, sizeof text,
            "run %s is in the history already, since %s; this result, %s%s, replaces that of %s",
            id, outcome->since, other ? "by another version than " : "of other documents",
            other ? outcome->superseded_version : "", outcome->superseded);
    }
    tell(sink, TIPTRUE_NOTE, file, text);
}

static enum tiptrue_status
put_solved(struct tiptrue_history *history, const struct tiptrue_plate *plate,
           const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
           const char *pattern, const struct tiptrue_run *run,
           const struct tiptrue_solution *solution, double now_s, enum tt_put how,
           struct tt_put_outcome *outcome, struct tiptrue_error *error)
{
    struct tt_solved solved = {0};
    enum tiptrue_status status =
        tt_solved_make(&solved, plate, machine, plan, pattern, run, solution, now_s, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_put(history, &solved.record, solved.solution, how, outcome, error);
    }
    tt_solved_clear(&solved);
    return status;
}

/* A clock may be so far ahead, or behind the run before, as time zones and a run entered late make
 * it; one that is years off was never set, as those that begin in 1970. */
#define CLOCK_SLACK_S 86400.0
#define YEARS_AWAY_S (10 * 365.25 * 86400)

/* What is wrong with the start of a run that is entered now; NULL: nothing. */
static const char *doubt_of(const struct tiptrue_history *history, double started_s, double now_s)
{
    if (started_s > now_s + CLOCK_SLACK_S) {
        return "lies in the future";
    }
    if (started_s < now_s - YEARS_AWAY_S) {
        return "lies years away";
    }
    return history->has_before && started_s < history->before_s - CLOCK_SLACK_S
               ? "lies before that of the run before it"
               : NULL;
}

/* Warn of a start that cannot be, and keep the run out of trends until somebody says what it was.
 */
static enum tiptrue_status question_clock(struct tiptrue_history *history,
                                          const struct tiptrue_run *run, double now_s,
                                          const struct tiptrue_sink *sink,
                                          struct tiptrue_error *error)
{
    double started_s;
    char text[500], doubt[200];

    if (run->started == NULL || !tt_time_read(run->started, strlen(run->started), &started_s)) {
        return TIPTRUE_OK;
    }
    const char *what = doubt_of(history, started_s, now_s);
    if (what == NULL) {
        return TIPTRUE_OK;
    }
    snprintf(doubt, sizeof doubt, "its start, %.40s, %s", run->started, what);
    snprintf(text, sizeof text,
             "%s; the run is kept out of trends until `tiptrue history started %s TIME' gives the "
             "right one, or `tiptrue history "
             "include %s' takes it as it is",
             doubt, run->id, run->id);
    tell(sink, TIPTRUE_WARNING, run->file, text);
    enum tiptrue_status status = tt_store_say(history, run->id, TT_SAY_DOUBT, doubt, now_s, error);
    return status == TIPTRUE_OK ? tt_history_catch_up(history, error) : status;
}

enum tiptrue_status
tiptrue_history_add(struct tiptrue_history *history, const struct tiptrue_plate *plate,
                    const struct tiptrue_machine *machine, const struct tiptrue_plan *plan,
                    const char *pattern, const struct tiptrue_run *run,
                    const struct tiptrue_solution *solution, double now_s,
                    const struct tiptrue_sink *sink, struct tiptrue_error *error)
{
    struct tt_put_outcome outcome;
    struct tiptrue_run same_run = *run;
    struct tiptrue_solution same = *solution;
    char twin[TT_RUN_ID_SIZE] = "";

    if (run->source.text == NULL) {
        return tt_fail(error, TIPTRUE_E_USAGE, run->file, 0, 0, NULL,
                       "the run was read without its text, which a history keeps");
    }
    enum tiptrue_status status = TIPTRUE_OK;
    if (!history->before_known) { /* once: runs that are entered together may come in any order */
        status = tt_store_latest_start(history, machine->name, &history->has_before,
                                       &history->before_s, error);
        history->before_known = status == TIPTRUE_OK;
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_twin(history, run, twin, error);
    }
    if (status == TIPTRUE_OK && twin[0] != '\0') {
        tell(sink, TIPTRUE_NOTE, run->file,
             "the log differs from one in the history in its line ends alone: it is the same run");
        memcpy(same_run.id, twin, sizeof same_run.id);
        same_run.source = (struct tt_bytes){0}; /* the log that was there first stays */
        same.run_id = twin;
    }
    if (status == TIPTRUE_OK) {
        status = put_solved(history, plate, machine, plan, pattern, &same_run, &same, now_s,
                            TT_PUT_SOLVED, &outcome, error);
    }
    if (status == TIPTRUE_OK) {
        tell_outcome(sink, run->file, same_run.id, PACKAGE_VERSION, &outcome);
        status = outcome.run_is_new ? question_clock(history, run, now_s, sink, error) : TIPTRUE_OK;
    }
    return status;
}

enum tiptrue_status tiptrue_history_has(struct tiptrue_history *history,
                                        const struct tiptrue_solution *solution,
                                        struct tiptrue_error *error)
{
    char id[TIPTRUE_RUN_ID_SIZE];

    return tiptrue_history_find(history, solution->run_id, id, error);
}

enum tiptrue_status tiptrue_history_add_export(struct tiptrue_history *history,
                                               const struct tiptrue_solution *solution,
                                               const struct tiptrue_exported *exported,
                                               double now_s, struct tiptrue_error *error)
{
    char time[TT_TIME_SIZE];

    tt_time_write(now_s, time);
    for (size_t i = 0; i < exported->n_files; i++) {
        const struct tiptrue_export_file *file = &exported->files[i];
        const struct tt_record_export record = {
            .time = time,
            .file = file->file,
            .old_digest = file->old_digest,
            .new_digest = file->new_digest,
            .old_values = {file->old_values, strlen(file->old_values)},
            .new_values = {file->new_values, strlen(file->new_values)},
        };
        enum tiptrue_status status = tt_store_add_export(history, solution->run_id, &record, error);
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tiptrue_history_get(struct tiptrue_history *history, const char *id,
                                        enum tiptrue_history_part part, char **text, size_t *length,
                                        struct tiptrue_error *error)
{
    static const char *const NAMES[] = {
        [TIPTRUE_HISTORY_RESULT] = "result", [TIPTRUE_HISTORY_LOG] = "log",
        [TIPTRUE_HISTORY_PLATE] = "plate",   [TIPTRUE_HISTORY_MACHINE] = "machine",
        [TIPTRUE_HISTORY_PLAN] = "plan",     [TIPTRUE_HISTORY_PATTERN] = "pattern"};
    struct tt_record record = {0};
    struct tt_buffer buffer = {0};
    enum tiptrue_status status = tt_store_load(history, id, true, &record, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    const struct tt_record_result *result = &record.results[0];
    const struct tt_text parts[] = {
        [TIPTRUE_HISTORY_RESULT] = result->json,
        [TIPTRUE_HISTORY_LOG] = record.log,
        [TIPTRUE_HISTORY_PLATE] = result->documents[TT_DOCUMENT_PLATE],
        [TIPTRUE_HISTORY_MACHINE] = result->documents[TT_DOCUMENT_MACHINE],
        [TIPTRUE_HISTORY_PLAN] = result->documents[TT_DOCUMENT_PLAN],
        [TIPTRUE_HISTORY_PATTERN] = result->documents[TT_DOCUMENT_PATTERN],
    };
    if (parts[part].text == NULL) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, NULL, 0, 0, NULL,
                         "run %s has no %s in the history", id, NAMES[part]);
    } else {
        tt_buffer_add(&buffer, parts[part].text, parts[part].length);
        status = tt_buffer_hand_over(&buffer, text, length, error);
    }
    tt_record_clear(&record);
    return status;
}

enum tiptrue_status tiptrue_history_solution(struct tiptrue_history *history, const char *id,
                                             struct tiptrue_solution **solution,
                                             struct tiptrue_error *error)
{
    struct tt_record record = {0};
    enum tiptrue_status status = tt_store_load(history, id, true, &record, error);

    if (status == TIPTRUE_OK) {
        status = tt_newest_solution(&record, solution, error);
        tt_record_clear(&record);
    }
    return status;
}

enum tiptrue_status tiptrue_history_open(const char *path, enum tiptrue_history_access access,
                                         struct tiptrue_history **history,
                                         struct tiptrue_error *error)
{
    struct tiptrue_history *made = NULL;
    enum tiptrue_status status = tt_store_open(path, access == TIPTRUE_HISTORY_WRITE, &made, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    if (tt_store_is_writable(made)) {
        status = tt_history_catch_up(made, error);
    }
    if (status == TIPTRUE_OK) {
        *history = made;
    } else {
        tiptrue_history_close(made);
    }
    return status;
}

static void say_waiting(void *context, const char *path)
{
    const struct tiptrue_sink *sink = context;

    tell(sink, TIPTRUE_NOTE, path, "another process holds the history; waiting for it");
}

void tiptrue_history_wait(struct tiptrue_history *history, double most_s,
                          const struct tiptrue_sink *sink)
{
    tt_store_wait(history, most_s > 0 ? (unsigned long)fmin(1000 * most_s, 1e9) : 0,
                  sink != NULL ? say_waiting : NULL, (void *)sink);
}

enum tiptrue_status tiptrue_history_again(struct tiptrue_history *history,
                                          struct tiptrue_workspace *workspace, const char *id,
                                          bool replace, double now_s,
                                          const struct tiptrue_text_options *options, bool *changed,
                                          char **text, size_t *length, struct tiptrue_error *error)
{
    struct tt_revived revived = {0};
    struct tt_buffer buffer = {0};
    struct tt_put_outcome outcome = {0};
    struct tiptrue_between *between = NULL;
    bool differs = false;
    enum tiptrue_status status = tt_store_load(history, id, true, &revived.record, error);

    if (status == TIPTRUE_OK) {
        status = tt_revive(&revived, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_between_of_result(history, revived.before, &between, error);
    }
    if (status == TIPTRUE_OK) {
        const struct tiptrue_solve_options options_of_then = {.between = between,
                                                              .tips = revived.before->wanted,
                                                              .n_tips = revived.before->n_wanted,
                                                              .accept_change =
                                                                  revived.before->change_accepted};
        status = tiptrue_solve(workspace, revived.plate, revived.machine, revived.run,
                               &options_of_then, &revived.anew, error);
    }
    if (status == TIPTRUE_OK) {
        differs = tt_output_again_text(revived.before, revived.record.results[0].version,
                                       revived.anew, options, &buffer);
    }
    if (status == TIPTRUE_OK && replace) {
        status = put_solved(history, revived.plate, revived.machine, revived.plan,
                            revived.record.results[0].documents[TT_DOCUMENT_PATTERN].text,
                            revived.run, revived.anew, now_s, TT_PUT_ANEW, &outcome, error);
        if (status == TIPTRUE_OK && outcome.new_results > 0) {
            tt_buffer_puts(&buffer, "  the new result is stored\n");
        }
    }
    if (status == TIPTRUE_OK) {
        status = tt_buffer_hand_over(&buffer, text, length, error);
    } else {
        tt_buffer_clear(&buffer);
    }
    if (status == TIPTRUE_OK && changed != NULL) {
        *changed = differs;
    }
    tt_revived_clear(&revived);
    tiptrue_between_free(between);
    return status;
}
