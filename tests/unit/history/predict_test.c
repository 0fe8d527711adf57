/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the next run is expected to show: level, slope and the two parts of a season, each with its
 * covariance, at a week. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "history/series/changes.h"

START_TEST(level_slope_and_season)
{
    const double turn = 2 * 3.14159265358979 / 17.3, week = 3.7;
    const struct tt_prediction p = {
        .turn = turn,
        .value = {{0.0131, -0.00073, 0.0041, 0.0029}, {-0.0217, 0.00052, -0.0033, 0.0047}},
        .covariance = {{{4.1e-6, 2e-7, 0, 0}, {2e-7, 3e-8, 0, 0}, {0, 0, 9e-7, 0}, {0, 0, 0, 5e-7}},
                       {{0, 0, 1e-7, 0}, {0, 0, 0, 3e-7}, {0, 0, 0, 0}, {0, 0, 0, 0}},
                       {{7.3e-6, 0, 0, 0}, {0, 0, 0, 0}, {0, 0, 0, 6e-7}, {0, 0, 6e-7, 0}}}};
    const double s = sin(turn * week), c = cos(turn * week);
    const struct tt_moved_by at = tt_prediction_at(&p, week);

    ck_assert_double_eq_tol(at.x, 0.0131 - 0.00073 * week + 0.0041 * s + 0.0029 * c, 1e-15);
    ck_assert_double_eq_tol(at.y, -0.0217 + 0.00052 * week - 0.0033 * s + 0.0047 * c, 1e-15);
    ck_assert_double_eq_tol(
        at.xx, 4.1e-6 + 4e-7 * week + 3e-8 * week * week + 9e-7 * s * s + 5e-7 * c * c, 1e-19);
    ck_assert_double_eq_tol(at.xy, 1e-7 * s + 3e-7 * week * c, 1e-19);
    ck_assert_double_eq_tol(at.yy, 7.3e-6 + 1.2e-6 * s * c, 1e-19);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/predict");
    TCase *tcase = tcase_create("predict");
    tcase_add_test(tcase, level_slope_and_season);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
