/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The shortest digits against a slow twin, the C library's printf and strtod: doubles of every
 * size, on both sides of powers of two and of ten, and few-digit decimals with their neighbours.
 */
#include "config.h"

#include "base/decimal.h"

#include <check.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* splitmix64 (S. Vigna): draws that are the same everywhere. */
static uint64_t draw(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return z ^ z >> 31;
}

/* By printf: the fewest of 15 to 17 digits that strtod reads back, as "DIGITSeEXPONENT" without
 * zeros at the end of the digits. */
static void expect_digits(double value, char text[64])
{
    char printed[64], digits[32];
    for (int count = 15; count <= 17; count++) {
        snprintf(printed, sizeof(printed), "%.*e", count - 1, value);
        if (strtod(printed, NULL) == value) {
            break;
        }
    }
    int n = 0;
    for (const char *at = printed; *at != 'e'; at++) {
        if (*at != '.') {
            digits[n++] = *at;
        }
    }
    int exponent = atoi(strchr(printed, 'e') + 1) - (n - 1);
    while (n > 1 && digits[n - 1] == '0') {
        n--;
        exponent++;
    }
    snprintf(text, 64, "%.*se%d", n, digits, exponent);
}

/* Checked where the digits are told; @told counts them. */
static void check(double value, size_t *told)
{
    uint64_t digits = 77;
    int exponent = 77;
    char expected[64], found[64];
    if (!(value >= TT_DECIMAL_LOWEST && value < TT_DECIMAL_BEYOND)) {
        return;
    }
    if (!tt_decimal_shortest(value, &digits, &exponent)) {
        ck_assert(digits == 77 && exponent == 77);
        return;
    }
    expect_digits(value, expected);
    snprintf(found, sizeof(found), "%llue%d", (unsigned long long)digits, exponent);
    ck_assert_msg(strcmp(found, expected) == 0, "%a: %s, not %s", value, found, expected);
    ++*told;
}

static void check_with_neighbours(double value, size_t *told)
{
    check(value, told);
    check(nextafter(value, 0.0), told);
    check(nextafter(value, DBL_MAX), told);
}

START_TEST(doubles_of_every_size)
{
    uint64_t state = 29;
    size_t told = 0;
    for (int exponent = -1022; exponent < 50; exponent++) {
        for (int i = 0; i < 20; i++) {
            uint64_t m = draw(&state) >> 12 | UINT64_C(1) << 52;
            check(ldexp((double)m, exponent - 52), &told);
        }
        ck_assert(exponent >= 40 ||
                  told == (size_t)(exponent + 1023) * 20); /* all; beyond 2^40 there are ties */
    }
}
END_TEST

/* Below a power of two doubles are twice as dense: there the allowed distance differs on the two
 * sides. */
START_TEST(powers_of_two_and_their_neighbours)
{
    size_t told = 0;
    for (int exponent = -1022; exponent < 50; exponent++) {
        check_with_neighbours(ldexp(1.0, exponent), &told);
        check_with_neighbours(ldexp(3.0, exponent), &told);
    }
    ck_assert_uint_ge(told, 6000);
}
END_TEST

START_TEST(few_digits_and_their_neighbours)
{
    size_t told = 0;
    for (int exponent = -307; exponent < 15; exponent++) {
        for (int n = 1; n < 40; n++) {
            char text[32];
            snprintf(text, sizeof(text), "%de%d", n * n * 7 - 6, exponent);
            check_with_neighbours(strtod(text, NULL), &told);
        }
    }
    ck_assert_uint_ge(told, 36000);
}
END_TEST

/* 2^-25 is 2.98023223876953125e-8: of 17 digits it is half-way between two, and both read back.
 * 2^48 + 1/2 has 16, and is half-way between two of 15, but neither reads back.
 */
START_TEST(a_tie_is_not_told_where_it_matters)
{
    uint64_t digits = 77;
    int exponent = 77;
    ck_assert(!tt_decimal_shortest(0x1p-25, &digits, &exponent));
    ck_assert_uint_eq(digits, 77);
    ck_assert_int_eq(exponent, 77);
    ck_assert(tt_decimal_shortest(281474976710656.5, &digits, &exponent));
    ck_assert_uint_eq(digits, 2814749767106565);
    ck_assert_int_eq(exponent, -1);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("base/decimal");
    TCase *tests = tcase_create("decimal");
    tcase_add_test(tests, doubles_of_every_size);
    tcase_add_test(tests, powers_of_two_and_their_neighbours);
    tcase_add_test(tests, few_digits_and_their_neighbours);
    tcase_add_test(tests, a_tie_is_not_told_where_it_matters);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
