/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* JSON: what the grammar takes and refuses, places of values, doubled keys in small and large
 * objects, and the stream of an array.
 */
#include "config.h"

#include "ingest/json.h"

#include "collect.h"

struct document {
    struct tt_diagnose diagnose;
    struct tt_json json;
    struct tt_buffer told;
    struct tiptrue_sink sink;
};

static bool open_text(struct document *document, const char *text,
                      const struct tt_json_stream *stream)
{
    *document = (struct document){.told = {0}};
    document->sink = (struct tiptrue_sink){collect_told, &document->told};
    tt_diagnose_init(&document->diagnose, &document->sink, NULL, "j", text, strlen(text));
    return tt_json_read(&document->json, &document->diagnose, text, text + strlen(text), stream);
}

static void close_text(struct document *document)
{
    ck_assert(!document->json.out_of_memory);
    tt_json_clear(&document->json);
    tt_buffer_clear(&document->told);
}

/* Texts in the spirit of RFC 8259; the ones refused are what cJSON alone takes, or near misses. */
static const char *const good[] = {
    "{}",
    " \t\r\n{ } \n",
    "{\"a\":1}",
    "{\"a\":-0.5e+3,\"b\":[],\"c\":{},\"d\":[1,2,[3]],\"e\":null}",
    "{\"\":\"\"}",
    "{\"a\":\"\\\"\\\\\\/\\b\\f\\n\\r\\t\\u00e9\\uD83D\\uDD27\"}",
    "{\"a\":0,\"b\":-0,\"c\":0.0,\"d\":1E5,\"e\":1e-5,\"f\":10}",
    "{\"a\":\"\xF0\x9F\x94\xA7\"}",
    "{\"a\":1e-999}",
    "{\"a\":true,\"b\":false}",
    "{\"a\":\"\x7F\"}",
};
static const char *const bad[] = {
    "",
    "  ",
    "[]",
    "1",
    "{",
    "}",
    "{\"a\"}",
    "{\"a\":}",
    "{\"a\":1,}",
    "{,}",
    "{\"a\":1 \"b\":2}",
    "{\"a\":[1,]}",
    "{\"a\":[,1]}",
    "{\"a\":[1 2]}",
    "{\"a\":[1}",
    "{\"a\":[}",
    "{a:1}",
    "{'a':1}",
    "{\"a\":'b'}",
    "{\"a\":01}",
    "{\"a\":-}",
    "{\"a\":+1}",
    "{\"a\":.5}",
    "{\"a\":1.}",
    "{\"a\":1.e5}",
    "{\"a\":1e}",
    "{\"a\":1e+}",
    "{\"a\":0x1F}",
    "{\"a\":1e999}",
    "{\"a\":-1e400}",
    "{\"a\":NaN}",
    "{\"a\":Infinity}",
    "{\"a\":nul}",
    "{\"a\":True}",
    "{\"a\":\"b}",
    "{\"a\":\"\\x\"}",
    "{\"a\":\"\\u12\"}",
    "{\"a\":\"\\u12g4\"}",
    "{\"a\":\"\\ud800\"}",
    "{\"a\":\"\\ud800x\"}",
    "{\"a\":\"\\ud800\\u0041\"}",
    "{\"a\":\"\\udc00\"}",
    "{\"a\":\"\\u0000\"}",
    "{\"a\":\"\t\"}",
    "{\"a\":\"\n\"}",
    "{} {}",
    "{}x",
    "{}]",
    "{\"a\":1}}",
    "{\"a\":1/*b*/}",
    "{\"a\":1} // end",
    "{\"a\":\357\273\2771}",
    "{\"\\u0000\":1}",
    "{\"a\":truefalse}",
    "{\"a\":1 2}",
    "{\"a\" 1}",
    "{\"a\"::1}",
    "{1:2}",
    "{\"a\":\f1}",
};

START_TEST(takes_what_is_json)
{
    for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++) {
        struct document document;
        ck_assert_msg(open_text(&document, good[i], NULL), "%s is refused: %s", good[i],
                      document.told.text);
        ck_assert_uint_eq(document.diagnose.faults, 0);
        close_text(&document);
    }
}
END_TEST

START_TEST(refuses_what_is_not)
{
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        struct document document;
        ck_assert_msg(!open_text(&document, bad[i], NULL), "%s is taken", bad[i]);
        ck_assert_uint_eq(document.diagnose.faults, 1);
        close_text(&document);
    }
}
END_TEST

/* Every beginning of a document is refused in one message, and nothing is read beyond it. */
START_TEST(refuses_every_beginning)
{
    static const char text[] =
        "{\"a\": [1.5e+3, \"\\u00e9\", {\"b\": true}], \"c\": null, \"d\": \"\\ud83d\\udd27\"}";
    for (size_t length = 0; length < strlen(text); length++) {
        char *part = malloc(length + 1);
        memcpy(part, text, length);
        part[length] = '\0';
        struct document document;
        ck_assert_msg(!open_text(&document, part, NULL), "%s is taken", part);
        ck_assert_uint_eq(document.diagnose.faults, 1);
        close_text(&document);
        free(part);
    }
}
END_TEST

static void nested(char *text, int depth, const char *inner)
{
    strcpy(text, "{\"a\":");
    for (int i = 1; i < depth; i++) {
        strcat(text, "[");
    }
    strcat(text, inner);
    for (int i = 1; i < depth; i++) {
        strcat(text, "]");
    }
    strcat(text, "}");
}

START_TEST(depth_is_limited)
{
    char text[400];
    struct document document;
    nested(text, TT_JSON_DEPTH, "1");
    ck_assert(open_text(&document, text, NULL));
    close_text(&document);
    nested(text, TT_JSON_DEPTH + 1, "1");
    ck_assert(!open_text(&document, text, NULL));
    assert_told(&document.told, "j:1:69: error: arrays and objects are nested too deep\n");
    close_text(&document);
}
END_TEST

START_TEST(values_know_their_place)
{
    static const char text[] = "{\"a\": 12,\n \"b\": [ {\"c\": \"x\"},\n  -1.50 ],\n \"d\" : null}";
    struct document document;
    ck_assert(open_text(&document, text, NULL));
    const cJSON *b = cJSON_GetObjectItemCaseSensitive(document.json.root, "b");
    const cJSON *c = cJSON_GetObjectItemCaseSensitive(b->child, "c");
    const struct {
        const cJSON *item;
        size_t line, column, key_line, key_column;
        const char *text;
    } table[] = {
        {document.json.root, 1, 1, 1, 1, "{"},
        {document.json.root->child, 1, 7, 1, 2, "12"},
        {b, 2, 7, 2, 2, NULL},
        {b->child, 2, 9, 2, 9, "{\"c\": \"x\"}"},
        {c, 2, 15, 2, 10, "\"x\""},
        {b->child->next, 3, 3, 3, 3, "-1.50"},
        {b->next, 4, 8, 4, 2, "null"},
    };
    for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
        struct tt_place place = tt_json_place(&document.json, table[i].item),
                        key = tt_json_key_place(&document.json, table[i].item);
        ck_assert_uint_eq(place.line, table[i].line);
        ck_assert_uint_eq(place.column, table[i].column);
        ck_assert_uint_eq(key.line, table[i].key_line);
        ck_assert_uint_eq(key.column, table[i].key_column);
        const struct tt_json_where *where = tt_json_where(&document.json, table[i].item);
        if (table[i].text != NULL && i > 0) {
            ck_assert_uint_eq((size_t)(where->end - where->value), strlen(table[i].text));
            ck_assert_int_eq(strncmp(where->value, table[i].text, strlen(table[i].text)), 0);
        }
    }
    close_text(&document);
}
END_TEST

/* By comparing pairs, and by sorting where the members are many: the same answer. */
START_TEST(doubled_keys_are_told)
{
    for (size_t members = 2; members < 200; members += 13) {
        struct tt_buffer text = {0};
        tt_buffer_puts(&text, "{\n");
        for (size_t i = 0; i < members; i++) {
            tt_buffer_printf(&text, "\"k%zu\": %zu,\n", i == members - 1 ? 0 : i, i);
        }
        tt_buffer_puts(&text, "\"x\": {\"y\": 1, \"y\": 2}}");
        struct document document;
        ck_assert(open_text(&document, text.text, NULL));
        char expected[300];
        snprintf(expected, sizeof(expected),
                 "j:%zu:1: error: key 'k0' stands twice in one object, first in line 2\n  hint: "
                 "leave one of them\n"
                 "j:%zu:15: error: key 'y' stands twice in one object, first in line %zu\n  hint: "
                 "leave one of them\n",
                 members + 1, members + 2, members + 2);
        assert_told(&document.told, expected);
        close_text(&document);
        tt_buffer_clear(&text);
    }
}
END_TEST

struct seen {
    struct tt_buffer text;
    size_t most;
};

static bool see(void *context, struct tt_json *whole, struct tt_json *element)
{
    struct seen *seen = context;
    struct tt_place place = tt_json_place(element, element->root);
    const cJSON *before = cJSON_GetObjectItemCaseSensitive(whole->root, "before");
    ck_assert_str_eq(before->valuestring, "b");
    ck_assert_ptr_null(cJSON_GetObjectItemCaseSensitive(whole->root, "behind"));
    tt_buffer_printf(&seen->text, "%zu:%zu:%.*s ", place.line, place.column,
                     (int)(tt_json_where(element, element->root)->end -
                           tt_json_where(element, element->root)->value),
                     tt_json_where(element, element->root)->value);
    return seen->most-- > 1;
}

START_TEST(an_array_is_streamed)
{
    static const char text[] =
        "{\"before\": \"b\", \"rows\": [1,\n {\"a\": [2]}, \"x\"], \"behind\": [4]}";
    struct seen seen = {{0}, 100};
    const struct tt_json_stream stream = {"rows", see, &seen};
    struct document document;
    ck_assert(open_text(&document, text, &stream));
    ck_assert_str_eq(seen.text.text, "1:26:1 2:2:{\"a\": [2]} 2:14:\"x\" ");
    const cJSON *rows = cJSON_GetObjectItemCaseSensitive(document.json.root, "rows");
    ck_assert(cJSON_IsArray(rows) && rows->child == NULL);
    ck_assert_uint_eq(tt_json_key_place(&document.json, rows).column, 17);
    const cJSON *behind = cJSON_GetObjectItemCaseSensitive(document.json.root, "behind");
    ck_assert_uint_eq(tt_json_place(&document.json, behind->child).column, 31);
    close_text(&document);
    tt_buffer_clear(&seen.text);
}
END_TEST

START_TEST(a_stream_can_stop)
{
    static const char text[] = "{\"before\": \"b\", \"rows\": [1, 2, 3], \"behind\": [4]}";
    struct seen seen = {{0}, 2};
    const struct tt_json_stream stream = {"rows", see, &seen};
    struct document document;
    ck_assert(!open_text(&document, text, &stream));
    ck_assert_str_eq(seen.text.text, "1:26:1 1:29:2 ");
    close_text(&document);
    tt_buffer_clear(&seen.text);
}
END_TEST

START_TEST(faults_in_a_stream)
{
    static const char *const texts[] = {
        "{\"before\": \"b\", \"rows\": [1, 2",         "{\"before\": \"b\", \"rows\": [1, ]}",
        "{\"before\": \"b\", \"rows\": [1 2]}",        "{\"before\": \"b\", \"rows\": [",
        "{\"before\": \"b\", \"rows\": [1], \"x\": }",
    };
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
        struct seen seen = {{0}, 100};
        const struct tt_json_stream stream = {"rows", see, &seen};
        struct document document;
        ck_assert(!open_text(&document, texts[i], &stream));
        ck_assert_uint_eq(document.diagnose.faults, 1);
        close_text(&document);
        tt_buffer_clear(&seen.text);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/json");
    TCase *tests = tcase_create("json");
    tcase_add_test(tests, takes_what_is_json);
    tcase_add_test(tests, refuses_what_is_not);
    tcase_add_test(tests, refuses_every_beginning);
    tcase_add_test(tests, depth_is_limited);
    tcase_add_test(tests, values_know_their_place);
    tcase_add_test(tests, doubled_keys_are_told);
    tcase_add_test(tests, an_array_is_streamed);
    tcase_add_test(tests, a_stream_can_stop);
    tcase_add_test(tests, faults_in_a_stream);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
