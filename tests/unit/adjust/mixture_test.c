/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What late contacts that are alike bring, and early ones cost, against the same by fine
 * integration. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "adjust/depths.h"
#include "adjust/shares.h"

#define MOST 40

struct one_depth {
    double depth_mm[MOST];
    size_t n;
    double scatter_mm, expected;
};

/* Expected: 20 000 thicknesses by 400 shares, NumPy. */
static const struct one_depth cases[] = {
    {{0.0404, 0.0213, 0.0876, 0.0387, 0.0391, 0.0397, 0.0412, 0.0379, 0.0421}, 9, 0.0031, 2.16184},
    {{0.0310, 0.0325, 0.0711, 0.0702, 0.0733, 0.0292, 0.0294, 0.0719, 0.0727, 0.0698, 0.0741,
      0.0715},
     12,
     0.0017,
     4.35210},
    {{0.0402, 0.0391}, 2, 0.0027, 0.00267},
    {{0.0990, 0.0230, 0.0410, 0.1130, 0.0670}, 5, 0.0033, -0.00062},
    {{0.0412, 0.0398, 0.0405, 0.2100, 0.0371}, 5, 0.0024, 0.05278},
};

/* The sum over thickness and share is right to a few hundredths; what is told apart differs by
 * units. */
#define TOLERANCE 0.05

START_TEST(as_integrated)
{
    struct one_depth c = cases[_i];

    ck_assert_double_eq_tol(tt_log_one_depth(c.depth_mm, c.n, c.scatter_mm * c.scatter_mm),
                            c.expected, TOLERANCE);
}
END_TEST

/* Forty alike: the product over contacts is beyond the range of a double. */
START_TEST(many_alike)
{
    double depth_mm[MOST];

    for (size_t i = 0; i < MOST; i++) {
        depth_mm[i] = 0.0523 + 0.0011 * sin(1.7 * (double)(i + 1));
    }
    ck_assert_double_eq_tol(tt_log_one_depth(depth_mm, MOST, 0.0029 * 0.0029), 85.21530, 0.3);
}
END_TEST

/* And to six digits as the sum of docs/method.md, over thicknesses in steps of half a standard
 * deviation, those that two of them are near, and eight shares, by NumPy. */
START_TEST(as_summed)
{
    static const double SUMS[] = {2.1617040, 4.3522197, 0.0024693, -0.0006504, 0.0526883};
    struct one_depth c = cases[_i];

    ck_assert_double_eq_tol(tt_log_one_depth(c.depth_mm, c.n, c.scatter_mm * c.scatter_mm),
                            SUMS[_i], 1e-6);
}
END_TEST

/* One contact is alike with nothing. Contacts that repeat to a nanometre take no longer: three of
 * them alike, by the integral of their product, 3.67e7, and the film's probability. */
START_TEST(limits)
{
    double one_mm = 0.0417, exact_mm[] = {0.0231, 0.1117, 0.0231, 0.0231};

    ck_assert_double_eq(tt_log_one_depth(&one_mm, 1, 9e-6), 0);
    ck_assert_double_eq_tol(tt_log_one_depth(exact_mm, 4, 1e-12), log(0.999 + 0.001 * 3.67e7),
                            TOLERANCE);
}
END_TEST

/* ln of the probability that @n given ones of 48 are early, the share being Beta(0.1, 9.9): a
 * product.
 */
static double exactly(size_t n)
{
    double sum = 0;

    for (size_t k = 0; k < 48; k++) {
        sum += log(k < n ? 0.1 + (double)k : 9.9 + (double)(k - n)) - log(10 + (double)k);
    }
    return sum;
}

/* Whatever share the likelihood has in it, it is taken back, and integrated out instead. */
START_TEST(early_share)
{
    size_t n = (size_t)_i;
    double share = 0.0371, others = 48 - (double)n, ln_early = (double)n * log(share),
           ln_others = others * log1p(-share);

    ck_assert_double_eq_tol(tt_log_early((double)n, others, ln_early, ln_others) + ln_early +
                                ln_others,
                            exactly(n), 1e-9);
}
END_TEST

/* One that is early with a probability of 0.3, by that share: the mean of none and one. */
START_TEST(perhaps_early)
{
    double share = 0.0371, none = exactly(0) - 48 * log1p(-share),
           one = exactly(1) - log(share) - 47 * log1p(-share);

    ck_assert_double_eq_tol(tt_log_early(0.3, 47.7, 0.3 * log(share), 47.7 * log1p(-share)),
                            log(0.7 * exp(none) + 0.3 * exp(one)), 1e-9);
}
END_TEST

/* Shares of @n edges of which @late of @count touches are late, and @early early on the last one.
 */
static void find_shares(size_t n, const size_t count[], const size_t late[], size_t early,
                        struct tt_fit *fit)
{
    enum { TOUCHES = 900 };
    static double good[TOUCHES], residual[TOUCHES], late_count[MOST], edge_count[MOST], share[MOST];
    static struct tt_cell cell[MOST];
    static struct tiptrue_plate plate;
    static struct tt_model model;
    size_t first = 0;

    for (size_t j = 0; j < n; j++) {
        cell[j] = (struct tt_cell){.edge = j, .first = first, .count = count[j]};
        for (size_t i = 0; i < count[j]; i++) {
            bool is_late = i < late[j], is_early = j == n - 1 && !is_late && i - late[j] < early;
            good[first + i] = is_late || is_early ? 0 : 1;
            residual[first + i] = is_late ? -0.05 : 0.04;
        }
        first += count[j];
    }
    ck_assert_uint_le(first, TOUCHES);
    plate = (struct tiptrue_plate){.n_edges = n};
    model = (struct tt_model){
        .plate = &plate, .cells = cell, .n_cells = n, .n_touches = first, .residual = residual};
    *fit = (struct tt_fit){.model = &model,
                           .good = good,
                           .late_count = late_count,
                           .edge_count = edge_count,
                           .late_share = share};
    tt_shares_update(fit);
}

/* The run's share of late touches is drawn to 1 of 10, each edge's to the run's by four touches,
 * that of early ones to 0.1 of 10; none is taken as nothing or all: an edge's is 0.001 to 0.97, the
 * early ones' at most 0.3, and 0.015 is left for good ones. */
START_TEST(shares)
{
    struct tt_fit fit;

    find_shares(2, (const size_t[]){40, 30}, (const size_t[]){7, 2}, 3, &fit);
    ck_assert_double_eq_tol(fit.run_share, 10.0 / 80, 1e-12);
    ck_assert_double_eq_tol(fit.early_share, 3.1 / 80, 1e-12);
    ck_assert_double_eq_tol(fit.late_share[0], (7 + 0.5) / 44, 1e-12);
    ck_assert_double_eq_tol(fit.late_share[1], (2 + 0.5) / 34, 1e-12);
    find_shares(2, (const size_t[]){200, 40}, (const size_t[]){200, 0}, 0, &fit);
    ck_assert_double_eq_tol(fit.late_share[0], 0.97, 1e-12);
    find_shares(2, (const size_t[]){300, 300}, (const size_t[]){0, 0}, 0, &fit);
    ck_assert_double_eq_tol(fit.late_share[0], 1e-3, 1e-12);
    find_shares(2, (const size_t[]){200, 60}, (const size_t[]){198, 0}, 6, &fit);
    ck_assert_double_eq_tol(fit.early_share, 6.1 / 270, 1e-12);
    ck_assert_double_eq_tol(fit.late_share[0], 0.985 - 6.1 / 270, 1e-12);
    find_shares(2, (const size_t[]){40, 60}, (const size_t[]){0, 0}, 33, &fit);
    ck_assert_double_eq_tol(fit.early_share, 0.3, 1e-12);
    find_shares(2, (const size_t[]){40, 60}, (const size_t[]){0, 0}, 32, &fit);
    ck_assert_double_eq_tol(fit.early_share, 32.1 / 110, 1e-12);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("mixture");
    TCase *tcase = tcase_create("mixture");

    tcase_add_loop_test(tcase, as_integrated, 0, sizeof cases / sizeof cases[0]);
    tcase_add_loop_test(tcase, as_summed, 0, sizeof cases / sizeof cases[0]);
    tcase_add_test(tcase, many_alike);
    tcase_add_test(tcase, limits);
    tcase_add_loop_test(tcase, early_share, 0, 6);
    tcase_add_test(tcase, perhaps_early);
    tcase_add_test(tcase, shares);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
