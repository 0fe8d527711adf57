/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Capability, the test of normality and means on the circle against published and peer numbers. */
#include "config.h"

#include "placement/work.h"

#include <check.h>
#include <math.h>
#include <string.h>

#include "base/cholesky.h"
#include "model/frames.h"
#include "placement/board_design.h"
#include "placement/placement.h"

/* NIST/SEMATECH e-Handbook, 6.1.6 (from memory): limits 8 and 20, mean 16, standard deviation 2
 * give Cp 1.0 and Cpk 0.6667. About the limits' middle: -6 and 6, mean 2. The values are a sample
 * with exactly that mean and deviation. */
START_TEST(handbook_example)
{
    enum { N = 50 };
    double values[N], mean = 0, squares = 0;
    for (int i = 0; i < N; i++) {
        values[i] = sin(2.385 * i) + 0.1 * i;
        mean += values[i] / N;
    }
    for (int i = 0; i < N; i++) {
        squares += (values[i] - mean) * (values[i] - mean);
    }
    for (int i = 0; i < N; i++) {
        values[i] = 2.0 + 2.0 * (values[i] - mean) / sqrt(squares / (N - 1));
    }
    struct tt_capability_axis c = tt_capability(values, N, 6.0);
    ck_assert_double_eq_tol(c.mean, 2.0, 1e-12);
    ck_assert_double_eq_tol(c.standard_deviation, 2.0, 1e-12);
    ck_assert_double_eq_tol(c.cp, 1.0, 1e-12);
    ck_assert_double_eq_tol(c.cpk, 0.6667, 5e-5);
    /* scipy.stats 1.10.1: sqrt(chi2.ppf([0.025, 0.975], 49) / 49); norm.ppf(0.975) times
     * sqrt(1 / (9 n) + cpk^2 / (2 (n - 1))) */
    ck_assert_double_eq_tol(c.cp_low, 0.80248, 1e-5);
    ck_assert_double_eq_tol(c.cp_high, 1.19713, 1e-5);
    ck_assert_double_eq_tol(c.cpk_low, 0.50555, 1e-5);
    ck_assert_double_eq_tol(c.cpk_high, 0.82778, 1e-5);
    ck_assert_double_eq_tol(c.share_normal, 0.977218, 1e-6); /* norm.cdf(2) - norm.cdf(-4) */
}
END_TEST

/* Clopper and Pearson by scipy.stats 1.10.1, binomtest(47, 50).proportion_ci(0.95, 'exact'). */
START_TEST(share_of_parts)
{
    double values[50];
    for (int i = 0; i < 50; i++) {
        values[i] = i < 3 ? -7.3 : 0.13 * i - 3.2;
    }
    struct tt_capability_axis c = tt_capability(values, 50, 6.0);
    ck_assert_uint_eq(c.within, 47);
    ck_assert_double_eq_tol(c.share_low, 0.834518, 1e-6);
    ck_assert_double_eq_tol(c.share_high, 0.987451, 1e-6);
    ck_assert_uint_eq(tt_capability(values, TT_LEAST_CAPABILITY - 1, 6.0).within, 0);
}
END_TEST

/* scipy.stats.anderson(x, 'norm') 1.10.1: the statistic; p is the published formula's. */
START_TEST(anderson_darling)
{
    double normal[] = {-1.92, -1.21, -0.87, -0.55, -0.31, -0.07,
                       0.18,  0.44,  0.71,  1.04,  1.46,  2.11};
    double odd[] = {0.01, 0.02, 0.03, 0.05, 0.08, 0.13, 0.21, 0.34, 0.55, 0.89, 4.7, 9.3};
    struct tt_capability_axis a = tt_capability(normal, 12, 5.0), b = tt_capability(odd, 12, 5.0);
    ck_assert_double_eq_tol(a.a2, 0.0689973, 1e-6);
    ck_assert_double_eq_tol(b.a2, 2.4663492, 1e-6);
    ck_assert(a.normal && !b.normal);
    ck_assert_double_gt(a.p_normal, 0.9);
    ck_assert_double_lt(b.p_normal, 0.001);
}
END_TEST

/* scipy.stats.circmean 1.10.1 of 350.7, 12.4, 33.1 and 301.9 degrees; weights as repetitions. */
START_TEST(mean_on_the_circle)
{
    double angles[] = {tt_rad_from_deg(350.7), tt_rad_from_deg(12.4), tt_rad_from_deg(33.1),
                       tt_rad_from_deg(301.9)};
    double once[] = {1, 1, 1, 1}, twice[] = {1, 2, 1, 1};
    double opposite[] = {tt_rad_from_deg(179.3), tt_rad_from_deg(-178.1)};
    ck_assert_double_eq_tol(tt_deg_from_rad(tt_angle_mean(angles, once, 4)), -4.2893559626, 1e-9);
    ck_assert_double_eq_tol(tt_deg_from_rad(tt_angle_mean(angles, twice, 4)), -0.4657007642, 1e-9);
    ck_assert_double_eq_tol(tt_deg_from_rad(tt_angle_mean(opposite, once, 2)), -179.4, 1e-9);
}
END_TEST

/* A matrix with a factor known by hand, [[4, .], [2, 10]] = L L^T with L = [[2, 0], [1, 3]]. */
START_TEST(cholesky)
{
    double a[] = {4, 0, 2, 10}, b[] = {2.385, -1.7}, inverse[4];
    ck_assert(tt_cholesky(a, 2));
    ck_assert_double_eq(a[0], 2);
    ck_assert_double_eq(a[2], 1);
    ck_assert_double_eq(a[3], 3);
    ck_assert_double_eq_tol(tt_cholesky_ln_det(a, 2), log(36), 1e-14);
    tt_cholesky_forward(a, 2, b);
    tt_cholesky_backward(a, 2, b);
    ck_assert_double_eq_tol(4 * b[0] + 2 * b[1], 2.385, 1e-14);
    ck_assert_double_eq_tol(2 * b[0] + 10 * b[1], -1.7, 1e-14);
    tt_cholesky_invert(a, 2, inverse);
    ck_assert_double_eq_tol(inverse[0], 10.0 / 36, 1e-14);
    ck_assert_double_eq_tol(inverse[1], -2.0 / 36, 1e-14);
    double singular[] = {4, 0, 2, 1}, none[] = {NAN};
    ck_assert(!tt_cholesky(singular, 2));
    ck_assert(!tt_cholesky(none, 1));
}
END_TEST

/* Before, whatever could not be fitted was told as a want of memory. */
START_TEST(what_cannot_be_fitted_is_no_lack_of_memory)
{
    const char *tips[] = {"t1"};
    struct tt_part parts[5] = {{0}};
    struct tiptrue_board board = {
        .file = "board.csv", .parts = parts, .n_parts = 5, .tips = tips, .n_tips = 1};
    struct tiptrue_machine machine = {.name = "bench-2"};
    struct tiptrue_placement *placement = NULL;
    struct tiptrue_error error = {0};
    for (size_t i = 0; i < 5; i++) {
        parts[i].wanted = (struct tt_machine_xy){7.3 + 11.0 * (double)i, 3.1 * (double)(i * i)};
        parts[i].found = parts[i].wanted;
    }
    ck_assert_int_eq(tt_place(&board, &machine, NULL, &placement, &error), TIPTRUE_OK);
    tiptrue_placement_free(placement);
    parts[3].wanted.x_mm = NAN;
    ck_assert_int_eq(tt_place(&board, &machine, NULL, &placement, &error), TIPTRUE_E_DEGENERATE);
    ck_assert_str_eq(error.file, "board.csv");
    ck_assert(strstr(error.text, "cannot be fitted") != NULL && error.hint[0] != '\0');
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("placement/capability");
    TCase *all = tcase_create("all");
    tcase_add_test(all, handbook_example);
    tcase_add_test(all, share_of_parts);
    tcase_add_test(all, anderson_darling);
    tcase_add_test(all, mean_on_the_circle);
    tcase_add_test(all, cholesky);
    tcase_add_test(all, what_cannot_be_fitted_is_no_lack_of_memory);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? 0 : 1;
}
