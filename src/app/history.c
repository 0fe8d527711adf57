/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls of tiptrue.h on a history: what the store keeps as text is read, solved and written
 * here by the other rooms. */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/uncertainty.h"
#include "base/time.h"
#include "history/store/response.h"
#include "history/store/sql.h"
#include "history/store/store.h"
#include "history/store/summary.h"
#include "history/series/trend.h"
#include "ingest/ingest.h"
#include "model/between.h"
#include "output/history.h"
#include "output/output.h"
#include "output/verdict.h"
#include "app/boards.h"
#include "app/history_care.h"
#include "app/solved.h"
#include "tiptrue.h"

/* The newest result of a record, back as a solution. */
static enum tiptrue_status newest_solution(const struct tt_record *record,
                                           struct tiptrue_solution **solution,
                                           struct tiptrue_error *error)
{
    const struct tt_text *json = &record->results[record->n_results - 1].json;
    char name[64];

    snprintf(name, sizeof name, "stored result of run %s", record->id);
    return tt_result_read_bytes(name, json->text, json->length, NULL, solution, error);
}

void tiptrue_history_close(struct tiptrue_history *history)
{
    tt_store_close(history);
}

static void tell(const struct tiptrue_sink *sink, enum tiptrue_severity severity, const char *file,
                 const char *text)
{
    if (sink != NULL && sink->told != NULL) {
        sink->told(sink->context,
                   &(struct tiptrue_diagnostic){.severity = severity, .file = file, .text = text});
    }
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

    return tt_store_find(history, solution->run_id, id, error);
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

enum tiptrue_status tiptrue_history_find(struct tiptrue_history *history, const char *text,
                                         char id[TIPTRUE_RUN_ID_SIZE], struct tiptrue_error *error)
{
    return tt_store_find(history, text, id, error);
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
        status = newest_solution(&record, solution, error);
        tt_record_clear(&record);
    }
    return status;
}

/* A stored run with what it was read from. */
struct revived {
    struct tt_record record;
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_plan *plan;
    struct tiptrue_run *run;
    struct tiptrue_solution *before, *anew;
};

static void clear_revived(struct revived *revived)
{
    tiptrue_solution_free(revived->anew);
    tiptrue_solution_free(revived->before);
    tiptrue_run_free(revived->run);
    tiptrue_plan_free(revived->plan);
    tiptrue_machine_free(revived->machine);
    tiptrue_plate_free(revived->plate);
    tt_record_clear(&revived->record);
}

static enum tiptrue_status revive_documents(struct revived *revived,
                                            const struct tt_text documents[],
                                            struct tiptrue_error *error)
{
    const struct tt_text *plate = &documents[TT_DOCUMENT_PLATE],
                         *machine = &documents[TT_DOCUMENT_MACHINE];
    const struct tt_text *plan = &documents[TT_DOCUMENT_PLAN];
    enum tiptrue_status status = tt_plate_read_bytes("stored plate", plate->text, plate->length,
                                                     NULL, &revived->plate, error);

    if (status == TIPTRUE_OK) {
        status = tt_machine_read_bytes("stored machine", machine->text, machine->length, NULL,
                                       &revived->machine, error);
    }
    if (status == TIPTRUE_OK && plan->text != NULL) {
        status = tt_plan_read_bytes("stored plan", plan->text, plan->length, NULL, &revived->plan,
                                    error);
    }
    return status;
}

/* The run as it was read: its file's name is that of the stored result, so that only what the
 * program finds can differ. */
static enum tiptrue_status revive(struct revived *revived, struct tiptrue_error *error)
{
    const struct tt_record_result *result = &revived->record.results[0];
    const struct tt_text *documents = result->documents;
    struct tt_bytes log = {0};
    enum tiptrue_status status = newest_solution(&revived->record, &revived->before, error);

    if (status == TIPTRUE_OK &&
        (revived->record.log.text == NULL || documents[TT_DOCUMENT_PLATE].text == NULL ||
         documents[TT_DOCUMENT_MACHINE].text == NULL)) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, NULL, 0, 0,
                       "import the run's log, with its plate and machine",
                       "run %s cannot be solved again: only its result is in the history",
                       revived->record.id);
    }
    if (status == TIPTRUE_OK) {
        status = revive_documents(revived, documents, error);
    }
    if (status == TIPTRUE_OK) {
        log.text = malloc(revived->record.log.length + 1);
        if (log.text == NULL) {
            return tt_fail_memory(error);
        }
        log.length = revived->record.log.length;
        memcpy(log.text, revived->record.log.text, log.length + 1);
        status =
            tt_run_read_taken(revived->before->file != NULL ? revived->before->file : "stored log",
                              &log, revived->plate, revived->machine, revived->plan,
                              documents[TT_DOCUMENT_PATTERN].text, NULL, &revived->run, error);
    }
    return status;
}

/* The degrees of freedom of the between-run part of @tip. A result written before the budget had
 * them says only those of the whole, of which the part explains a share (Welch and Satterthwaite):
 * fewer than this the part cannot have had. */
static double between_dof(const struct tt_tip_result *tip, const struct tt_budget_line *line)
{
    const struct tt_scatter_part part = {
        {line->u_x_mm * line->u_x_mm, 0, line->u_y_mm * line->u_y_mm}, 1};

    return line->dof > 0
               ? line->dof
               : fmax(tip->same_plate_dof / tt_effective_dof(&part, 1, tip->same_plate_cov), 1);
}

static bool can_be_solved(const struct tt_record *record)
{
    const struct tt_text *documents = record->results[0].documents;

    return record->log.text != NULL && documents[TT_DOCUMENT_PLATE].text != NULL &&
           documents[TT_DOCUMENT_MACHINE].text != NULL;
}

/* What was decided with the stored result stays decided. */
static void keep_verdicts(const struct tiptrue_solution *from, struct tiptrue_solution *to)
{
    to->verdict = from->verdict;
    for (size_t i = 0; i < to->n_tips; i++) {
        for (size_t k = 0; k < from->n_tips; k++) {
            if (strcmp(to->tips[i].name, from->tips[k].name) == 0) {
                tt_copy_verdicts(&from->tips[k], &to->tips[i]);
            }
        }
    }
}

/* What the runs of a plate are compared by: the stored result or, where it is from before there was
 * a solution with the plate held, the run solved again from its stored log. A log that cannot be
 * solved any more leaves the stored result. @record is taken over.
 */
static enum tiptrue_status comparable_solution(struct tt_record *record,
                                               struct tiptrue_workspace *workspace,
                                               struct tiptrue_solution **solution,
                                               struct tiptrue_error *error)
{
    struct revived revived = {.record = *record};
    enum tiptrue_status status;

    *record = (struct tt_record){0};
    status = newest_solution(&revived.record, solution, error);
    if (status == TIPTRUE_OK && !tt_solution_has_held(*solution) &&
        can_be_solved(&revived.record)) {
        enum tiptrue_status solved = revive(&revived, NULL);
        if (solved == TIPTRUE_OK) {
            solved = tiptrue_solve(workspace, revived.plate, revived.machine, revived.run, NULL,
                                   &revived.anew, NULL);
        }
        if (solved == TIPTRUE_OK) {
            keep_verdicts(*solution, revived.anew);
            tiptrue_solution_free(*solution);
            *solution = revived.anew;
            revived.anew = NULL;
        } else if (solved == TIPTRUE_E_MEMORY) {
            tiptrue_solution_free(*solution);
            *solution = NULL;
            status = tt_fail_memory(error);
        }
    }
    clear_revived(&revived);
    return status;
}

enum tiptrue_status tt_history_catch_up(struct tiptrue_history *history,
                                        struct tiptrue_error *error)
{
    char id[TT_RUN_ID_SIZE];
    bool found = true;
    struct tiptrue_workspace *workspace = NULL;
    enum tiptrue_status status = tiptrue_workspace_new(&workspace, error);

    while (status == TIPTRUE_OK &&
           (status = tt_store_next_unsummarised(history, id, &found, error)) == TIPTRUE_OK &&
           found) {
        struct tt_record record = {0};
        struct tiptrue_solution *solution = NULL;
        status = tt_store_load(history, id, true, &record, error);
        if (status == TIPTRUE_OK) {
            status = comparable_solution(&record, workspace, &solution, error);
        }
        if (status == TIPTRUE_OK) {
            status = tt_store_summarise(history, id, solution, error);
        }
        tiptrue_solution_free(solution);
        tt_record_clear(&record);
    }
    tiptrue_workspace_free(workspace);
    return status;
}

enum tiptrue_status tiptrue_history_comparable(struct tiptrue_history *history, const char *id,
                                               struct tiptrue_solution **solution,
                                               struct tiptrue_error *error)
{
    struct tt_record record = {0};
    struct tiptrue_workspace *workspace = NULL;
    enum tiptrue_status status = tiptrue_workspace_new(&workspace, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_load(history, id, true, &record, error);
    }
    if (status == TIPTRUE_OK) {
        status = comparable_solution(&record, workspace, solution, error);
    }
    tiptrue_workspace_free(workspace);
    return status;
}

enum tiptrue_status tiptrue_history_open(const char *path, enum tiptrue_history_access access,
                                         struct tiptrue_history **history,
                                         struct tiptrue_error *error)
{
    struct tiptrue_history *made;
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
        tt_store_close(made);
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

/* A copy of @effects in @arena. False: out of memory. */
static bool copy_effects(struct tt_arena *arena, struct tt_plate_effects from,
                         struct tt_plate_effects *to)
{
    struct tt_plate_feature *features = TT_ARENA_NEW(arena, from.n, struct tt_plate_feature);
    double *x = TT_ARENA_NEW(arena, from.n, double), *y = TT_ARENA_NEW(arena, from.n, double);

    if (features == NULL || x == NULL || y == NULL) {
        return false;
    }
    for (size_t i = 0; i < from.n; i++) {
        features[i] = from.features[i];
        features[i].name =
            tt_arena_copy_text(arena, from.features[i].name, strlen(from.features[i].name));
        x[i] = from.x[i];
        y[i] = from.y[i];
        if (features[i].name == NULL) {
            return false;
        }
    }
    *to = (struct tt_plate_effects){features, from.x != NULL ? x : NULL, y, from.n};
    return true;
}

/* The covariance of the held offset without the scatter between runs that a history put into it. */
static struct tt_cov2 cov_of_run(const struct tt_tip_result *tip)
{
    struct tt_cov2 cov = tip->same_plate_cov;

    for (size_t i = 0; i < tip->n_budget; i++) {
        const struct tt_budget_line *line = &tip->budget[i];
        if (line->code == TT_BUDGET_BETWEEN_RUNS) {
            cov.xx_mm2 -= line->u_x_mm * line->u_x_mm;
            cov.yy_mm2 -= line->u_y_mm * line->u_y_mm;
        }
    }
    return cov;
}

/* Enter what the run @id says of @tip as that which the offset in use came from. Nothing is entered
 * where it says nothing. */
static enum tiptrue_status note_earlier(struct tiptrue_history *history, const char *id,
                                        const char *tip, struct tiptrue_between *between,
                                        struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = tiptrue_history_comparable(history, id, &solution, error);

    for (size_t i = 0; status == TIPTRUE_OK && i < solution->n_tips; i++) {
        const struct tt_tip_result *from = &solution->tips[i];
        if (strcmp(from->name, tip) != 0 || !from->has_held || !from->offset_determined_x ||
            !from->offset_determined_y) {
            continue;
        }
        struct tt_earlier *earlier = &between->earlier[between->n_earlier];
        *earlier = (struct tt_earlier){.tip = tt_arena_copy_text(&between->arena, tip, strlen(tip)),
                                       .run = tt_arena_copy_text(&between->arena, id, strlen(id)),
                                       .held = from->held,
                                       .cov = cov_of_run(from),
                                       .dof = from->same_plate_dof};
        if (earlier->tip == NULL || earlier->run == NULL ||
            !copy_effects(&between->arena, tt_effects_of(solution, from), &earlier->effects)) {
            status = tt_fail_memory(error);
            break;
        }
        between->n_earlier++;
    }
    tiptrue_solution_free(solution);
    return status;
}

/* The scatter between runs that the result of @before was given with: solving anew is to show what
 * else changed. */
static enum tiptrue_status between_of_result(struct tiptrue_history *history,
                                             const struct tiptrue_solution *before,
                                             struct tiptrue_between **between,
                                             struct tiptrue_error *error)
{
    struct tiptrue_between *made = calloc(1, sizeof *made);
    enum tiptrue_status status = TIPTRUE_OK;

    if (made == NULL ||
        (made->tips = TT_ARENA_NEW(&made->arena, before->n_tips, struct tt_between_tip)) == NULL ||
        (made->earlier = TT_ARENA_NEW(&made->arena, before->n_tips, struct tt_earlier)) == NULL) {
        tiptrue_between_free(made);
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < before->n_tips; i++) {
        const struct tt_tip_result *tip = &before->tips[i];
        size_t k = 0;
        while (k < tip->n_budget && tip->budget[k].code != TT_BUDGET_BETWEEN_RUNS) {
            k++;
        }
        if (k < tip->n_budget) {
            const struct tt_budget_line *line = &tip->budget[k];
            made->tips[made->n_tips++] =
                (struct tt_between_tip){tip->name, line->u_x_mm, line->u_y_mm,
                                        between_dof(tip, line)}; /* the names live in @before */
        }
    }
    for (size_t i = 0; i < before->n_tips && status == TIPTRUE_OK; i++) {
        const struct tt_tip_result *tip = &before->tips[i];
        status = tip->change_from != NULL
                     ? note_earlier(history, tip->change_from, tip->name, made, error)
                     : TIPTRUE_OK;
        status =
            status == TIPTRUE_E_NO_INPUT ? TIPTRUE_OK : status; /* the run is not there any more */
    }
    if (status == TIPTRUE_OK) {
        *between = made;
    } else {
        tiptrue_between_free(made);
    }
    return status;
}

enum tiptrue_status tiptrue_history_again(struct tiptrue_history *history,
                                          struct tiptrue_workspace *workspace, const char *id,
                                          bool replace, double now_s,
                                          const struct tiptrue_text_options *options, bool *changed,
                                          char **text, size_t *length, struct tiptrue_error *error)
{
    struct revived revived = {0};
    struct tt_buffer buffer = {0};
    struct tt_put_outcome outcome = {0};
    struct tiptrue_between *between = NULL;
    bool differs = false;
    enum tiptrue_status status = tt_store_load(history, id, true, &revived.record, error);

    if (status == TIPTRUE_OK) {
        status = revive(&revived, error);
    }
    if (status == TIPTRUE_OK) {
        status = between_of_result(history, revived.before, &between, error);
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
    clear_revived(&revived);
    tiptrue_between_free(between);
    return status;
}

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

/* What a stored run makes of edges that shift: as it is kept, or the run is solved once more and it
 * is kept from then on. A run that cannot be solved again is no fault: the next one is asked. */
static enum tiptrue_status respond(struct tiptrue_history *history, struct tt_series *series,
                                   const struct tt_series_run *run, struct tiptrue_error *error)
{
    static const struct tiptrue_between NONE = {0};
    const struct tiptrue_solve_options with_response = {.between = &NONE};
    struct tiptrue_workspace *workspace = NULL;
    struct revived revived = {0};
    struct tiptrue_error why = {0};
    enum tiptrue_status status = tt_store_response(history, series, run, error);

    if (status != TIPTRUE_OK || series->response != NULL) {
        return status;
    }
    if (tt_store_load(history, run->id, true, &revived.record, &why) == TIPTRUE_OK &&
        revive(&revived, &why) == TIPTRUE_OK &&
        tiptrue_workspace_new(&workspace, &why) == TIPTRUE_OK &&
        tiptrue_solve(workspace, revived.plate, revived.machine, revived.run, &with_response,
                      &revived.anew, &why) == TIPTRUE_OK) {
        status = tt_response_take(series, run, revived.anew, error);
        if (status == TIPTRUE_OK && tt_store_is_writable(history)) {
            status = tt_store_keep_response(history, run->id, revived.anew, error);
        }
    }
    clear_revived(&revived);
    tiptrue_workspace_free(workspace);
    return why.status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : status;
}

/* The runs of @machine, and what its solutions make of an edge that shifts, from the latest run
 * whose log is there: on its plate.
 */
static enum tiptrue_status read_series(struct tiptrue_history *history, const char *machine,
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
    for (size_t i = 0; asked && status == TIPTRUE_OK && i < LATEST_WITH_LOG && i < series->n_runs &&
                       series->response == NULL;
         i++) {
        const struct tt_series_run *last = &series->runs[series->n_runs - 1], *run = last - i;
        if (strcmp(run->plate, last->plate) == 0) {
            status = respond(history, series, run, error);
        }
    }
    return status;
}

static enum tiptrue_status trend_of(struct tiptrue_history *history, const char *machine,
                                    const struct tt_store_query *query,
                                    const struct tiptrue_trend_options *options,
                                    struct tiptrue_trend **trend, struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = machine};
    size_t stored = 0;
    enum tiptrue_status status =
        read_series(history, machine, query,
                    options->most_runs > 0 ? options->most_runs : DEFAULT_RUNS, &series, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_count_machine(history, machine, &stored, error);
    }
    if (status == TIPTRUE_OK && series.n_runs == 0) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, tt_store_path(history), 0, 0,
                         stored > 0 ? "ask for a longer time"
                                    : "`tiptrue history list' shows what there is",
                         "no runs of machine '%s'%s", machine, stored > 0 ? " in that time" : "");
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_trend_of(&series, stored, options, trend, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_notes(history, *trend, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_history_boards(history, *trend, query, error);
    }
    tt_arena_clear(&arena);
    return status;
}

enum tiptrue_status tiptrue_history_trend(struct tiptrue_history *history,
                                          const struct tiptrue_history_query *query,
                                          const struct tiptrue_trend_options *options,
                                          struct tiptrue_trend **trend, struct tiptrue_error *error)
{
    static const struct tiptrue_trend_options NONE = {0};
    struct tt_store_query wanted;
    struct tiptrue_trend *made = NULL;
    char *machine = NULL;
    enum tiptrue_status status = tt_history_query(history, query, &wanted, error);

    if (status == TIPTRUE_OK) {
        status = choose_machine(history, wanted.machine, &machine, error);
    }
    if (status == TIPTRUE_OK) {
        status =
            trend_of(history, machine, &wanted, options != NULL ? options : &NONE, &made, error);
    }
    if (status == TIPTRUE_OK) {
        status = choose_tip(made, options != NULL ? options->tip : NULL, error);
    }
    if (status == TIPTRUE_OK) {
        *trend = made;
    } else {
        tiptrue_trend_free(made);
    }
    free(machine);
    return status;
}

/* So many runs are looked at: more would mix in what the machine was long ago, and cost time before
 * every job. */
#define MOST_BETWEEN 100
/* Steps of a millimetre in which a result gives lengths (docs/formats.md): what is taken into a
 * result is one of them, so that solving it again begins with the same number. */
#define GIVEN_PER_MM 1e10

/* An offset in use is that of a stored run if it lies within this of it on both axes:
 * configurations keep three decimals or more.
 */
#define SAME_OFFSET_MM 0.0005

/* The run that gave @tip its offset in use, on the plate that the machine file says: the nearest
 * one, of equal ones the latest. NULL = there is none. */
static const struct tt_series_run *origin_of(const struct tt_series *series,
                                             const struct tt_tip *tip)
{
    const struct tt_series_run *best = NULL;
    double best_mm = SAME_OFFSET_MM;

    for (size_t i = 0; i < series->n_runs && tip->has_offset && tip->offset_plate != NULL; i++) {
        const struct tt_series_run *run = &series->runs[i];
        for (size_t k = 0; k < run->n_tips && strcmp(run->plate, tip->offset_plate) == 0; k++) {
            const struct tt_series_tip *t = &run->tips[k];
            double off_mm =
                fmax(fabs(t->full.x_mm - tip->offset.x_mm), fabs(t->full.y_mm - tip->offset.y_mm));
            if (t->has_offset && strcmp(series->tip_names[t->tip], tip->name) == 0 &&
                off_mm <= best_mm) {
                best = run;
                best_mm = off_mm;
            }
        }
    }
    return best;
}

static enum tiptrue_status find_origins(struct tiptrue_history *history,
                                        const struct tt_series *series,
                                        const struct tiptrue_machine *machine,
                                        struct tiptrue_between *between,
                                        struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;

    between->earlier = TT_ARENA_NEW(&between->arena, machine->n_tips, struct tt_earlier);
    if (between->earlier == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t t = 0; t < machine->n_tips && status == TIPTRUE_OK; t++) {
        const struct tt_series_run *run = origin_of(series, &machine->tips[t]);
        status = run != NULL ? note_earlier(history, run->id, machine->tips[t].name, between, error)
                             : TIPTRUE_OK;
    }
    return status;
}

/* The latest run is held against so many before it: with twice as many a shift of 10 um is seen in
 * 5 of 100 mornings more, and the time before every job doubles. */
#define MOST_LATEST 41

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
        read_series(history, machine->name, NULL, MOST_LATEST, &series, error);

    *text = NULL;
    *differs = false;
    if (status == TIPTRUE_OK && series.n_runs > TT_FEWEST_TREND_RUNS) {
        status = tt_history_trend_of(&series, series.n_runs, &NONE, &trend, error);
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

enum tiptrue_status tiptrue_history_between(struct tiptrue_history *history,
                                            const struct tiptrue_machine *machine,
                                            struct tiptrue_between **between,
                                            struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = machine->name};
    struct tiptrue_between *made = calloc(1, sizeof *made);
    enum tiptrue_status status =
        made != NULL ? read_series(history, machine->name, NULL, MOST_BETWEEN, &series, error)
                     : tt_fail_memory(error);

    if (status == TIPTRUE_OK &&
        tt_trend_all_between(&series, TT_FEWEST_TREND_RUNS, made) != TIPTRUE_OK) {
        status = tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        status = find_origins(history, &series, machine, made, error);
    }
    tt_arena_clear(&arena);
    for (size_t i = 0; status == TIPTRUE_OK && i < made->n_tips; i++) {
        made->tips[i].u_x_mm = round(made->tips[i].u_x_mm * GIVEN_PER_MM) / GIVEN_PER_MM;
        made->tips[i].u_y_mm = round(made->tips[i].u_y_mm * GIVEN_PER_MM) / GIVEN_PER_MM;
    }
    if (status == TIPTRUE_OK) {
        *between = made;
    } else {
        tiptrue_between_free(made);
    }
    return status;
}

void tiptrue_between_free(struct tiptrue_between *between)
{
    if (between != NULL) {
        tt_arena_clear(&between->arena);
        free(between);
    }
}
