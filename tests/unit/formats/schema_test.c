/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The field tables of result, machine, plate and plan and docs/schema say the same: keys, forms,
 * words, what is required of input. Key by key, so that a key that only one of the two has is
 * named. Bounds and factors of the keys stand in keys.txt beside this file (recorded.h): a document
 * read otherwise than before is a change for users. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>

#include "formats/result.h"
#include "ingest/bytes.h"
#include "recorded.h"

static cJSON *schema;

static void read_schema(const char *name)
{
    const char *srcdir = getenv("srcdir");
    char path[4096];
    struct tt_bytes bytes;
    struct tiptrue_error error = {0};

    snprintf(path, sizeof path, "%s/docs/schema/%s.schema.json", srcdir != NULL ? srcdir : ".",
             name);
    ck_assert_msg(tt_bytes_read(path, &bytes, &error) == TIPTRUE_OK, "%s: %s", path, error.text);
    schema = cJSON_ParseWithLength(bytes.text, bytes.length);
    ck_assert_ptr_nonnull(schema);
    tt_bytes_clear(&bytes);
}

/* What $ref leads to, and of several forms the one that is not null. */
static const cJSON *resolve(const cJSON *part)
{
    const cJSON *ref = cJSON_GetObjectItem(part, "$ref"),
                *choice = cJSON_GetObjectItem(part, "oneOf");

    if (ref != NULL) {
        const char *name = strrchr(ref->valuestring, '/') + 1;
        return resolve(cJSON_GetObjectItem(cJSON_GetObjectItem(schema, "$defs"), name));
    }
    choice = choice != NULL ? choice : cJSON_GetObjectItem(part, "anyOf");
    if (cJSON_HasObjectItem(part, "properties")) {
        return part; /* its choices are about them */
    }
    for (const cJSON *one = choice != NULL ? choice->child : NULL; one != NULL; one = one->next) {
        const cJSON *type = cJSON_GetObjectItem(one, "type");
        if (type == NULL || !cJSON_IsString(type) || strcmp(type->valuestring, "null") != 0) {
            return resolve(one);
        }
    }
    return part;
}

static bool allows(const cJSON *part, const char *type)
{
    const cJSON *types = cJSON_GetObjectItem(resolve(part), "type");

    if (cJSON_IsString(types)) {
        return strcmp(types->valuestring, type) == 0;
    }
    for (const cJSON *one = types != NULL ? types->child : NULL; one != NULL; one = one->next) {
        if (strcmp(one->valuestring, type) == 0) {
            return true;
        }
    }
    return false;
}

static bool has_words(const cJSON *part, const struct tt_vocabulary *words)
{
    const cJSON *list = cJSON_GetObjectItem(resolve(part), "enum");
    size_t found = 0;

    for (const cJSON *word = list != NULL ? list->child : NULL; word != NULL; word = word->next) {
        size_t i = 0;
        while (i < words->n &&
               (!cJSON_IsString(word) || strcmp(word->valuestring, words->words[i]))) {
            i++;
        }
        if (i == words->n && !cJSON_IsNull(word)) {
            return false;
        }
        found += i < words->n;
    }
    return found == words->n;
}

static size_t check_table(const struct tt_keys *keys, const cJSON *object, const char *at);

/* The JSON type of a form; NULL: of a hook, which may be any. */
static const char *type_of(const struct tt_key *key)
{
    switch (key->form) {
    case TT_TEXT_FORM:
        return key->words == NULL ? "string" : NULL;
    case TT_COUNT_FORM:
        return "integer";
    case TT_BOOL_FORM:
        return key->words == NULL ? "boolean" : NULL;
    case TT_OBJECT_FORM:
    case TT_POINTER_FORM:
    case TT_X_Y_FORM:
        return "object";
    case TT_LIST_FORM:
    case TT_XY_FORM:
    case TT_TURNS_FORM:
    case TT_PAIR_FORM:
        return "array";
    case TT_NUMBER_FORM:
    case TT_SHORTEST_FORM:
    case TT_ANGLE_FORM:
    case TT_LENGTH_FORM:
    case TT_U_FORM:
        return "number";
    case TT_BY_HAND:
    case TT_HOOK_FORM:
    case TT_WORD_FORM:
    case TT_LETTER_FORM:
        break;
    }
    return NULL;
}

/* Keys of @key's own and of what is in it. */
static size_t check_key(const struct tt_key *key, const cJSON *part, const char *at)
{
    char inner[256];
    const char *type = type_of(key);

    snprintf(inner, sizeof inner, "%s/%s", at, key->key);
    if (type != NULL) {
        ck_assert_msg(allows(part, type), "%s: the table says %s, the schema does not", inner,
                      type);
    }
    if (key->words != NULL) {
        /* a tip may be "not measured", the height of one that was touched may not */
        ck_assert_msg(key->words == &tt_result_verdicts || has_words(part, key->words),
                      "%s: the words of the table and of the schema differ", inner);
    }
    if (key->form == TT_LIST_FORM) {
        return 1 +
               check_table(key->inner, resolve(cJSON_GetObjectItem(resolve(part), "items")), inner);
    }
    return 1 + (key->inner != NULL ? check_table(key->inner, resolve(part), inner) : 0);
}

static size_t check_table(const struct tt_keys *keys, const cJSON *object, const char *at)
{
    const cJSON *properties = cJSON_GetObjectItem(object, "properties");
    size_t n = 0;

    ck_assert_msg(properties != NULL, "%s: no object in the schema", at);
    for (size_t i = 0; i < keys->n; i++) {
        const cJSON *part = cJSON_GetObjectItemCaseSensitive(properties, keys->list[i].key);
        ck_assert_msg(part != NULL, "%s: the schema has no '%s'", at, keys->list[i].key);
        n += check_key(&keys->list[i], part, at);
    }
    for (const cJSON *part = properties->child; part != NULL; part = part->next) {
        size_t i = 0;
        while (i < keys->n && strcmp(keys->list[i].key, part->string) != 0) {
            i++;
        }
        ck_assert_msg(i < keys->n, "%s: the table has no '%s'", at, part->string);
    }
    return n;
}

/* A walk that stops early would find nothing wrong: so many keys there are at least. */
static void compare(const char *name, const struct tt_keys *keys, size_t least)
{
    read_schema(name);
    ck_assert_uint_ge(check_table(keys, schema, name), least);
    cJSON_Delete(schema);
}

START_TEST(the_tables_and_the_schemas_have_the_same_keys)
{
    compare("result", &tt_result_keys, 190);
    compare("machine", &tt_machine_keys, 100);
    compare("plate", &tt_plate_keys, 40);
    compare("plan", &tt_plan_keys, 45);
}
END_TEST

/* Written once: what a document calls a thing twice is kept at two places, and read from one. */
START_TEST(no_table_has_a_key_twice)
{
    const struct tt_keys *tables[] = {
        &tt_result_keys,       &tt_result_tip_keys, &tt_result_tip_difference_keys,
        &tt_checked_edge_keys, &tt_machine_keys,    &tt_motion_keys,
        &tt_plate_keys,        &tt_plan_keys,       &tt_planned_tip_keys};

    for (size_t t = 0; t < sizeof tables / sizeof tables[0]; t++) {
        for (size_t i = 0; i < tables[t]->n; i++) {
            for (size_t k = 0; k < i; k++) {
                ck_assert_str_ne(tables[t]->list[i].key, tables[t]->list[k].key);
            }
        }
    }
}
END_TEST

/* Bounds, factors and what is held for another unit, key by key, of every table. */
static void put_table(struct tt_buffer *to, const struct tt_keys *keys, const char *at, int depth)
{
    for (size_t i = 0; i < keys->n; i++) {
        const struct tt_key *key = &keys->list[i];
        char inner[256];
        snprintf(inner, sizeof inner, "%s/%s", at, key->key);
        if (key->bounds != NULL || key->per != 0 || key->times != 0 || key->large != 0) {
            tt_buffer_printf(to, "%s:", inner);
            if (key->bounds != NULL) {
                tt_buffer_printf(to, "%s", key->bounds->above ? " above" : " from");
                recorded_put(to, key->bounds->lowest);
                recorded_put(to, key->bounds->highest);
            }
            tt_buffer_printf(to, " factors");
            recorded_put(to, key->per);
            recorded_put(to, key->times);
            recorded_put(to, key->large);
            tt_buffer_putc(to, '\n');
        }
        if (key->inner != NULL && depth < 6) {
            put_table(to, key->inner, inner, depth + 1);
        }
    }
}

START_TEST(bounds_and_factors)
{
    static const struct {
        const char *name;
        const struct tt_keys *keys;
    } TABLES[] = {{"result", &tt_result_keys}, {"machine", &tt_machine_keys},
                  {"plate", &tt_plate_keys},   {"plan", &tt_plan_keys},
                  {"truth", &tt_truth_keys},   {"record", &tt_record_keys}};
    struct tt_buffer found = {0};

    for (size_t t = 0; t < sizeof TABLES / sizeof TABLES[0]; t++) {
        put_table(&found, TABLES[t].keys, TABLES[t].name, 0);
    }
    recorded_compare(&found, "tests/unit/formats/keys.txt", 0);
    tt_buffer_clear(&found);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("schema");
    TCase *tcase = tcase_create("all");

    tcase_add_test(tcase, the_tables_and_the_schemas_have_the_same_keys);
    tcase_add_test(tcase, no_table_has_a_key_twice);
    tcase_add_test(tcase, bounds_and_factors);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
