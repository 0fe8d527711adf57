/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue_history_import: files in, whatever of a run they hold, into a history. Additions are
 * grouped, since each commit waits for the disk; a file is reported only after the commit that
 * holds it.
 */
#include "config.h"

#include <stdlib.h>
#include <string.h>

#include "base/digest.h"
#include "base/named.h"
#include "base/time.h"
#include "base/utf8.h"
#include "history/store/store.h"
#include "ingest/diagnose.h"
#include "model/between.h"
#include "ingest/archive.h"
#include "ingest/bytes.h"
#include "ingest/ingest.h"
#include "output/verdict.h"
#include "app/revive.h"
#include "app/solved.h"
#include "tiptrue.h"

/* Runs of one commit: some tenths of a second, for which other writers wait. */
#define GROUP 200

struct importing {
    struct tiptrue_history *history;
    struct tiptrue_workspace *workspace;
    const struct tiptrue_import_options *options;
    const struct tiptrue_sink *sink; /* the caller's */
    struct tiptrue_sink counted;     /* hands on to it */
    size_t told;                     /* errors so far */
    void (*reported)(void *context, const struct tiptrue_import_report *report);
    void *context;
    struct tiptrue_error *error;
    char now[TT_TIME_SIZE];
    struct tiptrue_import_report *pending; /* of files that are not committed yet */
    size_t n_pending, room;
    size_t puts; /* since the last commit */
    bool in_group;
    struct tiptrue_import_report report; /* of the file that is read */
    bool ended;                          /* the history itself failed: nothing more can be stored */
};

static enum tiptrue_status commit(struct importing *importing)
{
    enum tiptrue_status status = TIPTRUE_OK;

    if (importing->in_group) {
        status = tt_store_commit(importing->history, importing->error);
        importing->in_group = false;
        importing->puts = 0;
    }
    for (size_t i = 0;
         i < importing->n_pending && status == TIPTRUE_OK && importing->reported != NULL; i++) {
        importing->reported(importing->context, &importing->pending[i]);
    }
    importing->n_pending = 0;
    return status;
}

/* A group is open afterwards. */
static enum tiptrue_status open_group(struct importing *importing)
{
    enum tiptrue_status status = TIPTRUE_OK;

    if (!importing->in_group) {
        status = tt_store_begin(importing->history, importing->error);
        importing->ended = status != TIPTRUE_OK;
        importing->in_group = status == TIPTRUE_OK;
    }
    return status;
}

/* Enter a record. */
static enum tiptrue_status put(struct importing *importing, const struct tt_record *record,
                               const struct tiptrue_solution *solution, enum tt_put how,
                               struct tiptrue_error *error)
{
    struct tt_put_outcome outcome;
    enum tiptrue_status status;

    status = open_group(importing);
    if (status != TIPTRUE_OK) {
        return status;
    }
    status = tt_store_put(importing->history, record, solution, how, &outcome, error);
    if (status != TIPTRUE_OK) {
        importing->ended = status != TIPTRUE_E_DATA;
        return status;
    }
    importing->report.new_runs += outcome.run_is_new;
    importing->report.known_runs += !outcome.run_is_new;
    importing->report.new_results += outcome.run_is_new ? 0 : outcome.new_results;
    importing->puts++;
    if (importing->puts >= GROUP) {
        size_t waiting = importing->n_pending;
        importing->n_pending = 0; /* the reports wait for their own files' end */
        status = commit(importing);
        importing->n_pending = waiting;
        importing->ended = status != TIPTRUE_OK;
    }
    return status;
}

/* The verdict of each result, and what the last one says. */
static enum tiptrue_status read_results(const char *file, struct tt_record *record,
                                        struct tiptrue_solution **solution,
                                        struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < record->n_results && status == TIPTRUE_OK; i++) {
        struct tt_record_result *result = &record->results[i];
        struct tiptrue_solution *read = NULL;
        status =
            tt_result_read_bytes(file, result->json.text, result->json.length, NULL, &read, error);
        if (status == TIPTRUE_OK &&
            (read->run_id == NULL || strcmp(read->run_id, record->id) != 0)) {
            status =
                tt_fail(error, TIPTRUE_E_DATA, file, 0, 0, NULL,
                        "a result of run %s is that of another run, or names none", record->id);
        }
        if (status == TIPTRUE_OK) {
            result->verdict = tt_verdict_word(read->verdict);
            tiptrue_solution_free(*solution);
            *solution = read;
        } else {
            tiptrue_solution_free(read);
        }
    }
    return status;
}

/* A run's id is the digest of its log. */
static enum tiptrue_status check_log(const char *file, const struct tt_record *record,
                                     struct tiptrue_error *error)
{
    char digest[17];

    if (record->log.text == NULL) {
        return TIPTRUE_OK;
    }
    tt_digest(record->log.text, record->log.length, digest);
    return strcmp(digest, record->id) == 0
               ? TIPTRUE_OK
               : tt_fail(error, TIPTRUE_E_DATA, file, 0, 0,
                         "export the run again from the history that it comes from",
                         "the log of run %s is not the one of this id, which is the digest of its "
                         "bytes: those here have %s",
                         record->id, digest);
}

/* The object ends with a NUL. */
static enum tiptrue_status put_board(struct importing *importing, struct tt_diagnose *diagnose,
                                     const char *at, struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tt_board_record board;
    struct tt_board_outcome outcome;
    enum tiptrue_status status =
        tt_archive_read_board(diagnose, at, at + strlen(at), &arena, &board, error);

    if (status == TIPTRUE_OK && (status = open_group(importing)) == TIPTRUE_OK) {
        status = tt_store_put_board(importing->history, &board, &outcome, error);
        importing->ended = status != TIPTRUE_OK && status != TIPTRUE_E_DATA;
        importing->puts += status == TIPTRUE_OK;
        importing->report.new_boards += status == TIPTRUE_OK && outcome.is_new;
        importing->report.known_boards += status == TIPTRUE_OK && !outcome.is_new;
    }
    tt_arena_clear(&arena);
    return status;
}

/* Faults of one object go to the sink; the first one of the file stays in *error. */
static enum tiptrue_status put_record(struct importing *importing, const char *file,
                                      struct tt_record *record, struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = check_log(file, record, error);

    status = status == TIPTRUE_OK ? read_results(file, record, &solution, error) : status;

    if (status == TIPTRUE_OK) {
        status = put(importing, record, solution, TT_PUT_MERGED, error);
    }
    tiptrue_solution_free(solution);
    return status;
}

static void count_and_tell(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    struct importing *importing = context;

    importing->told += diagnostic->severity == TIPTRUE_ERROR;
    tt_tell(importing->sink, diagnostic);
}

/* See to it that a failure is told: to the caller's sink, unless it was while reading
 * (@told_before: errors told before that), or, when nothing more can be stored, as the error of the
 * whole call. */
static void settle(struct importing *importing, const char *file, size_t line,
                   enum tiptrue_status status, size_t told_before,
                   const struct tiptrue_error *error)
{
    if (status == TIPTRUE_OK) {
        return;
    }
    if (importing->ended) {
        tt_fail(importing->error, status, error->file, error->line, error->column, error->hint,
                "%s", error->text);
    } else if (importing->told == told_before) {
        count_and_tell(importing, &(struct tiptrue_diagnostic){
                                      .severity = TIPTRUE_ERROR,
                                      .file = error->file[0] != '\0' ? error->file : file,
                                      .line = error->line > 0 ? error->line : line,
                                      .text = error->text,
                                      .hint = error->hint[0] != '\0' ? error->hint : NULL});
    }
}

/* What a document is that is no run. */
static bool is_document(const char *schema)
{
    static const char *const known[] = {
        "tiptrue.plate/1",     "tiptrue.machine/1",    "tiptrue.plan/1",    "tiptrue.truth/1",
        "tiptrue.check/1",     "tiptrue.trend/1",      "tiptrue.compare/1", "tiptrue.entry/1",
        "tiptrue.placement/1", "tiptrue.board-entry/1"};
    const size_t n = sizeof known / sizeof known[0];

    return TT_NAME_AT(known, n, schema) < n;
}

/* One JSON object of a file. The status is its own, and is told. */
static enum tiptrue_status import_object(struct importing *importing, struct tt_diagnose *diagnose,
                                         const char *at, const char *end, const char *schema)
{
    struct tt_record record = {0};
    struct tiptrue_error error = {0};
    size_t told = importing->told;
    enum tiptrue_status status;

    if (strcmp(schema, "tiptrue.history/1") == 0) {
        status = tt_archive_read_record(diagnose, at, end, &record, &error);
    } else if (strcmp(schema, "tiptrue.result/1") == 0) {
        status = tt_archive_read_result(diagnose, at, end, &record, &error);
        record.added = importing->now;
        if (record.n_results > 0) {
            record.results[0].added = importing->now;
        }
    } else if (strcmp(schema, "tiptrue.board-record/1") == 0) {
        status = put_board(importing, diagnose, at, &error);
        settle(importing, diagnose->file, tt_place_at(diagnose, at).line, status, told, &error);
        return status;
    } else if (strcmp(schema, "tiptrue.error/1") == 0) {
        tt_note(diagnose, tt_place_at(diagnose, at), NULL,
                "a run that could not be solved, and has no result");
        return TIPTRUE_OK;
    } else if (is_document(schema) && importing->options->pass_documents) {
        importing->report.passed = true;
        return TIPTRUE_OK;
    } else {
        tt_fault(diagnose, tt_place_at(diagnose, at),
                 "exports of a history, results and run logs can be imported",
                 "schema '%s' is not what is imported", tt_shown_text(schema).text);
        return TIPTRUE_E_DATA;
    }
    if (status == TIPTRUE_OK) {
        status = put_record(importing, diagnose->file, &record, &error);
    }
    settle(importing, diagnose->file, tt_place_at(diagnose, at).line, status, told, &error);
    tt_record_clear(&record);
    return status;
}

static enum tiptrue_status worse(enum tiptrue_status status, enum tiptrue_status other)
{
    return status > other ? status : other;
}

/* Objects one after the other: one may take several lines, and each begins on a line of its own. */
static enum tiptrue_status import_json(struct importing *importing, struct tt_diagnose *diagnose,
                                       char *text, char *end)
{
    enum tiptrue_status worst = TIPTRUE_OK;
    char schema[40];

    for (char *at = text; !importing->ended;) {
        at += strspn(at, " \t\r\n");
        if (at >= end) {
            break;
        }
        const char *behind = tt_archive_object(at, end, schema, sizeof schema);
        char *stop = behind != NULL ? text + (behind - text) : at + strcspn(at, "\n");
        if (behind == NULL) {
            strcpy(schema, "tiptrue.history/1"); /* its reader finds the place of the fault; the
                                                    next line may be good */
        }
        char kept = *stop;
        *stop = '\0';
        worst = worse(worst, import_object(importing, diagnose, at, stop, schema));
        *stop = kept;
        at = stop;
    }
    return worst;
}

static enum tiptrue_status import_csv(struct importing *importing, struct tt_diagnose *diagnose)
{
    const char *at = tt_archive_csv_begin(diagnose->text, diagnose->end);
    enum tiptrue_status worst = TIPTRUE_OK;
    bool more = true;

    while (more && !importing->ended) {
        struct tt_record record = {0};
        struct tiptrue_error error = {0};
        const char *row = at;
        size_t told = importing->told, faults = diagnose->faults;
        enum tiptrue_status status = tt_archive_read_csv(diagnose, &at, &more, &record, &error);
        if (status == TIPTRUE_OK && more) {
            status = put_record(importing, diagnose->file, &record, &error);
        }
        settle(importing, diagnose->file, tt_place_at(diagnose, row).line, status, told, &error);
        tt_record_clear(&record);
        worst = worse(worst, status);
        more = more && diagnose->faults ==
                           faults; /* behind a wrong quotation mark nothing can be trusted */
    }
    return worst;
}

/* A run log: solved, and entered with its result. */
static enum tiptrue_status import_log(struct importing *importing, const char *file,
                                      struct tt_bytes *bytes, struct tiptrue_error *error)
{
    const struct tiptrue_import_options *options = importing->options;
    struct tiptrue_run *run = NULL;
    struct tiptrue_solution *solution = NULL;
    struct tt_solved solved = {0};
    enum tiptrue_status status;

    if (options->plate == NULL || options->machine == NULL) {
        tt_bytes_clear(bytes);
        return tt_fail(error, TIPTRUE_E_USAGE, file, 0, 0, "name them by --plate and --machine",
                       "a run log can be imported only with its plate and machine, since it is "
                       "solved for that");
    }
    status = tt_run_read_taken(file, bytes, options->plate, options->machine, options->plan,
                               options->pattern, &importing->counted, &run, error);
    if (status == TIPTRUE_OK) {
        static const struct tiptrue_between NONE = {0}; /* as for a history */
        const struct tiptrue_solve_options how = {.between = &NONE};
        status = tiptrue_solve(importing->workspace, options->plate, options->machine, run, &how,
                               &solution, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_solved_make(&solved, options->plate, options->machine, options->plan,
                                options->pattern, run, solution, options->now_s, error);
    }
    if (status == TIPTRUE_OK) {
        status = put(importing, &solved.record, solved.solution, TT_PUT_SOLVED, error);
    }
    tt_solved_clear(&solved);
    tiptrue_solution_free(solution);
    tiptrue_run_free(run);
    return status;
}

/* What is in the file, by its content. */
static enum tiptrue_status import_bytes(struct importing *importing, const char *file,
                                        struct tt_bytes *bytes)
{
    struct tiptrue_error error = {0};
    struct tt_diagnose diagnose;
    size_t mark = tt_byte_order_mark(bytes->text, bytes->length);
    char *text = bytes->text + mark, *end = bytes->text + bytes->length;
    enum tt_archive_kind kind = tt_archive_kind(text, end);
    enum tiptrue_status status;

    if (kind == TT_ARCHIVE_LOG) {
        size_t told = importing->told;
        status = import_log(importing, file, bytes, &error);
        settle(importing, file, 0, status, told, &error);
        return status;
    }
    tt_diagnose_init(&diagnose, &importing->counted, &error, file, text, (size_t)(end - text));
    if (!tt_text_check(&diagnose)) {
        status = TIPTRUE_E_DATA;
    } else if (kind == TT_ARCHIVE_CSV) {
        status = import_csv(importing, &diagnose);
    } else {
        status = import_json(importing, &diagnose, text, end);
    }
    tt_bytes_clear(bytes);
    return status;
}

static enum tiptrue_status note_report(struct importing *importing)
{
    if (importing->n_pending == importing->room) {
        size_t room = 2 * importing->room + 16;
        struct tiptrue_import_report *grown = realloc(importing->pending, room * sizeof *grown);
        if (grown == NULL) {
            return tt_fail_memory(importing->error);
        }
        importing->pending = grown;
        importing->room = room;
    }
    importing->pending[importing->n_pending++] = importing->report;
    return TIPTRUE_OK;
}

static enum tiptrue_status import_file(struct importing *importing, const char *path)
{
    const char *file = tt_bytes_name(path);
    struct tiptrue_error error = {0};
    struct tt_bytes bytes = {0};
    size_t told = importing->told;
    enum tiptrue_status status = tt_bytes_read(path, &bytes, &error);

    importing->report = (struct tiptrue_import_report){.path = file};
    settle(importing, file, 0, status, told, &error);
    status = status == TIPTRUE_OK ? import_bytes(importing, file, &bytes) : status;
    importing->report.status = status;
    if (!importing->ended && note_report(importing) != TIPTRUE_OK) {
        importing->ended = true;
    }
    return status;
}

enum tiptrue_status tiptrue_history_import(
    struct tiptrue_history *history, struct tiptrue_workspace *workspace, const char *const paths[],
    size_t n_paths, const struct tiptrue_import_options *options, const struct tiptrue_sink *sink,
    void (*reported)(void *context, const struct tiptrue_import_report *report), void *context,
    struct tiptrue_error *error)
{
    struct tiptrue_error own = {0};
    struct importing importing = {.history = history,
                                  .workspace = workspace,
                                  .options = options,
                                  .sink = sink,
                                  .reported = reported,
                                  .context = context,
                                  .error = error != NULL ? error : &own};
    enum tiptrue_status worst = TIPTRUE_OK;

    importing.counted = (struct tiptrue_sink){.told = count_and_tell, .context = &importing};
    tt_time_write(options->now_s, importing.now);
    for (size_t i = 0; i < n_paths && !importing.ended; i++) {
        worst = worse(worst, import_file(&importing, paths[i]));
        if (!importing.ended && (!importing.in_group || importing.puts >= GROUP / 4)) {
            enum tiptrue_status status = commit(&importing);
            worst = worse(worst, status);
            importing.ended = status != TIPTRUE_OK;
        }
    }
    if (importing.ended) {
        tt_store_rollback(history);
        worst = worse(worst, importing.error->status);
    } else {
        enum tiptrue_status status = commit(&importing);
        status = status == TIPTRUE_OK ? tt_history_catch_up(history, importing.error) : status;
        worst = worse(worst, status);
    }
    free(importing.pending);
    return worst;
}
