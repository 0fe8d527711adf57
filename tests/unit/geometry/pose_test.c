/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Poses: placing and turning against the formula written out with complex numbers, the fitted pose
 * against exact and scattered points, angles brought into their range, refusals. */
#include "config.h"

#include "geometry/pose.h"

#include <check.h>
#include <complex.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

/* m + s exp(i beta) u: the definition in the plane of complex numbers, which no code here shares.
 */
static double complex placed(double complex mark, double yaw_deg, double scale,
                             struct tt_plate_xy at)
{
    return mark + scale * cexp(I * yaw_deg * acos(-1) / 180) * (at.x_mm + I * at.y_mm);
}

START_TEST(places_by_the_definition)
{
    const double yaws_deg[] = {0.3, 27.4, 103.2, 180.4, -161.7, -44.9, 359.1};
    const struct tt_plate_xy at = {21.25, -4.5};
    for (size_t k = 0; k < sizeof yaws_deg / sizeof yaws_deg[0]; k++) {
        const struct tt_pose pose =
            tt_pose_make((struct tt_machine_xy){116.75, 71.5}, tt_rad_from_deg(yaws_deg[k]));
        const struct tt_machine_xy q = tt_pose_place(&pose, 1.00021, at);
        const double complex expected = placed(116.75 + 71.5 * I, yaws_deg[k], 1.00021, at);
        ck_assert_double_eq_tol(q.x_mm, creal(expected), 1e-12);
        ck_assert_double_eq_tol(q.y_mm, cimag(expected), 1e-12);
        const struct tt_machine_xy v = tt_pose_turn(&pose, at);
        const double complex arm = placed(0, yaws_deg[k], 1, at);
        ck_assert_double_eq_tol(v.x_mm, creal(arm), 1e-13);
        ck_assert_double_eq_tol(v.y_mm, cimag(arm), 1e-13);
    }
}
END_TEST

/* Counter-clockwise seen from above: at 30 degrees, x turns towards y. */
START_TEST(tip_turns_counter_clockwise)
{
    const struct tt_machine_xy v = tt_tip_turn(sqrt(3) / 2, 0.5, (struct tt_tip_xy){0.04, -0.03});
    ck_assert_double_eq_tol(v.x_mm, 0.04 * sqrt(3) / 2 + 0.03 * 0.5, 1e-16);
    ck_assert_double_eq_tol(v.y_mm, 0.04 * 0.5 - 0.03 * sqrt(3) / 2, 1e-16);
}
END_TEST

static const struct tt_plate_xy marks[4] = {{0, 0}, {36.5, -1.25}, {2.75, 28.5}, {-11.25, 17.5}};

/* Where the pose puts @n of the marks, each with its own scale. */
static void sight(struct tt_machine_xy seen[], double scales[], size_t n, double mark_x_mm,
                  double mark_y_mm, double yaw_deg)
{
    for (size_t i = 0; i < n; i++) {
        scales[i] = 1 + 3e-5 * (double)i;
        const double complex q = placed(mark_x_mm + mark_y_mm * I, yaw_deg, scales[i], marks[i]);
        seen[i] = (struct tt_machine_xy){creal(q), cimag(q)};
    }
}

START_TEST(fit_recovers_the_pose)
{
    struct tt_machine_xy seen[4];
    double scales[4];
    for (size_t n = 2; n <= 4; n++) {
        for (int degrees = -179; degrees < 180; degrees += 17) {
            struct tt_pose pose;
            sight(seen, scales, n, 116.8396, -71.8632, degrees + 0.4);
            ck_assert_int_eq(tt_pose_fit(marks, seen, scales, n, 1e-3, &pose), TIPTRUE_OK);
            ck_assert_double_eq_tol(pose.mark.x_mm, 116.8396, 1e-12);
            ck_assert_double_eq_tol(pose.mark.y_mm, -71.8632, 1e-12);
            ck_assert_double_eq_tol(pose.yaw_rad, tt_rad_from_deg(degrees + 0.4), 1e-14);
            ck_assert_double_eq_tol(pose.cos_yaw, cos(pose.yaw_rad), 1e-16);
            ck_assert_double_eq_tol(pose.sin_yaw, sin(pose.yaw_rad), 1e-16);
        }
    }
}
END_TEST

/* Sum of squared distances of the points from where @pose puts them. */
static double misfit(const struct tt_machine_xy seen[], const double scales[], double x_mm,
                     double y_mm, double yaw_rad)
{
    double sum = 0;
    for (size_t i = 0; i < 4; i++) {
        const double complex q =
            placed(x_mm + y_mm * I, yaw_rad * 180 / acos(-1), scales[i], marks[i]);
        sum += pow(seen[i].x_mm - creal(q), 2) + pow(seen[i].y_mm - cimag(q), 2);
    }
    return sum;
}

/* Scattered points: no pose a step away in any of its three numbers is better, and the misfit does
 * not rise in first order. */
START_TEST(fit_is_the_least_squares_pose)
{
    struct tt_machine_xy seen[4];
    double scales[4];
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260311);
    for (int run = 0; run < 50; run++) {
        struct tt_pose pose;
        sight(seen, scales, 4, -217.5, 33.25, -180 + 360 * gsl_rng_uniform(random));
        for (size_t i = 0; i < 4; i++) {
            seen[i].x_mm += gsl_ran_gaussian(random, 0.8);
            seen[i].y_mm += gsl_ran_gaussian(random, 0.8);
        }
        ck_assert_int_eq(tt_pose_fit(marks, seen, scales, 4, 1e-3, &pose), TIPTRUE_OK);
        const double least = misfit(seen, scales, pose.mark.x_mm, pose.mark.y_mm, pose.yaw_rad);
        for (int k = 0; k < 3; k++) {
            double slopes[2];
            for (int side = 0; side < 2; side++) {
                const double by = side == 0 ? 1e-4 : -1e-4;
                const double there =
                    misfit(seen, scales, pose.mark.x_mm + (k == 0 ? by : 0),
                           pose.mark.y_mm + (k == 1 ? by : 0), pose.yaw_rad + (k == 2 ? by : 0));
                ck_assert(there > least);
                slopes[side] = there;
            }
            ck_assert_double_eq_tol((slopes[0] - slopes[1]) / 2e-4, 0, 1e-6);
        }
    }
    gsl_rng_free(random);
}
END_TEST

/* The same marks seen from a turned and shifted machine: the pose turns and shifts with them. */
START_TEST(fit_turns_with_the_machine)
{
    struct tt_machine_xy seen[4], turned[4];
    double scales[4];
    struct tt_pose pose, other;
    sight(seen, scales, 4, 60.25, 18.5, 11.3);
    seen[1].x_mm += 0.021;
    seen[3].y_mm -= 0.034;
    for (size_t i = 0; i < 4; i++) {
        const double complex q = 7.5 - 3.25 * I + cexp(I * 2.2) * (seen[i].x_mm + I * seen[i].y_mm);
        turned[i] = (struct tt_machine_xy){creal(q), cimag(q)};
    }
    ck_assert_int_eq(tt_pose_fit(marks, seen, scales, 4, 1e-3, &pose), TIPTRUE_OK);
    ck_assert_int_eq(tt_pose_fit(marks, turned, scales, 4, 1e-3, &other), TIPTRUE_OK);
    const double complex mark =
        7.5 - 3.25 * I + cexp(I * 2.2) * (pose.mark.x_mm + I * pose.mark.y_mm);
    ck_assert_double_eq_tol(other.mark.x_mm, creal(mark), 1e-12);
    ck_assert_double_eq_tol(other.mark.y_mm, cimag(mark), 1e-12);
    ck_assert_double_eq_tol(other.yaw_rad, pose.yaw_rad + 2.2, 1e-13);
}
END_TEST

START_TEST(fit_refuses_one_place)
{
    const struct tt_plate_xy close[3] = {{12.5, 3.25}, {12.5009, 3.25}, {12.5, 3.25}};
    const struct tt_machine_xy seen[3] = {{80.1, 20.3}, {80.101, 20.3}, {80.1, 20.31}};
    const double scales[3] = {1.0001, 1.0001, 1.0001};
    const struct tt_pose before = tt_pose_make((struct tt_machine_xy){3.5, -2.5}, 0.7);
    struct tt_pose pose = before;
    for (size_t n = 0; n <= 3; n++) {
        ck_assert_int_eq(tt_pose_fit(close, seen, scales, n, 1e-3, &pose), TIPTRUE_E_DEGENERATE);
    }
    /* plate points far apart, all seen at one place: no direction either */
    const struct tt_machine_xy same[3] = {{80.5, 20.25}, {80.5, 20.25}, {80.5, 20.25}};
    ck_assert_int_eq(tt_pose_fit(marks, same, scales, 3, 1e-3, &pose), TIPTRUE_E_DEGENERATE);
    ck_assert_double_eq(pose.mark.x_mm, 3.5);
    ck_assert_double_eq(pose.mark.y_mm, -2.5);
    ck_assert_double_eq(pose.yaw_rad, 0.7);
}
END_TEST

/* Both sides of the resolution: the centroid is half the distance from either of two points. */
START_TEST(fit_and_resolution)
{
    const double scales[2] = {1, 1};
    const struct tt_machine_xy seen[2] = {{80.25, 20.5}, {80.252, 20.501}};
    struct tt_pose pose;
    const struct tt_plate_xy near[2] = {{4.5, 7.25}, {4.5019, 7.25}},
                             far[2] = {{4.5, 7.25}, {4.5021, 7.25}};
    ck_assert_int_eq(tt_pose_fit(near, seen, scales, 2, 1e-3, &pose), TIPTRUE_E_DEGENERATE);
    ck_assert_int_eq(tt_pose_fit(far, seen, scales, 2, 1e-3, &pose), TIPTRUE_OK);
    ck_assert_double_eq_tol(pose.yaw_rad, atan2(0.001, 0.002), 1e-9);
}
END_TEST

START_TEST(wraps_into_half_open_turn)
{
    const double inside_deg[] = {-179.5, -93.25, -0.001, 0.25, 45.5, 179.75};
    for (size_t k = 0; k < sizeof inside_deg / sizeof inside_deg[0]; k++) {
        for (int turns = -3; turns <= 3; turns++) {
            const double wrapped = tt_angle_wrap(tt_rad_from_deg(inside_deg[k] + 360.0 * turns));
            ck_assert_double_eq_tol(wrapped, tt_rad_from_deg(inside_deg[k]), 1e-14);
        }
    }
    /* the end of the range belongs to it, its beginning does not */
    ck_assert_double_eq(tt_angle_wrap(TT_PI), TT_PI);
    ck_assert_double_eq(tt_angle_wrap(-TT_PI), TT_PI);
    ck_assert_double_eq_tol(tt_angle_wrap(3 * TT_PI + 1e-9), -TT_PI + 1e-9, 1e-14);
    ck_assert_double_eq_tol(tt_angle_wrap(-3 * TT_PI - 1e-9), TT_PI - 1e-9, 1e-14);
    for (int k = -400; k <= 400; k++) {
        const double wrapped = tt_angle_wrap(0.377 * k);
        ck_assert(wrapped > -TT_PI && wrapped <= TT_PI);
        ck_assert_double_eq_tol(sin(wrapped), sin(0.377 * k), 1e-13);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pose");
    TCase *frames = tcase_create("frames");
    tcase_add_test(frames, places_by_the_definition);
    tcase_add_test(frames, tip_turns_counter_clockwise);
    tcase_add_test(frames, wraps_into_half_open_turn);
    suite_add_tcase(suite, frames);
    TCase *fits = tcase_create("fits");
    tcase_add_test(fits, fit_recovers_the_pose);
    tcase_add_test(fits, fit_is_the_least_squares_pose);
    tcase_add_test(fits, fit_turns_with_the_machine);
    tcase_add_test(fits, fit_refuses_one_place);
    tcase_add_test(fits, fit_and_resolution);
    suite_add_tcase(suite, fits);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
