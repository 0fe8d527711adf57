/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a history gives out: its list, ids, exports. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "app/history_care.h"
#include "history/store/store.h"
#include "output/history.h"
#include "tiptrue.h"

/* Writing while reading. */
struct out {
    struct tiptrue_history *history;
    const struct tiptrue_writer *writer;
    const struct tiptrue_text_options *options;
    bool json, csv;
    struct tt_buffer buffer;
    struct tiptrue_error *error;
    char (*ids)[TT_RUN_ID_SIZE];
    size_t n_ids, room;
    size_t skip, seen;             /* of a list: entries that are passed over, that there were */
    struct tt_arena arena;         /* of the boards */
    struct tt_board_record *board; /* in order of time */
    size_t n_boards, next_board;
};

/* Hand what is in the buffer to the writer. */
static enum tiptrue_status flush(struct out *out)
{
    enum tiptrue_status status;

    if (out->buffer.failed) {
        return tt_fail_memory(out->error);
    }
    status = out->buffer.length > 0
                 ? out->writer->write(out->writer->context, out->buffer.text, out->buffer.length)
                 : TIPTRUE_OK;
    tt_buffer_reset(&out->buffer);
    return status == TIPTRUE_OK
               ? status
               : tt_fail(out->error, status, NULL, 0, 0, NULL, "the output could not be written");
}

static enum tiptrue_status count_entry(void *context, const struct tt_record_entry *entry)
{
    size_t *n = context;

    (void)entry;
    ++*n;
    return TIPTRUE_OK;
}

static enum tiptrue_status note_board(void *context, const struct tt_board_record *board)
{
    struct out *out = context;
    struct tt_board_record *to =
        tt_arena_more(&out->arena, &out->board, &out->n_boards, sizeof *to);

    if (to == NULL) {
        return tt_fail_memory(out->error);
    }
    *to = *board;
    return tt_board_record_keep(to, &out->arena) ? TIPTRUE_OK : tt_fail_memory(out->error);
}

/* The boards before @time_s that are still to be listed. */
static void list_boards(struct out *out, double time_s)
{
    while (out->next_board < out->n_boards && out->board[out->next_board].time_s < time_s) {
        const struct tt_board_record *board = &out->board[out->next_board++];
        if (out->json) {
            tt_output_board_entry_json(board, &out->buffer);
        } else {
            tt_output_board_entry_text(board, out->options, &out->buffer);
        }
    }
}

static enum tiptrue_status list_entry(void *context, const struct tt_record_entry *entry)
{
    struct out *out = context;

    if (out->seen++ < out->skip) {
        while (out->next_board < out->n_boards &&
               out->board[out->next_board].time_s <= entry->time_s) {
            out->next_board++; /* with --runs the boards since the first of them */
        }
        return TIPTRUE_OK;
    }
    list_boards(out, entry->time_s);
    if (out->json) {
        tt_output_entry_json(entry, &out->buffer);
    } else {
        tt_output_entry_text(entry, out->options, &out->buffer);
    }
    return flush(out);
}

enum tiptrue_status tiptrue_history_list(struct tiptrue_history *history,
                                         const struct tiptrue_history_query *query, bool json,
                                         const struct tiptrue_text_options *options,
                                         const struct tiptrue_writer *writer,
                                         struct tiptrue_error *error)
{
    struct tt_store_query wanted;
    struct out out = {
        .history = history, .writer = writer, .options = options, .json = json, .error = error};
    enum tiptrue_status status = tt_history_query(history, query, &wanted, error);

    if (status == TIPTRUE_OK) {
        status = tt_history_known(history, wanted.machine, error);
    }
    if (status == TIPTRUE_OK && query != NULL && query->runs > 0) {
        status = tt_store_list(history, &wanted, count_entry, &out.skip, error);
        out.skip = out.skip > query->runs ? out.skip - query->runs : 0;
    }
    if (status == TIPTRUE_OK && !json) {
        tt_output_entries_head(options, &out.buffer);
        status = flush(&out);
    }
    if (status == TIPTRUE_OK) {
        status = tt_store_boards(history, &wanted, note_board, &out, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_store_list(history, &wanted, list_entry, &out, error);
    }
    if (status == TIPTRUE_OK) {
        list_boards(&out, HUGE_VAL);
        status = flush(&out);
    }
    tt_arena_clear(&out.arena);
    tt_buffer_clear(&out.buffer);
    return status;
}

static enum tiptrue_status note_id(void *context, const struct tt_record_entry *entry)
{
    struct out *out = context;

    if (out->n_ids == out->room) {
        size_t room = 2 * out->room + 64;
        char(*grown)[TT_RUN_ID_SIZE] = realloc(out->ids, room * sizeof *grown);
        if (grown == NULL) {
            return tt_fail_memory(out->error);
        }
        out->ids = grown;
        out->room = room;
    }
    memcpy(out->ids[out->n_ids++], entry->id, TT_RUN_ID_SIZE);
    return TIPTRUE_OK;
}

enum tiptrue_status tiptrue_history_ids(struct tiptrue_history *history,
                                        const struct tiptrue_history_query *query,
                                        char (**ids)[TIPTRUE_RUN_ID_SIZE], size_t *n,
                                        struct tiptrue_error *error)
{
    struct tt_store_query wanted;
    struct out out = {.history = history, .error = error};
    enum tiptrue_status status = tt_history_query(history, query, &wanted, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_list(history, &wanted, note_id, &out, error);
    }
    if (status == TIPTRUE_OK) {
        *ids = out.ids;
        *n = out.n_ids;
    } else {
        free(out.ids);
    }
    return status;
}

static enum tiptrue_status export_run(struct out *out, const char *id)
{
    struct tt_record record = {0};
    enum tiptrue_status status = tt_store_load(out->history, id, false, &record, out->error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    if (out->csv) {
        tt_output_record_csv(&record, &out->buffer);
    } else {
        tt_output_record_json(&record, &out->buffer);
    }
    tt_record_clear(&record);
    return flush(out);
}

static enum tiptrue_status export_board(struct out *out, const char *id)
{
    struct tt_arena arena = {0};
    struct tt_board_record record;
    enum tiptrue_status status = tt_store_load_board(out->history, id, &arena, &record, out->error);

    if (status == TIPTRUE_OK) {
        tt_output_board_record_json(&record, &out->buffer);
        status = flush(out);
    }
    tt_arena_clear(&arena);
    return status;
}

enum tiptrue_status tiptrue_history_export(struct tiptrue_history *history,
                                           const struct tiptrue_history_query *query, bool csv,
                                           const struct tiptrue_writer *writer,
                                           struct tiptrue_error *error)
{
    struct tt_store_query wanted;
    struct out out = {.history = history, .writer = writer, .csv = csv, .error = error};
    enum tiptrue_status status = tt_history_query(history, query, &wanted, error);

    if (status == TIPTRUE_OK) {
        status = tt_store_begin_reading(history, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_store_list(history, &wanted, note_id, &out, error);
        if (status == TIPTRUE_OK && csv) {
            tt_output_record_csv_header(&out.buffer);
            status = flush(&out);
        }
        for (size_t i = 0; i < out.n_ids && status == TIPTRUE_OK; i++) {
            status = export_run(&out, out.ids[i]);
        }
        if (status == TIPTRUE_OK && !csv) {
            status = tt_store_boards(history, &wanted, note_board, &out, error);
        }
        for (size_t i = 0; i < out.n_boards && status == TIPTRUE_OK; i++) {
            status = export_board(&out, out.board[i].id);
        }
        tt_store_rollback(history);
    }
    tt_arena_clear(&out.arena);
    free(out.ids);
    tt_buffer_clear(&out.buffer);
    return status;
}
