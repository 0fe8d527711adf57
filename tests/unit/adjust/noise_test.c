/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is known of scatter before a fit: rounding that rows share, and how sightings of the same
 * marks repeat. Expected numbers by a program of a dozen lines with SciPy, from docs/method.md. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "adjust/explain.h"

enum { ROWS = 12, MARKS = 2 };

/* Variance of rounding to steps of 10 um, of two touches of one edge that lie (@x, @y) steps apart;
 * they repeat to @u_mm. */
static double rounding_of_two(double x, double y, double u_mm)
{
    static const double STEP_MM = 0.01;
    struct tt_observation row[2] = {
        {.kind = TT_TOUCH, .h = {13.7, -4.1}},
        {.kind = TT_TOUCH, .h = {13.7 + STEP_MM * x, -4.1 + STEP_MM * y}}};
    struct tiptrue_run run = {
        .observations = row, .n_observations = 2, .touch_digits = {.quantum_mm = STEP_MM}};
    struct tiptrue_machine machine = {.has_u_touch = true, .u_touch_mm = u_mm};

    return tt_noise_of(&machine, &run).touch_digit_var_mm2 / (STEP_MM * STEP_MM / 12);
}

/* Touches at one place have one rounding, which counts once: at one place along either axis, and
 * where they scatter by less than 0.3 of the step. */
START_TEST(rounding_that_is_shared)
{
    static const double NO_MM = 0.999 * 0.003, DITHERED_MM = 1.001 * 0.003;

    ck_assert_double_eq_tol(rounding_of_two(0, 0, NO_MM), 2, 1e-9);
    ck_assert_double_eq_tol(rounding_of_two(0, 0, DITHERED_MM), 1, 1e-9);
    for (int side = -1; side <= 1; side += 2) {
        ck_assert_double_eq_tol(rounding_of_two(side * 0.501, 0.501, NO_MM), 1, 1e-9);
        ck_assert_double_eq_tol(rounding_of_two(side * 0.499, 0.501, NO_MM), 2, 1e-9);
        ck_assert_double_eq_tol(rounding_of_two(0.501, side * 0.499, NO_MM), 2, 1e-9);
    }
}
END_TEST

/* Where something is not determined, @n touches weigh 1e8 / mm2 together at most. */
START_TEST(weights_of_what_is_not_determined)
{
    struct tt_arena arena = {0};
    struct tiptrue_plate plate = {0};
    struct tt_model model = {.plate = &plate, .n_touches = 57, .weak = true};
    struct tt_noise noise = {.touch_known = true, .touch_var_mm2 = 1e-8};
    struct tt_fit fit;

    ck_assert_int_eq(tt_fit_init(&fit, &arena, &model, &noise), TIPTRUE_OK);
    ck_assert_double_eq_tol(fit.touch_var_mm2, 5.7e-7, 1e-12);
    model.weak = false;
    ck_assert_int_eq(tt_fit_init(&fit, &arena, &model, &noise), TIPTRUE_OK);
    ck_assert_double_eq_tol(fit.touch_var_mm2, 1e-8, 1e-14);
    tt_arena_clear(&arena);
}
END_TEST

/* Two marks sighted in turn while the camera moves by @step_mm from one turn to the next; of one of
 * them every second sighting is 4 um off. */
struct sighted {
    struct tt_arena arena;
    struct tt_observation row[ROWS];
    struct tiptrue_run run;
    struct tt_noise noise;
    struct tt_search search;
};

static double variance_of(struct sighted *s, double step_mm, double stated_mm, double *dof)
{
    *s = (struct sighted){.run = {.observations = s->row, .n_observations = ROWS},
                          .noise = {.sight_digit_var_mm2 = 1e-6 / 12}};
    s->noise.sight_known = stated_mm > 0;
    s->noise.sight_dof = stated_mm > 0 ? 30 : 0;
    s->noise.sight_var_mm2 = stated_mm * stated_mm;
    s->search = (struct tt_search){.arena = &s->arena, .run = &s->run, .noise = &s->noise};
    for (size_t i = 0; i < ROWS; i++) {
        size_t mark = i % MARKS, turn = i / MARKS;
        double at = step_mm * (double)turn + (mark == 0 ? (turn % 2 == 0 ? 2e-3 : -2e-3) : 0);
        s->row[i] = (struct tt_observation){.kind = TT_SIGHT, .target = mark};
        s->row[i].h.x_mm = (mark == 0 ? 100.3 : 120.9) + at;
        s->row[i].h.y_mm = (mark == 0 ? 50.1 : 61.7) - 0.7 * at;
    }
    double variance = tt_sighting_variance(&s->search, dof);
    tt_arena_clear(&s->arena);
    return variance;
}

/* By what a mark differs from its last sighting, or, where marks differ alike (at F with a
 * probability of 0.005), by what they differ otherwise: twenty and eighteen differences, each worth
 * 0.37 degrees of freedom, and the usual 3 um worth 1 / (2 0.6^2). */
START_TEST(sightings_of_moved_marks)
{
    static const double STEP_MM = 0.01079896012;
    struct sighted s;
    double dof, variance = variance_of(&s, STEP_MM * 0.9995, 0, &dof);

    ck_assert_double_eq_tol(sqrt(variance - 1e-6 / 12), 0.00703497, 4e-6);
    ck_assert_double_eq_tol(dof, 8.788889, 1e-5);
    variance = variance_of(&s, STEP_MM * 1.0005, 0, &dof);
    ck_assert_double_eq_tol(sqrt(variance - 1e-6 / 12), 0.0025996845, 1e-9);
    ck_assert_double_eq_tol(dof, 8.048889, 1e-5);
}
END_TEST

/* A stated repeatability that what marks differ otherwise by does not contradict speaks for that:
 * with a probability of 0.05. */
START_TEST(sightings_that_repeat_as_stated)
{
    static const double STEP_MM = 0.006966755487, STATED_MM = 0.0025;
    struct sighted s;
    double dof, variance = variance_of(&s, STEP_MM * 0.9995, STATED_MM, &dof);

    ck_assert_double_eq_tol(sqrt(variance - 1e-6 / 12), 0.00478375, 4e-6);
    ck_assert_double_eq_tol(dof, 8.788889, 1e-5);
    variance = variance_of(&s, STEP_MM * 1.0005, STATED_MM, &dof);
    ck_assert_double_eq_tol(sqrt(variance - 1e-6 / 12), STATED_MM, 1e-12);
    ck_assert_double_eq_tol(dof, 30, 1e-12);
}
END_TEST

/* Sightings of one mark that agree to the last digit repeat to 0.1 um each, no better. */
START_TEST(sightings_that_agree)
{
    struct sighted s;
    double dof;

    (void)variance_of(&s, 0, 0, &dof);
    for (size_t i = 0; i < ROWS; i++) {
        s.row[i] = s.row[0];
    }
    double sd_mm = sqrt(tt_sighting_variance(&s.search, &dof) - 1e-6 / 12);
    ck_assert_double_eq_tol(1e3 * sd_mm, 0.1464187, 1e-6);
    ck_assert_double_eq_tol(dof, 0.37 * 22 + 0.5 / 0.36, 1e-9);
    tt_arena_clear(&s.arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/noise");
    TCase *tcase = tcase_create("noise");
    tcase_add_test(tcase, rounding_that_is_shared);
    tcase_add_test(tcase, weights_of_what_is_not_determined);
    tcase_add_test(tcase, sightings_of_moved_marks);
    tcase_add_test(tcase, sightings_that_repeat_as_stated);
    tcase_add_test(tcase, sightings_that_agree);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
