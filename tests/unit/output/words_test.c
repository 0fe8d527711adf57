/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Numbers and directions in words, on both sides of where they are said otherwise. */
#include "config.h"

#include "output/text/words.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "model/frames.h"

#define UM " \xc2\xb5m"
#define DEG "\xc2\xb0"

static void is(struct tt_buffer *said, const char *expected)
{
    ck_assert(!said->failed);
    ck_assert_str_eq(said->text, expected);
    tt_buffer_clear(said);
}

START_TEST(micrometres)
{
    static const struct {
        double value_mm, limit_mm; /* no limit: 0 */
        const char *said;
    } OF[] = {{0.00994, 0, "9.9" UM},
              {-0.00998, 0, "-10" UM},
              {0.0203 + 4.98e-6, 0.0203, "20.305" UM}, /* as many digits as show that it is over */
              {0.0203 + 5.02e-6, 0.0203, "20.31" UM},
              {0.0203 + 4.98e-5, 0.0203, "20.35" UM},
              {0.0203 + 5.02e-5, 0.0203, "20.4" UM},
              {0.0203 + 4.98e-4, 0.0203, "20.8" UM},
              {0.0203 + 5.02e-4, 0.0203, "21" UM},
              {0.00992, 0.0071, "9.9" UM},
              {0.00998, 0.0071, "10" UM}};
    struct tt_buffer said = {0};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        if (OF[i].limit_mm > 0) {
            tt_words_um_over(&said, OF[i].value_mm, OF[i].limit_mm);
        } else {
            tt_words_um(&said, OF[i].value_mm);
        }
        is(&said, OF[i].said);
    }
    tt_words_shift(&said, 0.03124, -0.0187, 0.00948, 0.00952);
    is(&said, "(+31.2, -19)" UM);
}
END_TEST

START_TEST(shares)
{
    static const struct {
        double share;
        const char *said;
    } OF[] = {{0.000995, "under 0.1 %"}, {0.001005, "0.1 %"}, {0.4237, "42.4 %"},
              {0.9985, "99.9 %"},        {0.99895, "99.9 %"}, {0.99905, "over 99.9 %"}};
    struct tt_buffer said = {0};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        tt_words_percent(&said, OF[i].share);
        is(&said, OF[i].said);
    }
    ck_assert(tt_words_same_percent(0.000995, 3e-7));
    ck_assert(!tt_words_same_percent(0.000995, 0.001005));
    ck_assert(tt_words_same_percent(0.001005, 0.0014));
    ck_assert(!tt_words_same_percent(0.4237, 0.4246));
    ck_assert(!tt_words_same_percent(0.99895, 0.99905));
    ck_assert(tt_words_same_percent(0.99905, 1));
}
END_TEST

START_TEST(directions)
{
    static const struct {
        double angle_deg;
        const char *direction, *line;
    } OF[] = {{14.9, "+x", "x"},
              {-15.1, "at -15" DEG, "the line at -15" DEG},
              {74.9, "at 75" DEG, "the line at 75" DEG},
              {75.1, "+y", "y"},
              {-75.1, "-y", "y"},
              {-105.1, "at -105" DEG, "the line at 75" DEG},
              {164.9, "at 165" DEG, "the line at -15" DEG},
              {165.1, "-x", "x"},
              {-165.1, "-x", "x"}};
    struct tt_buffer said = {0};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        double x = 0.37 * cos(tt_rad_from_deg(OF[i].angle_deg)),
               y = 0.37 * sin(tt_rad_from_deg(OF[i].angle_deg));
        tt_words_direction(&said, x, y);
        is(&said, OF[i].direction);
        tt_words_line(&said, x, y);
        is(&said, OF[i].line);
    }
}
END_TEST

START_TEST(lines)
{
    static const size_t AT[] = {17, 31, 40, 41, 55, 56, 57, 58, 63, 72};
    static const struct {
        size_t n;
        const char *said;
    } OF[] = {{1, "line 17"},
              {2, "lines 17 and 31"},
              {9, "lines 17, 31, 40, 41, 55, 56, 57, 58 and 63"},
              {10, "lines 17, 31, 40, 41, 55, 56, 57, 58 and 2 more"}};
    struct tt_buffer said = {0};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        tt_words_lines(&said, AT, OF[i].n);
        is(&said, OF[i].said);
    }
    tt_words_factor(&said, 0.99837);
    is(&said, "0.9984");
    tt_words_factor(&said, 1.00237);
    is(&said, "1.00");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("output/words");
    TCase *tests = tcase_create("words");
    tcase_add_test(tests, micrometres);
    tcase_add_test(tests, shares);
    tcase_add_test(tests, directions);
    tcase_add_test(tests, lines);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
