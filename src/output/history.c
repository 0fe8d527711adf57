/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See history.h. What is exported can be imported again: every byte of logs, documents and results
 * is in it. */
#include "config.h"

#include "output/history.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "output/json/json_write.h"
#include "output/page.h"

/* Columns of the list. */
#define AT_STARTED 18
#define AT_VERDICT 40
#define AT_MACHINE 48

/* JSON that is JSON already. */
static void write_raw(struct tt_json *json, const char *key, struct tt_text value)
{
    tt_json_key(json, key);
    if (value.text == NULL) {
        tt_json_null(json);
        return;
    }
    tt_buffer_add(json->buffer, value.text, value.length);
    json->first = false;
}

static void write_result(struct tt_json *json, const struct tt_record_result *result)
{
    tt_json_open(json, '{');
    tt_json_key_text(json, "version", result->version);
    tt_json_key_text(json, "solved", result->added);
    for (int i = 0; i < TT_DOCUMENT_KINDS; i++) {
        tt_json_key_text(json, tt_document_words[i], result->documents[i].text);
    }
    write_raw(json, "result", result->json);
    tt_json_close(json, '}');
}

static void write_exports(struct tt_json *json, const struct tt_record *record)
{
    tt_json_open(json, '[');
    for (size_t i = 0; i < record->n_exports; i++) {
        const struct tt_record_export *export = &record->exports[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "time", export->time);
        tt_json_key_text(json, "file", export->file);
        tt_json_key_text(json, "old_digest", export->old_digest);
        tt_json_key_text(json, "new_digest", export->new_digest);
        write_raw(json, "old_values", export->old_values);
        write_raw(json, "new_values", export->new_values);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

void tt_output_record_json(const struct tt_record *record, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.history/1");
    tt_json_key_text(&json, "id", record->id);
    tt_json_key_text(&json, "added", record->added);
    tt_json_key_text(&json, "log", record->log.text);
    tt_json_key_open(&json, "results", '[');
    for (size_t i = 0; i < record->n_results; i++) {
        write_result(&json, &record->results[i]);
    }
    tt_json_close(&json, ']');
    tt_json_key(&json, "exports");
    write_exports(&json, record);
    tt_json_close(&json, '}');
    tt_buffer_putc(buffer, '\n');
}

/* A cell in quotation marks, doubled within; nothing at all for what is not there, so that it
 * differs from an empty text. */
static void write_cell(struct tt_buffer *buffer, struct tt_text text, char end)
{
    const char *at = text.text, *behind = at != NULL ? at + text.length : NULL;

    if (at != NULL) {
        tt_buffer_putc(buffer, '"');
        for (const char *quote;
             at < behind && (quote = memchr(at, '"', (size_t)(behind - at))) != NULL;
             at = quote + 1) {
            tt_buffer_add(buffer, at, (size_t)(quote - at) + 1);
            tt_buffer_putc(buffer, '"');
        }
        tt_buffer_add(buffer, at, (size_t)(behind - at));
        tt_buffer_putc(buffer, '"');
    }
    if (end == '\n') {
        tt_buffer_putc(buffer, '\r');
    }
    tt_buffer_putc(buffer, end);
}

static struct tt_text word(const char *text)
{
    return (struct tt_text){text, text != NULL ? strlen(text) : 0};
}

void tt_output_record_csv_header(struct tt_buffer *buffer)
{
    tt_buffer_puts(buffer, TT_RECORD_CSV_HEADER "\r\n");
}

void tt_output_record_csv(const struct tt_record *record, struct tt_buffer *buffer)
{
    struct tt_buffer exports = {0};
    struct tt_json json = {.buffer = &exports, .first = true};

    write_exports(&json, record);
    for (size_t i = 0; i < record->n_results; i++) {
        const struct tt_record_result *result = &record->results[i];
        bool first = i == 0;
        tt_buffer_puts(buffer, "1,");
        write_cell(buffer, word(record->id), ',');
        write_cell(buffer, word(record->added), ',');
        write_cell(buffer, first ? record->log : word(NULL), ',');
        write_cell(buffer, word(result->version), ',');
        write_cell(buffer, word(result->added), ',');
        write_cell(buffer, word(result->verdict), ',');
        for (int k = 0; k < TT_DOCUMENT_KINDS; k++) {
            write_cell(buffer, result->documents[k], ',');
        }
        write_cell(buffer, result->json, ',');
        write_cell(buffer,
                   first && record->n_exports > 0 ? (struct tt_text){exports.text, exports.length}
                                                  : word(NULL),
                   '\n');
    }
    buffer->failed = buffer->failed || exports.failed;
    tt_buffer_clear(&exports);
}

void tt_output_entry_json(const struct tt_record_entry *entry, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.entry/1");
    tt_json_key_text(&json, "id", entry->id);
    tt_json_key_text(&json, "started", entry->started);
    tt_json_key_text(&json, "machine", entry->machine[0] != '\0' ? entry->machine : NULL);
    tt_json_key_text(&json, "plate", entry->plate);
    tt_json_key_text(&json, "plate_serial", entry->plate_serial);
    tt_json_key_text(&json, "added", entry->added);
    tt_json_key_text(&json, "solved", entry->solved);
    tt_json_key_text(&json, "version", entry->version);
    tt_json_key_count(&json, "results", entry->results);
    tt_json_key_count(&json, "exports", entry->exports);
    tt_json_key_bool(&json, "log", entry->has_log);
    tt_json_key_text(&json, "excluded", entry->excluded);
    tt_json_key_open(&json, "tips", '[');
    for (size_t i = 0; i < entry->n_tips; i++) {
        const struct tt_record_tip *tip = &entry->tips[i];
        tt_json_open(&json, '{');
        tt_json_key_text(&json, "tip", tip->name);
        tt_json_key_xy_if(&json, "offset_mm", tip->determined, tip->x_mm, tip->determined,
                          tip->y_mm);
        tt_json_key_text(&json, "verdict", tip->verdict);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    tt_json_key_text(&json, "verdict", entry->verdict);
    tt_json_close(&json, '}');
    tt_buffer_putc(buffer, '\n');
}

void tt_output_entries_head(const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);

    tt_page_puts(&page, "run");
    tt_page_at(&page, AT_STARTED, "started");
    tt_page_at(&page, AT_VERDICT, "verdict");
    tt_page_at(&page, AT_MACHINE, "machine, plate");
    tt_page_line_end(&page);
    tt_page_end(&page);
}

/* A time that the log does not state is that of the entry, in brackets. */
void tt_output_entry_text(const struct tt_record_entry *entry,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);

    tt_page_puts(&page, entry->id);
    tt_page_tab(&page, AT_STARTED);
    tt_page_puts(&page, entry->started != NULL ? entry->started : "(");
    if (entry->started == NULL) {
        tt_page_printf(&page, "%s)", entry->added);
    }
    tt_page_tab(&page, AT_VERDICT);
    tt_page_puts(&page, entry->verdict);
    tt_page_tab(&page, AT_MACHINE);
    tt_page_printf(&page, "%s, %s", entry->machine[0] != '\0' ? entry->machine : "-",
                   entry->plate != NULL ? entry->plate : "-");
    if (entry->plate_serial != NULL) {
        tt_page_printf(&page, " %s", entry->plate_serial);
    }
    if (!entry->has_log) {
        tt_page_puts(&page, " (no log)");
    }
    tt_page_line_end(&page);
    tt_page_end(&page);
}

static void write_judgement(struct tt_json *json, const struct tt_board_record *board)
{
    tt_json_key_text(json, "id", board->id);
    tt_json_key_text(json, "started", board->started);
    tt_json_key_text(json, "machine", board->machine[0] != '\0' ? board->machine : NULL);
    tt_json_key_text(json, "added", board->added);
    tt_json_key_text(json, "judged", board->judged);
    tt_json_key_text(json, "version", board->version);
    tt_json_key_open(json, "parts", '{');
    tt_json_key_count(json, "read", board->parts_read);
    tt_json_key_count(json, "used", board->parts_used);
    tt_json_close(json, '}');
    tt_json_key_text(json, "run", board->run);
    tt_json_key_text(json, "verdict", board->verdict);
}

void tt_output_board_record_json(const struct tt_board_record *board, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.board-record/1");
    write_judgement(&json, board);
    tt_json_key_text(&json, "table", board->table.text);
    write_raw(&json, "placement", board->json);
    tt_json_key_text(&json, "said", board->said.text);
    tt_json_close(&json, '}');
    tt_buffer_putc(buffer, '\n');
}

void tt_output_board_entry_json(const struct tt_board_record *board, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.board-entry/1");
    write_judgement(&json, board);
    tt_json_close(&json, '}');
    tt_buffer_putc(buffer, '\n');
}

void tt_output_board_entry_text(const struct tt_board_record *board,
                                const struct tiptrue_text_options *options,
                                struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);

    tt_page_puts(&page, board->id);
    tt_page_tab(&page, AT_STARTED);
    tt_page_puts(&page, board->started != NULL ? board->started : "(");
    if (board->started == NULL) {
        tt_page_printf(&page, "%s)", board->added);
    }
    tt_page_tab(&page, AT_VERDICT);
    tt_page_puts(&page, board->verdict);
    tt_page_tab(&page, AT_MACHINE);
    tt_page_printf(&page, "%s, board of %zu parts",
                   board->machine[0] != '\0' ? board->machine : "-", board->parts_used);
    tt_page_line_end(&page);
    tt_page_end(&page);
}
