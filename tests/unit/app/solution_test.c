/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a host program is told of a tip: each number in its place, and nothing of what a run does
 * not determine. */
#include "config.h"

#include <check.h>
#include <stdlib.h>

#include "../output/sample.h"
#include "tiptrue.h"

START_TEST(a_tip_that_is_determined)
{
    static struct sample s;
    sample_two_tips(&s);
    ck_assert_uint_eq(tiptrue_solution_tips(&s.solution), 2);
    struct tiptrue_tip_result tip = tiptrue_solution_tip(&s.solution, 0);
    ck_assert_str_eq(tip.tip, "t1");
    ck_assert_int_eq(tip.verdict, TIPTRUE_UPDATE);
    ck_assert(tip.determined);
    ck_assert_double_eq(tip.offset_mm[0], -41.30092);
    ck_assert_double_eq(tip.offset_mm[1], 12.70036);
    ck_assert_double_eq(tip.cov_offset_mm2[0][0], 4.41e-4);
    ck_assert_double_eq(tip.cov_offset_mm2[0][1], 8.82e-6);
    ck_assert_double_eq(tip.cov_offset_mm2[1][0], 8.82e-6);
    ck_assert_double_eq(tip.cov_offset_mm2[1][1], 4.84e-4);
    ck_assert_double_eq(tip.same_plate_cov_offset_mm2[0][0], 1.21e-6);
    ck_assert_double_eq(tip.same_plate_cov_offset_mm2[0][1], -3.0e-8);
    ck_assert_double_eq(tip.same_plate_cov_offset_mm2[1][0], -3.0e-8);
    ck_assert_double_eq(tip.same_plate_cov_offset_mm2[1][1], 1.44e-6);
    ck_assert_double_eq(tip.dof, 41.25);
    ck_assert_double_eq(tip.runout_mm[0], 0.0310);
    ck_assert_double_eq(tip.runout_mm[1], -0.0180);
    ck_assert_double_eq(tip.contact_radius_mm, 0.24873);
}
END_TEST

START_TEST(a_tip_that_is_not)
{
    static struct sample s;
    sample_two_tips(&s);
    struct tiptrue_tip_result tip = tiptrue_solution_tip(&s.solution, 1); /* y alone */
    ck_assert_str_eq(tip.tip, "t2");
    ck_assert_int_eq(tip.verdict, TIPTRUE_REPEAT);
    ck_assert(!tip.determined);
    ck_assert_double_eq(tip.offset_mm[0], 0);
    ck_assert_double_eq(tip.offset_mm[1], 0);
    ck_assert_double_eq(tip.cov_offset_mm2[1][1], 0);
    s.tips[0].runout_determined = s.tips[0].radius_determined = false;
    tip = tiptrue_solution_tip(&s.solution, 0);
    ck_assert(tip.determined);
    ck_assert_double_eq(tip.offset_mm[1], 12.70036);
    ck_assert_double_eq(tip.runout_mm[0], 0);
    ck_assert_double_eq(tip.runout_mm[1], 0);
    ck_assert_double_eq(tip.contact_radius_mm, 0);
    s.tips[0].offset_determined_y = false;
    ck_assert(!tiptrue_solution_tip(&s.solution, 0).determined);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("app/solution");
    TCase *tcase = tcase_create("solution");
    tcase_add_test(tcase, a_tip_that_is_determined);
    tcase_add_test(tcase, a_tip_that_is_not);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
