/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Errors in the caller's storage: the first stays, texts that are too long end at a whole
 * character. */
#include "config.h"

#include "base/status.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

START_TEST(fills_all_fields)
{
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_fail(&error, TIPTRUE_E_DATA, "run.csv", 17, 24, "what to do",
                             "rotation '%s' is %d", "inf", 3),
                     TIPTRUE_E_DATA);
    ck_assert_int_eq(error.status, TIPTRUE_E_DATA);
    ck_assert_str_eq(error.file, "run.csv");
    ck_assert_uint_eq(error.line, 17);
    ck_assert_uint_eq(error.column, 24);
    ck_assert_str_eq(error.text, "rotation 'inf' is 3");
    ck_assert_str_eq(error.hint, "what to do");
}
END_TEST

START_TEST(first_error_stays)
{
    struct tiptrue_error error = {0};
    (void)tt_fail(&error, TIPTRUE_E_IO, NULL, 0, 0, NULL, "first");
    ck_assert_int_eq(tt_fail(&error, TIPTRUE_E_DATA, "b", 2, 3, "x", "second"), TIPTRUE_E_DATA);
    ck_assert_int_eq(tt_fail_memory(&error), TIPTRUE_E_MEMORY);
    ck_assert_int_eq(error.status, TIPTRUE_E_IO);
    ck_assert_str_eq(error.text, "first");
    ck_assert_str_eq(error.file, "");
    ck_assert_str_eq(error.hint, "");
    ck_assert_uint_eq(error.line, 0);
}
END_TEST

START_TEST(error_may_be_null)
{
    ck_assert_int_eq(tt_fail(NULL, TIPTRUE_E_USAGE, NULL, 0, 0, NULL, "%d", 5), TIPTRUE_E_USAGE);
    ck_assert_int_eq(tt_fail_memory(NULL), TIPTRUE_E_MEMORY);
}
END_TEST

START_TEST(memory_is_told)
{
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_fail_memory(&error), TIPTRUE_E_MEMORY);
    ck_assert_int_eq(error.status, TIPTRUE_E_MEMORY);
    ck_assert_str_eq(error.text, "out of memory");
    ck_assert_str_eq(error.hint, "close other programs, or give a smaller file");
}
END_TEST

/* Two bytes a character, shifted by one: neither 511 nor 255 bytes end at a whole one. */
START_TEST(long_texts_end_at_a_whole_character)
{
    struct tiptrue_error error = {0};
    char text[700] = "x";
    for (size_t i = 1; i + 2 < sizeof(text); i += 2) {
        memcpy(text + i, "\xC3\xA9", 2);
    }
    (void)tt_fail(&error, TIPTRUE_E_DATA, text + 1, 0, 0, text + 1, "%s", text + 1);
    ck_assert_uint_eq(strlen(error.text), 510);
    ck_assert_uint_eq(strlen(error.hint), 254);
    ck_assert_uint_eq(strlen(error.file), 254);
    ck_assert_uint_eq((unsigned char)error.text[509], 0xA9);
    struct tiptrue_error other = {0};
    (void)tt_fail(&other, TIPTRUE_E_DATA, NULL, 0, 0, NULL, "%s", text);
    ck_assert_uint_eq(strlen(other.text), 511);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("base/status");
    TCase *tests = tcase_create("status");
    tcase_add_test(tests, fills_all_fields);
    tcase_add_test(tests, first_error_stays);
    tcase_add_test(tests, error_may_be_null);
    tcase_add_test(tests, memory_is_told);
    tcase_add_test(tests, long_texts_end_at_a_whole_character);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
