/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What changed, where the truth is known; the place of a step against a published one. The rates of thousands of series:
 * tests/simulation/changes.c. */
#include "config.h"

#include <stdlib.h>
#include <string.h>

#include "history/changes.h"
#include "history/trend.h"
#include "output/output.h"
#include "history/weeks.h"

static struct tiptrue_trend *trend_of(const struct weeks *w, unsigned long seed)
{
    static const struct tiptrue_trend_options none = {0};
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    struct tiptrue_trend *trend = NULL;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    gsl_rng_set(rng, seed);
    weeks_draw(w, rng, &series);
    tt_series_sort(&series);
    ck_assert_int_eq(tt_trend_make(&series, series.n_runs, &none, &trend, NULL), TIPTRUE_OK);
    gsl_rng_free(rng);
    tt_arena_clear(&arena);
    return trend;
}

static const struct weeks QUIET = {.tips = 3, .runs = 52, .between_mm = 0.003, .sighting_mm = 0.002, .touch_mm = 0.00065};

START_TEST(a_quiet_machine_shows_nothing)
{
    for (unsigned long seed = 1; seed <= 20; seed++) {
        struct tiptrue_trend *trend = trend_of(&QUIET, seed);
        ck_assert_uint_eq(trend->n_changes, 0);
        ck_assert_uint_eq(trend->n_tips, 3);
        ck_assert_uint_eq(trend->tips[1].runs, 52);
        tiptrue_trend_free(trend);
    }
}
END_TEST

/* The only change of @trend: between the runs @from - 1 and @from, its shift within 5 of its own uncertainties. */
static const struct tt_trend_change *only_change(const struct tiptrue_trend *trend, const struct weeks *w)
{
    ck_assert_uint_eq(trend->n_changes, 1);
    const struct tt_trend_change *c = &trend->changes[0];
    ck_assert_double_le(c->after_s, WEEKS_START_S + 86400.0 * (double)weeks_day(w->from - 1));
    ck_assert_double_ge(c->before_s, WEEKS_START_S + 86400.0 * (double)weeks_day(w->from));
    ck_assert_double_lt(c->before_s - c->after_s, 5 * 86400.0);
    ck_assert_double_gt(c->confidence, 0.99);
    ck_assert_double_gt(c->attribution, 0.5);
    if (w->step_x_mm != 0) {
        ck_assert_double_lt(fabs(c->shift.x_mm - w->step_x_mm), 5 * c->u_shift_x_mm);
        ck_assert_double_lt(fabs(c->shift.y_mm - w->step_y_mm), 5 * c->u_shift_y_mm);
        ck_assert_double_lt(c->u_shift_x_mm, 0.0025);
    }
    return c;
}

START_TEST(the_seat_of_one_tip)
{
    struct weeks w = QUIET;
    w.from = 31;
    w.step_x_mm = 0.017;
    w.step_y_mm = -0.009;
    struct tiptrue_trend *trend = trend_of(&w, 7);
    const struct tt_trend_change *c = only_change(trend, &w);
    ck_assert_int_eq(c->moved, TT_MOVED_TIP);
    ck_assert_str_eq(trend->tips[c->tip].name, "wide");
    ck_assert_str_eq(c->cause, "seat of the tip");
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(a_tip_that_was_changed)
{
    struct weeks w = QUIET;
    w.from = 23;
    w.step_x_mm = -0.021;
    w.step_y_mm = 0.006;
    w.runout_step_mm = 0.013;
    struct tiptrue_trend *trend = trend_of(&w, 8);
    const struct tt_trend_change *c = only_change(trend, &w);
    ck_assert_int_eq(c->moved, TT_MOVED_TIP);
    ck_assert_str_eq(c->cause, "tip changed or bent");
    ck_assert(c->has_runout_shift);
    ck_assert_double_eq_tol(c->runout_shift.x_mm, 0.013, 0.001);
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(the_camera_or_the_head)
{
    struct weeks w = QUIET;
    w.from = 19;
    w.all = true;
    w.step_x_mm = -0.012;
    w.step_y_mm = -0.023;
    struct tiptrue_trend *trend = trend_of(&w, 9);
    const struct tt_trend_change *c = only_change(trend, &w);
    ck_assert_int_eq(c->moved, TT_MOVED_ALL_TIPS);
    ck_assert_uint_eq(c->tip, TT_NONE);
    ck_assert(!c->has_pose_shift);
    tiptrue_trend_free(trend);
}
END_TEST

/* What the camera looks at shifts in the machine frame by what the camera did, and so does every offset. */
START_TEST(the_camera_by_the_mark)
{
    struct weeks w = QUIET;
    w.from = 19;
    w.all = w.pose = true;
    w.step_x_mm = w.mark_step_mm = 0.041;
    w.step_y_mm = 0;
    struct tiptrue_trend *trend = trend_of(&w, 10);
    const struct tt_trend_change *c = only_change(trend, &w);
    ck_assert_int_eq(c->moved, TT_MOVED_ALL_TIPS);
    ck_assert_str_eq(c->cause, "camera");
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(the_plate)
{
    struct weeks w = QUIET;
    w.from = 27;
    w.all = w.pose = true;
    w.step_x_mm = 0.018;
    w.step_y_mm = 0.013;
    w.mark_step_mm = -0.23;
    struct tiptrue_trend *trend = trend_of(&w, 11);
    const struct tt_trend_change *c = only_change(trend, &w);
    ck_assert_int_eq(c->moved, TT_MOVED_PLATE);
    ck_assert_double_eq_tol(c->mark_shift.x_mm, -0.23, 0.02);
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(the_pose_alone)
{
    struct weeks w = QUIET;
    w.from = 27;
    w.pose = true;
    w.mark_step_mm = -0.23;
    struct tiptrue_trend *trend = trend_of(&w, 12);
    const struct tt_trend_change *c = only_change(trend, &w);
    ck_assert_int_eq(c->moved, TT_MOVED_PLATE);
    ck_assert(!c->has_shift);
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(a_drift_is_no_staircase)
{
    struct weeks w = QUIET;
    w.drift_mm_per_week = 0.0037;
    struct tiptrue_trend *trend = trend_of(&w, 13);
    ck_assert_uint_eq(trend->n_changes, 0);
    ck_assert(!trend->tips[0].drift_significant && !trend->tips[1].drift_significant && trend->tips[2].drift_significant);
    ck_assert_double_lt(fabs(trend->tips[2].drift_y_mm_per_week - 0.0037), 4 * trend->tips[2].u_drift_y_mm_per_week);
    ck_assert_double_lt(trend->tips[2].u_drift_y_mm_per_week, 0.0005);
    tiptrue_trend_free(trend);
}
END_TEST

/* 3.7 um a week along y from the offset in use on: 37 um are reached ten weeks after the first run. */
START_TEST(a_forecast_from_the_offset_in_use)
{
    struct weeks w = QUIET;
    w.drift_mm_per_week = 0.0037;
    w.permitted_mm = 0.037;
    struct tiptrue_trend *trend = trend_of(&w, 13);
    const struct tt_forecast *f = &trend->tips[2].forecast;
    double expected_s = WEEKS_START_S + 10 * 7 * 86400.0;
    ck_assert_int_eq(f->state, TT_FORECAST_DATE);
    ck_assert(f->from_present && !f->over_now && f->has_from && f->has_to);
    ck_assert_double_lt(f->from_s, expected_s);
    ck_assert_double_gt(f->to_s, expected_s);
    ck_assert_double_lt(f->to_s - f->from_s, 14 * 86400.0); /* 2 um are four days here */
    ck_assert_double_lt(fabs(f->date_s - expected_s), 4 * 86400.0);
    ck_assert_int_eq(trend->tips[0].forecast.state, TT_FORECAST_NO_DRIFT);
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(a_tip_that_wears)
{
    struct weeks w = QUIET;
    struct tt_buffer buffer = {0};
    w.wear_mm_per_week = 0.0004;
    struct tiptrue_trend *trend = trend_of(&w, 17);
    ck_assert(trend->tips[0].wears && !trend->tips[1].wears && trend->n_changes == 0);
    tt_output_trend_text(trend, NULL, &buffer);
    ck_assert_ptr_nonnull(strstr(buffer.text, "wide: its runout or contact radius drifts"));
    tt_buffer_clear(&buffer);
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(few_runs_are_no_fault)
{
    for (size_t runs = 0; runs < 8; runs++) {
        struct weeks w = QUIET;
        w.runs = runs;
        struct tiptrue_trend *trend = trend_of(&w, 14);
        ck_assert_uint_eq(trend->n_changes, 0);
        ck_assert_uint_eq(trend->runs, runs);
        tiptrue_trend_free(trend);
    }
}
END_TEST

/* 2026-11-25: logs that state no time, entered one after the other, made the slopes singular, and the forecast divided by zero. */
START_TEST(runs_at_one_time_have_no_drift)
{
    static const struct tiptrue_trend_options none = {0};
    struct weeks w = QUIET;
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    struct tiptrue_trend *trend = NULL;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    w.runs = 13;
    gsl_rng_set(rng, 16);
    weeks_draw(&w, rng, &series);
    for (size_t i = 0; i < series.n_runs; i++) {
        series.runs[i].time_s = WEEKS_START_S;
        series.runs[i].has_permitted_error = true;
        series.runs[i].permitted_error_mm = 0.037;
        series.runs[i].tips[0].has_present = true;
        series.runs[i].tips[0].present = (struct tt_machine_xy){-41.25, 12.7}; /* 50 um off */
    }
    ck_assert_int_eq(tt_trend_make(&series, series.n_runs, &none, &trend, NULL), TIPTRUE_OK);
    ck_assert(!trend->tips[0].has_drift && !trend->tips[2].has_drift);
    ck_assert_int_eq(trend->tips[0].forecast.state, TT_FORECAST_NO_DRIFT);
    ck_assert(trend->tips[0].forecast.over_now);
    tiptrue_trend_free(trend);
    gsl_rng_free(rng);
    tt_arena_clear(&arena);
}
END_TEST

/* Annual flow of the Nile at Aswan from 1871 on, 10^8 m^3: G. W. Cobb, The problem of the Nile, Biometrika 65 (1978) 243-251 (data
 * as in R's datasets); one change after the 28th year, 1898, F statistic 75.93, 95 % between the 25th and the 32nd year (A.
 * Zeileis, C. Kleiber, W. Kraemer, K. Hornik, CSDA 44 (2003) 109-123; figures from memory, recomputed with R's strucchange). */
static const double NILE[100] = {
    1120, 1160, 963,  1210, 1160, 1160, 813,  1230, 1370, 1140, 995,  935, 1110, 994,  1020, 960,  1180, 799,  958,  1140,
    1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774,  840,  874,  694, 940,  833,  701,  916,  692,  1020, 1050, 969,
    831,  726,  456,  824,  702,  1120, 1100, 832,  764,  821,  768,  845, 864,  862,  698,  845,  744,  796,  1040, 759,
    781,  865,  845,  944,  984,  897,  822,  1010, 771,  676,  649,  846, 812,  742,  801,  1040, 860,  874,  848,  890,
    744,  749,  838,  1050, 918,  986,  797,  923,  975,  815,  1020, 906, 901,  1170, 912,  746,  919,  718,  714,  740};

START_TEST(the_nile)
{
    struct tt_arena arena = {0};
    struct tt_track track;
    double years[100], best = 0;
    size_t at = 0;

    for (size_t i = 0; i < 100; i++) {
        years[i] = (double)i;
    }
    ck_assert_int_eq(tt_track_init(&track, &arena, 100, 1, 1, 3, years), TIPTRUE_OK);
    for (size_t i = 0; i < 100; i++) {
        track.there[i] = true;
        track.value[i].x = NILE[i];
    }
    tt_track_filled(&track);
    track.terms[track.n_terms++] = tt_term_step(0, 0);
    tt_track_fit(&track);
    for (size_t from = 1; from < 100; from++) {
        struct tt_term step = tt_term_step(0, from);
        double gain = tt_track_gain(&track, &step);
        if (gain > best) {
            best = gain;
            at = from;
        }
    }
    ck_assert_uint_eq(at, 28);
    /* back from chi-squared: gain = (dof - 1/2) log(1 + F / dof) with the 98 degrees of freedom of level and step */
    ck_assert_double_eq_tol(98 * expm1(best / 97.5), 75.93, 0.01);
    track.terms[track.n_terms++] = tt_term_step(0, at);
    tt_track_fit(&track);
    ck_assert_double_eq_tol(track.coefficient[0].x, 1097.75, 0.005);
    ck_assert_double_eq_tol(track.coefficient[0].x + track.coefficient[1].x, 849.97, 0.005);
    tt_arena_clear(&arena);
}
END_TEST

/* A tip that moves is seen against the others, whatever they all share in a run. */
START_TEST(shared_scatter_cancels_from_a_tip)
{
    struct weeks w = QUIET;
    w.from = 40;
    w.step_x_mm = 0.013;
    w.step_y_mm = 0.007;
    w.sighting_mm = 0.02; /* far above the rest: only against the other tips can the step be seen */
    struct tiptrue_trend *trend = trend_of(&w, 15);
    ck_assert_uint_eq(trend->n_changes, 1);
    ck_assert_int_eq(trend->changes[0].moved, TT_MOVED_TIP);
    ck_assert_double_lt(trend->changes[0].u_shift_x_mm, 0.003);
    tiptrue_trend_free(trend);
}
END_TEST

START_TEST(tail_probabilities)
{
    /* R: pchisq(x, dof, lower = FALSE, log = TRUE) */
    ck_assert_double_eq_tol(tt_log_p_chi2(21.7, 2), -10.85, 1e-9);
    ck_assert_double_eq_tol(tt_log_p_chi2(37.4, 5), log(4.98e-7), 2e-3);
    ck_assert_double_eq_tol(tt_log_p_chi2(2400, 2), -1200, 1e-6);
    ck_assert_double_eq_tol(tt_log_p_chi2(5000, 5), -2489.3, 1.5);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/changes");
    TCase *tests = tcase_create("changes");
    tcase_add_test(tests, a_quiet_machine_shows_nothing);
    tcase_add_test(tests, the_seat_of_one_tip);
    tcase_add_test(tests, a_tip_that_was_changed);
    tcase_add_test(tests, the_camera_or_the_head);
    tcase_add_test(tests, the_camera_by_the_mark);
    tcase_add_test(tests, the_plate);
    tcase_add_test(tests, the_pose_alone);
    tcase_add_test(tests, a_drift_is_no_staircase);
    tcase_add_test(tests, a_forecast_from_the_offset_in_use);
    tcase_add_test(tests, a_tip_that_wears);
    tcase_add_test(tests, few_runs_are_no_fault);
    tcase_add_test(tests, runs_at_one_time_have_no_drift);
    tcase_add_test(tests, the_nile);
    tcase_add_test(tests, shared_scatter_cancels_from_a_tip);
    tcase_add_test(tests, tail_probabilities);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
