/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Numbers are read from the file's own text, so that they pass base/number.c as all others do. */
#include "config.h"

#include "ingest/fields.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/named.h"
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

void tt_field_tell_form(struct tt_fields *fields, const struct tt_member *member, const cJSON *item,
                        const char *expected)
{
    const char *hint = cJSON_IsString(item) && expected == A_NUMBER
                           ? "write numbers without quotation marks"
                           : NULL;
    tt_field_fault(fields, item, hint, "%s: '%s' is %s, and %s is expected", member->what,
                   member->key->key, tt_field_shown(fields, item).text, expected);
}

struct tt_member tt_member_of(const cJSON *object, const char *what, const struct tt_key *key)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, key->key);

    return (struct tt_member){
        .key = key, .object = object, .item = cJSON_IsNull(item) ? NULL : item, .what = what};
}

const cJSON *tt_field(struct tt_fields *fields, const struct tt_member *member)
{
    if (member->item == NULL && member->key->need == TT_REQUIRED) {
        const cJSON *null = cJSON_GetObjectItemCaseSensitive(member->object, member->key->key);
        tt_field_fault(fields, null != NULL ? null : member->object, NULL, "%s: '%s' is missing",
                       member->what, member->key->key);
    }
    return member->item;
}

/* The item, if it is of a form (@is), which is @expected. */
static const cJSON *item_of_form(struct tt_fields *fields, const struct tt_member *member,
                                 cJSON_bool (*is)(const cJSON *item), const char *expected)
{
    const cJSON *item = tt_field(fields, member);
    if (item != NULL && !is(item)) {
        tt_field_tell_form(fields, member, item, expected);
        return NULL;
    }
    return item;
}

const char *tt_field_text(struct tt_fields *fields, const struct tt_member *member)
{
    const cJSON *item = item_of_form(fields, member, cJSON_IsString, "a string");
    if (item == NULL) {
        return NULL;
    }
    if (item->valuestring[0] == '\0') {
        tt_field_fault(fields, item, NULL, "%s: '%s' is empty", member->what, member->key->key);
        return NULL;
    }
    const char *text = tt_arena_copy(fields->arena, item->valuestring);
    fields->out_of_memory = fields->out_of_memory || text == NULL;
    return text;
}

bool tt_field_number_of(struct tt_fields *fields, const struct tt_member *member, const cJSON *item,
                        double unit, const struct tt_bounds *bounds, double *value)
{
    const struct tt_json_where *where = tt_json_where(&fields->json, item);
    double number = 0.0;
    if (!cJSON_IsNumber(item) ||
        tt_number_read(where->value, value_length(where), '.', &number, NULL) != TT_NUMBER_OK) {
        tt_field_tell_form(fields, member, item, A_NUMBER);
        return false;
    }
    number *= unit;
    if (number < bounds->lowest || number > bounds->highest ||
        (bounds->above && number <= bounds->lowest)) {
        tt_field_fault(fields, item, bounds->hint, "%s: '%s' cannot be %s", member->what,
                       member->key->key, tt_field_shown(fields, item).text);
        return false;
    }
    *value = number;
    return true;
}

bool tt_field_number(struct tt_fields *fields, const struct tt_member *member,
                     const struct tt_bounds *bounds, double *value)
{
    const cJSON *item = tt_field(fields, member);
    return item != NULL && tt_field_number_of(fields, member, item, 1.0, bounds, value);
}

const cJSON *tt_field_object(struct tt_fields *fields, const struct tt_member *member)
{
    return item_of_form(fields, member, cJSON_IsObject, "an object {...}");
}

const cJSON *tt_field_array(struct tt_fields *fields, const struct tt_member *member)
{
    return item_of_form(fields, member, cJSON_IsArray, "a list [...]");
}

size_t tt_field_word(struct tt_fields *fields, const struct tt_member *member,
                     const char *const words[], size_t n)
{
    const cJSON *item = item_of_form(fields, member, cJSON_IsString, "a string");
    if (item == NULL) {
        return n;
    }
    size_t length = strlen(item->valuestring),
           found = tt_named(words, n, sizeof *words, item->valuestring, length);
    if (found < n) {
        return found;
    }
    char hint[TT_HINT_SIZE];
    tt_names_hint(words, n, "words", item->valuestring, length, hint);
    tt_field_fault(fields, item, hint, "%s: '%s' cannot be '%s'", member->what, member->key->key,
                   tt_shown(item->valuestring, length).text);
    return n;
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

/* "units": sets fields->mm_per_unit (mm if there is none). */
static void read_units(struct tt_fields *fields, const cJSON *object)
{
    const struct tt_member units = tt_member_of(object, "file", &(struct tt_key){.key = "units"});

    fields->mm_per_unit = 1.0;
    if (units.item != NULL &&
        !(cJSON_IsString(units.item) &&
          tt_units_read(units.item->valuestring, strlen(units.item->valuestring),
                        &fields->mm_per_unit))) {
        tt_field_fault(fields, units.item, TT_UNITS_HINT, "unknown units %s",
                       tt_field_shown(fields, units.item).text);
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
        read_units(&fields, fields.json.root);
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
