/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The covariance of a whole run: its budget adds up to it, the plate's own errors only add to it,
 * and the errors met in many simulated runs are what it says. Held against a twin in twin_test.c.
 */
#include "config.h"

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

#include "adjust/uncertainty.h"
#include "scene.h"

static void check_cov(struct tt_cov2 cov, double xx, double xy, double yy)
{
    ck_assert_double_eq_tol(cov.xx_mm2 / xx, 1, 3e-5);
    ck_assert_double_eq_tol(cov.xy_mm2 / sqrt(xx * yy), xy / sqrt(xx * yy), 3e-5);
    ck_assert_double_eq_tol(cov.yy_mm2 / yy, 1, 3e-5);
}

static struct tt_cov2 less(struct tt_cov2 a, struct tt_cov2 b)
{
    return (struct tt_cov2){a.xx_mm2 - b.xx_mm2, a.xy_mm2 - b.xy_mm2, a.yy_mm2 - b.yy_mm2};
}

/* ---- sums and orders ---- */

static double budget_sum(const struct tt_tip_result *tip, bool y, bool plate_too)
{
    double sum = 0;
    for (size_t k = 0; k < tip->n_budget; k++) {
        const double u = y ? tip->budget[k].u_y_mm : tip->budget[k].u_x_mm;
        sum += plate_too || !tip->budget[k].of_plate ? u * u : 0;
    }
    return sum;
}

/* The lines' variances add up to the covariance's, those that are not the plate's to what a change
 * on this plate is judged by. With resolution, rotation and robust step. */
START_TEST(budget_adds_up)
{
    for (int known = 0; known < 2; known++) {
        struct scene s = scene_full();
        s.decimals = 3;
        s.resolution = 0.0025;
        if (known == 0) {
            s.u_touch = s.u_sight = 0;
        }
        for (size_t k = 0; k < s.n_tips; k++) {
            s.tips[k].has_present = true;
            s.tips[k].present_plate = s.serial;
        }
        struct tiptrue_solution *solution = scene_result(&s);
        for (size_t k = 0; k < solution->n_tips; k++) {
            const struct tt_tip_result *tip = &solution->tips[k];
            ck_assert_double_eq_tol(budget_sum(tip, false, true) / tip->cov.xx_mm2, 1, 1e-9);
            ck_assert_double_eq_tol(budget_sum(tip, true, true) / tip->cov.yy_mm2, 1, 1e-9);
            ck_assert(tip->change_on_same_plate);
            ck_assert_double_eq_tol(budget_sum(tip, false, false) / tip->change_cov.xx_mm2, 1,
                                    1e-9);
            ck_assert_double_eq_tol(budget_sum(tip, true, false) / tip->change_cov.yy_mm2, 1, 1e-9);
            ck_assert_int_eq(tip->budget[0].type, known == 1 ? 'B' : 'A');
            ck_assert_int_eq(isinf(tip->dof), known == 1);
        }
        tiptrue_solution_free(solution);
    }
}
END_TEST

static bool is_positive(struct tt_cov2 cov)
{
    return cov.xx_mm2 > 0 && cov.xx_mm2 * cov.yy_mm2 > cov.xy_mm2 * cov.xy_mm2;
}

/* The plate's own errors only add; without them both covariances are one. Expanded uncertainties
 * are the factors times the standard. */
START_TEST(same_plate_is_smaller)
{
    struct scene s = scene_full();
    struct tiptrue_solution *solution = scene_result(&s);
    const struct tt_tip_result *tip = &solution->tips[1];
    ck_assert(is_positive(tip->same_plate_cov));
    ck_assert(is_positive(less(tip->cov, tip->same_plate_cov)));
    ck_assert_double_eq_tol(tip->expanded_x_mm, tip->factor * sqrt(tip->cov.xx_mm2), 1e-15);
    ck_assert_double_eq_tol(tip->same_plate_expanded_y_mm,
                            tip->same_plate_factor * sqrt(tip->same_plate_cov.yy_mm2), 1e-15);
    ck_assert(tip->region.semi_major_mm > tip->expanded_x_mm && tip->region.semi_minor_mm > 0);
    tiptrue_solution_free(solution);
    s.n_groups = 0;
    for (size_t k = 0; k < s.n_edges; k++) {
        s.edges[k].u = 0;
        s.edges[k].group = NULL;
        s.marks[k % 3].u = 0;
        s.marks[k % 3].group = NULL;
    }
    solution = scene_result(&s);
    tip = &solution->tips[1];
    check_cov(tip->same_plate_cov, tip->cov.xx_mm2, tip->cov.xy_mm2, tip->cov.yy_mm2);
    tiptrue_solution_free(solution);
}
END_TEST

/* ---- against many runs ---- */

struct tally {
    double xx, xy, yy; /* of the errors met */
    struct tt_cov2 told;
};

/* Errors of tip 0 over @runs; @draw_plate: its features are drawn for every run as their
 * uncertainties say, else once. */
static struct tally errors_met(bool draw_plate, size_t runs, unsigned long seed)
{
    struct tally tally = {0};
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, seed);
    struct scene s = scene_full();
    double mean_x = 0, mean_y = 0;
    for (size_t run = 0; run < runs; run++) {
        s.seed = gsl_rng_get(random);
        for (size_t k = 0; k < 4 && (draw_plate || run == 0); k++) {
            s.groups[k % 2].shift_x = gsl_ran_gaussian(random, s.groups[k % 2].u);
            s.groups[k % 2].shift_y = gsl_ran_gaussian(random, s.groups[k % 2].u);
            s.edges[k].shift = gsl_ran_gaussian(random, s.edges[k].u);
            s.marks[k % 3].shift_x = gsl_ran_gaussian(random, s.marks[k % 3].u);
            s.marks[k % 3].shift_y = gsl_ran_gaussian(random, s.marks[k % 3].u);
        }
        s.tips[0].radius = 0.26 + gsl_ran_gaussian(random, s.tips[0].u_radius);
        s.u_rotation_deg = 0; /* every touch its own angle: not in the simulation */
        struct tiptrue_solution *solution = scene_result(&s);
        const struct tt_tip_result *tip = &solution->tips[0];
        const struct tt_machine_xy at = draw_plate ? tip->offset : tip->held;
        const double x = at.x_mm - s.tips[0].offset_x, y = at.y_mm - s.tips[0].offset_y;
        mean_x += x / (double)runs;
        mean_y += y / (double)runs;
        tally.xx += x * x / (double)runs;
        tally.xy += x * y / (double)runs;
        tally.yy += y * y / (double)runs;
        tally.told = draw_plate ? tip->cov : tip->same_plate_cov;
        tiptrue_solution_free(solution);
    }
    if (!draw_plate) { /* the plate's errors are the same in all runs: they are the mean */
        tally.xx -= mean_x * mean_x;
        tally.xy -= mean_x * mean_y;
        tally.yy -= mean_y * mean_y;
    }
    gsl_rng_free(random);
    return tally;
}

/* A variance from 400 runs is known to 7 % (sqrt(2 / 400)); 4 of these. */
START_TEST(errors_met_in_many_runs)
{
    for (int draw_plate = 0; draw_plate < 2; draw_plate++) {
        const struct tally t = errors_met(draw_plate == 1, 400, 20260404);
        ck_assert_double_eq_tol(t.xx / t.told.xx_mm2, 1, 0.28);
        ck_assert_double_eq_tol(t.yy / t.told.yy_mm2, 1, 0.28);
        const double size = sqrt(t.told.xx_mm2 * t.told.yy_mm2);
        ck_assert_double_eq_tol(t.xy / size, t.told.xy_mm2 / size, 0.2);
    }
}
END_TEST

/* Two runs on one plate, the second with other rotations and without one edge: the difference of
 * the held offsets is as uncertain as both say, what of the plate does not cancel included; and so
 * are the tips' differences. Squared distances of differences from the truth, in units of their
 * covariance, have a mean of 2. */
START_TEST(differences_of_runs_and_tips)
{
    enum { PAIRS = 250 };
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    double of_runs = 0, of_tips = 0, apart_xx = 0;
    gsl_rng_set(random, 20261126);
    for (size_t pair = 0; pair < PAIRS; pair++) {
        struct scene s = scene_full();
        s.u_rotation_deg = 0; /* every touch its own angle: not in the simulation */
        for (size_t k = 0; k < 4; k++) {
            s.edges[k].shift = gsl_ran_gaussian(random, s.edges[k].u);
            s.marks[k % 3].shift_x = gsl_ran_gaussian(random, s.marks[k % 3].u);
            s.marks[k % 3].shift_y = gsl_ran_gaussian(random, s.marks[k % 3].u);
            s.groups[k % 2].shift_x = gsl_ran_gaussian(random, s.groups[k % 2].u);
            s.groups[k % 2].shift_y = gsl_ran_gaussian(random, s.groups[k % 2].u);
        }
        s.tips[0].u_radius = s.tips[1].u_radius =
            0; /* a stated radius is as wrong in both runs, and counts in each */
        s.has_yaw = false;
        s.seed = gsl_rng_get(random);
        struct tiptrue_solution *a = scene_result(&s);
        s.seed = gsl_rng_get(random);
        s.rotations = 5;
        s.edges[1] = s.edges[s.n_edges - 1];
        s.n_edges--;
        struct tiptrue_solution *b = scene_result(&s);
        const struct tt_tip_result *p = &a->tips[0], *q = &b->tips[0];
        struct tt_cov2 apart = tt_plate_apart(tt_effects_of(a, p), tt_effects_of(b, q)),
                       cov = p->same_plate_cov;
        cov.xx_mm2 += q->same_plate_cov.xx_mm2 + apart.xx_mm2;
        cov.xy_mm2 += q->same_plate_cov.xy_mm2 + apart.xy_mm2;
        cov.yy_mm2 += q->same_plate_cov.yy_mm2 + apart.yy_mm2;
        apart_xx += apart.xx_mm2 / cov.xx_mm2 / PAIRS;
        of_runs +=
            tt_cov2_distance2(cov, q->held.x_mm - p->held.x_mm, q->held.y_mm - p->held.y_mm) /
            PAIRS;
        const struct tt_tip_difference *d = &b->between_tips[0];
        of_tips +=
            tt_cov2_distance2(d->cov, d->offset.x_mm - (s.tips[1].offset_x - s.tips[0].offset_x),
                              d->offset.y_mm - (s.tips[1].offset_y - s.tips[0].offset_y)) /
            PAIRS;
        tiptrue_solution_free(a);
        tiptrue_solution_free(b);
    }
    gsl_rng_free(random);
    ck_assert_double_gt(apart_xx, 0.1); /* what does not cancel counts here */
    ck_assert_double_eq_tol(of_runs, 2, 0.45);
    ck_assert_double_eq_tol(of_tips, 2, 0.45);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("covariance");
    TCase *sums = tcase_create("sums");
    tcase_add_test(sums, budget_adds_up);
    tcase_add_test(sums, same_plate_is_smaller);
    suite_add_tcase(suite, sums);
    TCase *simulated = tcase_create("simulated");
    tcase_add_test(simulated, errors_met_in_many_runs);
    tcase_add_test(simulated, differences_of_runs_and_tips);
    suite_add_tcase(suite, simulated);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
