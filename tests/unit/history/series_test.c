/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What of a result enters a series: offset with the plate held, its covariance with and without the
 * plate's errors, the runout's covariance along the axes, the part of a height that tips share. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "../output/sample.h"
#include "history/series/series.h"

static struct sample sample;

/* The tips of the sample, after it was entered. */
static const struct tt_series_tip *entered(struct tt_series *series)
{
    ck_assert_int_eq(tt_series_add(series, &sample.solution, 1772437264.0, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(series->n_runs, 1);
    return series->runs[0].tips;
}

START_TEST(offsets)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    sample_two_tips(&sample);
    const struct tt_series_tip *tip = entered(&series);

    ck_assert(tip[0].has_offset && !tip[1].has_offset);
    ck_assert_double_eq(tip[0].offset.x_mm, -41.30144);
    ck_assert_double_eq(tip[0].full.y_mm, 12.70036);
    ck_assert_double_eq(tip[0].same_plate_cov.xy_mm2, -3.0e-8);
    /* what one group and one edge of the plate do to it, each by its u */
    const double x[] = {0.0625 * 0.0205, 0.4375 * 0.0083},
                 y[] = {-0.9375 * 0.0205, -0.3125 * 0.0083};
    ck_assert_double_eq_tol(tip[0].cov.xx_mm2, 1.21e-6 + x[0] * x[0] + x[1] * x[1], 1e-18);
    ck_assert_double_eq_tol(tip[0].cov.xy_mm2, -3.0e-8 + x[0] * y[0] + x[1] * y[1], 1e-18);
    ck_assert_double_eq_tol(tip[0].cov.yy_mm2, 1.44e-6 + y[0] * y[0] + y[1] * y[1], 1e-18);
    tt_arena_clear(&arena);
}
END_TEST

/* Known along the vector by u of its length, across by its length times u of its angle: turned to
 * the axes, R diag R'. An angle that is anything says as little of across as of along. */
START_TEST(runouts)
{
    for (int wild = 0; wild < 2; wild++) {
        struct tt_arena arena = {0};
        struct tt_series series = {.arena = &arena};
        sample_one_tip(&sample);
        sample.tips[0].runout_angle_rad = tt_rad_from_deg(37.4);
        sample.tips[0].u_runout_angle_rad = wild ? 1.7 : 0.0235;
        const struct tt_series_tip *tip = entered(&series);
        const double part[2] = {0.0006, wild ? 0.0006 : 0.03585 * 0.0235},
                     axis[2][2] = {{cos(tt_rad_from_deg(37.4)), sin(tt_rad_from_deg(37.4))},
                                   {-sin(tt_rad_from_deg(37.4)), cos(tt_rad_from_deg(37.4))}};
        double cov[2][2] = {{0}};
        for (int k = 0; k < 2; k++) {
            for (int i = 0; i < 4; i++) {
                cov[i / 2][i % 2] += part[k] * part[k] * axis[k][i / 2] * axis[k][i % 2];
            }
        }
        ck_assert(tip->has_runout);
        ck_assert_double_eq_tol(tip->runout_cov.xx_mm2, cov[0][0], 1e-18);
        ck_assert_double_eq_tol(tip->runout_cov.xy_mm2, cov[0][1], 1e-18);
        ck_assert_double_eq_tol(tip->runout_cov.yy_mm2, cov[1][1], 1e-18);
        tt_arena_clear(&arena);
    }
}
END_TEST

/* Two heights of u 5 and 4 um whose difference is known to 3: half of 25 + 16 - 9 is shared. */
START_TEST(heights)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena};
    struct tt_height_result height[2] = {{.determined = true,
                                          .value_mm = -20.7031,
                                          .u_mm = 0.0071,
                                          .same_plate_u_mm = 0.005,
                                          .verdict = TIPTRUE_KEEP},
                                         {.determined = true,
                                          .value_mm = -19.5473,
                                          .u_mm = 0.0067,
                                          .same_plate_u_mm = 0.004,
                                          .verdict = TIPTRUE_KEEP}};
    sample_two_tips(&sample);
    sample.tips[0].height = &height[0];
    sample.tips[1].height = &height[1];
    sample.between[0].height_determined = true;
    sample.between[0].u_height_mm = 0.003;
    const struct tt_series_tip *tip = entered(&series);

    ck_assert(tip[0].has_height && tip[1].has_height);
    ck_assert_double_eq(tip[0].height_mm, -20.7031);
    ck_assert_double_eq(tip[0].u_height_mm, 0.005);
    ck_assert_double_eq(tip[0].full_u_height_mm, 0.0071);
    ck_assert_double_eq_tol(tip[0].common_u_height_mm, 0.004, 1e-15);
    ck_assert_double_eq_tol(tip[1].common_u_height_mm, 0.004, 1e-15);
    tt_arena_clear(&arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/series");
    TCase *tcase = tcase_create("series");
    tcase_add_test(tcase, offsets);
    tcase_add_test(tcase, runouts);
    tcase_add_test(tcase, heights);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
