/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Names in lists, orders for qsort, copies of texts that may be none. */
#include "config.h"

#include "base/named.h"

#include <check.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/order.h"

START_TEST(first_of_that_name)
{
    const struct {
        const char *name;
        double size;
    } list[] = {{"east", 2.5}, {NULL, 3.5}, {"eas", 4.5}, {"west", 5.5}, {"east", 6.5}};
    const char *const names[] = {"t2", NULL, "t1", "t11"};

    ck_assert_uint_eq(TT_NAMED(list, 5, "east"), 0);
    ck_assert_uint_eq(TT_NAMED(list, 5, "eas"), 2);
    ck_assert_uint_eq(TT_NAMED(list, 5, "west"), 3);
    ck_assert_uint_eq(TT_NAMED(list, 5, "we"), 5);
    ck_assert_uint_eq(TT_NAMED(list, 5, ""), 5);
    ck_assert_uint_eq(TT_NAMED(list, 5, NULL), 5);
    ck_assert_uint_eq(TT_NAMED(list, 3, "west"), 3);
    ck_assert_uint_eq(TT_NAMED(list, 0, "east"), 0);
    ck_assert_uint_eq(TT_NAME_AT(names, 4, "t1"), 2);
    ck_assert_uint_eq(TT_NAME_AT(names, 4, "t11"), 3);
    ck_assert_uint_eq(TT_NAME_AT(names, 4, "t3"), 4);
    /* a part of a longer text */
    ck_assert_uint_eq(tt_named(names, 4, sizeof *names, "t11.offset.x", 3), 3);
    ck_assert_uint_eq(tt_named(names, 4, sizeof *names, "t11.offset.x", 2), 2);
}
END_TEST

START_TEST(smallest_first)
{
    double values[] = {3.75, -2.5, 1e300, -2.5, 0.0, -1e-300};
    size_t counts[] = {17, SIZE_MAX, 3, 17, 0};

    qsort(values, 6, sizeof *values, tt_by_value);
    for (int i = 1; i < 6; i++) {
        ck_assert(values[i - 1] <= values[i]);
    }
    ck_assert_double_eq(values[0], -2.5);
    ck_assert_double_eq(values[5], 1e300);
    qsort(counts, 5, sizeof *counts, tt_by_count);
    for (int i = 1; i < 5; i++) {
        ck_assert(counts[i - 1] <= counts[i]);
    }
    ck_assert_uint_eq(counts[4], SIZE_MAX);
    ck_assert_int_eq(tt_by_value(&values[0], &values[1]), 0);
}
END_TEST

START_TEST(no_text_has_no_copy)
{
    struct tt_arena arena = {0};
    bool good = true;

    ck_assert_ptr_null(tt_arena_copy(&arena, NULL));
    ck_assert_ptr_null(tt_arena_keep(&arena, NULL, &good));
    ck_assert(good);
    ck_assert_str_eq(tt_arena_keep(&arena, "left edge", &good), "left edge");
    ck_assert(good);
    good = false; /* what failed before stays so */
    ck_assert_str_eq(tt_arena_keep(&arena, "", &good), "");
    ck_assert(!good);
    tt_arena_clear(&arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("base/named");
    TCase *tests = tcase_create("named");
    tcase_add_test(tests, first_of_that_name);
    tcase_add_test(tests, smallest_first);
    tcase_add_test(tests, no_text_has_no_copy);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
