/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Exports of a history, back. See archive.h. */
#include "config.h"

#include "ingest/archive.h"

#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/digest.h"
#include "base/time.h"
#include "ingest/fields.h"

#define CSV_START "tiptrue_history,"

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static const char *pass_blanks(const char *at, const char *end)
{
    while (at < end && is_blank(*at)) {
        at++;
    }
    return at;
}

/* Behind the string at @at, or @end. */
static const char *pass_string(const char *at, const char *end)
{
    for (at++; at < end && *at != '"'; at++) {
        at += *at == '\\' && at + 1 < end;
    }
    return at < end ? at + 1 : end;
}

/* The string value behind the key "schema" that ends at @at. */
static void read_schema(const char *at, const char *end, char schema[], size_t size)
{
    at = pass_blanks(at, end);
    if (at < end && *at == ':') {
        at = pass_blanks(at + 1, end);
        if (at < end && *at == '"') {
            const char *behind = pass_string(at, end);
            size_t length = (size_t)(behind - at) - 1;
            length = length > 0 ? length - 1 : 0;
            length = length < size - 1 ? length : size - 1;
            memcpy(schema, at + 1, length);
            schema[length] = '\0';
        }
    }
}

const char *tt_archive_object(const char *text, const char *end, char schema[], size_t size)
{
    const char *at = pass_blanks(text, end);
    size_t depth = 0;

    schema[0] = '\0';
    if (at == end || *at != '{') {
        return NULL;
    }
    while (at < end) {
        if (*at == '"') {
            const char *behind = pass_string(at, end);
            if (depth == 1 && behind - at == 8 && memcmp(at, "\"schema\"", 8) == 0 &&
                schema[0] == '\0') {
                read_schema(behind, end, schema, size);
            }
            at = behind;
            continue;
        }
        depth += *at == '{' || *at == '[';
        depth -= *at == '}' || *at == ']';
        at++;
        if (depth == 0) {
            return at;
        }
    }
    return NULL;
}

enum tt_archive_kind tt_archive_kind(const char *text, const char *end)
{
    const char *at = pass_blanks(text, end);
    char schema[40];

    if ((size_t)(end - at) >= strlen(CSV_START) && memcmp(at, CSV_START, strlen(CSV_START)) == 0) {
        return TT_ARCHIVE_CSV;
    }
    if (at < end && *at == '{') {
        (void)tt_archive_object(at, end, schema, sizeof schema);
        return strcmp(schema, "tiptrue.run/1") == 0 || schema[0] == '\0' ? TT_ARCHIVE_LOG
                                                                         : TT_ARCHIVE_JSON;
    }
    return TT_ARCHIVE_LOG;
}

static enum tiptrue_status end_of(struct tt_fields *fields, size_t faults_before,
                                  struct tiptrue_error *error)
{
    bool out_of_memory = fields->out_of_memory || fields->json.out_of_memory;

    tt_json_clear(&fields->json);
    if (out_of_memory) {
        return tt_fail_memory(error);
    }
    return fields->diagnose->faults > faults_before ? TIPTRUE_E_DATA : TIPTRUE_OK;
}

/* JSON on one line: what stands between values is left out. */
static struct tt_text compact(struct tt_fields *fields, const char *text, const char *end)
{
    char *made = tt_arena_get(fields->arena, (size_t)(end - text) + 1, 1), *to = made;

    fields->out_of_memory = fields->out_of_memory || made == NULL;
    while (made != NULL && text < end) {
        if (*text == '"') {
            const char *behind = pass_string(text, end);
            memcpy(to, text, (size_t)(behind - text));
            to += behind - text;
            text = behind;
        } else {
            *to = *text;
            to += !is_blank(*text++);
        }
    }
    return (struct tt_text){made, made != NULL ? (size_t)(to - made) : 0};
}

static bool read_json(struct tt_fields *fields, const struct tt_member *member)
{
    const cJSON *item = tt_field(fields, member);

    if (item != NULL) {
        const struct tt_json_where *where = tt_json_where(&fields->json, item);
        struct tt_text text = compact(fields, where->value, where->end);
        memcpy(member->into + member->key->at, &text, sizeof text);
    }
    return true;
}

/* A string, which may be empty, or none. */
static struct tt_text text_of(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_text text = {0};
    if (member->item != NULL && !cJSON_IsString(member->item)) {
        tt_field_tell_form(fields, member, member->item, "a string or null");
    } else if (member->item != NULL) {
        text.length = strlen(member->item->valuestring);
        text.text = tt_arena_copy(fields->arena, member->item->valuestring);
        fields->out_of_memory = fields->out_of_memory || text.text == NULL;
    }
    return text;
}

static bool read_text(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_text text = text_of(fields, member);
    memcpy(member->into + member->key->at, &text, sizeof text);
    return true;
}

static bool read_word(struct tt_fields *fields, const struct tt_member *member)
{
    const char *word = member->key->need == TT_REQUIRED ? tt_field_text(fields, member)
                                                        : text_of(fields, member).text;

    word = word == NULL && member->key->hook == TT_STORED_NAME ? "" : word;
    memcpy(member->into + member->key->at, &word, sizeof word);
    return true;
}

/* Whether @text is a time as a history writes it. */
static bool is_time(const char *text)
{
    char written[TT_TIME_SIZE];
    double seconds;
    if (text == NULL || !tt_time_read(text, strlen(text), &seconds)) {
        return false;
    }
    tt_time_write(seconds, written);
    return strcmp(text, written) == 0;
}

static bool read_time(struct tt_fields *fields, const struct tt_member *member)
{
    const char *key = member->key->key, *text = tt_field_text(fields, member);

    if (text != NULL && !is_time(text)) {
        tt_field_fault(fields, member->item, NULL,
                       "%s: '%s' is '%s', where a time such as 2026-03-02T07:41:12Z is expected",
                       member->what, key, tt_shown_text(text).text);
        text = NULL;
    }
    memcpy(member->into + member->key->at, &text, sizeof text);
    return true;
}

static bool is_id(struct tt_text text)
{
    return text.length == TT_RUN_ID_SIZE - 1 &&
           strspn(text.text, "0123456789abcdef") == TT_RUN_ID_SIZE - 1;
}

static bool read_id(struct tt_fields *fields, const struct tt_member *member)
{
    const char *text = tt_field_text(fields, member);
    if (text != NULL && is_id((struct tt_text){text, strlen(text)})) {
        memcpy(member->into + member->key->at, text, TT_RUN_ID_SIZE);
    } else if (text != NULL) {
        tt_field_fault(fields, member->item, NULL,
                       "%s: 'id' is '%s', where 16 digits out of 0-9 and a-f are expected",
                       member->what, tt_shown_text(text).text);
    }
    return true;
}

static tt_member_reader *const hooks[TT_STORED_HOOKS] = {
    [TT_STORED_ID] = read_id,     [TT_STORED_TIME] = read_time, [TT_STORED_TEXT] = read_text,
    [TT_STORED_WORD] = read_word, [TT_STORED_NAME] = read_word, [TT_STORED_JSON] = read_json,
};

/* The results must be in the order of their dates, since the last one counts. */
static void check_order(struct tt_diagnose *diagnose, struct tt_place place,
                        const struct tt_record *record)
{
    for (size_t i = 1; i < record->n_results; i++) {
        if (strcmp(record->results[i - 1].added, record->results[i].added) > 0) {
            tt_fault(diagnose, place, NULL,
                     "the results of run %s are not in the order of their dates", record->id);
            return;
        }
    }
    if (record->n_results == 0) {
        tt_fault(diagnose, place, NULL, "run %s has no result", record->id);
    }
}

enum tiptrue_status tt_archive_read_record(struct tt_diagnose *diagnose, const char *text,
                                           const char *end, struct tt_record *record,
                                           struct tiptrue_error *error)
{
    struct tt_fields fields = {
        .diagnose = diagnose, .arena = &record->arena, .mm_per_unit = 1.0, .hooks = hooks};
    size_t faults = diagnose->faults;

    if (tt_json_read(&fields.json, diagnose, text, end, NULL) &&
        tt_field_schema(&fields, fields.json.root, "tiptrue.history/1")) {
        tt_keys_read(&fields, fields.json.root, tt_record_keys.name, &tt_record_keys, record);
        if (diagnose->faults == faults && !fields.out_of_memory) {
            check_order(diagnose, tt_json_place(&fields.json, fields.json.root), record);
        }
    }
    return end_of(&fields, faults, error);
}

enum tiptrue_status tt_archive_read_result(struct tt_diagnose *diagnose, const char *text,
                                           const char *end, struct tt_record *record,
                                           struct tiptrue_error *error)
{
    struct tt_fields fields = {.diagnose = diagnose, .arena = &record->arena, .mm_per_unit = 1.0};
    size_t faults = diagnose->faults;

    if (tt_json_read(&fields.json, diagnose, text, end, NULL)) {
        static const struct tt_key run_key = {.key = "run", .need = TT_REQUIRED},
                                   program_key = {.key = "program", .need = TT_REQUIRED},
                                   id_key = {.key = "id", .need = TT_REQUIRED},
                                   version_key = {.key = "version", .need = TT_REQUIRED};
        const struct tt_member of_run = tt_member_of(fields.json.root, "result", &run_key),
                               of_program = tt_member_of(fields.json.root, "result", &program_key);
        const cJSON *run = tt_field_object(&fields, &of_run),
                    *program = tt_field_object(&fields, &of_program);
        record->results = TT_ARENA_NEW(&record->arena, 1, struct tt_record_result);
        fields.out_of_memory = fields.out_of_memory || record->results == NULL;
        if (run != NULL && program != NULL && record->results != NULL) {
            struct tt_member id = tt_member_of(run, "run", &id_key);
            const struct tt_member version = tt_member_of(program, "program", &version_key);
            id.into = record->id;
            (void)read_id(&fields, &id);
            record->n_results = 1;
            record->results[0].version = tt_field_text(&fields, &version);
            const struct tt_json_where *where = tt_json_where(&fields.json, fields.json.root);
            record->results[0].json = compact(&fields, where->value, end);
        }
    }
    return end_of(&fields, faults, error);
}

const char *tt_archive_csv_begin(const char *text, const char *end)
{
    const char *line = memchr(text, '\n', (size_t)(end - text));
    return line != NULL ? line + 1 : end;
}

/* One cell as this program writes them: bare, or quoted with quotation marks doubled. */
static struct tt_text read_cell(struct tt_arena *arena, const char **at, const char *end,
                                bool *last, bool *failed)
{
    struct tt_text cell = {0};
    const char *from = *at;

    if (from < end && *from == '"') {
        const char *behind = from + 1;
        while (behind < end && (*behind != '"' || (behind + 1 < end && behind[1] == '"'))) {
            behind += *behind == '"' ? 2 : 1;
        }
        char *text = tt_arena_get(arena, (size_t)(behind - from), 1), *to = text;
        *failed = *failed || text == NULL || behind >= end;
        for (from++; text != NULL && from < behind; from++) {
            *to++ = *from;
            from += *from == '"';
        }
        cell = (struct tt_text){text, text != NULL ? (size_t)(to - text) : 0};
        *at = behind < end ? behind + 1 : end;
    } else {
        const char *behind = from;
        while (behind < end && *behind != ',' && *behind != '\n' && *behind != '\r') {
            behind++;
        }
        if (behind > from) {
            cell.text = tt_arena_copy_text(arena, from, (size_t)(behind - from));
            cell.length = (size_t)(behind - from);
            *failed = *failed || cell.text == NULL;
        }
        *at = behind;
    }
    *at += *at < end && **at == '\r';
    *last = *at >= end || *(*at) == '\n';
    *failed = *failed || (!*last && **at != ',');
    *at += *at < end;
    return cell;
}

/* The cells of one row; false: too few, too many, or a wrong quotation mark. */
static bool read_row(struct tt_arena *arena, const char **at, const char *end,
                     struct tt_text cells[TT_RECORD_CSV_COLUMNS])
{
    bool last = false, failed = false;
    size_t n = 0;

    while (!last && !failed) {
        struct tt_text cell = read_cell(arena, at, end, &last, &failed);
        if (n < TT_RECORD_CSV_COLUMNS) {
            cells[n] = cell;
        }
        n++;
    }
    return !failed && n == TT_RECORD_CSV_COLUMNS && cells[0].text != NULL &&
           strcmp(cells[0].text, "1") == 0;
}

#define NOT_AS_WRITTEN                                                                             \
    "export it again, or mend it by hand in a text editor",                                        \
        "this row is not as history export writes it"
/* The exports of a run as they stand in their cell; what is wrong there is told of its @row. */
static enum tiptrue_status read_exports(struct tt_diagnose *diagnose, const char *row,
                                        struct tt_text cell, struct tt_record *record,
                                        struct tiptrue_error *error)
{
    struct tt_diagnose own;
    struct tt_fields fields = {
        .diagnose = &own, .arena = &record->arena, .mm_per_unit = 1.0, .hooks = hooks};
    struct tt_buffer text = {0};

    tt_buffer_printf(&text, "{\"exports\":%.*s}", (int)cell.length, cell.text);
    fields.out_of_memory = text.failed;
    tt_diagnose_init(&own, NULL, NULL, diagnose->file, text.text, text.length);
    if (!text.failed && tt_json_read(&fields.json, &own, own.text, own.end, NULL)) {
        tt_keys_read(&fields, fields.json.root, "run", &tt_record_export_keys, record);
    }
    enum tiptrue_status status = end_of(&fields, 0, error);
    tt_buffer_clear(&text);
    if (status == TIPTRUE_E_DATA) {
        tt_fault(diagnose, tt_place_at(diagnose, row), NOT_AS_WRITTEN);
    }
    return status;
}

/* Enter a row as the next result. */
static bool add_row(const struct tt_text cells[TT_RECORD_CSV_COLUMNS], struct tt_record *record)
{
    struct tt_record_result *result =
        tt_arena_more(&record->arena, &record->results, &record->n_results, sizeof *result);

    if (result == NULL) {
        return false;
    }
    *result = (struct tt_record_result){
        .version = cells[4].text, .added = cells[5].text, .json = cells[11]};
    for (int i = 0; i < TT_DOCUMENT_KINDS; i++) {
        result->documents[i] = cells[7 + i];
    }
    return true;
}

/* What a row must have. */
static bool is_whole(const struct tt_text cells[TT_RECORD_CSV_COLUMNS])
{
    return is_id(cells[1]) && is_time(cells[2].text) && cells[4].text != NULL &&
           is_time(cells[5].text) && cells[11].text != NULL;
}

enum tiptrue_status tt_archive_read_csv(struct tt_diagnose *diagnose, const char **at, bool *more,
                                        struct tt_record *record, struct tiptrue_error *error)
{
    struct tt_text cells[TT_RECORD_CSV_COLUMNS], kept = {0};
    const char *start = *at;
    size_t faults = diagnose->faults;

    *more = *at < diagnose->end;
    while (*at < diagnose->end) {
        const char *row = *at;
        if (!read_row(&record->arena, at, diagnose->end, cells) || !is_whole(cells)) {
            tt_fault(diagnose, tt_place_at(diagnose, row), NOT_AS_WRITTEN);
            break;
        }
        if (record->n_results > 0 && strcmp(record->id, cells[1].text) != 0) {
            *at = row; /* the next run's */
            break;
        }
        if (record->n_results == 0) {
            memcpy(record->id, cells[1].text, TT_RUN_ID_SIZE);
            record->added = cells[2].text;
            record->log = cells[3];
            kept = cells[12];
        }
        if (!add_row(cells, record)) {
            return tt_fail_memory(error);
        }
    }
    if (*more && diagnose->faults == faults) {
        check_order(diagnose, tt_place_at(diagnose, start), record);
    }
    if (diagnose->faults > faults) {
        return TIPTRUE_E_DATA;
    }
    return kept.text != NULL ? read_exports(diagnose, start, kept, record, error) : TIPTRUE_OK;
}

/* What the members say together. */
static void check_board(struct tt_fields *fields, const cJSON *root,
                        const struct tt_board_record *board)
{
    struct tt_place place = tt_json_place(&fields->json, root);
    char digest[17];

    if (board->table.text == NULL || board->said.text == NULL || board->verdict == NULL) {
        tt_fault(fields->diagnose, place, NULL, "board %s has no 'table', 'said' or 'verdict'",
                 board->id);
        return;
    }
    tt_digest(board->table.text, board->table.length, digest);
    if (strcmp(digest, board->id) != 0) {
        tt_fault(fields->diagnose, place,
                 "export the board again from the history that it comes from",
                 "the table of board %s is not the one of this id, which is the digest of its "
                 "bytes: those here have %s",
                 board->id, digest);
    }
    if (strcmp(board->verdict, "keep") != 0 && strcmp(board->verdict, "update") != 0 &&
        strcmp(board->verdict, "repeat") != 0) {
        tt_fault(fields->diagnose, place, NULL,
                 "board %s: 'verdict' is none of keep, update, repeat", board->id);
    }
}

enum tiptrue_status tt_archive_read_board(struct tt_diagnose *diagnose, const char *text,
                                          const char *end, struct tt_arena *arena,
                                          struct tt_board_record *board,
                                          struct tiptrue_error *error)
{
    struct tt_fields fields = {
        .diagnose = diagnose, .arena = arena, .mm_per_unit = 1.0, .hooks = hooks};
    size_t faults = diagnose->faults;

    *board = (struct tt_board_record){.id = ""};
    if (tt_json_read(&fields.json, diagnose, text, end, NULL) &&
        tt_field_schema(&fields, fields.json.root, "tiptrue.board-record/1")) {
        const cJSON *root = fields.json.root;
        tt_keys_read(&fields, root, tt_board_record_keys.name, &tt_board_record_keys, board);
        const char *time = board->started != NULL ? board->started : board->added;
        if (time != NULL && !tt_time_read(time, strlen(time), &board->time_s)) {
            tt_field_fault(&fields, root, NULL, "board %s: 'started' is no time", board->id);
        }
        if (diagnose->faults == faults && !fields.out_of_memory) {
            check_board(&fields, root, board);
        }
    }
    return end_of(&fields, faults, error);
}
