/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The page of the weeks from a trend that the history room makes of invented runs: the shared step
 * is a bracket in every lane, and what the trend says stands on the page.
 */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "history/series/series.h"
#include "history/series/trend.h"
#include "output/report/report.h"
#include "output/text/sentences.h"

#define BEGIN_S 1772437264.0 /* 2026-03-02T07:41:04Z */
#define DAY_S 86400.0
#define TIPS 2

/* Scatter of about 1 um without a random generator: the same on every machine. */
static double wave_mm(size_t i, double phase)
{
    return 0.001 * (sin(2.385 * (double)i + phase) + sin(0.731 * (double)(i * i) + 3 * phase));
}

static void fill_tip(struct tt_series_tip *tip, size_t index, size_t run, size_t step_at)
{
    double step_mm = run >= step_at ? 0.0239 : 0, phase = 1 + 1.7 * (double)index;

    *tip = (struct tt_series_tip){
        .tip = index,
        .verdict = TIPTRUE_UPDATE,
        .has_offset = true,
        .offset = {-37.4123 + 16.385 * (double)index + wave_mm(run, phase) + step_mm,
                   15.0833 + wave_mm(run, phase + 2)},
        .cov = {4e-4, 0, 4e-4},
        .same_plate_cov = {1e-6, 0, 1e-6},
        .common_u_x_mm = 0.0005,
        .common_u_y_mm = 0.0005,
        .has_runout = true,
        .runout = {0.0217 + 0.3 * wave_mm(run, phase + 4), -0.0134},
        .runout_cov = {1e-7, 0, 1e-7},
        .has_radius = true,
        .radius_mm = 0.2385 + 0.2 * wave_mm(run, phase + 5),
        .u_radius_mm = 0.0004};
}

/* For tiptrue_trend_free. @n runs, all tips stepping before run @step_at. */
static struct tiptrue_trend *invent(size_t n, size_t step_at)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.machine = "bench <7>", .arena = &arena};
    struct tiptrue_trend *trend = NULL;
    struct tiptrue_error error = {0};

    ck_assert_uint_eq(tt_series_tip_index(&series, "wide"), 0);
    ck_assert_uint_eq(tt_series_tip_index(&series, "narrow"), 1);
    for (size_t i = 0; i < n; i++) {
        struct tt_series_run *run = tt_series_new_run(&series, TIPS, 0);
        ck_assert_ptr_nonnull(run);
        run->id = "0123456789abcdef";
        run->plate = "K-1";
        run->time_s = BEGIN_S + 0.93 * DAY_S * (double)i;
        run->time_stated = true;
        run->verdict = TIPTRUE_UPDATE;
        for (size_t t = 0; t < TIPS; t++) {
            fill_tip(&run->tips[t], t, i, step_at);
        }
    }
    tt_series_sort(&series);
    ck_assert_msg(tt_trend_make(&series, n + 3, &(struct tiptrue_trend_options){.baseline_runs = 0},
                                &trend, &error) == TIPTRUE_OK,
                  "%s", error.text);
    ck_assert_int_eq(tt_trend_say_changes(trend), TIPTRUE_OK);
    tt_arena_clear(&arena);
    return trend;
}

static char *page_of(const struct tiptrue_trend *trend)
{
    struct tiptrue_report *report = NULL;
    struct tiptrue_error error = {0};
    const char *show = getenv("TIPTRUE_SHOW");
    char *text = NULL;

    ck_assert_int_eq(tiptrue_report_new(NULL, &report, &error), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_report_add_trend(report, trend, &error), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_report_html(report, &text, NULL, &error), TIPTRUE_OK);
    ck_assert_uint_eq(tiptrue_report_pictures(report), 4);
    tiptrue_report_free(report);
    if (show != NULL) {
        FILE *file = fopen(show, "w");
        ck_assert_ptr_nonnull(file);
        fputs(text, file);
        ck_assert_int_eq(fclose(file), 0);
    }
    return text;
}

static size_t count(const char *text, const char *word)
{
    size_t n = 0;

    for (const char *at = strstr(text, word); at != NULL; at = strstr(at + 1, word)) {
        n++;
    }
    return n;
}

START_TEST(a_shared_step)
{
    struct tiptrue_trend *trend = invent(60, 37);
    char *page = page_of(trend);

    ck_assert_uint_ge(trend->n_changes, 1);
    ck_assert_uint_eq(count(page, "<circle class=\"u\""), 4 * (TIPS * 60 + 1));
    ck_assert_uint_eq(count(page, "<g class=\"change\">"), 4 * TIPS * trend->n_changes);
    /* the words of the trend, escaped */
    char start[24];
    snprintf(start, sizeof start, "%.20s", trend->changes[0].text);
    ck_assert_msg(strstr(page, start) != NULL, "the page lacks '%s'", start);
    ck_assert_ptr_nonnull(strstr(page, "<li>between 2026-04-04 "));
    ck_assert_ptr_nonnull(strstr(page, "bench &lt;7&gt;"));
    ck_assert_ptr_nonnull(
        strstr(page, ": 63 runs, the last 60 of them looked at, 2026-03-02 07:41Z to "));
    ck_assert_ptr_nonnull(strstr(page, "<path class=\"l\"")); /* limits */
    ck_assert_ptr_null(strstr(page, "nan"));
    free(page);
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(nothing_changed)
{
    struct tiptrue_trend *trend = invent(45, 1000);
    char *page = page_of(trend);

    ck_assert_uint_eq(trend->n_changes, 0);
    ck_assert_ptr_nonnull(strstr(page, "QUIET: nothing moved that the runs can show"));
    ck_assert_uint_eq(count(page, "<g class=\"change\">"), 0);
    free(page);
    tiptrue_trend_free(trend);
}
END_TEST

/* A thousand runs: the page alone, without the search for changes, in well under a second. */
START_TEST(a_thousand_runs)
{
    struct tiptrue_trend *trend = invent(1000, 613);
    clock_t began = clock();
    char *page = page_of(trend);
    double took_s = (double)(clock() - began) / CLOCKS_PER_SEC;

    printf("1000 runs: %zu bytes in %.3f s\n", strlen(page), took_s);
    ck_assert_uint_eq(count(page, "<circle class=\"u\""), 4 * (TIPS * 1000 + 1));
    ck_assert_double_lt(took_s, 1);
    free(page);
    tiptrue_trend_free(trend);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("output/report_trend");
    TCase *cases = tcase_create("trend");
    SRunner *runner;
    int failed;

    tcase_add_test(cases, a_thousand_runs);
    tcase_add_test(cases, nothing_changed);
    tcase_add_test(cases, a_shared_step);
    suite_add_tcase(suite, cases);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
