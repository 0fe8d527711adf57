/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Charts and scatter against published examples; run lengths by simulation. */
#include "config.h"

#include "history/series/chart.h"

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

/* NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals control charts: flow rate
 * of ten batches; d2 = 1.128 there.
 */
START_TEST(individuals)
{
    static const double X[] = {49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
    struct tt_baseline b = tt_baseline_of(X, COUNT(X));

    ck_assert_double_eq_tol(b.centre, 50.81, 1e-9);
    ck_assert_double_eq_tol(b.mean_range, 1.8778, 5e-5);
    /* the limits as printed, with their rounded factor */
    ck_assert_double_eq_tol(b.centre + 3 * b.sigma * TT_D2 / 1.128, 55.8041, 2e-4);
    ck_assert_double_eq_tol(b.centre - 3 * b.sigma * TT_D2 / 1.128, 45.8159, 2e-4);
    /* D4 = 3.267 there */
    ck_assert_double_eq_tol(TT_D4, 3.267, 0.0006);
}
END_TEST

/* The same, 6.3.2.4, EWMA control charts. */
START_TEST(ewma)
{
    static const double X[] = {52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
                               49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
    static const double Z[] = {50.6,  49.52, 50.56, 50.18, 50.16, 49.21, 49.75,
                               49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
                               49.38, 49.92, 50.73, 51.23, 51.94, 51.99};
    struct tt_ewma chart = tt_ewma_begin((struct tt_baseline){50, 2.0539, 0}, 0.3, 3);

    ck_assert_double_eq_tol(50 + tt_ewma_limit(&chart), 52.5884, 1e-4);
    ck_assert_double_eq_tol(50 - tt_ewma_limit(&chart), 47.4115, 1e-4);
    for (size_t i = 0; i < COUNT(X); i++) {
        ck_assert(!tt_ewma_next(&chart, X[i]));
        ck_assert_double_eq_tol(chart.z, Z[i], 0.0051);
    }
}
END_TEST

/* The same, 6.3.2.3, CUSUM control charts: target 325, k = 0.3175, h = 4.1959 in the unit of the
 * data. */
START_TEST(cusum)
{
    static const double X[] = {324.925, 324.675, 324.725, 324.35,  325.35,  325.225, 324.125,
                               324.525, 325.225, 324.6,   324.625, 325.15,  328.325, 327.25,
                               327.825, 328.5,   326.675, 327.775, 326.875, 328.35};
    static const double HIGH[] = {0, 0, 0,    0,    0.03, 0,     0,     0,     0,    0,
                                  0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.0, 19.04};
    static const double LOW[] = {0,    0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25,
                                 0.31, 0,    0, 0,    0, 0, 0,    0,    0,    0};
    struct tt_cusum chart =
        tt_cusum_begin((struct tt_baseline){325, 0.635, 0}, 0.3175 / 0.635, 4.1959 / 0.635);

    for (size_t i = 0; i < COUNT(X); i++) {
        int signal = tt_cusum_next(&chart, X[i]);
        ck_assert_double_eq_tol(chart.high, HIGH[i], 0.00501);
        ck_assert_double_eq_tol(chart.low, LOW[i], 0.00501);
        ck_assert_int_eq(signal, i >= 13 ? 1 : 0); /* from group 14 on */
    }
}
END_TEST

#define LIVES 8000

static double mean_life(gsl_rng *rng, double shift, double lambda, double width, double k, double h)
{
    double sum = 0;

    for (int life = 0; life < LIVES; life++) {
        struct tt_baseline unit = {0, 1, 0};
        struct tt_ewma e = tt_ewma_begin(unit, lambda, width);
        struct tt_cusum c = tt_cusum_begin(unit, k, h);
        bool out = false;
        while (!out) {
            double x = shift + gsl_ran_ugaussian(rng);
            out = lambda > 0 ? tt_ewma_next(&e, x) : tt_cusum_next(&c, x) != 0;
            sum++;
        }
    }
    return sum / LIVES;
}

/* Run lengths are nearly exponential: their mean over LIVES scatters by 1/sqrt(LIVES) of itself;
 * five of these. */
static void expect_life(double got, double published)
{
    ck_assert_msg(fabs(got - published) < 5 * published / sqrt(LIVES),
                  "mean run length %.3f, published %.3f", got, published);
}

/* S. V. Crowder, Technometrics 29 (1987) 401-407, table 1: two-sided EWMA, limits of the long run.
 */
START_TEST(run_lengths_of_the_ewma)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    gsl_rng_set(rng, 41);
    expect_life(mean_life(rng, 0, 0.5, 2, 0, 0), 26.45);
    expect_life(mean_life(rng, 0.75, 0.5, 2, 0, 0), 7.29);
    expect_life(mean_life(rng, 0.25, 0.05, 2, 0, 0), 43.94);
    expect_life(mean_life(rng, 1.5, 0.05, 2, 0, 0), 5.41);
    gsl_rng_free(rng);
}
END_TEST

/* J. M. Lucas, R. B. Crosier, Technometrics 24 (1982) 199-205, table 1: two-sided CUSUM, k = 0.5,
 * without head start (the columns of h = 5 from memory, recomputed). */
START_TEST(run_lengths_of_the_cusum)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);

    gsl_rng_set(rng, 42);
    expect_life(mean_life(rng, 0, 0, 0, 0.5, 4), 168);
    expect_life(mean_life(rng, 0.75, 0, 0, 0.5, 4), 13.3);
    expect_life(mean_life(rng, 0.25, 0, 0, 0.5, 5), 139);
    expect_life(mean_life(rng, 1.5, 0, 0, 0.5, 5), 5.75);
    gsl_rng_free(rng);
}
END_TEST

/* One in 1 / alpha new values passes the limit, whatever the baseline happened to be. */
START_TEST(t2_limit_holds)
{
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    size_t beyond = 0, trials = 40000;

    gsl_rng_set(rng, 43);
    for (size_t i = 0; i < trials; i++) {
        double x[20], y[20];
        for (size_t k = 0; k < 20; k++) {
            x[k] = 3.2 * gsl_ran_ugaussian(rng);
            y[k] = 0.6 * x[k] + 1.7 * gsl_ran_ugaussian(rng);
        }
        struct tt_t2 chart = tt_t2_of(x, y, 20);
        double new_x = 3.2 * gsl_ran_ugaussian(rng),
               new_y = 0.6 * new_x + 1.7 * gsl_ran_ugaussian(rng);
        beyond += tt_t2_distance(&chart, new_x, new_y) > tt_t2_limit(&chart, 0.01);
    }
    /* the degrees of freedom of successive differences are Holmes and Mergen's approximation */
    double share = (double)beyond / (double)trials;
    ck_assert_msg(share > 0.007 && share < 0.014, "%.4f of new values beyond the limit of 0.01",
                  share);
    gsl_rng_free(rng);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/chart");
    TCase *tests = tcase_create("chart");
    tcase_add_test(tests, individuals);
    tcase_add_test(tests, ewma);
    tcase_add_test(tests, cusum);
    tcase_add_test(tests, run_lengths_of_the_ewma);
    tcase_add_test(tests, run_lengths_of_the_cusum);
    tcase_add_test(tests, t2_limit_holds);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
