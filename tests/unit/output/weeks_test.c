/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The page of the weeks, from invented series: marks counted against the data, brackets where the
 * changes are, names as text. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "output/report/report.h"

#define RUNS 37
#define TIPS 3
#define BEGIN_S 1772437264.0 /* 2026-03-02T07:41:04Z */
#define DAY_S 86400.0

struct invented {
    struct tt_weeks weeks;
    struct tt_weeks_point points[TIPS * TT_WEEKS_QUANTITIES][RUNS];
    struct tt_weeks_series series[TIPS * TT_WEEKS_QUANTITIES];
    struct tt_weeks_mean drift[4];
    struct tt_weeks_change changes[2];
    struct tt_weeks_export exports[2];
};

static const char *const TIP_NAMES[] = {"wide", "<b>narrow</b>", "n\xc2\xb0 3"};
static const char *const SENTENCES[] = {
    "A change that all tips share came about between two runs: by +23.9 µm along x.",
    "Tip 'wide' drifts by \xe2\x88\x92"
    "1.7 µm a week along x."};

/* A wave instead of noise, a step of all tips before run 21, signals after it. */
static void invent(struct invented *made)
{
    for (size_t s = 0; s < TIPS * TT_WEEKS_QUANTITIES; s++) {
        double level_mm = -37.4123 + 16.385 * (double)s;
        for (size_t i = 0; i < RUNS; i++) {
            double wave_mm = 0.0013 * sin(2.385 * (double)i + (double)s);
            double step_mm = i >= 21 && s % TT_WEEKS_QUANTITIES <= TT_WEEKS_OFFSET_Y ? 0.0239 : 0;
            made->points[s][i] = (struct tt_weeks_point){
                .time_s = BEGIN_S + 1.93 * DAY_S * (double)i,
                .value_mm = level_mm + wave_mm + step_mm,
                .expanded_mm = 0.0021,
                .has_centre = true,
                .has_limits = i >= 5,
                .centre_mm = level_mm,
                .low_mm = level_mm - 0.0047,
                .high_mm = level_mm + 0.0047,
                .has_ewma = true,
                .ewma_mm = level_mm + 0.4 * wave_mm + (i > 23 ? step_mm : 0),
                .signal = step_mm > 0 && i < 24,
                .run_id = "0123456789abcdef"};
        }
        made->series[s] =
            (struct tt_weeks_series){.tip = s / TT_WEEKS_QUANTITIES,
                                     .quantity = (enum tt_weeks_quantity)(s % TT_WEEKS_QUANTITIES),
                                     .points = made->points[s],
                                     .n_points = RUNS};
    }
    for (size_t k = 0; k < 4; k++) {
        double mean_mm = made->points[0][0].centre_mm + 0.002 * (double)k;
        made->drift[k] = (struct tt_weeks_mean){BEGIN_S + 28 * DAY_S * (double)k, mean_mm,
                                                mean_mm - 0.0031, mean_mm + 0.0033};
    }
    made->series[0].drift = made->drift;
    made->series[0].n_drift = 4;
    made->changes[0] = (struct tt_weeks_change){
        TT_NONE, made->points[0][20].time_s, made->points[0][21].time_s, true, true, "all <tips>"};
    made->changes[1] = (struct tt_weeks_change){
        1, made->points[0][8].time_s, made->points[0][9].time_s, false, true, "one tip"};
    made->exports[0] =
        (struct tt_weeks_export){made->points[0][22].time_s + 711, "bench & co.json"};
    made->exports[1] = (struct tt_weeks_export){made->points[0][30].time_s + 711, "bench.json"};
    made->weeks = (struct tt_weeks){.machine = "bench \"2\"",
                                    .tips = TIP_NAMES,
                                    .n_tips = TIPS,
                                    .series = made->series,
                                    .n_series = TIPS * TT_WEEKS_QUANTITIES,
                                    .changes = made->changes,
                                    .n_changes = 2,
                                    .exports = made->exports,
                                    .n_exports = 2,
                                    .sentences = SENTENCES,
                                    .n_sentences = 2};
}

static size_t count(const char *text, const char *word)
{
    size_t n = 0;

    for (const char *at = strstr(text, word); at != NULL; at = strstr(at + 1, word)) {
        n++;
    }
    return n;
}

static long east(void *context, double utc_s, char name[TIPTRUE_ZONE_NAME])
{
    (void)context;
    (void)utc_s;
    strcpy(name, "XYT");
    return 20700; /* 5:45 */
}

/* The page of @weeks; for free(). TIPTRUE_SHOW names a file that it is written to, to be looked at.
 */
static char *page_of(const struct tt_weeks *weeks)
{
    struct tt_report report = {.zone = {.ahead_s = east}};
    struct tt_buffer page = {0};
    const char *show = getenv("TIPTRUE_SHOW");

    tt_report_add_weeks(&report, weeks);
    tt_report_write(&report, &page);
    ck_assert(!page.failed);
    ck_assert_uint_eq(report.n_pictures, TT_WEEKS_QUANTITIES);
    tt_report_clear(&report);
    if (show != NULL) {
        FILE *file = fopen(show, "w");
        ck_assert_ptr_nonnull(file);
        fputs(page.text, file);
        ck_assert_int_eq(fclose(file), 0);
    }
    return page.text;
}

START_TEST(marks_are_the_data)
{
    struct invented made;
    invent(&made);
    char *page = page_of(&made.weeks);

    /* legends have one of each more in each picture, but for the signal, which only the offsets
     * have */
    ck_assert_uint_eq(count(page, "<circle class=\"u\""), TT_WEEKS_QUANTITIES * (TIPS * RUNS + 1));
    ck_assert_uint_eq(count(page, "<circle class=\"S\""), 2 * (TIPS * 3 + 1));
    ck_assert_uint_eq(count(page, "<path class=\"E\""), TT_WEEKS_QUANTITIES * (2 + 1));
    /* a shared change in each lane, that of one tip in one, but for its height, which stayed; with
     * their numbers */
    size_t shared = TT_WEEKS_QUANTITIES * TIPS, own = TT_WEEKS_QUANTITIES - 1;
    ck_assert_uint_eq(count(page, "<g class=\"change\">"), shared + own);
    ck_assert_uint_eq(count(page, "class=\"no\">1</text>"), shared);
    ck_assert_uint_eq(count(page, "class=\"no\">2</text>"), own);
    ck_assert_uint_eq(count(page, "<path class=\"o\""), 1);
    ck_assert_uint_eq(count(page, "<tr><td"), TT_WEEKS_QUANTITIES * TIPS * RUNS);
    free(page);
}
END_TEST

/* A change stands between the two runs that it came about between: its edges at their places. */
START_TEST(bracket_between_its_runs)
{
    struct invented made;
    invent(&made);
    char *page = page_of(&made.weeks);
    const char *bracket = strstr(page, "<path class=\"v\" d=\"M");
    double left = strtod(bracket + 20, NULL),
           right = strtod(strchr(strchr(bracket, 'H'), 'H') + 1, NULL);
    double low = BEGIN_S, high = BEGIN_S + 28 * DAY_S * 3, margin = 0.03 * (high - low);
    double scale = (TT_PLOT_RIGHT - TT_PLOT_LEFT) / (high - low + 2 * margin);

    ck_assert_double_eq_tol(left, TT_PLOT_LEFT + scale * (made.changes[0].after_s - low + margin),
                            0.06);
    ck_assert_double_eq_tol(right, TT_PLOT_LEFT + scale * (made.changes[0].before_s - low + margin),
                            0.06);
    free(page);
}
END_TEST

START_TEST(words_and_names)
{
    struct invented made;
    invent(&made);
    char *page = page_of(&made.weeks);

    ck_assert_ptr_nonnull(strstr(page, SENTENCES[0]));
    ck_assert_ptr_nonnull(strstr(page, "Tip &#39;wide&#39; drifts by"));
    ck_assert_ptr_nonnull(strstr(page, "&lt;b&gt;narrow&lt;/b&gt;"));
    ck_assert_ptr_null(strstr(page, "<b>"));
    ck_assert_ptr_nonnull(strstr(page, "bench &amp; co.json"));
    ck_assert_ptr_nonnull(strstr(page, "machine bench &quot;2&quot;"));
    ck_assert_ptr_nonnull(strstr(page, "2026-03-02 13:26:04 +05:45 (XYT)"));
    /* Mondays, local midnight */
    ck_assert_ptr_nonnull(strstr(page, ">03-16</text>"));
    free(page);
}
END_TEST

/* Behind the headline and two changes so many sentences are shown at once, and the last one always;
 * those between are folded. */
START_TEST(further_sentences_are_folded)
{
    static const char *const ALL[] = {"s0", "s1", "s2", "s3", "s4", "s5",
                                      "s6", "s7", "s8", "s9", "sA"};
    static const struct {
        size_t n;
        const char *folded;
    } CASES[] = {{2, NULL},
                 {9, NULL},
                 {10, "<summary>1 more</summary>\n<p>s8</p>\n</details>\n<p>s9</p>"},
                 {11, "<summary>2 more</summary>\n<p>s8</p>\n<p>s9</p>\n</details>\n<p>sA</p>"}};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct invented made;
        invent(&made);
        made.weeks.sentences = ALL;
        made.weeks.n_sentences = CASES[k].n;
        char *page = page_of(&made.weeks), *section = strstr(page, "<section id=\"weeks-1\">");
        *strstr(section, "<svg") = '\0';
        ck_assert_int_eq(strstr(section, "<details>") != NULL, CASES[k].folded != NULL);
        ck_assert(CASES[k].folded == NULL || strstr(section, CASES[k].folded) != NULL);
        ck_assert_uint_eq(count(section, "<li>s") + count(section, "<p>s"), CASES[k].n - 1);
        free(page);
    }
}
END_TEST

/* One run alone, and a thousand: no axis of no length, no time lost. */
START_TEST(one_run)
{
    struct invented made;
    invent(&made);
    for (size_t s = 0; s < made.weeks.n_series; s++) {
        made.series[s].n_points = 1;
    }
    made.series[0].n_drift = 0;
    made.weeks.n_changes = made.weeks.n_exports = 0;
    char *page = page_of(&made.weeks);
    ck_assert_uint_eq(count(page, "<circle class=\"u\""), TT_WEEKS_QUANTITIES * (TIPS + 1));
    ck_assert_ptr_null(strstr(page, "nan"));
    free(page);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("weeks");
    TCase *tests = tcase_create("weeks");
    SRunner *runner;
    int failed;

    tcase_add_test(tests, marks_are_the_data);
    tcase_add_test(tests, bracket_between_its_runs);
    tcase_add_test(tests, words_and_names);
    tcase_add_test(tests, further_sentences_are_folded);
    tcase_add_test(tests, one_run);
    suite_add_tcase(suite, tests);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
