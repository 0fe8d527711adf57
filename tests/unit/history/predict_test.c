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

/* The scatter of a tip between runs: what all tips share and its own, each known with its class's
 * degrees of freedom, which the axes of a plane and, of its own, the tips beyond the first share.
 * The variance of a variance s^2 with nu degrees of freedom is 2 s^4 / nu, of what the runs state
 * in it too (JCGM 100:2008, E.4.3, G.4.1). */
START_TEST(scatter_between_runs)
{
    enum { RUNS = 4, MOST_TIPS = 3, AXES = 3, P = MOST_TIPS * (3 + AXES) + 3 };
    double stated[RUNS * P], common[RUNS * AXES], between[P];
    bool there[RUNS * P];

    for (size_t tips = 1; tips <= MOST_TIPS; tips += 2) {
        struct tt_changes c = {.values = {.n = RUNS,
                                          .tips = tips,
                                          .axes = AXES,
                                          .p = P,
                                          .stated = stated,
                                          .common = common,
                                          .there = there},
                               .noise = {.between = between, .shared = {1.3e-6, 2.9e-6, 0.7e-6}}};
        c.noise.nu[TT_SHARED] = 23;
        c.noise.nu[TT_OWN] = 37;
        c.noise.nu[TT_HEIGHT_SHARED] = 11;
        c.noise.nu[TT_HEIGHT_OWN] = 19;
        for (size_t i = 0; i < RUNS * P; i++) {
            stated[i] = 1e-7 * (double)(1 + i % 7);
            there[i] = i % P != tips - 1 || i / P != 1; /* the last tip lacks x in the second run */
        }
        for (size_t i = 0; i < RUNS * AXES; i++) {
            common[i] = 1.7e-7 * (double)(1 + i % 5);
        }
        for (size_t k = 0; k < P; k++) {
            between[k] = 1.1e-6 + 0.3e-6 * (double)k;
        }
        const struct tt_axis_scatter plane = tt_changes_between(&c, tips - 1);
        double u_height = 0, height = tt_changes_height_between(&c, tips - 1, &u_height);
        const double got[3][3] = {{plane.x_mm, plane.u_x_mm, plane.dof_x},
                                  {plane.y_mm, plane.u_y_mm, plane.dof_y},
                                  {height, u_height, 0}};
        for (size_t axis = 0; axis < 3; axis++) {
            size_t column = axis * tips + tips - 1;
            double n = 0, own_stated = 0, shared_stated = 0, alike = axis < 2 ? 2 : 1;
            for (size_t run = 0; run < RUNS; run++) {
                if (axis > 0 || run != 1) {
                    n++;
                    own_stated += stated[run * P + column];
                    shared_stated += common[run * AXES + axis];
                }
            }
            double shared = c.noise.shared[axis], own = between[column], s2 = shared + own;
            double a = shared + shared_stated / n, b = own + own_stated / n;
            double nu_a = (axis < 2 ? 23 : 11) / alike,
                   nu_b = (axis < 2 ? 37 : 19) / alike / (double)(tips > 1 ? tips - 1 : 1);
            double u2 =
                tips > 1 ? 2 * a * a / nu_a + 2 * b * b / nu_b : 2 * (a + b) * (a + b) / nu_a;
            ck_assert_double_eq_tol(got[axis][0], sqrt(s2), 1e-12);
            ck_assert_double_eq_tol(got[axis][1], sqrt(u2) / (2 * sqrt(s2)), 1e-12);
            ck_assert(axis == 2 || fabs(got[axis][2] - 2 * s2 * s2 / u2) < 1e-9);
        }
        ck_assert_double_eq(tt_changes_dof(&c), 23);
        ck_assert_double_eq(tt_changes_height_dof(&c), 11);
        c.noise.nu[TT_OWN] = 17;
        c.noise.nu[TT_HEIGHT_OWN] = 7;
        ck_assert_double_eq(tt_changes_dof(&c), tips > 1 ? 17 : 23);
        ck_assert_double_eq(tt_changes_height_dof(&c), tips > 1 ? 7 : 11);
        for (size_t i = 0; i < RUNS * P; i++) {
            there[i] = i < P; /* one run shows no scatter */
        }
        ck_assert_double_eq(tt_changes_between(&c, 0).x_mm, 0);
        ck_assert_double_eq(tt_changes_height_between(&c, 0, &u_height), 0);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/predict");
    TCase *tcase = tcase_create("predict");
    tcase_add_test(tcase, level_slope_and_season);
    tcase_add_test(tcase, scatter_between_runs);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
