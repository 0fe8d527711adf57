/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sentences in other units. One inch is 25.4 mm exactly (NIST SP 811, B.6), so 1 um is 39.3701
 * microinches; the figures were worked out by hand. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "output/units.h"

#define UM "\xc2\xb5m"
#define UIN "\xc2\xb5in"
#define TIED "\xc2\xa0"

static void expect(enum tiptrue_units units, const char *text, const char *converted)
{
    static const char *const NAMES[] = {"0.5 mm", "1", "12"};
    const struct tt_own_names own[] = {{NAMES, 3, sizeof NAMES[0]}, {NULL, 0, 0}};
    struct tt_buffer out = {0};

    tt_units_sentence(tt_units_of(units), own, 2, text, &out);
    ck_assert(!out.failed);
    ck_assert_str_eq(out.text, converted);
    tt_buffer_clear(&out);
}

START_TEST(numbers_with_a_unit_are_converted)
{
    expect(TIPTRUE_UNITS_INCH, "by 27 " UM " too deep", "by 1063" TIED UIN " too deep");
    expect(TIPTRUE_UNITS_INCH, "is 0.4439 mm " TIED, "is 0.01748" TIED "in " TIED);
    expect(TIPTRUE_UNITS_INCH, "repeat to 1.8 um", "repeat to 71" TIED UIN);
    expect(TIPTRUE_UNITS_INCH, "plausible change of 0.3 mm", "plausible change of 0.012" TIED "in");
    expect(TIPTRUE_UNITS_INCH, "over 100 mm of board", "over 3.94" TIED "in of board");
    expect(TIPTRUE_UNITS_INCH, "feed 120 mm/min", "feed 4.72" TIED "in/min");
    expect(TIPTRUE_UNITS_UM, "is 0.4439 mm", "is 443.9" TIED UM);
    expect(TIPTRUE_UNITS_UM, "by 0.3 mm", "by 300" TIED UM);
    expect(TIPTRUE_UNITS_MM, "by 27 um", "by 27" TIED UM);
    expect(TIPTRUE_UNITS_INCH, "rises by +0.412 \xc2\xb1 0.07 mm/m along x",
           "rises by +412 \xc2\xb1 70" TIED UIN "/in along x");
    expect(TIPTRUE_UNITS_UM, "rises by 0.412 mm/m", "rises by 0.412" TIED "mm/m");
    expect(TIPTRUE_UNITS_INCH, "correct the steps per millimetre, 2 millimetres per pixel",
           "correct the steps per inch, 2 millimetres per pixel");
}
END_TEST

START_TEST(several_numbers_of_one_unit)
{
    expect(TIPTRUE_UNITS_INCH, "by 27 to 63 " UM, "by 1063 to 2480" TIED UIN);
    expect(TIPTRUE_UNITS_INCH, "by (+21.7, -15.6) " UM ", and", "by (+854, -614)" TIED UIN ", and");
    expect(TIPTRUE_UNITS_INCH, "at (148.3129," TIED "91.6369)" TIED "mm.",
           "at (5.83909," TIED "3.60775)" TIED "in.");
    expect(TIPTRUE_UNITS_INCH, "4.1 \xc2\xb1 0.9 " UM, "161 \xc2\xb1 35" TIED UIN);
    expect(TIPTRUE_UNITS_INCH, "0.4439 mm \xc2\xb1 2.8 " UM,
           "0.01748" TIED "in \xc2\xb1 110" TIED UIN);
    expect(TIPTRUE_UNITS_INCH,
           "\xe2\x88\x92"
           "18.4439 mm",
           "\xe2\x88\x92"
           "0.72614" TIED "in");
    expect(TIPTRUE_UNITS_INCH, "-18.4439 mm", "-0.72614" TIED "in");
}
END_TEST

/* What is no length stays: counts, lines, dates, ids, angles, and whatever the user calls things.
 */
START_TEST(all_else_stays)
{
    static const char *const SAME[] = {
        "lines 17, 31 and 40",     "between 2026-02-07 07:30Z and 2026-02-09 07:30Z",
        "edge '5 mm slot' is off", "0.5 mm drifts",
        "share 0.412 of them",     "correlation 0.31 in 96 touches, 30.9\xc2\xb0, 2.4 ms, 95 %",
        "area 3.1 mm\xc2\xb2",     "step M1.5 mm",
        "plate CW-17 mm",          "",
    };

    for (size_t i = 0; i + 1 < sizeof SAME / sizeof SAME[0]; i++) {
        expect(TIPTRUE_UNITS_INCH, SAME[i], SAME[i]);
    }
    expect(TIPTRUE_UNITS_INCH, "0.5 mm drifts by 3 um", "0.5 mm drifts by 118" TIED UIN);
    expect(TIPTRUE_UNITS_INCH, "'it's 1 mm' by 3 um", "'it's 1 mm' by 118" TIED UIN);
    expect(TIPTRUE_UNITS_INCH, "12 of 14, 27 um", "12 of 14, 1063" TIED UIN);
    expect(TIPTRUE_UNITS_INCH, "tip 1: 1.7 um", "tip 1: 67" TIED UIN);
}
END_TEST

/* Bare names of units in headings, as whole words; no number is touched. */
START_TEST(headings)
{
    static const struct {
        enum tiptrue_units units;
        const char *text, *converted;
    } CASES[] = {
        {TIPTRUE_UNITS_INCH, "offset x, mm", "offset x, in"},
        {TIPTRUE_UNITS_INCH, "<th>" UM " from mm</th>, 5 mm/m",
         "<th>" UIN " from in</th>, 5 " UIN "/in"},
        {TIPTRUE_UNITS_UM, "x, mm; u, " UM, "x, " UM "; u, " UM},
        {TIPTRUE_UNITS_MM, "x, mm; u, " UM "; mm/m", "x, mm; u, " UM "; mm/m"},
        {TIPTRUE_UNITS_INCH, "comma, summ, mm2", "comma, summ, mm2"},
    };

    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        struct tt_buffer out = {0};
        tt_units_heading(tt_units_of(CASES[i].units), CASES[i].text, &out);
        ck_assert_str_eq(out.text, CASES[i].converted);
        tt_buffer_clear(&out);
    }
    ck_assert_int_eq(tt_units_length_decimals(tt_units_of(TIPTRUE_UNITS_INCH), 4), 5);
    ck_assert_int_eq(tt_units_length_decimals(tt_units_of(TIPTRUE_UNITS_INCH), 2), 4);
    ck_assert_int_eq(tt_units_length_decimals(tt_units_of(TIPTRUE_UNITS_UM), 2), 0);
    ck_assert_int_eq(tt_units_small_decimals(tt_units_of(TIPTRUE_UNITS_INCH), 1), 0);
    ck_assert_int_eq(tt_units_small_decimals(tt_units_or_mm(NULL), 1), 1);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("units");
    TCase *sentences = tcase_create("sentences");
    SRunner *runner;
    int failed;

    tcase_add_test(sentences, numbers_with_a_unit_are_converted);
    tcase_add_test(sentences, several_numbers_of_one_unit);
    tcase_add_test(sentences, all_else_stays);
    tcase_add_test(sentences, headings);
    suite_add_tcase(suite, sentences);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
