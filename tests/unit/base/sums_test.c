/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sums two numbers at a time against sums one by one, and logarithms of products that no double
 * holds. */
#include "config.h"

#include "base/sums.h"

#include <check.h>
#include <stdlib.h>

enum { MOST = 7 };

START_TEST(as_one_by_one)
{
    const double a[MOST + 1] = {0.3, -2.5, 1.7, 11.3, -0.7, 5.9, 0.11, 99},
                          b[MOST + 1] = {7.1, 0.2, -3.9, 1.3, 2.2, -0.4, 8.8, 77};

    for (size_t n = 0; n <= MOST; n++) {
        double sum = 0, added[MOST + 1];
        memcpy(added, b, sizeof added);
        tt_add_times(added, -1.7, a, n);
        for (size_t k = 0; k < n; k++) {
            sum += a[k] * b[k];
            ck_assert_double_eq_tol(added[k], b[k] - 1.7 * a[k], 1e-14);
        }
        ck_assert_double_eq_tol(tt_dot(a, b, n), sum, 1e-13);
        ck_assert_double_eq(added[n], b[n]); /* nothing behind the last */
    }
}
END_TEST

START_TEST(of_many_factors)
{
    static const double factors[] = {3.7, 1e-300, 2e-290, 0.6, 4e305, 5e299, 1e-307, 0.02};
    struct tt_log_product product = {-1.25, 1};
    double sum = -1.25;

    for (size_t k = 0; k < 40; k++) {
        double factor = factors[k % 8];
        tt_log_times(&product, factor);
        sum += log(factor);
        ck_assert_double_eq_tol(tt_log_product(product), sum, 1e-10);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("base/sums");
    TCase *tc = tcase_create("sums");
    SRunner *runner = srunner_create(suite);
    tcase_add_test(tc, as_one_by_one);
    tcase_add_test(tc, of_many_factors);
    suite_add_tcase(suite, tc);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
