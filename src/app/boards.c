/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Boards on their way into a history and out of it. */
#include "config.h"

#include "app/weeks.h"

#include <stdio.h>
#include <string.h>

#include "base/buffer.h"
#include "base/time.h"
#include "history/series/trend.h"
#include "ingest/diagnose.h"
#include "model/board.h"
#include "model/placement.h"
#include "output/output.h"
#include "output/verdict.h"

static void tell_outcome(const struct tiptrue_sink *sink, const struct tiptrue_board *board,
                         const struct tt_board_outcome *outcome)
{
    char text[200];

    if (outcome->is_new) {
        return;
    }
    snprintf(text, sizeof text,
             outcome->judged_anew ? "board %s is in the history already, since %s; this judgement "
                                    "replaces the one there was"
                                  : "board %s is in the history already, since %s, and nothing was "
                                    "written",
             board->id, outcome->since);
    tt_tell(sink, &(struct tiptrue_diagnostic){
                      .severity = TIPTRUE_NOTE, .file = board->file, .text = text});
}

enum tiptrue_status tiptrue_history_add_board(struct tiptrue_history *history,
                                              const struct tiptrue_board *board,
                                              const struct tiptrue_placement *placement,
                                              double now_s, const struct tiptrue_sink *sink,
                                              struct tiptrue_error *error)
{
    char now[TT_TIME_SIZE], started[TT_TIME_SIZE];
    struct tt_buffer json = {0}, said = {0};
    struct tt_board_outcome outcome;
    struct tt_board_record record = {.machine = placement->machine,
                                     .added = now,
                                     .judged = now,
                                     .version = PACKAGE_VERSION,
                                     .verdict = tt_verdict_word(placement->verdict),
                                     .run =
                                         placement->joined != NULL ? placement->joined->run : NULL,
                                     .time_s = now_s,
                                     .parts_read = placement->parts_read,
                                     .parts_used = placement->parts_used,
                                     .table = {board->source.text, board->source.length}};
    tt_time_write(now_s, now);
    if (board->started != NULL &&
        tt_time_read(board->started, strlen(board->started), &record.time_s)) {
        tt_time_write(record.time_s, started);
        record.started = started;
    }
    memcpy(record.id, board->id, sizeof record.id);
    tt_output_placement_json(placement, &json);
    tt_output_placement_text(placement, NULL, &said);
    enum tiptrue_status status = json.failed || said.failed ? tt_fail_memory(error) : TIPTRUE_OK;
    if (status == TIPTRUE_OK) {
        record.json = (struct tt_text){json.text, json.length};
        record.said = (struct tt_text){said.text, said.length};
        status = tt_store_put_board(history, &record, &outcome, error);
    }
    if (status == TIPTRUE_OK) {
        tell_outcome(sink, board, &outcome);
    }
    tt_buffer_clear(&json);
    tt_buffer_clear(&said);
    return status;
}

enum tiptrue_status tiptrue_history_find_any(struct tiptrue_history *history, const char *text,
                                             char id[TIPTRUE_RUN_ID_SIZE], bool *board,
                                             struct tiptrue_error *error)
{
    struct tiptrue_error why = {0};
    char other[TIPTRUE_RUN_ID_SIZE];
    enum tiptrue_status of_run = tiptrue_history_find(history, text, id, error);

    *board = false;
    if (of_run != TIPTRUE_OK && of_run != TIPTRUE_E_NO_INPUT) {
        return of_run;
    }
    enum tiptrue_status of_board = tt_store_find_board(history, text, other, &why);
    if (of_board == TIPTRUE_E_NO_INPUT) {
        return of_run;
    }
    if (of_board == TIPTRUE_OK && of_run == TIPTRUE_OK) {
        return tt_fail(
            error, TIPTRUE_E_USAGE, tt_store_path(history), 0, 0, "name more of its digits",
            "a run and a board have an id that begins with '%s': %s, %s", text, id, other);
    }
    if (of_board != TIPTRUE_OK) {
        return tt_fail(error, of_board, tt_store_path(history), 0, 0,
                       why.hint[0] != '\0' ? why.hint : NULL, "%s", why.text);
    }
    if (error != NULL) {
        *error = (struct tiptrue_error){0};
    }
    memcpy(id, other, TIPTRUE_RUN_ID_SIZE);
    *board = true;
    return TIPTRUE_OK;
}

enum tiptrue_status tiptrue_history_get_board(struct tiptrue_history *history, const char *id,
                                              enum tiptrue_board_part part, char **text,
                                              size_t *length, struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tt_board_record record;
    struct tt_buffer buffer = {0};
    enum tiptrue_status status = tt_store_load_board(history, id, &arena, &record, error);

    if (status == TIPTRUE_OK) {
        const struct tt_text *const parts[] = {[TIPTRUE_BOARD_SAID] = &record.said,
                                               [TIPTRUE_BOARD_JSON] = &record.json,
                                               [TIPTRUE_BOARD_TABLE] = &record.table};
        tt_buffer_add(&buffer, parts[part]->text, parts[part]->length);
        status = tt_buffer_hand_over(&buffer, text, length, error);
    }
    tt_arena_clear(&arena);
    return status;
}

static enum tiptrue_verdict verdict_of(const char *word)
{
    for (int v = TIPTRUE_KEEP; v < TIPTRUE_REPEAT; v++) {
        if (strcmp(word, tt_verdict_word((enum tiptrue_verdict)v)) == 0) {
            return (enum tiptrue_verdict)v;
        }
    }
    return TIPTRUE_REPEAT;
}

static enum tiptrue_status add_event(void *context, const struct tt_board_record *board)
{
    const struct tt_trend_event event = {.code = TT_EVENT_PLACEMENT,
                                         .time_s = board->time_s,
                                         .id = board->run,
                                         .what = board->id,
                                         .parts = board->parts_used,
                                         .verdict = verdict_of(board->verdict)};

    return tt_trend_add_event(context, &event) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

enum tiptrue_status tt_history_boards(struct tiptrue_history *history, struct tiptrue_trend *trend,
                                      const struct tt_store_query *query,
                                      struct tiptrue_error *error)
{
    const struct tt_store_query wanted = {.machine = trend->machine,
                                          .has_since = true,
                                          .since_s = trend->first_s,
                                          .has_until = query != NULL && query->has_until,
                                          .until_s = query != NULL ? query->until_s : 0};
    enum tiptrue_status status = tt_store_boards(history, &wanted, add_event, trend, error);

    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : status;
}

struct looking {
    struct tt_last_board *latest, *confirmed;
};

static enum tiptrue_status note_board(void *context, const struct tt_board_record *board)
{
    const struct looking *looking = context;
    struct tt_last_board *latest = looking->latest;

    memcpy(latest->id, board->id, sizeof latest->id);
    latest->time_s = board->time_s;
    latest->parts = board->parts_used;
    latest->verdict = verdict_of(board->verdict);
    if (latest->verdict == TIPTRUE_KEEP) {
        *looking->confirmed = *latest;
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_history_last_boards(struct tiptrue_history *history, const char *machine,
                                           double now_s, struct tt_last_board *latest,
                                           struct tt_last_board *confirmed,
                                           struct tiptrue_error *error)
{
    const struct tt_store_query query = {
        .machine = machine, .has_until = true, .until_s = now_s + TT_CLOCK_DIFFERENCE_S};
    struct looking looking = {latest, confirmed};

    *latest = *confirmed = (struct tt_last_board){.id = ""};
    return tt_store_boards(history, &query, note_board, &looking, error);
}
