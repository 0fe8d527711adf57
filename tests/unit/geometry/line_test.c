/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The orthogonal-distance line: published values, behaviour under turn, shift and scale, covariance
 * by simulation, refusals. */
#include "config.h"

#include "geometry/line.h"

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

#define MOST_POINTS 64

static struct tt_line fit(const struct tt_machine_xy points[], size_t n)
{
    struct tt_line line;
    ck_assert_int_eq(tt_line_fit(points, n, 0, &line), TIPTRUE_OK);
    return line;
}

/* K. Pearson, On lines and planes of closest fit to systems of points in space, Phil. Mag. 2 (1901)
 * 559-572: ten points. Data and recomputed digits: tests/reference/data/pearson-line.json. */
static const struct tt_machine_xy pearson[] = {{0.0, 5.9}, {0.9, 5.4}, {1.8, 4.4}, {2.6, 4.6},
                                               {3.3, 3.5}, {4.4, 3.7}, {5.2, 2.8}, {6.1, 2.8},
                                               {6.5, 2.4}, {7.4, 1.5}};

START_TEST(pearson_1901)
{
    const struct tt_line line = fit(pearson, 10);
    const double slope = -1 / tan(line.normal_angle_rad);
    const double intercept = line.d_mm / sin(line.normal_angle_rad);
    /* as published, three decimals */
    ck_assert_double_eq_tol(slope, -0.546, 0.0005);
    ck_assert_double_eq_tol(intercept, 5.784, 0.0005);
    /* recomputed independently, and told apart from the vertical regression, -0.5396 and 5.7612 */
    ck_assert_double_eq_tol(slope, -0.545561197521, 1e-12);
    ck_assert_double_eq_tol(intercept, 5.78404377453, 1e-11);
    ck_assert_double_eq_tol(line.normal_angle_rad, TT_PI / 2 - 0.4994289148104, 1e-13);
    ck_assert_double_eq_tol(line.rms_mm, sqrt(0.618572759437 / 8), 1e-12);
}
END_TEST

/* @n points on the line, from @from_mm to @to_mm along (-sin, cos) of its normal, each moved across
 * by @across_mm[i] (NULL = 0). */
static void lay(struct tt_machine_xy points[], size_t n, double normal_rad, double d_mm,
                double from_mm, double to_mm, const double across_mm[])
{
    for (size_t i = 0; i < n; i++) {
        const double along_mm = from_mm + (to_mm - from_mm) * (double)i / (double)(n - 1);
        const double off_mm = d_mm + (across_mm ? across_mm[i] : 0);
        points[i].x_mm = off_mm * cos(normal_rad) - along_mm * sin(normal_rad);
        points[i].y_mm = off_mm * sin(normal_rad) + along_mm * cos(normal_rad);
    }
}

/* Every normal in (-pi/2, pi/2], d of either sign. */
START_TEST(exact_line_any_angle)
{
    struct tt_machine_xy points[7];
    for (int degrees = -89; degrees <= 90; degrees++) {
        const double normal_rad = tt_rad_from_deg(degrees);
        const double d_mm = degrees % 2 ? 12.75 : -3.5;
        lay(points, 7, normal_rad, d_mm, -2.25, 11.5, NULL);
        const struct tt_line line = fit(points, 7);
        ck_assert_double_eq_tol(cos(line.normal_angle_rad - normal_rad),
                                line.d_mm * d_mm > 0 ? 1 : -1, 1e-14);
        ck_assert_double_eq_tol(fabs(line.d_mm), fabs(d_mm), 1e-13);
        ck_assert(line.normal_angle_rad > -TT_PI / 2 && line.normal_angle_rad <= TT_PI / 2);
        ck_assert_double_eq_tol(line.rms_mm, 0, 1e-14);
        if (degrees < 90) {
            ck_assert_double_eq_tol(line.normal_angle_rad, normal_rad, 1e-14);
        }
    }
}
END_TEST

/* A level line, tilted by less than a rounding of pi/2, keeps its normal within the range, at
 * either end of it. */
START_TEST(level_line_keeps_range)
{
    const double tilts_mm[] = {1e-18, 0, -1e-18};
    for (size_t k = 0; k < 3; k++) {
        const struct tt_machine_xy points[] = {
            {-3.5, 0}, {2.5, tilts_mm[k]}, {4.75, 2 * tilts_mm[k]}};
        const struct tt_line line = fit(points, 3);
        ck_assert(line.normal_angle_rad > -TT_PI / 2);
        ck_assert_double_eq_tol(line.normal_angle_rad, TT_PI / 2, 1e-15);
    }
}
END_TEST

static const double across_mm[9] = {0.013,  -0.021, 0.004,  0.017, -0.009,
                                    -0.012, 0.022,  -0.018, 0.005};

/* Turned by an angle, the line turns with it; its distance from the turning point, its scatter and
 * their uncertainties stay. */
START_TEST(turns_with_the_points)
{
    struct tt_machine_xy points[9];
    struct tt_machine_xy turned_points[9];
    lay(points, 9, tt_rad_from_deg(33.7), 4.25, 1.5, 9.5, across_mm);
    const struct tt_line line = fit(points, 9);
    for (int degrees = -175; degrees <= 175; degrees += 7) {
        const double c = cos(tt_rad_from_deg(degrees));
        const double s = sin(tt_rad_from_deg(degrees));
        for (size_t i = 0; i < 9; i++) {
            turned_points[i].x_mm = c * points[i].x_mm - s * points[i].y_mm;
            turned_points[i].y_mm = s * points[i].x_mm + c * points[i].y_mm;
        }
        const struct tt_line turned = fit(turned_points, 9);
        const double same =
            cos(turned.normal_angle_rad - line.normal_angle_rad - tt_rad_from_deg(degrees));
        ck_assert_double_eq_tol(fabs(same), 1, 1e-14);
        ck_assert_double_eq_tol(turned.d_mm, same > 0 ? line.d_mm : -line.d_mm, 1e-13);
        ck_assert_double_eq_tol(turned.rms_mm, line.rms_mm, 1e-14);
        ck_assert_double_eq_tol(turned.u_angle_rad, line.u_angle_rad, 1e-14);
        ck_assert_double_eq_tol(turned.u_d_mm, line.u_d_mm, 1e-14);
        /* angle and distance both change sign where the normal is turned back into its range, so
         * the sign of one product does */
        ck_assert_double_eq_tol(turned.cov_angle_d_rad_mm,
                                same > 0 ? line.cov_angle_d_rad_mm : -line.cov_angle_d_rad_mm,
                                1e-15);
    }
}
END_TEST

/* Shifted, only d changes, by the shift's share along the normal; the covariance follows d = d0 + n
 * . shift, n turning with the angle. */
START_TEST(shifts_with_the_points)
{
    struct tt_machine_xy points[9];
    struct tt_machine_xy moved[9];
    lay(points, 9, tt_rad_from_deg(-41.2), -2.5, -3.5, 6.5, across_mm);
    const struct tt_line line = fit(points, 9);
    const struct tt_machine_xy shift = {217.75, -83.125};
    for (size_t i = 0; i < 9; i++) {
        moved[i] = (struct tt_machine_xy){points[i].x_mm + shift.x_mm, points[i].y_mm + shift.y_mm};
    }
    const struct tt_line other = fit(moved, 9);
    const double c = cos(line.normal_angle_rad);
    const double s = sin(line.normal_angle_rad);
    const double along_mm = -s * shift.x_mm + c * shift.y_mm;
    const double angle_variance = line.u_angle_rad * line.u_angle_rad;
    ck_assert_double_eq_tol(other.normal_angle_rad, line.normal_angle_rad, 1e-13);
    ck_assert_double_eq_tol(other.d_mm, line.d_mm + c * shift.x_mm + s * shift.y_mm, 1e-11);
    ck_assert_double_eq_tol(other.rms_mm, line.rms_mm, 1e-13);
    ck_assert_double_eq_tol(other.u_angle_rad, line.u_angle_rad, 1e-13);
    ck_assert_double_eq_tol(other.cov_angle_d_rad_mm,
                            line.cov_angle_d_rad_mm + along_mm * angle_variance, 1e-12);
    ck_assert_double_eq_tol(other.u_d_mm * other.u_d_mm,
                            line.u_d_mm * line.u_d_mm + 2 * along_mm * line.cov_angle_d_rad_mm +
                                along_mm * along_mm * angle_variance,
                            1e-11);
}
END_TEST

/* In inches instead of millimetres: lengths by the factor, the angle as before. */
START_TEST(scales_with_the_points)
{
    struct tt_machine_xy points[9];
    struct tt_machine_xy inches[9];
    lay(points, 9, tt_rad_from_deg(67.9), 8.5, -12.5, 4.75, across_mm);
    for (size_t i = 0; i < 9; i++) {
        inches[i] = (struct tt_machine_xy){points[i].x_mm / TT_MM_PER_INCH,
                                           points[i].y_mm / TT_MM_PER_INCH};
    }
    const struct tt_line line = fit(points, 9);
    const struct tt_line small = fit(inches, 9);
    ck_assert_double_eq_tol(small.normal_angle_rad, line.normal_angle_rad, 1e-14);
    ck_assert_double_eq_tol(small.d_mm * TT_MM_PER_INCH, line.d_mm, 1e-13);
    ck_assert_double_eq_tol(small.rms_mm * TT_MM_PER_INCH, line.rms_mm, 1e-14);
    ck_assert_double_eq_tol(small.u_angle_rad, line.u_angle_rad, 1e-15);
    ck_assert_double_eq_tol(small.u_d_mm * TT_MM_PER_INCH, line.u_d_mm, 1e-14);
    ck_assert_double_eq_tol(small.cov_angle_d_rad_mm * TT_MM_PER_INCH, line.cov_angle_d_rad_mm,
                            1e-14);
}
END_TEST

/* Reversed order: the same line. */
START_TEST(takes_any_order)
{
    struct tt_machine_xy backwards[10];
    for (size_t i = 0; i < 10; i++) {
        backwards[i] = pearson[9 - i];
    }
    const struct tt_line line = fit(pearson, 10);
    const struct tt_line other = fit(backwards, 10);
    ck_assert_double_eq_tol(other.normal_angle_rad, line.normal_angle_rad, 1e-14);
    ck_assert_double_eq_tol(other.d_mm, line.d_mm, 1e-14);
    ck_assert_double_eq_tol(other.u_d_mm, line.u_d_mm, 1e-14);
}
END_TEST

/* An edge of 8 mm a hundred metres from the origin: only the coordinates' own rounding (1.5e-11 mm)
 * is left. */
START_TEST(far_from_origin)
{
    struct tt_machine_xy points[9];
    lay(points, 9, tt_rad_from_deg(37.3), 0, -4, 4, NULL);
    for (size_t i = 0; i < 9; i++) {
        points[i].x_mm += 1e5;
        points[i].y_mm -= 7e4;
    }
    const struct tt_line line = fit(points, 9);
    ck_assert_double_eq_tol(line.normal_angle_rad, tt_rad_from_deg(37.3), 4e-12);
    ck_assert_double_eq_tol(line.rms_mm, 0, 2e-11);
}
END_TEST

START_TEST(two_points)
{
    const struct tt_machine_xy points[] = {{2.5, 7.25}, {-1.5, 4.25}};
    const struct tt_line line = fit(points, 2);
    /* direction (4, 3) / 5, so the normal is (-3, 4) / 5 */
    ck_assert_double_eq_tol(line.normal_angle_rad, atan2(4, -3) - TT_PI, 1e-15);
    ck_assert_double_eq_tol(line.d_mm, (3 * 2.5 - 4 * 7.25) / 5, 1e-14);
    ck_assert_double_eq(line.rms_mm, 0);
    ck_assert_double_eq(line.u_angle_rad, 0);
    ck_assert_double_eq(line.u_d_mm, 0);
}
END_TEST

struct tally {
    double angle2, d2, angle_d;                /* sums of squares and product of the errors met */
    double told_angle2, told_d2, told_angle_d; /* sums of the variances and covariance told */
};

/* Fit @runs scattered copies of the line and tally errors met against variances told. */
static struct tally simulate(size_t runs, size_t n, double normal_rad, double d_mm, double from_mm,
                             double to_mm, double sigma_mm, unsigned long seed)
{
    struct tt_machine_xy points[MOST_POINTS];
    struct tt_machine_xy scattered[MOST_POINTS];
    struct tally tally = {0};
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, seed);
    lay(points, n, normal_rad, d_mm, from_mm, to_mm, NULL);
    for (size_t run = 0; run < runs; run++) {
        for (size_t i = 0; i < n; i++) {
            scattered[i].x_mm = points[i].x_mm + gsl_ran_gaussian(random, sigma_mm);
            scattered[i].y_mm = points[i].y_mm + gsl_ran_gaussian(random, sigma_mm);
        }
        const struct tt_line line = fit(scattered, n);
        const double angle_rad = line.normal_angle_rad - normal_rad;
        const double off_mm = line.d_mm - d_mm;
        tally.angle2 += angle_rad * angle_rad;
        tally.d2 += off_mm * off_mm;
        tally.angle_d += angle_rad * off_mm;
        tally.told_angle2 += line.u_angle_rad * line.u_angle_rad;
        tally.told_d2 += line.u_d_mm * line.u_d_mm;
        tally.told_angle_d += line.cov_angle_d_rad_mm;
    }
    gsl_rng_free(random);
    return tally;
}

/* A variance from 20 000 runs is known to 1 % (sqrt(2 / 20000)); 4 of these. Points off to one
 * side, so that angle and distance correlate (here by -0.97). */
START_TEST(covariance_small_scatter)
{
    const struct tally tally =
        simulate(20000, 9, tt_rad_from_deg(24.6), 5.5, -14.5, -6.5, 0.003, 20260301);
    ck_assert_double_eq_tol(tally.angle2 / tally.told_angle2, 1, 0.04);
    ck_assert_double_eq_tol(tally.d2 / tally.told_d2, 1, 0.04);
    ck_assert_double_eq_tol(tally.angle_d / tally.told_angle_d, 1, 0.04);
    ck_assert(tally.told_angle_d < 0);
}
END_TEST

/* Scatter of a twelfth of the line's length, 40 points: var = sigma^2 / sum t^2 with the sum from
 * the scattered points would be told 11 % too small. */
START_TEST(covariance_large_scatter)
{
    const struct tally tally =
        simulate(20000, 40, tt_rad_from_deg(-31.4), 2.5, -1.5, 1.5, 0.25, 20260302);
    ck_assert_double_eq_tol(tally.angle2 / tally.told_angle2, 1, 0.05);
    ck_assert_double_eq_tol(tally.d2 / tally.told_d2, 1, 0.05);
}
END_TEST

/* A refusal leaves the result as it was. */
static void check_refused(const struct tt_machine_xy points[], size_t n, double resolution_mm)
{
    struct tt_line line = {.normal_angle_rad = 0.625, .d_mm = 17.5, .rms_mm = 3.25};
    ck_assert_int_eq(tt_line_fit(points, n, resolution_mm, &line), TIPTRUE_E_DEGENERATE);
    ck_assert_double_eq(line.normal_angle_rad, 0.625);
    ck_assert_double_eq(line.d_mm, 17.5);
    ck_assert_double_eq(line.rms_mm, 3.25);
}

START_TEST(too_few_or_equal_points)
{
    const struct tt_machine_xy points[] = {{21.375, -4.1}, {21.375, -4.1}, {21.375, -4.1}};
    check_refused(points, 0, 0);
    check_refused(points, 1, 0);
    check_refused(points, 2, 0);
    check_refused(points, 3, 0.0025);
}
END_TEST

/* The corners of a square, turned by 17.3 degrees and far from the origin: no direction is better
 * than another. */
START_TEST(no_direction)
{
    const double places_mm[] = {0, 350, 1e5};
    for (size_t k = 0; k < 3; k++) {
        struct tt_machine_xy points[4];
        for (size_t i = 0; i < 4; i++) {
            points[i].x_mm = places_mm[k] + 2.5 * cos(tt_rad_from_deg(17.3 + 90 * (double)i));
            points[i].y_mm = -places_mm[k] / 3 + 2.5 * sin(tt_rad_from_deg(17.3 + 90 * (double)i));
        }
        check_refused(points, 4, 0);
        /* 10 nm at one corner are a direction, if a weak one */
        points[0].x_mm += 1e-5;
        (void)fit(points, 4);
    }
}
END_TEST

/* Nor in a hundred thousand points evenly around a circle, whose sums carry the rounding of all of
 * them. */
START_TEST(no_direction_in_many)
{
    const size_t n = 100000;
    struct tt_machine_xy *points = malloc(n * sizeof *points);
    ck_assert_ptr_nonnull(points);
    for (size_t i = 0; i < n; i++) {
        const double angle_rad = 2 * TT_PI * (double)i / (double)n;
        points[i] = (struct tt_machine_xy){1.3 * cos(angle_rad), 1.3 * sin(angle_rad)};
    }
    check_refused(points, n, 0);
    free(points);
}
END_TEST

/* Both sides of the resolution. */
START_TEST(span_and_resolution)
{
    struct tt_machine_xy points[3];
    struct tt_line line;
    lay(points, 3, tt_rad_from_deg(52.1), 30.5, 7.25, 7.2599, NULL);
    check_refused(points, 3, 0.01);
    lay(points, 3, tt_rad_from_deg(52.1), 30.5, 7.25, 7.2601, NULL);
    ck_assert_int_eq(tt_line_fit(points, 3, 0.01, &line), TIPTRUE_OK);
    ck_assert_double_eq_tol(line.d_mm, 30.5, 1e-10);
}
END_TEST

/* Coordinates whose squares overflow are refused, not answered with infinities. */
START_TEST(overflow)
{
    const struct tt_machine_xy points[] = {{1e200, 3e200}, {-2e200, 1e200}, {5e200, -1e200}};
    check_refused(points, 3, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line");
    TCase *values = tcase_create("values");
    tcase_add_test(values, pearson_1901);
    tcase_add_test(values, exact_line_any_angle);
    tcase_add_test(values, level_line_keeps_range);
    tcase_add_test(values, far_from_origin);
    tcase_add_test(values, two_points);
    suite_add_tcase(suite, values);
    TCase *properties = tcase_create("properties");
    tcase_add_test(properties, turns_with_the_points);
    tcase_add_test(properties, shifts_with_the_points);
    tcase_add_test(properties, scales_with_the_points);
    tcase_add_test(properties, takes_any_order);
    tcase_add_test(properties, covariance_small_scatter);
    tcase_add_test(properties, covariance_large_scatter);
    suite_add_tcase(suite, properties);
    TCase *refusals = tcase_create("refusals");
    tcase_add_test(refusals, too_few_or_equal_points);
    tcase_add_test(refusals, no_direction);
    tcase_add_test(refusals, no_direction_in_many);
    tcase_add_test(refusals, span_and_resolution);
    tcase_add_test(refusals, overflow);
    suite_add_tcase(suite, refusals);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
