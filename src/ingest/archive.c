/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Exports of a history, back. See archive.h. */
#include "config.h"

#include "ingest/archive.h"

#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/time.h"
#include "ingest/fields.h"
#include "ingest/archive_parts.h"

#define CSV_START "tiptrue_history,"
#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const char *pass_blanks(const char *at, const char *end)
{
    while (at < end && (*at == ' ' || *at == '\t' || *at == '\r' || *at == '\n')) {
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
        if (*at == '}' || *at == ']') {
            depth--;
        }
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

enum tiptrue_status tt_archive_end_of(struct tt_fields *fields, size_t faults_before,
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
            bool blank = *text == ' ' || *text == '\t' || *text == '\r' || *text == '\n';
            *to = *text++;
            to += !blank;
        }
    }
    return (struct tt_text){made, made != NULL ? (size_t)(to - made) : 0};
}

struct tt_text tt_archive_compact_member(struct tt_fields *fields, const cJSON *object,
                                         const char *what, const char *key, enum tt_need need)
{
    const cJSON *item = tt_field(fields, object, what, key, need);

    if (item == NULL) {
        return (struct tt_text){0};
    }
    const struct tt_json_where *where = tt_json_where(&fields->json, item);
    return compact(fields, where->value, where->end);
}

struct tt_text tt_archive_text_member(struct tt_fields *fields, const cJSON *object,
                                      const char *what, const char *key)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    struct tt_text text = {0};

    if (item == NULL || cJSON_IsNull(item)) {
        return text;
    }
    if (!cJSON_IsString(item)) {
        tt_field_tell_form(fields, item, what, key, "a string or null");
        return text;
    }
    text.length = strlen(item->valuestring);
    text.text = tt_arena_copy_text(fields->arena, item->valuestring, text.length);
    fields->out_of_memory = fields->out_of_memory || text.text == NULL;
    return text;
}

const char *tt_archive_time_member(struct tt_fields *fields, const cJSON *object, const char *what,
                                   const char *key)
{
    const char *text = tt_field_text(fields, object, what, key, TT_REQUIRED);
    char written[TT_TIME_SIZE];
    double seconds;

    if (text == NULL) {
        return NULL;
    }
    if (tt_time_read(text, strlen(text), &seconds)) {
        tt_time_write(seconds, written);
        if (strcmp(text, written) == 0) {
            return text;
        }
    }
    tt_field_fault(fields, cJSON_GetObjectItemCaseSensitive(object, key), NULL,
                   "%s: '%s' is '%s', where a time such as 2026-03-02T07:41:12Z is expected", what,
                   key, tt_shown_text(text).text);
    return NULL;
}

void tt_archive_read_id(struct tt_fields *fields, const cJSON *object, const char *what,
                        char id[TT_RUN_ID_SIZE])
{
    const char *text = tt_field_text(fields, object, what, "id", TT_REQUIRED);

    if (text == NULL) {
        return;
    }
    if (strlen(text) == TT_RUN_ID_SIZE - 1 &&
        strspn(text, "0123456789abcdef") == TT_RUN_ID_SIZE - 1) {
        memcpy(id, text, TT_RUN_ID_SIZE);
        return;
    }
    tt_field_fault(fields, cJSON_GetObjectItemCaseSensitive(object, "id"), NULL,
                   "%s: 'id' is '%s', where 16 digits out of 0-9 and a-f are expected", what,
                   tt_shown_text(text).text);
}

static void read_result(struct tt_fields *fields, const cJSON *element, void *to)
{
    struct tt_record_result *result = to;
    static const char *const known[] = {"version", "solved",  "plate", "machine",
                                        "plan",    "pattern", "result"};

    tt_field_unknown(fields, element, "result", known, COUNT(known));
    result->version = tt_field_text(fields, element, "result", "version", TT_REQUIRED);
    result->added = tt_archive_time_member(fields, element, "result", "solved");
    for (int i = 0; i < TT_DOCUMENT_KINDS; i++) {
        result->documents[i] =
            tt_archive_text_member(fields, element, "result", tt_document_words[i]);
    }
    result->json = tt_archive_compact_member(fields, element, "result", "result", TT_REQUIRED);
}

static void read_export(struct tt_fields *fields, const cJSON *element, void *to)
{
    struct tt_record_export *export = to;
    static const char *const known[] = {"time",       "file",       "old_digest",
                                        "new_digest", "old_values", "new_values"};

    tt_field_unknown(fields, element, "export", known, COUNT(known));
    export->time = tt_archive_time_member(fields, element, "export", "time");
    export->file = tt_field_text(fields, element, "export", "file", TT_REQUIRED);
    export->old_digest = tt_archive_text_member(fields, element, "export", "old_digest").text;
    export->new_digest = tt_archive_text_member(fields, element, "export", "new_digest").text;
    export->old_values =
        tt_archive_compact_member(fields, element, "export", "old_values", TT_OPTIONAL);
    export->new_values =
        tt_archive_compact_member(fields, element, "export", "new_values", TT_OPTIONAL);
}

/* The elements of the array @key, each @size bytes, read by @read; their number in *n. */
static void *read_elements(struct tt_fields *fields, const cJSON *array, const char *what,
                           size_t size,
                           void (*read)(struct tt_fields *fields, const cJSON *element, void *to),
                           size_t *n)
{
    size_t count = array != NULL ? (size_t)cJSON_GetArraySize(array) : 0;
    char *made = tt_arena_get(fields->arena, count, size);

    *n = 0;
    fields->out_of_memory = fields->out_of_memory || made == NULL;
    for (const cJSON *element = count > 0 ? array->child : NULL; element != NULL && made != NULL;
         element = element->next) {
        if (!cJSON_IsObject(element)) {
            tt_field_fault(fields, element, NULL, "%s is not an object {...}", what);
        } else {
            read(fields, element, made + size * (*n)++);
        }
    }
    return made;
}

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
    static const char *const known[] = {"schema", "id", "added", "log", "results", "exports"};
    struct tt_fields fields = {.diagnose = diagnose, .arena = &record->arena, .mm_per_unit = 1.0};
    size_t faults = diagnose->faults;

    if (tt_json_read(&fields.json, diagnose, text, end, NULL) &&
        tt_field_schema(&fields, fields.json.root, "tiptrue.history/1")) {
        const cJSON *root = fields.json.root;
        tt_field_unknown(&fields, root, "run", known, COUNT(known));
        tt_archive_read_id(&fields, root, "run", record->id);
        record->added = tt_archive_time_member(&fields, root, "run", "added");
        record->log = tt_archive_text_member(&fields, root, "run", "log");
        record->results =
            read_elements(&fields, tt_field_array(&fields, root, "run", "results", TT_REQUIRED),
                          "a result", sizeof *record->results, read_result, &record->n_results);
        record->exports =
            read_elements(&fields, tt_field_array(&fields, root, "run", "exports", TT_OPTIONAL),
                          "an export", sizeof *record->exports, read_export, &record->n_exports);
        if (diagnose->faults == faults && !fields.out_of_memory) {
            check_order(diagnose, tt_json_place(&fields.json, root), record);
        }
    }
    return tt_archive_end_of(&fields, faults, error);
}

enum tiptrue_status tt_archive_read_result(struct tt_diagnose *diagnose, const char *text,
                                           const char *end, struct tt_record *record,
                                           struct tiptrue_error *error)
{
    struct tt_fields fields = {.diagnose = diagnose, .arena = &record->arena, .mm_per_unit = 1.0};
    size_t faults = diagnose->faults;

    if (tt_json_read(&fields.json, diagnose, text, end, NULL)) {
        const cJSON *run = tt_field_object(&fields, fields.json.root, "result", "run", TT_REQUIRED);
        const cJSON *program =
            tt_field_object(&fields, fields.json.root, "result", "program", TT_REQUIRED);
        record->results = TT_ARENA_NEW(&record->arena, 1, struct tt_record_result);
        fields.out_of_memory = fields.out_of_memory || record->results == NULL;
        if (run != NULL && program != NULL && record->results != NULL) {
            tt_archive_read_id(&fields, run, "run", record->id);
            record->n_results = 1;
            record->results[0].version =
                tt_field_text(&fields, program, "program", "version", TT_REQUIRED);
            const struct tt_json_where *where = tt_json_where(&fields.json, fields.json.root);
            record->results[0].json = compact(&fields, where->value, end);
        }
    }
    return tt_archive_end_of(&fields, faults, error);
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

/* The exports of a run as they stand in their cell. */
static enum tiptrue_status read_exports(struct tt_diagnose *diagnose, struct tt_text cell,
                                        struct tt_record *record, struct tiptrue_error *error)
{
    struct tt_diagnose own;
    struct tt_fields fields = {.diagnose = &own, .arena = &record->arena, .mm_per_unit = 1.0};
    struct tt_buffer text = {0};

    tt_buffer_puts(&text, "{\"exports\":");
    tt_buffer_add(&text, cell.text, cell.length);
    tt_buffer_puts(&text, "}");
    if (text.failed) {
        tt_buffer_clear(&text);
        return tt_fail_memory(error);
    }
    tt_diagnose_init(&own, diagnose->sink, diagnose->error, diagnose->file, text.text, text.length);
    if (tt_json_read(&fields.json, &own, text.text, text.text + text.length, NULL)) {
        record->exports = read_elements(
            &fields, tt_field_array(&fields, fields.json.root, "run", "exports", TT_REQUIRED),
            "an export", sizeof *record->exports, read_export, &record->n_exports);
    }
    enum tiptrue_status status = tt_archive_end_of(&fields, 0, error);
    tt_buffer_clear(&text);
    return status;
}

/* Enter a row as the next result. */
static bool add_row(const struct tt_text cells[TT_RECORD_CSV_COLUMNS], struct tt_record *record)
{
    struct tt_record_result *grown =
        tt_arena_grow(&record->arena, record->results, record->n_results + 1, sizeof *grown);

    if (grown == NULL) {
        return false;
    }
    record->results = grown;
    struct tt_record_result *result = &record->results[record->n_results++];
    *result = (struct tt_record_result){
        .version = cells[4].text, .added = cells[5].text, .json = cells[11]};
    for (int i = 0; i < TT_DOCUMENT_KINDS; i++) {
        result->documents[i] = cells[7 + i];
    }
    return true;
}

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

/* What a row must have. */
static bool is_whole(const struct tt_text cells[TT_RECORD_CSV_COLUMNS])
{
    return cells[1].length == TT_RUN_ID_SIZE - 1 &&
           strspn(cells[1].text, "0123456789abcdef") == TT_RUN_ID_SIZE - 1 &&
           is_time(cells[2].text) && cells[4].text != NULL && is_time(cells[5].text) &&
           cells[11].text != NULL;
}

enum tiptrue_status tt_archive_read_csv(struct tt_diagnose *diagnose, const char **at, bool *more,
                                        struct tt_record *record, struct tiptrue_error *error)
{
    struct tt_text cells[TT_RECORD_CSV_COLUMNS], exports = {0};
    const char *start = *at;
    size_t faults = diagnose->faults;

    *more = *at < diagnose->end;
    while (*at < diagnose->end) {
        const char *row = *at;
        if (!read_row(&record->arena, at, diagnose->end, cells) || !is_whole(cells)) {
            tt_fault(diagnose, tt_place_at(diagnose, row),
                     "export it again, or mend it by hand in a text editor",
                     "this row is not as history export writes it");
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
            exports = cells[12];
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
    return exports.text != NULL ? read_exports(diagnose, exports, record, error) : TIPTRUE_OK;
}
