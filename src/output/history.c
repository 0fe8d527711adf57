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

static void write_id(struct tt_json *json, const struct tt_key *key, const void *from)
{
    tt_json_key_text(json, key->key, (const char *)from + key->at);
}

/* A text, or what begins with one. */
static void write_text(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const char *text;

    memcpy(&text, (const char *)from + key->at, sizeof text);
    tt_json_key_text(json, key->key, key->hook == TT_STORED_NAME && text[0] == '\0' ? NULL : text);
}

/* JSON that is JSON already. */
static void write_raw(struct tt_json *json, const struct tt_key *key, const void *from)
{
    struct tt_text value;

    memcpy(&value, (const char *)from + key->at, sizeof value);
    if (tt_json_key_if(json, key->key, value.text != NULL)) {
        tt_buffer_add(json->buffer, value.text, value.length);
        json->first = false;
    }
}

static tt_member_writer *const writers[TT_STORED_HOOKS] = {
    [TT_STORED_ID] = write_id,     [TT_STORED_TIME] = write_text, [TT_STORED_TEXT] = write_text,
    [TT_STORED_WORD] = write_text, [TT_STORED_NAME] = write_text, [TT_STORED_JSON] = write_raw,
};

/* A line: the object @from, which is of @schema, by @keys. */
static void write_line(const char *schema, const struct tt_keys *keys, const void *from,
                       struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, schema);

    json.hooks = writers;
    tt_json_keys(&json, keys, from);
    tt_json_close(&json, '}');
    tt_buffer_putc(buffer, '\n');
}

void tt_output_record_json(const struct tt_record *record, struct tt_buffer *buffer)
{
    write_line("tiptrue.history/1", &tt_record_keys, record, buffer);
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
    struct tt_json json = {.buffer = &exports, .first = true, .hooks = writers};

    tt_json_value_of(&json, &tt_record_export_keys.list[0], record);
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
    write_line("tiptrue.entry/1", &tt_record_entry_keys, entry, buffer);
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

/* What the lines of a run and of a board have in common, up to the machine. A time that the log
 * does not state is that of the entry, in brackets. */
static void begin_entry(struct tt_page *page, const char *id, const char *started,
                        const char *added, const char *verdict, const char *machine)
{
    tt_page_puts(page, id);
    tt_page_tab(page, AT_STARTED);
    tt_page_puts(page, started != NULL ? started : "(");
    if (started == NULL) {
        tt_page_printf(page, "%s)", added);
    }
    tt_page_tab(page, AT_VERDICT);
    tt_page_puts(page, verdict);
    tt_page_tab(page, AT_MACHINE);
    tt_page_puts(page, machine[0] != '\0' ? machine : "-");
}

void tt_output_entry_text(const struct tt_record_entry *entry,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);

    begin_entry(&page, entry->id, entry->started, entry->added, entry->verdict, entry->machine);
    tt_page_printf(&page, ", %s", entry->plate != NULL ? entry->plate : "-");
    if (entry->plate_serial != NULL) {
        tt_page_printf(&page, " %s", entry->plate_serial);
    }
    if (!entry->has_log) {
        tt_page_puts(&page, " (no log)");
    }
    tt_page_line_end(&page);
    tt_page_end(&page);
}

void tt_output_board_record_json(const struct tt_board_record *board, struct tt_buffer *buffer)
{
    write_line("tiptrue.board-record/1", &tt_board_record_keys, board, buffer);
}

void tt_output_board_entry_json(const struct tt_board_record *board, struct tt_buffer *buffer)
{
    write_line("tiptrue.board-entry/1", &tt_board_entry_keys, board, buffer);
}

void tt_output_board_entry_text(const struct tt_board_record *board,
                                const struct tiptrue_text_options *options,
                                struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);

    begin_entry(&page, board->id, board->started, board->added, board->verdict, board->machine);
    tt_page_printf(&page, ", board of %zu parts", board->parts_used);
    tt_page_line_end(&page);
    tt_page_end(&page);
}
