/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a change is called, and each of its numbers at its place; what shows, from both sides of one
 * per cent: chi-squared 9.2103 with two degrees of freedom, 6.6349 with one. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "history/series/trend.h"

static struct tt_series_run runs[5];
static const struct tt_series_run *used[4] = {&runs[0], &runs[1], &runs[3], &runs[4]};
static const struct tt_series series = {.runs = runs, .n_runs = 5};

/* @change as it is told where there are @tips. */
static struct tt_trend_change told(struct tt_change change, size_t tips)
{
    const struct tt_changes changes = {
        .values = {.n = 4, .tips = tips, .run = used, .series = &series},
        .change = &change,
        .n_changes = 1};
    struct tiptrue_trend trend = {0};

    for (size_t i = 0; i < 5; i++) {
        runs[i].time_s = 1.7e9 + 86400.0 * (double)i;
    }
    change.from = change.first = 2;
    change.last = 3;
    change.to = 4;
    ck_assert_int_eq(tt_trend_name_changes(&trend, &changes), TIPTRUE_OK);
    ck_assert_uint_eq(trend.n_changes, 1);
    struct tt_trend_change made = trend.changes[0];
    tt_arena_clear(&trend.arena);
    return made;
}

START_TEST(each_number_at_its_place)
{
    const struct tt_trend_change made =
        told((struct tt_change){.what = TT_SEAT,
                                .who = 1,
                                .log_p = log(0.0031),
                                .weight = 0.83,
                                .drift_alike = true,
                                .offset = {true, 0.0131, -0.0217, 1.21e-6, 0, 1.69e-6},
                                .runout = {true, 0.0037, 0.0041, 2.25e-6, 0, 2.89e-6},
                                .radius = {true, -0.0053, 0, 3.61e-6, 0, 0},
                                .mark = {true, 0.0719, -0.0311, 4.41e-6, 0, 5.29e-6},
                                .yaw = {true, 0.00073, 0, 6.25e-8, 0, 0},
                                .height = {true, 0.0191, 0, 7.29e-6, 0, 0},
                                .edge = {true, -0.0237, 0, 8.41e-6, 0, 0}},
             2);
    const double got[] = {
        made.shift.x_mm,          made.shift.y_mm,          made.u_shift_x_mm,
        made.u_shift_y_mm,        made.runout_shift.x_mm,   made.runout_shift.y_mm,
        made.u_runout_shift_x_mm, made.u_runout_shift_y_mm, made.radius_shift_mm,
        made.u_radius_shift_mm,   made.mark_shift.x_mm,     made.mark_shift.y_mm,
        made.u_mark_shift_x_mm,   made.u_mark_shift_y_mm,   made.yaw_shift_rad,
        made.height_shift_mm,     made.u_height_shift_mm,   made.edge_shift_mm,
        made.u_edge_shift_mm,     made.confidence,          made.attribution};
    static const double EXPECTED[] = {0.0131,  -0.0217, 0.0011, 0.0013,  0.0037,  0.0041, 0.0015,
                                      0.0017,  -0.0053, 0.0019, 0.0719,  -0.0311, 0.0021, 0.0023,
                                      0.00073, 0.0191,  0.0027, -0.0237, 0.0029,  0.9969, 0.83};
    for (size_t i = 0; i < sizeof EXPECTED / sizeof EXPECTED[0]; i++) {
        ck_assert_msg(fabs(got[i] - EXPECTED[i]) < 1e-12, "number %zu: %g", i, got[i]);
    }
    ck_assert(made.has_shift && made.has_runout_shift && made.has_radius_shift &&
              made.has_pose_shift && made.has_height_shift && made.drift_alike);
    ck_assert_double_eq(made.after_s, 1.7e9 + 86400);
    ck_assert_double_eq(made.before_s, 1.7e9 + 4 * 86400);
    ck_assert_uint_eq(made.first_run, 3); /* of the series, one of whose runs is not used */
}
END_TEST

START_TEST(what_shows)
{
    for (int over = 0; over < 2; over++) {
        double part = over ? 1.002 : 0.998, one = sqrt(6.6349) * part;
        /* a runout in the direction (0.6, 0.8) of a covariance that is not round */
        double xx = 4.1e-6, xy = 1.7e-6, yy = 2.3e-6;
        double per2 = (yy * 0.36 - 2 * xy * 0.48 + xx * 0.64) / (xx * yy - xy * xy);
        double size = sqrt(9.2103 / per2) * part;
        const struct tt_trend_change made =
            told((struct tt_change){.what = TT_SEAT,
                                    .runout = {true, 0.6 * size, 0.8 * size, xx, xy, yy},
                                    .radius = {true, -one * 0.0019, 0, 3.61e-6, 0, 0},
                                    .yaw = {true, one * 0.00025, 0, 6.25e-8, 0, 0}},
                 2);
        ck_assert(made.runout_shows == (over == 1));
        ck_assert(made.radius_shows == (over == 1));
        ck_assert(made.yaw_shows == (over == 1));
        ck_assert_int_eq(made.code, over ? TT_CHANGE_TIP_CHANGED : TT_CHANGE_SEAT);
    }
}
END_TEST

/* A hypothesis, where there are two tips and where there is one. */
START_TEST(what_it_is_called)
{
    static const struct {
        struct tt_change change;
        size_t tips;
        int moved, code;
        size_t tip, edge;
    } OF[] = {
        {{.what = TT_SEAT, .who = 1}, 2, TT_MOVED_TIP, TT_CHANGE_SEAT, 1, TT_NONE},
        {{.what = TT_CHANGED, .who = 1, .height = {.there = true}},
         2,
         TT_MOVED_TIP,
         TT_CHANGE_TIP_CHANGED,
         1,
         TT_NONE},
        {{.what = TT_POSE}, 2, TT_MOVED_PLATE, TT_CHANGE_PLATE_POSE, TT_NONE, TT_NONE},
        {{.what = TT_ONE_HEIGHT, .who = 1}, 2, TT_MOVED_TIP, TT_CHANGE_TIP_HEIGHT, 1, TT_NONE},
        {{.what = TT_ALL_HEIGHTS}, 2, TT_MOVED_Z_HOME, TT_CHANGE_Z_HOME, TT_NONE, TT_NONE},
        {{.what = TT_ALL_HEIGHTS}, 1, TT_MOVED_TIP, TT_CHANGE_HEIGHT_OR_Z_HOME, 0, TT_NONE},
        {{.what = TT_EDGE, .who = 3}, 2, TT_MOVED_EDGE, TT_CHANGE_EDGE_MOVED, TT_NONE, 3},
        {{.what = TT_LOST_MOTION}, 2, TT_MOVED_AXES, TT_CHANGE_LOST_MOTION, TT_NONE, TT_NONE},
        {{.what = TT_CAMERA, .plate = true},
         2,
         TT_MOVED_PLATE,
         TT_CHANGE_PLATE_MOVED,
         TT_NONE,
         TT_NONE},
        {{.what = TT_CAMERA_MARK}, 1, TT_MOVED_ALL_TIPS, TT_CHANGE_CAMERA, TT_NONE, TT_NONE},
        {{.what = TT_CAMERA}, 1, TT_MOVED_TIP, TT_CHANGE_SEAT_OR_CAMERA, 0, TT_NONE},
        {{.what = TT_CAMERA}, 2, TT_MOVED_ALL_TIPS, TT_CHANGE_CAMERA_OR_HEAD, TT_NONE, TT_NONE}};

    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        const struct tt_trend_change made = told(OF[i].change, OF[i].tips);
        ck_assert_msg((int)made.moved == OF[i].moved && (int)made.code == OF[i].code, "case %zu",
                      i);
        ck_assert_msg(made.tip == OF[i].tip && made.edge == OF[i].edge, "case %zu", i);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/naming");
    TCase *tests = tcase_create("naming");
    tcase_add_test(tests, each_number_at_its_place);
    tcase_add_test(tests, what_shows);
    tcase_add_test(tests, what_it_is_called);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
