/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See revive.h. */
#include "config.h"

#include "app/revive.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "history/store/store.h"
#include "ingest/ingest.h"
#include "model/between.h"

/* The newest result of a record, back as a solution. */
enum tiptrue_status tt_newest_solution(const struct tt_record *record,
                                       struct tiptrue_solution **solution,
                                       struct tiptrue_error *error)
{
    const struct tt_text *json = &record->results[record->n_results - 1].json;
    char name[64];

    snprintf(name, sizeof name, "stored result of run %s", record->id);
    return tt_result_read_bytes(name, json->text, json->length, NULL, solution, error);
}

void tt_revived_clear(struct tt_revived *revived)
{
    tiptrue_solution_free(revived->anew);
    tiptrue_solution_free(revived->before);
    tiptrue_run_free(revived->run);
    tiptrue_plan_free(revived->plan);
    tiptrue_machine_free(revived->machine);
    tiptrue_plate_free(revived->plate);
    tt_record_clear(&revived->record);
}

static enum tiptrue_status revive_documents(struct tt_revived *revived,
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
enum tiptrue_status tt_revive(struct tt_revived *revived, struct tiptrue_error *error)
{
    const struct tt_record_result *result = &revived->record.results[0];
    const struct tt_text *documents = result->documents;
    struct tt_bytes log = {0};
    enum tiptrue_status status = tt_newest_solution(&revived->record, &revived->before, error);

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
        const struct tt_tip_result *tip = tt_solution_tip(from, to->tips[i].name);
        if (tip != NULL) {
            to->tips[i].verdict = tip->verdict;
            to->tips[i].offset_verdict = tip->offset_verdict;
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
    struct tt_revived revived = {.record = *record};
    enum tiptrue_status status;

    *record = (struct tt_record){0};
    status = tt_newest_solution(&revived.record, solution, error);
    if (status == TIPTRUE_OK && !tt_solution_has_held(*solution) &&
        can_be_solved(&revived.record)) {
        enum tiptrue_status solved = tt_revive(&revived, NULL);
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
    tt_revived_clear(&revived);
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

/* The run @id solved once more, with what its stored result does not hold: revived->anew, NULL
 * where it cannot be. TIPTRUE_E_MEMORY is the only failure. */
enum tiptrue_status tt_solve_again(struct tiptrue_history *history,
                                   struct tiptrue_workspace *workspace, const char *id,
                                   struct tt_revived *revived, struct tiptrue_error *error)
{
    static const struct tiptrue_between NONE = {0};
    const struct tiptrue_solve_options as_for_history = {.between = &NONE};
    struct tiptrue_error why = {0};

    enum tiptrue_status status = tt_store_load(history, id, true, &revived->record, &why);
    status = status == TIPTRUE_OK ? tt_revive(revived, &why) : status;
    if (status == TIPTRUE_OK) {
        status = tiptrue_solve(workspace, revived->plate, revived->machine, revived->run,
                               &as_for_history, &revived->anew, &why);
    }
    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : TIPTRUE_OK;
}
