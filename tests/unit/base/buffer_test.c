/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The growing text: what is added is there, NUL-terminated at every step; failure is remembered
 * until the reset. */
#include "config.h"

#include "base/buffer.h"

#include <check.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

START_TEST(pieces_follow_each_other)
{
    struct tt_buffer buffer = {0};
    tt_buffer_add(&buffer, "offset x", 6);
    tt_buffer_putc(&buffer, ' ');
    tt_buffer_puts(&buffer, "of ");
    tt_buffer_printf(&buffer, "%s %d%c", "t1", 25, '%');
    ck_assert_str_eq(buffer.text, "offset of t1 25%");
    ck_assert_uint_eq(buffer.length, 16);
    ck_assert(!buffer.failed);
    tt_buffer_clear(&buffer);
    ck_assert_ptr_null(buffer.text);
    ck_assert_uint_eq(buffer.length, 0);
}
END_TEST

/* A room is at the end, large enough, and counts only as far as it was written; none of it without
 * memory. */
START_TEST(room_is_filled_by_the_caller)
{
    struct tt_buffer buffer = {0};
    for (size_t i = 0; i < 3000; i++) {
        char *at = tt_buffer_room(&buffer, 20);
        ck_assert_ptr_eq(at, buffer.text + buffer.length);
        memset(at, 'a' + (int)(i % 26), 20);
        tt_buffer_end(&buffer, at + i % 7);
    }
    size_t at = 0;
    for (size_t i = 0; i < 3000; i++) {
        for (size_t j = 0; j < i % 7; j++) {
            ck_assert_int_eq(buffer.text[at++], 'a' + (int)(i % 26));
        }
    }
    ck_assert_uint_eq(buffer.length, at);
    ck_assert_int_eq(buffer.text[at], '\0');
    ck_assert_ptr_null(tt_buffer_room(&buffer, SIZE_MAX / 2));
    ck_assert(buffer.failed);
    ck_assert_ptr_null(tt_buffer_room(&buffer, 1));
    tt_buffer_clear(&buffer);
}
END_TEST

START_TEST(grows_one_at_a_time)
{
    struct tt_buffer buffer = {0};
    for (size_t i = 0; i < 20000; i++) {
        tt_buffer_putc(&buffer, (char)('a' + i % 26));
        ck_assert_uint_eq(buffer.length, i + 1);
        ck_assert_int_eq(buffer.text[i + 1], '\0');
    }
    for (size_t i = 0; i < 20000; i++) {
        ck_assert_int_eq(buffer.text[i], (char)('a' + i % 26));
    }
    tt_buffer_clear(&buffer);
}
END_TEST

/* Every length around the capacities, where an error of one would show under the sanitizer. */
START_TEST(prints_any_length)
{
    static char text[18000];
    memset(text, 'x', sizeof(text) - 1);
    for (int length = 0; length < 17000;
         length += length < 8000 || (length > 8400 && length < 16200) ? 97 : 1) {
        struct tt_buffer buffer = {0};
        tt_buffer_printf(&buffer, "%.*s", length, text);
        ck_assert_uint_eq(buffer.length, (size_t)length);
        ck_assert_uint_eq(strlen(buffer.text), (size_t)length);
        tt_buffer_clear(&buffer);
    }
}
END_TEST

START_TEST(reset_keeps_the_memory)
{
    struct tt_buffer buffer = {0};
    tt_buffer_puts(&buffer, "something of some length");
    char *before = buffer.text;
    tt_buffer_reset(&buffer);
    ck_assert_uint_eq(buffer.length, 0);
    ck_assert_str_eq(buffer.text, "");
    tt_buffer_puts(&buffer, "more");
    ck_assert_ptr_eq(buffer.text, before);
    ck_assert_str_eq(buffer.text, "more");
    tt_buffer_clear(&buffer);
}
END_TEST

START_TEST(failure_is_remembered)
{
    struct tt_buffer buffer = {0};
    tt_buffer_puts(&buffer, "kept");
    tt_buffer_add(&buffer, "x", SIZE_MAX / 2);
    ck_assert(buffer.failed);
    tt_buffer_puts(&buffer, "not added");
    tt_buffer_printf(&buffer, "%d", 7);
    ck_assert_str_eq(buffer.text, "kept");
    tt_buffer_reset(&buffer);
    ck_assert(!buffer.failed);
    tt_buffer_puts(&buffer, "added");
    ck_assert_str_eq(buffer.text, "added");
    tt_buffer_clear(&buffer);
}
END_TEST

START_TEST(nothing_added_is_text_too)
{
    struct tt_buffer buffer = {0};
    tt_buffer_reset(&buffer);
    tt_buffer_add(&buffer, NULL, 0);
    ck_assert_str_eq(buffer.text, "");
    tt_buffer_clear(&buffer);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("base/buffer");
    TCase *tests = tcase_create("buffer");
    tcase_add_test(tests, pieces_follow_each_other);
    tcase_add_test(tests, room_is_filled_by_the_caller);
    tcase_add_test(tests, grows_one_at_a_time);
    tcase_add_test(tests, prints_any_length);
    tcase_add_test(tests, reset_keeps_the_memory);
    tcase_add_test(tests, failure_is_remembered);
    tcase_add_test(tests, nothing_added_is_text_too);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
