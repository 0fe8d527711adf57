/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where values stand, to the byte: what a place finds, in files cut short at every byte, and in the
 * markup of XML. */
#include "config.h"

#include "export/place.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "export/place_kinds.h"
#include "export/xml_scan.h"

/* What stands at @place: "status" if it is not found. */
static const char *found_in(const char *text, size_t length, const char *place)
{
    static char found[200];
    struct tt_config *config = NULL;
    struct tt_span span = {0, 0};
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tt_config_new("file", text, length, &config, &error);
    if (status == TIPTRUE_OK) {
        status = tt_config_find(config, place, &span, &error);
        tt_config_free(config);
    }
    if (status == TIPTRUE_OK) {
        ck_assert_uint_le(span.at + span.length, length);
        snprintf(found, sizeof(found), "%zu:%.*s", span.at, (int)span.length, text + span.at);
    } else {
        ck_assert_int_eq(error.status, status);
        ck_assert_msg(error.text[0] != '\0', "place '%s': no message", place);
        snprintf(found, sizeof(found), "%s",
                 status == TIPTRUE_E_CONFIG  ? "config"
                 : status == TIPTRUE_E_USAGE ? "usage"
                                             : "other");
    }
    return found;
}

static void assert_found(const char *text, const char *place, const char *expected)
{
    ck_assert_msg(strcmp(found_in(text, strlen(text), place), expected) == 0,
                  "'%s' in '%s' is %s, not %s", place, text, found_in(text, strlen(text), place),
                  expected);
}

/* RFC 6901, section 5: the document and the pointers of the standard, but that only numbers are
 * values here. */
START_TEST(pointers_of_the_standard)
{
    static const char text[] = "{\"foo\": [\"bar\", \"baz\"], \"\": 0, \"a/b\": 1, \"c%d\": 2, "
                               "\"e^f\": 3, \"g|h\": 4, \"i\\\\j\": 5, "
                               "\"k\\\"l\": 6, \" \": 7, \"m~n\": 8}";
    static const char *const pairs[][2] = {
        {"/foo/0", "10:bar"}, {"/", "30:0"},     {"/a~1b", "40:1"}, {"/c%d", "50:2"},
        {"/e^f", "60:3"},     {"/g|h", "70:4"},  {"/i\\j", "81:5"}, {"/k\"l", "92:6"},
        {"/ ", "100:7"},      {"/m~0n", "110:8"}};
    for (size_t i = 0; i < sizeof(pairs) / sizeof(pairs[0]); i++) {
        char *value = strchr(pairs[i][1], ':');
        const char *found = found_in(text, strlen(text), pairs[i][0]);
        ck_assert_msg(strcmp(strchr(found, ':') != NULL ? strchr(found, ':') : found, value) == 0,
                      "'%s' is %s", pairs[i][0], found);
    }
    assert_found(text, "", "config"); /* the whole document: no number */
    assert_found(text, "/foo", "config");
    assert_found(text, "/foo/-", "config");
    assert_found(text, "/foo/2", "config");
    assert_found(text, "/m~n", "usage");
}
END_TEST

START_TEST(json_places)
{
    assert_found("-2.385e1", "", "0:-2.385e1");
    assert_found(" [ 7 , -2.385 ] ", "/1", "7:-2.385");
    assert_found("\xEF\xBB\xBF{\"x\": \" 2.385 \"}", "/x", "11:2.385");
    assert_found("{\"x\": {\"x\": {\"y\": 1}, \"y\": 2.385}}", "/x/y", "27:2.385");
    assert_found("{\"a\": [[[1, 2], 3], 4.5]}", "/a/0/0/1", "12:2");
    assert_found("{\"a\": [[[1, 2], 3], 4.5]}", "/a/1", "20:4.5");
    assert_found("{\"\\u0061\\/b\": 2.385}", "/a~1b", "14:2.385");
}
END_TEST

START_TEST(lines)
{
    static const char text[] =
        "top = 1.5\n[a.b]\nc.d = 2.385\n[a]\n  b.c = 'x' ; y\n\"q\"=7 # z\nu:-1 ;2\n[]\nx = 5";
    assert_found(text, "top", "6:1.5");
    assert_found(text, ".top", "6:1.5");
    assert_found(text, "a.b.c.d", "22:2.385");
    assert_found(text, "a.b.c", "41:x");
    assert_found(text, "a.\"q\"", "52:7");
    assert_found(text, "a.u", "60:-1");
    assert_found(text, ".x", "73:5");
    assert_found(text, "a.b.c.x", "config");
    assert_found(text, "A.u", "config");
    assert_found("[a]\nx=1\n[b]\n[a]\nx=2\n", "a.x", "config");
    assert_found("[a]\nx = 1 ; old\n; x = 2\n", "a.x", "8:1");
}
END_TEST

START_TEST(patterns)
{
    assert_found("a 1\r\nb 2.385\r\nb\n", "~^b (\\S+)$", "7:2.385");
    assert_found("{\"x\": 1} // mm", "~\"x\": (\\d)", "6:1");
    assert_found("ab", "~(x?)b", "1:"); /* an empty value is no number, which is found later */
    assert_found("aa", "~(a)", "config");
    assert_found("aa", "~a", "usage");
    assert_found("aa", "~(a", "usage");
    assert_found("a\xFF"
                 "5",
                 "~a.(5)", "2:5");
}
END_TEST

START_TEST(xml_places)
{
    assert_found("<a x='2.385'/>", "/a/@x", "6:2.385");
    assert_found("<a><b/><b> 2.385\n</b></a>", "//b[2]", "11:2.385");
    assert_found("<?xml version='1.0'?><!-- <b>1</b> --><a><![CDATA[<b>]]><b>2.385</b></a>", "//b",
                 "59:2.385");
    assert_found("<a><b>1</b><c y='>' x=\"2.385\"><b>3</b></c></a>", "//c/@x", "23:2.385");
    assert_found("<a><b>1</b><c y='>' x=\"2.385\"><b>3</b></c></a>", "//b", "config");
    assert_found("<a><x>1<!-- --> </x></a>", "//x", "6:1");
    assert_found("<a x='1' x='2'/>", "//@x", "config");
    assert_found("<a><b></a>", "//b", "config");
    assert_found("<a>1</a>", "//@*[", "usage");
    assert_found("<a>1</a>", "'1'", "usage");
    assert_found("<a>1</a>", "namespace::*", "config");
    assert_found("<!DOCTYPE a [<!ENTITY e '1'>]><a>2</a>", "/a", "config");
    assert_found("<!DOCTYPE a [<!-- <!ENTITY e '1'> -->]><a>2</a>", "/a", "config");
    assert_found("<!DOCTYPE a [<!ATTLIST a x CDATA \"]>\">]><a y='2'/>", "/a/@y", "46:2");
    assert_found("<!DOCTYPE a [<!ATTLIST a x CDATA '5'>]><a y='2'/>", "/a/@x", "config");
}
END_TEST

/* Every beginning of every file, with each kind of place: no crash, no reading behind the end, and
 * a value only where one can be.
 */
START_TEST(cut_short)
{
    static const char *const texts[] = {"{\"x\": [1, {\"y\": \"2.385\"}], \"\\u00e9\": null}",
                                        "[a]\nx = \"2.385\" ; y\n[b]\nx: 3\n",
                                        ("<?xml version='1.0'?><!DOCTYPE a [<!ELEMENT a "
                                         "ANY>]><!--c--><a x='1'><b>2.385</b><![CDATA[x]]></a>")};
    static const char *const places[] = {"/x/1/y", "a.x", "//b", "//@x", "~(2)", "~(\\S+)$", ""};
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
        for (size_t length = 0; length <= strlen(texts[i]); length++) {
            char *copy = malloc(length + 1);
            ck_assert_ptr_nonnull(copy);
            memcpy(copy, texts[i], length);
            copy[length] = '\0';
            for (size_t j = 0; j < sizeof(places) / sizeof(places[0]); j++) {
                ck_assert_msg(strcmp(found_in(copy, length, places[j]), "other") != 0,
                              "%s in the first %zu bytes of %s", places[j], length, texts[i]);
            }
            struct tt_xml_element element;
            struct tt_span name, value;
            size_t at;
            if (tt_xml_element_find(copy, length, 1, &element, NULL)) {
                (void)tt_xml_attribute_find(copy, &element, 0, &name, &value);
            }
            (void)tt_xml_declares_entity(copy, length, &at);
            free(copy);
        }
    }
}
END_TEST

START_TEST(numbers)
{
    static const struct {
        const char *text;
        double value; /* 0 = refused */
    } cases[] = {{"x=-2.385", -2.385}, {"x=+2.385e1", 23.85}, {"x=.5", 0.5},
                 {"x=2,385", 0.0},     {"x=nan", 0.0},        {"x=0x10", 0.0},
                 {"x=", 0.0},          {"x=1e999", 0.0},      {"x=2.385 mm", 0.0}};
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        struct tt_config *config = NULL;
        struct tt_span span;
        double value = 0.0;
        ck_assert_int_eq(tt_config_new("file", cases[i].text, strlen(cases[i].text), &config, NULL),
                         TIPTRUE_OK);
        enum tiptrue_status status = tt_config_number(config, "x", &span, &value, NULL);
        ck_assert_msg((status == TIPTRUE_OK) == (cases[i].value != 0.0), "'%s': status %d",
                      cases[i].text, (int)status);
        ck_assert_double_eq(value, cases[i].value);
        tt_config_free(config);
    }
}
END_TEST

/* The parser's own words, the end of its line left out. */
START_TEST(xml_that_is_not_well_formed)
{
    static const char TEXT[] = "<a>\n<x>1.5</x></b>";
    struct tt_config *config = NULL;
    struct tt_span span = {0, 0};
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_config_new("head.xml", TEXT, strlen(TEXT), &config, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_config_find(config, "//x", &span, &error), TIPTRUE_E_CONFIG);
    ck_assert_ptr_nonnull(strstr(error.text, "is not well-formed XML: "));
    ck_assert_ptr_nonnull(strstr(error.text, "mismatch"));
    ck_assert_ptr_null(strchr(error.text, '\n'));
    ck_assert_uint_eq(error.line, 2);
    tt_config_free(config);
}
END_TEST

/* What fits stands there whole; behind what does not, room for "; ..." is kept. */
START_TEST(lists_that_are_full)
{
    char text[200];
    for (size_t length = 180; length < 200; length++) {
        struct tt_list list = {.length = 0};
        memset(text, 'q', sizeof(text));
        text[length - 7] = '\0';
        tt_list_add(&list, "12345");
        tt_list_add(&list, text);
        bool fits = length + sizeof "; ..." <= sizeof(list.text);
        ck_assert_uint_eq(list.length, fits ? length : 5);
        ck_assert(list.full == !fits);
        if (fits) {
            ck_assert_uint_eq(strlen(list.text), length);
            tt_list_add(&list, "more of it than fits, whatever it is");
        }
        ck_assert_uint_eq(strlen(list.text), list.length + 5);
        ck_assert_str_eq(list.text + list.length, "; ...");
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/place");
    TCase *tcase = tcase_create("place");
    tcase_add_test(tcase, pointers_of_the_standard);
    tcase_add_test(tcase, json_places);
    tcase_add_test(tcase, lines);
    tcase_add_test(tcase, patterns);
    tcase_add_test(tcase, xml_places);
    tcase_add_test(tcase, cut_short);
    tcase_add_test(tcase, numbers);
    tcase_add_test(tcase, xml_that_is_not_well_formed);
    tcase_add_test(tcase, lists_that_are_full);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
