/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The last look before a file is replaced: a value that is not the meant one, and a byte changed
 * outside, are seen. */
#include "config.h"

#include "export/edit.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const char OLD[] = "[a]\nx = 36.2140 ; one\ny = -18.4420\n";
static const char NEW[] = "[a]\nx = 36.21 ; one\ny = 18.4439\n";

static struct tt_edit edits[2];
static struct tt_arena arena;

static void setup(void)
{
    struct tt_buffer to = {0};
    memset(edits, 0, sizeof(edits));
    /* given in the other order than they stand in */
    ck_assert_int_eq(tt_put_read("t.offset.y:minus=a.y", &edits[0].put, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_put_read("t.offset.x:.2=a.x", &edits[1].put, NULL), TIPTRUE_OK);
    edits[0].value_mm = -18.44391;
    edits[1].value_mm = 36.21249;
    ck_assert_int_eq(tt_edits_find("f", OLD, strlen(OLD), edits, 2, &arena, NULL), TIPTRUE_OK);
    ck_assert_str_eq(edits[0].put.place, "a.x");
    ck_assert_uint_eq(edits[0].line, 2);
    ck_assert_str_eq(edits[0].old_text, "36.2140");
    ck_assert_double_eq(edits[0].new_mm, 36.21);
    ck_assert_double_eq(edits[1].old_mm, 18.442);
    ck_assert_double_eq(edits[1].new_mm, -18.4439);
    tt_edits_apply(OLD, strlen(OLD), edits, 2, &to);
    ck_assert_str_eq(to.text, NEW);
    tt_buffer_clear(&to);
}

static void teardown(void)
{
    tt_arena_clear(&arena);
}

static enum tiptrue_status verify(const char *new)
{
    struct tiptrue_error error = {0};
    enum tiptrue_status status =
        tt_edits_verify("f", OLD, strlen(OLD), new, strlen(new), edits, 2, &error);
    ck_assert((error.text[0] != '\0') == (status != TIPTRUE_OK));
    return status;
}

START_TEST(what_was_meant)
{
    ck_assert_int_eq(verify(NEW), TIPTRUE_OK);
}
END_TEST

START_TEST(another_value)
{
    ck_assert_int_eq(verify("[a]\nx = 36.22 ; one\ny = 18.4439\n"), TIPTRUE_E_CONFIG);
    ck_assert_int_eq(verify("[a]\nx = 36.21 ; one\ny = -18.4439\n"), TIPTRUE_E_CONFIG);
    ck_assert_int_eq(verify("[a]\nx =  36.21; one\ny = 18.4439\n"), TIPTRUE_E_CONFIG);
    ck_assert_int_eq(verify("[a]\nz = 36.21 ; one\ny = 18.4439\n"), TIPTRUE_E_CONFIG);
    ck_assert_int_eq(verify("[a]\nx = 36.21 ; one\ny = 18.4439\nx = 1\n"), TIPTRUE_E_CONFIG);
}
END_TEST

/* Each byte outside the values, changed; one more and one less at the end. */
START_TEST(another_byte)
{
    size_t seen = 0;
    for (size_t i = 0; i < strlen(NEW); i++) {
        char changed[sizeof(NEW)];
        memcpy(changed, NEW, sizeof(NEW));
        changed[i] = changed[i] == '#' ? '.' : (char)(changed[i] ^ 1);
        ck_assert_msg(verify(changed) != TIPTRUE_OK, "byte %zu, '%s'", i, changed);
        seen += verify(changed) == TIPTRUE_E_INTERNAL;
    }
    ck_assert_uint_ge(seen, 4); /* those that leave the places as they are */
    ck_assert_int_eq(verify("[a]\nx = 36.21 ; one\ny = 18.4439\n\n"), TIPTRUE_E_INTERNAL);
    ck_assert_int_eq(verify("[a]\nx = 36.21 ; one\ny = 18.4439"), TIPTRUE_E_INTERNAL);
}
END_TEST

/* Two fields for one value, given in the other order than they stand in. */
START_TEST(one_value_twice)
{
    struct tt_edit twice[3];
    struct tiptrue_error error = {0};

    memset(twice, 0, sizeof twice);
    ck_assert_int_eq(tt_put_read("t.offset.y=~y = (.*)", &twice[0].put, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_put_read("t.radius=a.y", &twice[1].put, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_put_read("t.offset.x=a.x", &twice[2].put, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_edits_find("f", OLD, strlen(OLD), twice, 3, &arena, &error),
                     TIPTRUE_E_CONFIG);
    ck_assert_msg(strcmp(error.text, "places '~y = (.*)' and 'a.y' are the same value") == 0 ||
                      strcmp(error.text, "places 'a.y' and '~y = (.*)' are the same value") == 0,
                  "%s", error.text);
    ck_assert_str_eq(error.hint, "each value takes one field");
    ck_assert_uint_eq(error.line, 3);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/edit");
    TCase *tcase = tcase_create("edit");
    tcase_add_checked_fixture(tcase, setup, teardown);
    tcase_add_test(tcase, what_was_meant);
    tcase_add_test(tcase, another_value);
    tcase_add_test(tcase, another_byte);
    tcase_add_test(tcase, one_value_twice);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
