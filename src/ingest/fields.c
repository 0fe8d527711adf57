/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Numbers are read from the file's own text, so that they pass base/number.c as all others do. */
#include "config.h"

#include "ingest/fields.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "ingest/bytes.h"
#include "ingest/names.h"
#include "ingest/units.h"

static const char A_NUMBER[] = "a number";

static size_t value_length(const struct tt_json_where *where)
{
    return (size_t)(where->end - where->value);
}

struct tt_shown tt_field_shown(const struct tt_fields *fields, const cJSON *item)
{
    const struct tt_json_where *where = tt_json_where(&fields->json, item);

    return tt_shown(where->value, value_length(where));
}

void tt_field_fault(struct tt_fields *fields, const cJSON *item, const char *hint,
                    const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    tt_fault_list(fields->diagnose, tt_json_place(&fields->json, item), hint, format, arguments);
    va_end(arguments);
}

void tt_field_tell_form(struct tt_fields *fields, const cJSON *item, const char *what,
                        const char *key, const char *expected)
{
    const char *hint = cJSON_IsString(item) && expected == A_NUMBER
                           ? "write numbers without quotation marks"
                           : NULL;
    tt_field_fault(fields, item, hint, "%s: '%s' is %s, and %s is expected", what, key,
                   tt_field_shown(fields, item).text, expected);
}

const cJSON *tt_field(struct tt_fields *fields, const cJSON *object, const char *what,
                      const char *key, enum tt_need need)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    if (item != NULL && !cJSON_IsNull(item)) {
        return item;
    }
    if (need == TT_REQUIRED) {
        tt_field_fault(fields, item != NULL ? item : object, NULL, "%s: '%s' is missing", what,
                       key);
    }
    return NULL;
}

void tt_field_unknown(struct tt_fields *fields, const cJSON *object, const char *what,
                      const char *const known[], size_t n)
{
    for (const cJSON *member = object->child; member != NULL; member = member->next) {
        size_t i = 0;
        if (tt_diagnose_is_full_of_warnings(fields->diagnose)) {
            return;
        }
        while (i < n && strcmp(member->string, known[i]) != 0) {
            i++;
        }
        if (i == n) {
            char hint[TT_HINT_SIZE];
            size_t length = strlen(member->string);
            tt_names_hint(known, n, "fields", member->string, length, hint);
            tt_warn(fields->diagnose, tt_json_key_place(&fields->json, member), hint,
                    "%s: unknown field '%s' is not used", what,
                    tt_shown(member->string, length).text);
        }
    }
}

const char *tt_field_text(struct tt_fields *fields, const cJSON *object, const char *what,
                          const char *key, enum tt_need need)
{
    const cJSON *item = tt_field(fields, object, what, key, need);
    if (item == NULL) {
        return NULL;
    }
    if (!cJSON_IsString(item)) {
        tt_field_tell_form(fields, item, what, key, "a string");
        return NULL;
    }
    if (item->valuestring[0] == '\0') {
        tt_field_fault(fields, item, NULL, "%s: '%s' is empty", what, key);
        return NULL;
    }
    const char *text = tt_arena_copy(fields->arena, item->valuestring);
    fields->out_of_memory = fields->out_of_memory || text == NULL;
    return text;
}

/* The number @item in bounds that hold for it times @unit. */
static bool read_number(struct tt_fields *fields, const cJSON *item, const char *what,
                        const char *key, double unit, const struct tt_bounds *bounds, double *value)
{
    const struct tt_json_where *where = tt_json_where(&fields->json, item);
    double number = 0.0;
    if (!cJSON_IsNumber(item) ||
        tt_number_read(where->value, value_length(where), '.', &number, NULL) != TT_NUMBER_OK) {
        tt_field_tell_form(fields, item, what, key, A_NUMBER);
        return false;
    }
    number *= unit;
    if (number < bounds->lowest || number > bounds->highest ||
        (bounds->above && number <= bounds->lowest)) {
        tt_field_fault(fields, item, bounds->hint, "%s: '%s' cannot be %s", what, key,
                       tt_field_shown(fields, item).text);
        return false;
    }
    *value = number;
    return true;
}

bool tt_field_number(struct tt_fields *fields, const cJSON *object, const char *what,
                     const char *key, enum tt_need need, const struct tt_bounds *bounds,
                     double *value)
{
    const cJSON *item = tt_field(fields, object, what, key, need);
    return item != NULL && read_number(fields, item, what, key, 1.0, bounds, value);
}

bool tt_field_length(struct tt_fields *fields, const cJSON *object, const char *what,
                     const char *key, enum tt_need need, const struct tt_bounds *bounds,
                     double *value_mm)
{
    const cJSON *item = tt_field(fields, object, what, key, need);
    return item != NULL &&
           read_number(fields, item, what, key, fields->mm_per_unit, bounds, value_mm);
}

/* Both numbers of the array @item, times @factor, or neither. */
static bool read_pair(struct tt_fields *fields, const cJSON *item, const char *what,
                      const char *key, double factor, const struct tt_bounds *bounds,
                      double pair[2])
{
    double first = 0.0, second = 0.0;
    bool good = read_number(fields, item->child, what, key, factor, bounds, &first);
    good = read_number(fields, item->child->next, what, key, factor, bounds, &second) && good;
    if (good) {
        pair[0] = first;
        pair[1] = second;
    }
    return good;
}

/* The member @key, an array of two, or NULL (told, as @form, where it is something else). */
static const cJSON *pair_at(struct tt_fields *fields, const cJSON *object, const char *what,
                            const char *key, enum tt_need need, const char *form)
{
    const cJSON *item = tt_field(fields, object, what, key, need);
    if (item != NULL && (!cJSON_IsArray(item) || cJSON_GetArraySize(item) != 2)) {
        tt_field_tell_form(fields, item, what, key, form);
        return NULL;
    }
    return item;
}

void tt_field_warn_large(struct tt_fields *fields, const cJSON *object, const char *what,
                         const char *key, double value_mm, double most_mm)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key);
    char hint[TT_HINT_SIZE];

    if (!(value_mm > most_mm)) {
        return;
    }
    if (item == NULL || cJSON_IsNull(item)) {
        key = "tolerance";
        value_mm *= sqrt(3.0);
        item = cJSON_GetObjectItemCaseSensitive(object, key);
    }
    struct tt_buffer text = {0};
    tt_number_write_rounded(&text, value_mm, 4);
    tt_buffer_puts(&text, " mm here; if micrometres are meant, write ");
    tt_number_write_rounded(&text, value_mm / fields->mm_per_unit * 1e-3 / fields->mm_per_unit, 6);
    snprintf(hint, sizeof hint, "it means %s", text.failed ? "?" : text.text);
    tt_buffer_clear(&text);
    tt_warn(fields->diagnose, tt_json_place(&fields->json, item), hint,
            "%s: '%s' is %s, far more than is usual", what, key, tt_field_shown(fields, item).text);
}

bool tt_field_xy(struct tt_fields *fields, const cJSON *object, const char *what, const char *key,
                 enum tt_need need, double xy_mm[2])
{
    const cJSON *item = pair_at(fields, object, what, key, need, "[x, y]");
    return item != NULL &&
           read_pair(fields, item, what, key, fields->mm_per_unit, &tt_any_position_mm, xy_mm);
}

bool tt_field_pair(struct tt_fields *fields, const cJSON *object, const char *what, const char *key,
                   const struct tt_bounds *bounds, double pair[2])
{
    const cJSON *item = pair_at(fields, object, what, key, TT_OPTIONAL, "[lowest, highest]");
    return item != NULL && read_pair(fields, item, what, key, 1.0, bounds, pair);
}

bool tt_field_u(struct tt_fields *fields, const cJSON *object, const char *what, enum tt_need need,
                const struct tt_bounds *bounds, double *u_mm)
{
    const cJSON *tolerance = tt_field(fields, object, what, "tolerance", TT_OPTIONAL);
    const cJSON *u = tt_field(fields, object, what, "u", tolerance != NULL ? TT_OPTIONAL : need);
    if (u != NULL && tolerance != NULL) {
        tt_fault(fields->diagnose, tt_json_key_place(&fields->json, tolerance),
                 "'u' is a standard uncertainty, 'tolerance' a half-width; leave one of them",
                 "%s: both 'u' and 'tolerance' are stated", what);
        return false;
    }
    if (u != NULL) {
        return read_number(fields, u, what, "u", fields->mm_per_unit, bounds, u_mm);
    }
    return tolerance != NULL && read_number(fields, tolerance, what, "tolerance",
                                            fields->mm_per_unit / sqrt(3.0), bounds, u_mm);
}

const cJSON *tt_field_object(struct tt_fields *fields, const cJSON *object, const char *what,
                             const char *key, enum tt_need need)
{
    const cJSON *item = tt_field(fields, object, what, key, need);
    if (item != NULL && !cJSON_IsObject(item)) {
        tt_field_tell_form(fields, item, what, key, "an object {...}");
        return NULL;
    }
    return item;
}

const cJSON *tt_field_array(struct tt_fields *fields, const cJSON *object, const char *what,
                            const char *key, enum tt_need need)
{
    const cJSON *item = tt_field(fields, object, what, key, need);
    if (item != NULL && !cJSON_IsArray(item)) {
        tt_field_tell_form(fields, item, what, key, "a list [...]");
        return NULL;
    }
    return item;
}

size_t tt_field_word(struct tt_fields *fields, const cJSON *object, const char *what,
                     const char *key, enum tt_need need, const char *const words[], size_t n,
                     size_t otherwise)
{
    const cJSON *item = tt_field(fields, object, what, key, need);
    if (item == NULL) {
        return otherwise;
    }
    if (!cJSON_IsString(item)) {
        tt_field_tell_form(fields, item, what, key, "a string");
        return otherwise;
    }
    for (size_t i = 0; i < n; i++) {
        if (strcmp(item->valuestring, words[i]) == 0) {
            return i;
        }
    }
    char hint[TT_HINT_SIZE];
    size_t length = strlen(item->valuestring);
    tt_names_hint(words, n, "words", item->valuestring, length, hint);
    tt_field_fault(fields, item, hint, "%s: '%s' cannot be '%s'", what, key,
                   tt_shown(item->valuestring, length).text);
    return otherwise;
}

bool tt_field_schema(struct tt_fields *fields, const cJSON *object, const char *schema)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, "schema");
    if (item == NULL || !cJSON_IsString(item)) {
        tt_field_fault(fields, item != NULL ? item : object, NULL,
                       "\"schema\" is missing: \"schema\": \"%s\" is expected", schema);
        return false;
    }
    if (strcmp(item->valuestring, schema) != 0) {
        tt_field_fault(fields, item, "is it the file that was meant?",
                       "schema '%s', where '%s' is expected", tt_shown_text(item->valuestring).text,
                       schema);
        return false;
    }
    return true;
}

void tt_field_units(struct tt_fields *fields, const cJSON *object)
{
    fields->mm_per_unit = 1.0;
    const cJSON *item = tt_field(fields, object, "file", "units", TT_OPTIONAL);
    if (item != NULL &&
        !(cJSON_IsString(item) &&
          tt_units_read(item->valuestring, strlen(item->valuestring), &fields->mm_per_unit))) {
        tt_field_fault(fields, item, TT_UNITS_HINT, "unknown units %s",
                       tt_field_shown(fields, item).text);
    }
}

/* Bytes, text, JSON, schema, units, then the object: the first of these that is wrong ends the
 * reading, as what follows would tell nonsense. */

/* Into @object, if the schema is right: with a wrong one every member would be reported. */
static enum tiptrue_status read_text(const struct tt_document *document,
                                     struct tt_diagnose *diagnose, char *object,
                                     struct tiptrue_error *error)
{
    struct tt_fields fields = {.diagnose = diagnose, .arena = (void *)(object + document->arena)};

    if (tt_text_check(diagnose) && tt_text_is_there(diagnose) &&
        tt_json_read(&fields.json, diagnose, diagnose->text, diagnose->end, NULL) &&
        tt_field_schema(&fields, fields.json.root, document->schema)) {
        tt_field_units(&fields, fields.json.root);
        document->read(object, &fields);
    }
    bool out_of_memory = fields.out_of_memory || fields.json.out_of_memory;
    tt_json_clear(&fields.json);
    return out_of_memory ? tt_fail_memory(error) : tt_diagnose_status(diagnose);
}

enum tiptrue_status tt_document_read(const struct tt_document *document, const char *path,
                                     const struct tt_text *text, const struct tiptrue_sink *sink,
                                     void **object, struct tiptrue_error *error)
{
    struct tt_bytes bytes = {0};
    struct tt_diagnose diagnose;
    char *made = calloc(1, document->size);
    struct tt_arena *arena = (void *)(made + document->arena);
    enum tiptrue_status status = made == NULL ? tt_fail_memory(error)
                                 : text != NULL
                                     ? tt_bytes_copy(text->text, text->length, &bytes, error)
                                     : tt_bytes_read(path, &bytes, error);

    path = text == NULL ? tt_bytes_name(path) : path;
    if (status == TIPTRUE_OK && document->file > 0) {
        path = tt_arena_copy(arena, path);
        memcpy(made + document->file - 1, &path, sizeof path);
        status = path != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        tt_diagnose_bytes(&diagnose, sink, error, path, &bytes);
        status = read_text(document, &diagnose, made, error);
    }
    if (status == TIPTRUE_OK && document->source > 0) {
        memcpy(made + document->source - 1, &bytes, sizeof bytes);
    } else {
        tt_bytes_clear(&bytes);
    }
    if (status != TIPTRUE_OK && made != NULL) {
        tt_arena_clear(arena);
        free(made);
        made = NULL;
    }
    *object = made;
    return status;
}
