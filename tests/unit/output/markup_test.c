/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Text of any origin as markup, and round numbers on axes. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "output/report/markup.h"
#include "output/report/picture.h"
#include "output/report/scale.h"

static void is_written(const char *text, size_t most, const char *expected)
{
    struct tt_buffer buffer = {0};

    tt_markup_short(&buffer, text, most);
    ck_assert_str_eq(buffer.text, expected);
    tt_buffer_clear(&buffer);
}

/* XML 1.0, 2.4: what may not stand as itself. */
START_TEST(markup_is_escaped)
{
    is_written("<a href=\"x\">'&'</a>", 99,
               "&lt;a href=&quot;x&quot;&gt;&#39;&amp;&#39;&lt;/a&gt;");
    is_written("\xc2\xb5m \xe2\x88\x92", 99, "\xc2\xb5m \xe2\x88\x92");
}
END_TEST

/* UAX #9, table 3: explicit formatting characters; C0 and C1 controls; bytes that are no UTF-8. */
START_TEST(what_steers_is_spelled)
{
    is_written("a\xe2\x80\xae"
               "b",
               99, "a[U+202E]b");
    is_written("\xe2\x81\xa6\xe2\x81\xa9\xd8\x9c", 99, "[U+2066][U+2069][U+061C]");
    is_written("x\ny\x7f\xc2\x85", 99, "x[U+000A]y[U+007F][U+0085]");
    is_written("\xff\xc3", 99, "\xef\xbf\xbd\xef\xbf\xbd");
    is_written("\xed\xa0\x80", 99, "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd");
    is_written("\xef\xbf\xbf", 99, "[U+FFFF]");
    is_written("\xd7\xa9", 99, "\xd7\xa9"); /* a letter of a script that runs to the left stays */
}
END_TEST

START_TEST(long_names_are_cut)
{
    is_written("abcdef", 6, "abcdef");
    is_written("abcdefg", 6, "abcde\xe2\x80\xa6");
    is_written("\xc3\xa4\xc3\xb6\xc3\xbc\xc3\x9f", 3, "\xc3\xa4\xc3\xb6\xe2\x80\xa6");
    is_written("<<<", 2, "&lt;\xe2\x80\xa6");
}
END_TEST

START_TEST(coordinates)
{
    struct tt_buffer buffer = {0};

    tt_markup(&buffer, "M@ @L@ @", TT_AT(2.385, -0.04, NAN, 1234.56));
    ck_assert_str_eq(buffer.text, "M2.4 0L0 1234.6");
    tt_buffer_clear(&buffer);
}
END_TEST

START_TEST(signed_numbers)
{
    static const struct {
        double value;
        int decimals;
        bool plus;
        const char *text;
    } CASES[] = {{-2.385, 2, false,
                  "\xe2\x88\x92"
                  "2.38"},
                 {2.385, 1, true, "+2.4"},
                 {-0.004, 2, true, "+0.00"},
                 {-0.004, 2, false, "0.00"},
                 {NAN, 2, true, "\xe2\x80\x93"}};

    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        ck_assert_str_eq(tt_signed(CASES[i].value, CASES[i].decimals, CASES[i].plus).text,
                         CASES[i].text);
    }
}
END_TEST

/* Over many ranges: ticks are 1, 2 or 5 times a power of ten, as many as asked for or less, within
 * the ends. */
START_TEST(ticks_are_round)
{
    for (int i = 0; i < 400; i++) {
        double low = -37.41 + 0.911 * i, width = pow(10, -3 + 0.0193 * i),
               per = i % 2 == 0 ? 1 : 1 / 25.4; /* mm, shown in inches */
        struct tt_scale scale =
            tt_scale_make((struct tt_span){low, low + width, 1e-9, 46, 330, 5, false, per});
        double shown = scale.step * per, power = pow(10, floor(log10(shown) + 1e-9)),
               digit = shown / power;
        size_t n;
        double first = tt_scale_tick(&scale, &n);
        ck_assert_msg(fabs(digit - 1) < 1e-9 || fabs(digit - 2) < 1e-9 || fabs(digit - 5) < 1e-9,
                      "step %g", scale.step);
        ck_assert_msg(n >= 1 && n <= 6, "%zu ticks over %g", n, width);
        ck_assert(first >= low - 1e-5 * scale.step);
        ck_assert(first + (double)(n - 1) * scale.step <= low + width + 1e-5 * scale.step);
    }
}
END_TEST

/* Ends on ticks: what ends on one is not lengthened, what does not is, by less than a step. */
START_TEST(ends_that_are_round)
{
    static const struct {
        double low, high, least, most;
    } OF[] = {{0, 40, 0, 40}, {-20, 30, -20, 30}, {0.3, 39.1, 0, 40}, {-17.3, 21.7, -20, 30}};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        struct tt_scale scale =
            tt_scale_make((struct tt_span){OF[i].low, OF[i].high, 1e-9, 46, 330, 5, true, 1});
        ck_assert_double_eq_tol(scale.step, 10, 1e-9);
        ck_assert_double_eq_tol(scale.low, OF[i].least, 1e-9);
        ck_assert_double_eq_tol(scale.high, OF[i].most, 1e-9);
    }
}
END_TEST

START_TEST(places)
{
    struct tt_scale scale = tt_scale_make((struct tt_span){-11.3, 23.85, 1, 130, 30, 4, true, 1});

    ck_assert_double_eq_tol(scale.step, 10, 1e-12);
    ck_assert_double_eq_tol(scale.low, -20, 1e-12);
    ck_assert_double_eq_tol(scale.high, 30, 1e-12);
    ck_assert_double_eq_tol(tt_scale_place(&scale, 5), 80, 1e-12);
    ck_assert_double_eq_tol(tt_scale_clip(&scale, 71), 30, 1e-12);
    ck_assert(!tt_scale_holds(&scale, 30.1) && tt_scale_holds(&scale, 29.9));
    scale = tt_scale_make((struct tt_span){2.385, 2.385, 4, 0, 100, 4, false, 1});
    ck_assert_double_eq_tol(scale.high - scale.low, 4, 1e-12);
    ck_assert_double_eq_tol(tt_scale_round_down(49.9), 20, 1e-12);
    ck_assert_double_eq_tol(tt_scale_round_down(0.0501), 0.05, 1e-12);
    ck_assert_double_eq_tol(tt_scale_round_shown(49.9, 1 / 25.4), 25.4, 1e-12);
    ck_assert_double_eq_tol(tt_scale_round_shown(31, 1000 / 25.4), 25.4, 1e-12);
    scale = tt_scale_make((struct tt_span){-11.3, 23.85, 1, 130, 30, 4, true, 1000 / 25.4});
    ck_assert_double_eq_tol(scale.step, 12.7, 1e-12); /* 500 of 1383 */
    ck_assert_double_eq_tol(scale.low, -12.7, 1e-12);
    ck_assert_double_eq_tol(scale.high, 25.4, 1e-12);
    ck_assert_int_eq(scale.decimals, 0);
}
END_TEST

int main(void)
{
    const TTest *const TESTS[] = {
        markup_is_escaped, what_steers_is_spelled, long_names_are_cut,  coordinates,
        signed_numbers,    ticks_are_round,        ends_that_are_round, places};
    Suite *suite = suite_create("output/markup");
    TCase *cases = tcase_create("markup");
    SRunner *runner;
    int failed;

    for (size_t i = 0; i < sizeof TESTS / sizeof TESTS[0]; i++) {
        tcase_add_test(cases, TESTS[i]);
    }
    suite_add_tcase(suite, cases);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
