/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The arena: pieces aligned, zeroed and apart; the second use asks the system for nothing; sizes
 * that overflow. */
#include "config.h"

#include "base/arena.h"

#include <check.h>
#include <stdalign.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static bool is_zero(const unsigned char *bytes, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (bytes[i] != 0) {
            return false;
        }
    }
    return true;
}

/* Sizes around the first chunk's, so that pieces fall inside and outside of it. */
static const size_t sizes[] = {1, 3, 16, 17, 100, 1999, 3000, 5, 4000, 4001, 7, 20000, 33};
#define N_SIZES (sizeof(sizes) / sizeof(sizes[0]))

START_TEST(pieces_are_aligned_zeroed_and_apart)
{
    struct tt_arena arena = {0};
    unsigned char *pieces[N_SIZES];
    for (int round = 0; round < 3; round++) {
        for (size_t i = 0; i < N_SIZES; i++) {
            pieces[i] = tt_arena_get(&arena, sizes[i], 1);
            ck_assert_ptr_nonnull(pieces[i]);
            ck_assert_uint_eq((uintptr_t)pieces[i] % alignof(max_align_t), 0);
            ck_assert(is_zero(pieces[i], sizes[i]));
            memset(pieces[i], (int)i + 1, sizes[i]);
        }
        for (size_t i = 0; i < N_SIZES; i++) {
            ck_assert_uint_eq(pieces[i][0], i + 1);
            ck_assert_uint_eq(pieces[i][sizes[i] - 1], i + 1);
        }
        tt_arena_reset(&arena);
    }
    tt_arena_clear(&arena);
    ck_assert_ptr_null(arena.first);
    ck_assert_ptr_null(arena.current);
}
END_TEST

START_TEST(second_use_gives_the_same_places)
{
    struct tt_arena arena = {0};
    void *first[N_SIZES];
    for (size_t i = 0; i < N_SIZES; i++) {
        first[i] = tt_arena_get(&arena, sizes[i], 1);
    }
    for (int round = 0; round < 2; round++) {
        tt_arena_reset(&arena);
        for (size_t i = 0; i < N_SIZES; i++) {
            ck_assert_ptr_eq(tt_arena_get(&arena, sizes[i], 1), first[i]);
        }
    }
    tt_arena_clear(&arena);
}
END_TEST

START_TEST(products_that_overflow_are_refused)
{
    struct tt_arena arena = {0};
    ck_assert_ptr_null(tt_arena_get(&arena, SIZE_MAX / 2, 3));
    ck_assert_ptr_null(tt_arena_get(&arena, SIZE_MAX, 1));
    ck_assert_ptr_null(tt_arena_get(&arena, 2, SIZE_MAX / 2 + 1));
    ck_assert_ptr_null(tt_arena_grow(&arena, NULL, SIZE_MAX / 4, 8));
    ck_assert_ptr_null(tt_arena_copy_text(&arena, "abc", SIZE_MAX));
    ck_assert_ptr_nonnull(tt_arena_get(&arena, 5, 3));
    tt_arena_clear(&arena);
}
END_TEST

START_TEST(nothing_is_a_valid_piece)
{
    struct tt_arena arena = {0};
    ck_assert_ptr_nonnull(tt_arena_get(&arena, 0, 8));
    ck_assert_ptr_nonnull(tt_arena_get(&arena, 7, 0));
    char *empty = tt_arena_copy_text(&arena, NULL, 0);
    ck_assert_str_eq(empty, "");
    tt_arena_clear(&arena);
    tt_arena_clear(&arena);
}
END_TEST

START_TEST(text_is_copied_and_ended)
{
    struct tt_arena arena = {0};
    char text[] = "east,west";
    char *copy = tt_arena_copy_text(&arena, text, 4);
    text[0] = 'E';
    ck_assert_str_eq(copy, "east");
    tt_arena_clear(&arena);
}
END_TEST

/* Two arrays grow in turn, with pieces got in between: neither disturbs the other. */
START_TEST(pieces_grow)
{
    struct tt_arena arena = {0};
    size_t *odd = NULL, *even = NULL;
    for (size_t n = 1; n <= 20000; n *= 3) {
        odd = tt_arena_grow(&arena, odd, n, sizeof(*odd));
        even = tt_arena_grow(&arena, even, 2 * n, sizeof(*even));
        ck_assert_ptr_nonnull(odd);
        ck_assert_ptr_nonnull(even);
        unsigned char *other = tt_arena_get(&arena, 50, 1);
        ck_assert(is_zero(other, 50));
        memset(other, 0xFF, 50);
        for (size_t i = n / 3; i < n; i++) {
            odd[i] = 2 * i + 1;
            even[i] = 2 * i;
        }
        for (size_t i = 0; i < n; i++) {
            ck_assert_uint_eq(odd[i], 2 * i + 1);
            ck_assert_uint_eq(even[i], 2 * i);
        }
    }
    tt_arena_reset(&arena);
    unsigned char *piece = tt_arena_get(&arena, 3000, 1);
    ck_assert(is_zero(piece, 3000));
    tt_arena_clear(&arena);
}
END_TEST

/* Readers of rows let a piece grow by one for each row: the time is that of the rows, not of their
 * square (a fiftieth of a second; copied each time, it would be a minute). */
START_TEST(a_piece_grows_by_one)
{
    struct tt_arena arena = {0};
    struct row {
        size_t n;
        char rest[112];
    } *rows = NULL;
    const clock_t begin = clock();

    for (size_t i = 0; i < 100000; i++) {
        rows = tt_arena_grow(&arena, rows, i + 1, sizeof *rows);
        ck_assert_ptr_nonnull(rows);
        rows[i].n = 3 * i;
        ck_assert_ptr_nonnull(
            tt_arena_copy_text(&arena, "0123456789012345678901234567890123456789", 40));
    }
    ck_assert_double_lt((double)(clock() - begin) / CLOCKS_PER_SEC, 3);
    for (size_t i = 0; i < 100000; i++) {
        ck_assert_uint_eq(rows[i].n, 3 * i);
    }
    tt_arena_clear(&arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("base/arena");
    TCase *tests = tcase_create("arena");
    tcase_add_test(tests, pieces_are_aligned_zeroed_and_apart);
    tcase_add_test(tests, second_use_gives_the_same_places);
    tcase_add_test(tests, products_that_overflow_are_refused);
    tcase_add_test(tests, nothing_is_a_valid_piece);
    tcase_add_test(tests, text_is_copied_and_ended);
    tcase_add_test(tests, pieces_grow);
    tcase_add_test(tests, a_piece_grows_by_one);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
