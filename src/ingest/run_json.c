/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run log as JSON, tiptrue.run/1: its observations are read one by one and become rows of cells,
 * so that they pass the same checks as those of a table. Numbers keep their text, and with it their
 * printed digits.
 */
#include "config.h"

#include <string.h>

#include "base/named.h"
#include "ingest/formats.h"
#include "ingest/json.h"
#include "ingest/rows.h"

#define SCHEMA "tiptrue.run/1"

/* Kinds of unknown members that are told; a hostile file could name a million. */
#define MOST_UNKNOWN 100

struct reader {
    struct tt_builder *builder;
    struct tt_rows rows;
    struct tt_names unknown; /* members told already */
    bool began, share_lines; /* two of them stand on one line */
};

/* What a member of an observation may be. */
enum form { TEXT, NUMBER, TEXT_OR_NUMBER, FLAG };
static const enum form forms[TT_COLUMNS] = {
    [TT_KIND] = TEXT,
    [TT_TARGET] = TEXT,
    [TT_TIP] = TEXT,
    [TT_X] = NUMBER,
    [TT_Y] = NUMBER,
    [TT_ROTATION] = NUMBER,
    [TT_Z] = NUMBER,
    [TT_FEED] = NUMBER,
    [TT_TEMPERATURE] = NUMBER,
    [TT_TIME] = TEXT,
    [TT_SETUP] = TEXT_OR_NUMBER,
    [TT_CONTACT] = FLAG,
    [TT_STAGE] = TEXT,
    [TT_APPROACH] = TEXT,
    [TT_PX] = NUMBER,
    [TT_PY] = NUMBER,
};
static const char *const form_words[] = {[TEXT] = "a string",
                                         [NUMBER] = "a number",
                                         [TEXT_OR_NUMBER] = "a string or a number",
                                         [FLAG] = "0 or 1"};

static void tell_unknown(struct reader *reader, const struct tt_json *element, const cJSON *member)
{
    char hint[TT_HINT_SIZE];
    size_t length = strlen(member->string);
    if (reader->unknown.count >= MOST_UNKNOWN ||
        tt_names_find(&reader->unknown, member->string, length) != TT_NONE) {
        return;
    }
    const char *copy = tt_arena_copy_text(&reader->builder->scratch, member->string, length);
    if (copy == NULL || !tt_names_add(&reader->unknown, copy)) {
        reader->builder->out_of_memory = true;
        return;
    }
    tt_names_hint(tt_column_names, TT_COLUMNS, "fields", member->string, length, hint);
    tt_warn(reader->builder->diagnose, tt_json_key_place(element, member), hint,
            "observation: unknown field '%s' is not used", tt_shown(member->string, length).text);
}

/* The member's value as the text of a cell; false if it is of another form (told). */
static bool read_cell(struct reader *reader, const struct tt_json *element, const cJSON *member,
                      size_t column)
{
    const struct tt_json_where *where = tt_json_where(element, member);
    struct tt_cell *cell = &reader->rows.cells[column];
    cell->at = where->value;
    if (cJSON_IsString(member) && forms[column] != NUMBER && forms[column] != FLAG) {
        cell->text = member->valuestring;
        cell->length = strlen(member->valuestring);
    } else if (cJSON_IsNumber(member) && forms[column] != TEXT) {
        cell->text = where->value;
        cell->length = (size_t)(where->end - where->value);
    } else if (cJSON_IsBool(member) && forms[column] == FLAG) {
        cell->text = cJSON_IsTrue(member) ? "1" : "0";
        cell->length = 1;
    } else if (!cJSON_IsNull(member)) {
        tt_fault(reader->builder->diagnose, tt_json_place(element, member), NULL,
                 "'%s' is %s, and %s is expected", tt_column_names[column],
                 tt_shown(where->value, (size_t)(where->end - where->value)).text,
                 form_words[forms[column]]);
        return false;
    }
    return true;
}

static bool read_cells(struct reader *reader, const struct tt_json *element)
{
    bool good = true;
    const char *at = tt_json_where(element, element->root)->value;
    for (size_t column = 0; column < TT_COLUMNS; column++) {
        reader->rows.cells[column] = (struct tt_cell){at, 0, at};
    }
    for (const cJSON *member = element->root->child; member != NULL; member = member->next) {
        size_t column = TT_NAME_AT(tt_column_names, TT_COLUMNS, member->string);
        if (column == TT_COLUMNS) {
            tell_unknown(reader, element, member);
        } else {
            good = read_cell(reader, element, member, column) && good;
            reader->builder->states_stage = reader->builder->states_stage || column == TT_STAGE;
        }
    }
    return good;
}

/* Whether the document is a run; told if not. */
static bool check_schema(struct reader *reader, const struct tt_json *json)
{
    const cJSON *schema = cJSON_GetObjectItemCaseSensitive(json->root, "schema");
    struct tt_diagnose *diagnose = reader->builder->diagnose;
    if (schema == NULL || !cJSON_IsString(schema)) {
        tt_fault(diagnose, tt_json_place(json, schema != NULL ? schema : json->root), NULL,
                 "\"schema\" is missing: \"schema\": \"%s\" is expected", SCHEMA);
        return false;
    }
    if (strcmp(schema->valuestring, SCHEMA) != 0) {
        tt_fault(diagnose, tt_json_place(json, schema), "is it the file that was meant?",
                 "schema '%s', where '%s' is expected", tt_shown_text(schema->valuestring).text,
                 SCHEMA);
        return false;
    }
    return true;
}

static bool read_observation(void *context, struct tt_json *whole, struct tt_json *element)
{
    struct reader *reader = context;
    const cJSON *schema = cJSON_GetObjectItemCaseSensitive(whole->root, "schema");
    if (!reader->began && schema != NULL && !check_schema(reader, whole)) {
        return false;
    }
    reader->began = true;
    if (!cJSON_IsObject(element->root)) {
        tt_fault(reader->builder->diagnose, tt_json_place(element, element->root), NULL,
                 "an observation is not an object {...}");
        return true;
    }
    size_t line = tt_json_place(element, element->root).line;
    reader->share_lines = reader->share_lines || line == reader->rows.line;
    reader->rows.line = line;
    if (read_cells(reader, element)) {
        tt_rows_add(&reader->rows);
    }
    return !reader->builder->out_of_memory;
}

static void tell_unknown_member(struct reader *reader, const struct tt_json *json,
                                const cJSON *member)
{
    static const char *const known[] = {"schema", "observations", "machine",
                                        "plate",  "plate_serial", "started",
                                        "units",  "operator",     "note"};
    char hint[TT_HINT_SIZE];
    size_t length = strlen(member->string);
    tt_names_hint(known, sizeof(known) / sizeof(known[0]), "fields", member->string, length, hint);
    tt_warn(reader->builder->diagnose, tt_json_key_place(json, member), hint,
            "run: unknown field '%s' is not used", tt_shown(member->string, length).text);
}

static void read_metadata(struct reader *reader, const struct tt_json *json)
{
    for (const cJSON *member = json->root->child; member != NULL; member = member->next) {
        const struct tt_json_where *where = tt_json_where(json, member);
        struct tt_cell key = {member->string, strlen(member->string), where->key};
        if (strcmp(member->string, "schema") == 0 || strcmp(member->string, "observations") == 0) {
            continue;
        }
        if (!tt_metadata_is_key(&key)) {
            if (!tt_diagnose_is_full_of_warnings(reader->builder->diagnose)) {
                tell_unknown_member(reader, json, member);
            }
        } else if (cJSON_IsString(member)) {
            struct tt_cell value = {member->valuestring, strlen(member->valuestring), where->value};
            tt_metadata_add(reader->builder, &key, &value);
        } else if (!cJSON_IsNull(member)) {
            tt_fault(reader->builder->diagnose, tt_json_place(json, member), NULL,
                     "'%s' is %s, and a string is expected", member->string,
                     tt_shown(where->value, (size_t)(where->end - where->value)).text);
        }
    }
}

/* Where observations share lines, "line" is the number in the list, from 1. */
static void number_rows(const struct reader *reader)
{
    struct tiptrue_run *run = reader->builder->run;

    for (size_t i = 0; reader->share_lines && i < run->n_observations; i++) {
        run->observations[i].line = i + 1;
    }
}

void tt_run_read_json(struct tt_builder *builder)
{
    struct reader reader = {
        .builder = builder, .rows = {.builder = builder}, .unknown = {.arena = &builder->scratch}};
    const struct tt_json_stream stream = {"observations", read_observation, &reader};
    struct tt_diagnose *diagnose = builder->diagnose;
    struct tt_json json;
    bool whole = tt_json_read(&json, diagnose, diagnose->text, diagnose->end, &stream);
    builder->out_of_memory = builder->out_of_memory || json.out_of_memory;
    if (whole && check_schema(&reader, &json)) {
        const cJSON *observations = cJSON_GetObjectItemCaseSensitive(json.root, "observations");
        if (observations == NULL || !cJSON_IsArray(observations)) {
            tt_fault(diagnose,
                     tt_json_place(&json, observations != NULL ? observations : json.root), NULL,
                     "a list \"observations\": [...] is expected");
        } else if (!reader.began) {
            tt_fault(diagnose, tt_json_place(&json, observations), NULL,
                     "there are no observations");
        }
        read_metadata(&reader, &json);
        number_rows(&reader);
    }
    tt_json_clear(&json);
}
