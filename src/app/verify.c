/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue_history_verify: what the store sees of a history's damage, and what only a reader of its
 * results does. Damage is reported and passed over, so that all of it is. */
#include "config.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "history/store/store.h"
#include "ingest/diagnose.h"
#include "ingest/ingest.h"
#include "model/record.h"
#include "output/verdict.h"
#include "tiptrue.h"

/* Counting what is told. */
struct verifying {
    struct tiptrue_history *history;
    const struct tiptrue_sink *sink;
    const char *path;
    size_t faults;
};

static void told_fault(void *context, const char *text)
{
    struct verifying *verifying = context;

    verifying->faults++;
    tt_tell(verifying->sink, &(struct tiptrue_diagnostic){
                                 .severity = TIPTRUE_ERROR, .file = verifying->path, .text = text});
}

/* A status of damage is reported, and nothing more; another one stays. */
static enum tiptrue_status pass_damage(struct verifying *verifying, const char *id,
                                       enum tiptrue_status status, struct tiptrue_error *error)
{
    char text[700];

    if (status != TIPTRUE_E_DATA && status != TIPTRUE_E_NO_INPUT) {
        return status;
    }
    snprintf(text, sizeof text, "run %s: %s", id, error != NULL ? error->text : "is damaged");
    told_fault(verifying, text);
    if (error != NULL) {
        *error = (struct tiptrue_error){0};
    }
    return TIPTRUE_OK;
}

/* Whether the summary is what the newest result says. One without the plate held was summed up from
 * its log, solved again. */
static enum tiptrue_status verify_summary(struct verifying *verifying, const char *id,
                                          const struct tiptrue_solution *solution,
                                          struct tiptrue_error *error)
{
    const char *where = NULL;
    char text[160];

    if (!tt_solution_has_held(solution)) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status =
        tt_store_check_summary(verifying->history, id, solution, &where, error);
    if (status == TIPTRUE_OK && where != NULL) {
        snprintf(text, sizeof text, "the summary of run %s is not what its newest result says: %s",
                 id, where);
        told_fault(verifying, text);
    }
    return status;
}

/* Whether a result can be read, is the run's, and says what is noted of it. */
static enum tiptrue_status verify_result(struct verifying *verifying, const char *id,
                                         const struct tt_record_result *result, bool newest,
                                         struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_error why = {0};
    char text[700];
    enum tiptrue_status status = TIPTRUE_OK,
                        read = tt_result_read_bytes("", result->json.text, result->json.length,
                                                    NULL, &solution, &why);

    if (read != TIPTRUE_OK && read != TIPTRUE_E_DATA) {
        return tt_fail(error, read, NULL, 0, 0, NULL, "%s", why.text);
    }
    if (read != TIPTRUE_OK) {
        snprintf(text, sizeof text, "a result of run %s cannot be read: %s", id, why.text);
        told_fault(verifying, text);
    } else if (solution->run_id == NULL || strcmp(solution->run_id, id) != 0 ||
               strcmp(tt_verdict_word(solution->verdict), result->verdict) != 0) {
        snprintf(text, sizeof text,
                 "a result of run %s is that of another run, or its verdict is not the one noted",
                 id);
        told_fault(verifying, text);
    } else if (newest) {
        status = verify_summary(verifying, id, solution, error);
    }
    tiptrue_solution_free(solution);
    return status;
}

static enum tiptrue_status verify_run(struct verifying *verifying, const char *id,
                                      struct tiptrue_error *error)
{
    struct tt_record record = {0};
    enum tiptrue_status status = tt_store_load(verifying->history, id, false, &record, error);

    for (size_t i = 0; i < record.n_results && status == TIPTRUE_OK; i++) {
        status = verify_result(verifying, id, &record.results[i], i + 1 == record.n_results, error);
    }
    tt_record_clear(&record);
    return pass_damage(verifying, id, status, error);
}

enum tiptrue_status tiptrue_history_verify(struct tiptrue_history *history,
                                           const struct tiptrue_sink *sink,
                                           struct tiptrue_history_counts *counts,
                                           struct tiptrue_error *error)
{
    struct verifying verifying = {.history = history, .sink = sink, .path = tt_store_path(history)};
    struct tt_store_counts found = {0};
    char(*ids)[TIPTRUE_RUN_ID_SIZE] = NULL;
    size_t n = 0;
    enum tiptrue_status status = tt_store_verify(history, told_fault, &verifying, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_count(history, &found, error);
        status = pass_damage(&verifying, "numbers", status, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_history_ids(history, NULL, &ids, &n, error);
        status = pass_damage(&verifying, "list", status, error);
    }
    for (size_t i = 0; i < n && status == TIPTRUE_OK; i++) {
        status = verify_run(&verifying, ids[i], error);
    }
    free(ids);
    if (status == TIPTRUE_OK) {
        status = tt_store_check_end(history, error);
    }
    if (status != TIPTRUE_OK) {
        return status;
    }
    *counts = (struct tiptrue_history_counts){found.runs,      found.logs,    found.results,
                                              found.documents, found.exports, found.boards,
                                              verifying.faults};
    return verifying.faults == 0
               ? TIPTRUE_OK
               : tt_fail(error, TIPTRUE_E_DATA, verifying.path, 0, 0,
                         "export what can be read, and import it into a new history",
                         "the history has %zu faults", verifying.faults);
}
