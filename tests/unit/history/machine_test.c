/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Steps of the machine's own numbers, each bound from both sides: what is a step, how large it is
 * told to be, what confirms it, and which runs count. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "history/series/trend.h"
#include "model/frames.h"

enum { MOST = 12 };
#define U 0.00131
#define DAY_S 86400.0

static struct tt_series_run runs[MOST];
static struct tiptrue_trend trend;

/* @n runs a day apart, whose number @which is @values, each known to @u. */
static void follow(enum tt_series_number which, const double values[], size_t n, double u)
{
    for (size_t i = 0; i < n; i++) {
        runs[i] = (struct tt_series_run){.time_s = 1.7e9 + DAY_S * (double)i};
        runs[i].machine[which] = values[i];
        runs[i].u_machine[which] = u;
    }
}

/* What is told of the first @n runs. */
static void tell(size_t n)
{
    const struct tt_series series = {.runs = runs, .n_runs = n};

    tt_arena_clear(&trend.arena);
    trend.events = NULL;
    trend.n_events = trend.n_machine_runs = 0;
    ck_assert_int_eq(tt_machine_events(&trend, &series), TIPTRUE_OK);
}

/* One event, at run @at, of that size; @at 0: none. */
static void check_step(size_t at, enum tt_trend_event_code code, double change)
{
    ck_assert_uint_eq(trend.n_events, at > 0);
    if (at > 0) {
        ck_assert_int_eq(trend.events[0].code, code);
        ck_assert_double_eq(trend.events[0].time_s, 1.7e9 + DAY_S * (double)at);
        ck_assert_double_eq_tol(trend.events[0].change, change, 1e-9);
    }
}

/* Five standard deviations of the difference from the mean of three; of a last run alone. */
START_TEST(what_is_a_step)
{
    for (int sign = -1; sign <= 1; sign += 2) {
        for (int over = 0; over < 2; over++) {
            double x = sign * 5 * U * sqrt(4 / 3.) * (over ? 1.003 : 0.997);
            const double values[] = {0.0117, 0.0117, 0.0117, 0.0117 + x};
            follow(TT_SERIES_TURN, values, 4, U);
            tell(4);
            check_step(over ? 3 : 0, TT_EVENT_CAMERA_TURNED, x);
            follow(TT_SERIES_AXIS_Y, values, 4, U);
            tell(4);
            check_step(over ? 3 : 0, TT_EVENT_AXES_CHANGED, 100 * x);
            ck_assert(!over || trend.events[0].axis == 1);
        }
    }
}
END_TEST

/* By the next run, if that is three standard deviations off on the same side. */
START_TEST(what_confirms_it)
{
    static const double next[] = {2.991, 3.009, -3.009};

    for (size_t i = 0; i < 3; i++) {
        double apart = U * sqrt(4 / 3.), x = 6 * apart, y = next[i] * apart;
        const double values[] = {0.0117, 0.0117, 0.0117, 0.0117 + x, 0.0117 + y};
        follow(TT_SERIES_AXIS_SQUARE, values, 5, U);
        tell(5);
        check_step(i == 1 ? 3 : 0, TT_EVENT_AXES_CHANGED, 100 * (x + y) / 2);
    }
}
END_TEST

/* From six differences on the runs' own scatter counts, if it is more than what they say. */
START_TEST(runs_that_scatter)
{
    const double d = 0.0173, scatter = d / 0.954;

    for (int over = 0; over < 2; over++) {
        double x = d / 2 + 5 * scatter * sqrt(7 / 6.) * (over ? 1.003 : 0.997);
        const double values[] = {0, d, 0, d, 0, d, x};
        follow(TT_SERIES_AXIS_X, values, 7, d / 1000);
        tell(7);
        check_step(over ? 6 : 0, TT_EVENT_AXES_CHANGED, 100 * (x - d / 2));
        tell(6); /* five: the last run is far off */
        check_step(5, TT_EVENT_AXES_CHANGED, 100 * d);
    }
}
END_TEST

/* What a run knows better weighs more: by 1 / u^2. */
START_TEST(means_are_weighted)
{
    const double values[] = {0.0117, 0.0123, 0.9, 0.9031};

    follow(TT_SERIES_AXIS_X, values, 4, U);
    runs[1].u_machine[TT_SERIES_AXIS_X] = 2 * U;
    runs[3].u_machine[TT_SERIES_AXIS_X] = 3 * U;
    tell(4);
    check_step(2, TT_EVENT_AXES_CHANGED,
               100 * ((9 * 0.9 + 0.9031) / 10 - (4 * 0.0117 + 0.0123) / 5));
}
END_TEST

/* The mean of both scales, as a share. */
START_TEST(the_scale_of_the_picture)
{
    const double x_mm = 0.0173, y_mm = 0.0169, u_x_mm = 2.1e-6, u_y_mm = 3.7e-6;
    double u = 0.5 * hypot(u_x_mm / x_mm, u_y_mm / y_mm);

    for (int over = 0; over < 2; over++) {
        double off = 5 * u * sqrt(4 / 3.) * (over ? 1.003 : 0.997);
        for (size_t i = 0; i < 4; i++) {
            runs[i] = (struct tt_series_run){.time_s = 1.7e9 + DAY_S * (double)i};
            runs[i].machine[TT_SERIES_SCALE_X] = x_mm;
            runs[i].machine[TT_SERIES_SCALE_Y] = y_mm;
            runs[i].u_machine[TT_SERIES_SCALE_X] = u_x_mm;
            runs[i].u_machine[TT_SERIES_SCALE_Y] = u_y_mm;
        }
        runs[3].machine[TT_SERIES_SCALE_X] *= exp(0.7 * off);
        runs[3].machine[TT_SERIES_SCALE_Y] *= exp(1.3 * off);
        tell(4);
        check_step(over ? 3 : 0, TT_EVENT_FOCUS_MOVED, off);
        runs[3].u_machine[TT_SERIES_SCALE_X] = 0; /* it does not know one of them */
        tell(4);
        check_step(0, TT_EVENT_FOCUS_MOVED, 0);
        runs[3].u_machine[TT_SERIES_SCALE_X] = u_x_mm;
        runs[3].u_machine[TT_SERIES_SCALE_Y] = 0;
        tell(4);
        check_step(0, TT_EVENT_FOCUS_MOVED, 0);
    }
}
END_TEST

/* A turn goes on behind half a turn. */
START_TEST(half_a_turn_is_no_step)
{
    const double values[] = {3.1411, -3.1417, 3.1409, -3.1413 + 0.071};

    follow(TT_SERIES_TURN, values, 3, U);
    tell(3);
    check_step(0, TT_EVENT_CAMERA_TURNED, 0);
    follow(TT_SERIES_TURN, values, 4, U);
    tell(4);
    check_step(3, TT_EVENT_CAMERA_TURNED,
               -3.1413 + 0.071 - (3.1411 - 3.1417 + 2 * TT_PI + 3.1409) / 3 + 2 * TT_PI);
}
END_TEST

/* Runs with three marks that say nothing of the axes have them right; with two they say nothing. */
START_TEST(axes_that_are_right)
{
    for (size_t marks = 2; marks <= 3; marks++) {
        const double values[] = {0, 0, 0, 0.0371, 0.0371};
        follow(TT_SERIES_AXIS_X, values, 5, U);
        for (size_t i = 0; i < 3; i++) {
            runs[i].u_machine[TT_SERIES_AXIS_X] = 0;
            runs[i].marks = marks;
        }
        runs[4].u_machine[TT_SERIES_AXIS_X] = 1.7 * U;
        tell(5);
        check_step(marks == 3 ? 3 : 0, TT_EVENT_AXES_CHANGED, 3.71);
        runs[3].left_out = runs[4].left_out = true;
        tell(5);
        check_step(0, TT_EVENT_AXES_CHANGED, 0);
        ck_assert_uint_eq(trend.n_machine_runs, 3);
    }
    /* known as well as the worst of the others knows it: five of its standard deviations */
    for (int over = 0; over < 2; over++) {
        double x = 5 * hypot(U, 1.7 * U / sqrt(3)) * (over ? 1.003 : 0.997);
        const double values[] = {0, 0, 0, x, 0};
        follow(TT_SERIES_AXIS_X, values, 5, 0);
        for (size_t i = 0; i < 3; i++) {
            runs[i].marks = 3;
        }
        runs[3].u_machine[TT_SERIES_AXIS_X] = U;
        runs[4].u_machine[TT_SERIES_AXIS_X] = 1.7 * U;
        runs[4].left_out = true;
        tell(5);
        check_step(over ? 3 : 0, TT_EVENT_AXES_CHANGED, 100 * x);
    }
}
END_TEST

/* What stands beside a step: whether all offsets moved between the same runs, the temperatures. */
START_TEST(what_stands_beside)
{
    static const struct {
        double after, before; /* of the change, in days; the step came between 2 and 3 */
        size_t tip, tips;
        bool has_shift, with;
    } OF[] = {{2, 3, TT_NONE, 2, true, true},  {1, 2.01, TT_NONE, 2, true, true},
              {1, 2, TT_NONE, 2, true, false}, {2.99, 4, TT_NONE, 2, true, true},
              {3, 4, TT_NONE, 2, true, false}, {2, 3, 1, 2, true, false},
              {2, 3, 0, 1, true, true},        {2, 3, TT_NONE, 2, false, false}};
    const double values[] = {0.0117, 0.0117, 0.0117, 0.0931};
    struct tt_trend_change change = {0};

    trend.changes = &change;
    trend.n_changes = 1;
    follow(TT_SERIES_TURN, values, 4, U);
    runs[2].id = "00000000000000a2";
    runs[3].id = "00000000000000a3";
    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        change.after_s = 1.7e9 + DAY_S * OF[i].after;
        change.before_s = 1.7e9 + DAY_S * OF[i].before;
        change.tip = OF[i].tip;
        change.has_shift = OF[i].has_shift;
        trend.n_tips = OF[i].tips;
        runs[2].has_temperature = i != 1;
        runs[3].has_temperature = i != 2;
        runs[2].temperature_C = 21.3;
        runs[3].temperature_C = 24.7;
        tell(4);
        check_step(3, TT_EVENT_CAMERA_TURNED, 0.0931 - 0.0117);
        const struct tt_trend_event *event = &trend.events[0];
        ck_assert_msg(event->with_offsets == OF[i].with, "case %zu", i);
        ck_assert(event->has_temperature == (i != 1 && i != 2));
        ck_assert_double_eq(event->before_C, 21.3);
        ck_assert_double_eq(event->temperature_C, 24.7);
        ck_assert_str_eq(event->id, "00000000000000a3");
        ck_assert_uint_eq(trend.n_machine_runs, 4);
        ck_assert_str_eq(trend.machine_runs[2].id, "00000000000000a2");
        ck_assert_double_eq(trend.machine_runs[3].value[TT_SERIES_TURN], 0.0931);
        ck_assert_double_eq(trend.machine_runs[3].u[TT_SERIES_TURN], U);
        ck_assert_double_eq(trend.machine_runs[1].time_s, 1.7e9 + DAY_S);
    }
}
END_TEST

static void tear_down(void)
{
    tt_arena_clear(&trend.arena);
}

int main(void)
{
    Suite *suite = suite_create("history/machine");
    TCase *tests = tcase_create("steps");
    tcase_add_checked_fixture(tests, NULL, tear_down);
    tcase_add_test(tests, what_is_a_step);
    tcase_add_test(tests, what_confirms_it);
    tcase_add_test(tests, runs_that_scatter);
    tcase_add_test(tests, means_are_weighted);
    tcase_add_test(tests, the_scale_of_the_picture);
    tcase_add_test(tests, half_a_turn_is_no_step);
    tcase_add_test(tests, axes_that_are_right);
    tcase_add_test(tests, what_stands_beside);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
