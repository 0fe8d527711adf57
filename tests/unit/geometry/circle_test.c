/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The circle through points: published values, behaviour under turn, shift and scale, short arcs,
 * places far from the origin, covariance by simulation, refusals. */
#include "config.h"

#include "geometry/circle.h"

#include <check.h>
#include <float.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

#define MOST_POINTS 64

static struct tt_circle fit(const struct tt_machine_xy points[], size_t n)
{
    struct tt_circle circle;
    ck_assert_int_eq(tt_circle_fit(points, n, 0, &circle), TIPTRUE_OK);
    return circle;
}

static struct tt_circle fit_algebraic(const struct tt_machine_xy points[], size_t n)
{
    struct tt_circle circle;
    ck_assert_int_eq(tt_circle_fit_algebraic(points, n, 0, &circle), TIPTRUE_OK);
    return circle;
}

static void check_circle(struct tt_circle circle, double x_mm, double y_mm, double radius_mm,
                         double within_mm)
{
    ck_assert_double_eq_tol(circle.centre.x_mm, x_mm, within_mm);
    ck_assert_double_eq_tol(circle.centre.y_mm, y_mm, within_mm);
    ck_assert_double_eq_tol(circle.radius_mm, radius_mm, within_mm);
}

/* W. Gander, G. H. Golub, R. Strebel, Least-squares fitting of circles and ellipses, BIT 34 (1994)
 * 558-578: six points. Data and recomputed digits: tests/reference/data/gander-circle.json. */
static const struct tt_machine_xy gander[] = {{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}};

START_TEST(gander_geometric)
{
    const struct tt_circle circle = fit(gander, 6);
    check_circle(circle, 4.7398, 2.9835, 4.7142, 0.00005); /* as published, four decimals */
    check_circle(circle, 4.7397824109061, 2.9835326992925, 4.7142260377921, 1e-12);
    ck_assert_double_eq_tol(circle.rms_mm, sqrt(1.22759907818 / 3), 1e-11);
}
END_TEST

/* G. Taubin, IEEE Trans. PAMI 13 (1991) 1115-1138, for the same points:
 * tests/reference/data/circle-fit-variants.json (recomputed; no printed digits are known). The fits
 * of Kasa (radius 4.1088), of Pratt (4.9113) and with a coefficient vector of unit length (3.0370)
 * are told apart. */
START_TEST(gander_taubin)
{
    const struct tt_circle circle = fit_algebraic(gander, 6);
    check_circle(circle, 4.613932693879, 2.795209346931, 4.879212845616, 2e-12);
    ck_assert_double_eq(circle.rms_mm, 0);
    ck_assert_double_eq(circle.cov_mm2[2][2], 0);
}
END_TEST

/* @n points of an arc of @arc_rad, beginning at @from_rad. A full turn has no point twice. */
static void lay(struct tt_machine_xy points[], size_t n, struct tt_machine_xy centre,
                double radius_mm, double from_rad, double arc_rad)
{
    const double parts = arc_rad >= 2 * TT_PI ? (double)n : (double)(n - 1);
    for (size_t i = 0; i < n; i++) {
        const double angle_rad = from_rad + arc_rad * (double)i / parts;
        points[i].x_mm = centre.x_mm + radius_mm * cos(angle_rad);
        points[i].y_mm = centre.y_mm + radius_mm * sin(angle_rad);
    }
}

/* Both fits find an exact circle, from a full turn down to 3 degrees, from the size of a tip's
 * runout to that of a machine. Rounding of the points weighs in with the square of the shorter arc.
 */
START_TEST(exact_arcs)
{
    const double arcs_deg[] = {360, 251, 118, 47, 13, 3};
    const double radii_mm[] = {0.0358, 0.25, 41.3, 612.5};
    const struct tt_machine_xy centre = {-41.3125, 12.6875};
    struct tt_machine_xy points[12];
    for (size_t a = 0; a < 6; a++) {
        for (size_t r = 0; r < 4; r++) {
            const double arc_rad = tt_rad_from_deg(arcs_deg[a]);
            lay(points, 12, centre, radii_mm[r], tt_rad_from_deg(23.4), arc_rad);
            const double shortness = fmax(1, 4 / (arc_rad * arc_rad));
            const double within_mm = 1e-14 * (60 + radii_mm[r]) * shortness;
            check_circle(fit(points, 12), centre.x_mm, centre.y_mm, radii_mm[r], within_mm);
            check_circle(fit_algebraic(points, 12), centre.x_mm, centre.y_mm, radii_mm[r],
                         within_mm);
        }
    }
}
END_TEST

/* A hundred metres from the origin the coordinates are rounded to 1.5e-11 mm; the circle is as good
 * as they. */
START_TEST(far_from_origin)
{
    const struct tt_machine_xy centre = {1e5, -7e4};
    struct tt_machine_xy points[24];
    lay(points, 24, centre, 0.25, tt_rad_from_deg(7.5), 2 * TT_PI);
    check_circle(fit(points, 24), centre.x_mm, centre.y_mm, 0.25, 1e-11);
    lay(points, 24, centre, 21.5, tt_rad_from_deg(-37.5), tt_rad_from_deg(64));
    check_circle(fit(points, 24), centre.x_mm, centre.y_mm, 21.5, 2e-10);
    check_circle(fit_algebraic(points, 24), centre.x_mm, centre.y_mm, 21.5, 2e-10);
}
END_TEST

START_TEST(three_points)
{
    /* the right-angled triangle 3, 4, 5: the hypotenuse is a diameter */
    const struct tt_machine_xy points[] = {{7.5, -2.25}, {10.5, -2.25}, {7.5, 1.75}};
    const struct tt_circle circle = fit(points, 3);
    check_circle(circle, 9, -0.25, 2.5, 1e-14);
    ck_assert_double_eq(circle.rms_mm, 0);
    for (size_t i = 0; i < 9; i++) {
        ck_assert_double_eq(circle.cov_mm2[i / 3][i % 3], 0);
    }
}
END_TEST

static const struct tt_machine_xy scattered[] = {{12.031, 4.013}, {11.472, 5.371}, {10.255, 6.288},
                                                 {8.731, 6.322},  {7.502, 5.613},  {6.884, 4.310},
                                                 {7.013, 2.744},  {7.942, 1.602}};
#define SCATTERED (sizeof scattered / sizeof scattered[0])

/* Turned by an angle, the centre turns with the points, and its covariance with it. */
START_TEST(turns_with_the_points)
{
    const struct tt_circle circle = fit(scattered, SCATTERED);
    const double(*cov)[3] = circle.cov_mm2;
    for (int degrees = -173; degrees < 180; degrees += 11) {
        const double c = cos(tt_rad_from_deg(degrees));
        const double s = sin(tt_rad_from_deg(degrees));
        struct tt_machine_xy points[SCATTERED];
        for (size_t i = 0; i < SCATTERED; i++) {
            points[i].x_mm = c * scattered[i].x_mm - s * scattered[i].y_mm;
            points[i].y_mm = s * scattered[i].x_mm + c * scattered[i].y_mm;
        }
        const struct tt_circle turned = fit(points, SCATTERED);
        check_circle(turned, c * circle.centre.x_mm - s * circle.centre.y_mm,
                     s * circle.centre.x_mm + c * circle.centre.y_mm, circle.radius_mm, 1e-12);
        ck_assert_double_eq_tol(turned.rms_mm, circle.rms_mm, 1e-13);
        ck_assert_double_eq_tol(turned.cov_mm2[0][0],
                                c * c * cov[0][0] - 2 * c * s * cov[0][1] + s * s * cov[1][1],
                                1e-15);
        ck_assert_double_eq_tol(turned.cov_mm2[0][1],
                                c * s * (cov[0][0] - cov[1][1]) + (c * c - s * s) * cov[0][1],
                                1e-15);
        ck_assert_double_eq_tol(turned.cov_mm2[1][0], turned.cov_mm2[0][1], 1e-18);
        ck_assert_double_eq_tol(turned.cov_mm2[0][2], c * cov[0][2] - s * cov[1][2], 1e-15);
        ck_assert_double_eq_tol(turned.cov_mm2[1][2], s * cov[0][2] + c * cov[1][2], 1e-15);
        ck_assert_double_eq_tol(turned.cov_mm2[2][2], cov[2][2], 1e-15);
    }
}
END_TEST

/* Shifted, mirrored in x, taken in reverse order, and in inches. */
START_TEST(follows_the_points)
{
    const struct tt_circle circle = fit(scattered, SCATTERED);
    struct tt_machine_xy points[SCATTERED];
    for (size_t i = 0; i < SCATTERED; i++) {
        const struct tt_machine_xy from = scattered[SCATTERED - 1 - i];
        points[i] = (struct tt_machine_xy){(231.5 - from.x_mm) / TT_MM_PER_INCH,
                                           (from.y_mm - 87.25) / TT_MM_PER_INCH};
    }
    const struct tt_circle other = fit(points, SCATTERED);
    check_circle(other, (231.5 - circle.centre.x_mm) / TT_MM_PER_INCH,
                 (circle.centre.y_mm - 87.25) / TT_MM_PER_INCH, circle.radius_mm / TT_MM_PER_INCH,
                 1e-13);
    ck_assert_double_eq_tol(other.rms_mm * TT_MM_PER_INCH, circle.rms_mm, 1e-13);
    const double sign[] = {-1, 1, 1};
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            ck_assert_double_eq_tol(other.cov_mm2[i][j] * TT_MM_PER_INCH * TT_MM_PER_INCH,
                                    sign[i] * sign[j] * circle.cov_mm2[i][j], 1e-14);
        }
    }
}
END_TEST

/* What makes a circle the geometric fit, checked in centre and radius: the gradient of the sum of
 * squared distances is nought but for rounding, and the covariance times the normal matrix is the
 * variance times the unit matrix. */
static void check_geometric(struct tt_circle circle, const struct tt_machine_xy points[], size_t n)
{
    double gradient[3] = {0};
    double normal[3][3] = {{0}};
    double sum_mm2 = 0;
    for (size_t i = 0; i < n; i++) {
        const double x_mm = points[i].x_mm - circle.centre.x_mm;
        const double y_mm = points[i].y_mm - circle.centre.y_mm;
        const double distance_mm = hypot(x_mm, y_mm);
        const double residual_mm = distance_mm - circle.radius_mm;
        const double row[] = {-x_mm / distance_mm, -y_mm / distance_mm, -1};
        for (size_t j = 0; j < 9; j++) {
            normal[j / 3][j % 3] += row[j / 3] * row[j % 3];
        }
        for (size_t j = 0; j < 3; j++) {
            gradient[j] += residual_mm * row[j];
        }
        sum_mm2 += residual_mm * residual_mm;
    }
    const double variance_mm2 = sum_mm2 / (double)(n - 3);
    ck_assert_double_eq_tol(circle.rms_mm, sqrt(variance_mm2), 1e-12);
    for (size_t i = 0; i < 3; i++) {
        ck_assert_double_eq_tol(gradient[i], 0, 16 * DBL_EPSILON * (double)n * circle.radius_mm);
        for (size_t j = 0; j < 3; j++) {
            double product = 0;
            for (size_t k = 0; k < 3; k++) {
                product += circle.cov_mm2[i][k] * normal[k][j];
            }
            ck_assert_double_eq_tol(product / variance_mm2, i == j ? 1 : 0, 1e-9);
        }
    }
}

START_TEST(least_squares_of_distances)
{
    const struct tt_circle circle = fit(scattered, SCATTERED);
    check_geometric(circle, scattered, SCATTERED);
    const struct tt_circle start = fit_algebraic(scattered, SCATTERED);
    ck_assert(fabs(start.radius_mm - circle.radius_mm) > 1e-6);
}
END_TEST

/* A point on the centre of the others has no direction to it: a circle is found all the same, or
 * none. At many sizes, so that the distance from the centre comes out as nought, and as rounding on
 * either side of it. */
START_TEST(point_on_centre)
{
    const struct tt_machine_xy shape[] = {{3, 4},  {-3, 4},  {-3, -4}, {3, -4}, {4, 3},
                                          {-4, 3}, {-4, -3}, {4, -3},  {5, 0},  {-5, 0},
                                          {0, 5},  {0, -5},  {0, 0}};
    size_t found = 0;
    for (size_t size = 1; size <= 60; size++) {
        struct tt_machine_xy points[13];
        for (size_t i = 0; i < 13; i++) {
            points[i].x_mm = shape[i].x_mm * 0.37 * (double)size;
            points[i].y_mm = shape[i].y_mm * 0.37 * (double)size;
        }
        struct tt_circle circle;
        if (tt_circle_fit(points, 13, 0, &circle) == TIPTRUE_OK) {
            check_geometric(circle, points, 13);
            found++;
        }
    }
    ck_assert(found > 6);
}
END_TEST

/* Four points whose algebraic circle bends one way and whose geometric one the other: the iteration
 * passes through the line. */
START_TEST(passes_through_the_line)
{
    const struct tt_machine_xy points[] = {{8, 5}, {6, 2}, {6, 5}, {4, 0}};
    const struct tt_circle start = fit_algebraic(points, 4);
    const struct tt_circle circle = fit(points, 4);
    check_geometric(circle, points, 4);
    const double across = (start.centre.x_mm - 6) * (circle.centre.x_mm - 6) +
                          (start.centre.y_mm - 3) * (circle.centre.y_mm - 3);
    ck_assert(across < 0);
}
END_TEST

/* From the algebraic circle of these five points a full Gauss-Newton step leads to no real circle,
 * a shorter one does. */
START_TEST(full_step_is_no_circle)
{
    const struct tt_machine_xy points[] = {{0, 6}, {4, 5}, {0, 7}, {8, 3}, {5, 1}};
    check_geometric(fit(points, 5), points, 5);
}
END_TEST

/* Errors met against covariance told, over @runs scattered copies of an arc; each element within
 * @within of the square root of its two variances. */
static void check_covariance(size_t n, double radius_mm, double arc_deg, double sigma_mm,
                             double within, unsigned long seed)
{
    const size_t runs = 20000;
    const struct tt_machine_xy centre = {163.4, 67.2};
    struct tt_machine_xy exact[MOST_POINTS];
    struct tt_machine_xy points[MOST_POINTS];
    double met_mm2[3][3] = {{0}};
    double told_mm2[3][3] = {{0}};
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, seed);
    lay(exact, n, centre, radius_mm, tt_rad_from_deg(20.5), tt_rad_from_deg(arc_deg));
    for (size_t run = 0; run < runs; run++) {
        for (size_t i = 0; i < n; i++) {
            points[i].x_mm = exact[i].x_mm + gsl_ran_gaussian(random, sigma_mm);
            points[i].y_mm = exact[i].y_mm + gsl_ran_gaussian(random, sigma_mm);
        }
        const struct tt_circle circle = fit(points, n);
        const double off_mm[] = {circle.centre.x_mm - centre.x_mm, circle.centre.y_mm - centre.y_mm,
                                 circle.radius_mm - radius_mm};
        for (size_t i = 0; i < 9; i++) {
            met_mm2[i / 3][i % 3] += off_mm[i / 3] * off_mm[i % 3] / (double)runs;
            told_mm2[i / 3][i % 3] += circle.cov_mm2[i / 3][i % 3] / (double)runs;
        }
    }
    gsl_rng_free(random);
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            ck_assert_double_eq_tol(met_mm2[i][j] / sqrt(told_mm2[i][i] * told_mm2[j][j]),
                                    told_mm2[i][j] / sqrt(told_mm2[i][i] * told_mm2[j][j]), within);
        }
    }
}

/* A variance from 20 000 runs is known to 1 %; 4 of these. On the arc of 70 degrees radius and
 * centre correlate by -0.99. */
START_TEST(covariance)
{
    check_covariance(12, 0.25, 360, 0.003, 0.04, 20260303);
    check_covariance(9, 21.5, 70, 0.003, 0.04, 20260304);
}
END_TEST

/* A refusal leaves the result as it was. */
static void check_refused(const struct tt_machine_xy points[], size_t n, double resolution_mm)
{
    struct tt_circle circle = {.centre = {0.625, -17.5}, .radius_mm = 3.25};
    ck_assert_int_eq(tt_circle_fit(points, n, resolution_mm, &circle), TIPTRUE_E_DEGENERATE);
    check_circle(circle, 0.625, -17.5, 3.25, 1e-300);
    ck_assert_int_eq(tt_circle_fit_algebraic(points, n, resolution_mm, &circle),
                     TIPTRUE_E_DEGENERATE);
    check_circle(circle, 0.625, -17.5, 3.25, 1e-300);
}

START_TEST(too_few_or_equal_points)
{
    const struct tt_machine_xy points[] = {
        {21.375, -4.1}, {21.375, -4.1}, {22.5, -3.7}, {21.375, -4.1}};
    check_refused(points, 0, 0);
    check_refused(points, 1, 0);
    check_refused(points, 2, 0);
    check_refused(points, 3, 0);
    check_refused(points, 4, 0);
    const struct tt_machine_xy one[] = {points[0], points[0], points[0]};
    check_refused(one, 3, 0);
    check_refused(one, 3, 0.0025);
}
END_TEST

/* Points of a straight line at 23 degrees, near and far: what rounding leaves of it is no circle.
 */
START_TEST(on_a_line)
{
    const double places_mm[] = {3.5, 163.4, 1e5};
    for (size_t k = 0; k < 3; k++) {
        struct tt_machine_xy points[8];
        for (size_t i = 0; i < 8; i++) {
            points[i].x_mm = places_mm[k] + 1.375 * (double)i * cos(tt_rad_from_deg(23));
            points[i].y_mm = -places_mm[k] / 7 + 1.375 * (double)i * sin(tt_rad_from_deg(23));
        }
        check_refused(points, 8, 0);
        check_refused(points, 8, 0.0025);
    }
}
END_TEST

/* Both sides of the resolution: the height of an arc of 8 degrees and 50 mm is R (1 - cos 4 deg) =
 * 0.12180 mm. */
START_TEST(height_and_resolution)
{
    struct tt_machine_xy points[9];
    struct tt_circle circle;
    lay(points, 9, (struct tt_machine_xy){12.5, 80.25}, 50, tt_rad_from_deg(112),
        tt_rad_from_deg(8));
    check_refused(points, 9, 0.1219);
    ck_assert_int_eq(tt_circle_fit(points, 9, 0.1217, &circle), TIPTRUE_OK);
    check_circle(circle, 12.5, 80.25, 50, 1e-9);
    ck_assert_int_eq(tt_circle_fit_algebraic(points, 9, 0.1217, &circle), TIPTRUE_OK);
}
END_TEST

/* An S whose best circle is flatter than the resolution: the geometric fit refuses it. Seen finer,
 * it is one. */
START_TEST(flatter_than_resolution)
{
    struct tt_machine_xy points[11];
    struct tt_circle circle;
    for (size_t i = 0; i < 11; i++) {
        const double t = ((double)i - 5) / 5;
        points[i].x_mm = 40.5 + 4.5 * t;
        points[i].y_mm = 12.25 + 0.004 * (t - 1.7 * t * t * t) + 0.0002 * t * t;
    }
    check_refused(points, 11, 0.001);
    ck_assert_int_eq(tt_circle_fit(points, 11, 0.0001, &circle), TIPTRUE_OK);
    /* 0.0002 mm high over half the extent of 9 mm */
    ck_assert_double_eq_tol(circle.radius_mm * 4e-4 / (4.5 * 4.5), 1, 0.01);
}
END_TEST

/* Four points symmetric about a fifth place: their line fits better than any circle, and no circle
 * is told. */
START_TEST(best_circle_is_a_line)
{
    const struct tt_machine_xy points[] = {{1, 6}, {6, 2}, {2, 4}, {5, 4}};
    struct tt_circle circle = {.radius_mm = 3.25};
    ck_assert_int_eq(tt_circle_fit(points, 4, 0, &circle), TIPTRUE_E_DEGENERATE);
    ck_assert_double_eq(circle.radius_mm, 3.25);
}
END_TEST

/* Points that are all scatter, on which the iteration crawls: refused, not answered with half the
 * digits. */
START_TEST(all_scatter)
{
    const struct tt_machine_xy points[] = {{7, 3}, {8, 5}, {4, 7}, {6, 6}, {9, 3}};
    struct tt_circle circle = {.radius_mm = 3.25};
    ck_assert_int_eq(tt_circle_fit(points, 5, 0, &circle), TIPTRUE_E_DEGENERATE);
    ck_assert_double_eq(circle.radius_mm, 3.25);
}
END_TEST

/* A circle smaller than the resolution is one place. */
START_TEST(smaller_than_resolution)
{
    struct tt_machine_xy points[12];
    struct tt_circle circle;
    lay(points, 12, (struct tt_machine_xy){163.4, 67.2}, 0.0024, tt_rad_from_deg(11), 2 * TT_PI);
    check_refused(points, 12, 0.0025);
    ck_assert_int_eq(tt_circle_fit(points, 12, 0.0023, &circle), TIPTRUE_OK);
    check_circle(circle, 163.4, 67.2, 0.0024, 1e-13);
}
END_TEST

/* Coordinates whose squares overflow are refused, not answered with infinities. */
START_TEST(overflow)
{
    const struct tt_machine_xy points[] = {
        {1e200, 3e200}, {-2e200, 1e200}, {5e200, -1e200}, {1e199, 7e199}};
    check_refused(points, 4, 0);
    const struct tt_machine_xy farther[] = {
        {1.5e308, 3e307}, {-1.5e308, 1e307}, {5e307, -1.7e308}, {1e306, 7e307}};
    check_refused(farther, 4, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("circle");
    TCase *values = tcase_create("values");
    tcase_add_test(values, gander_geometric);
    tcase_add_test(values, gander_taubin);
    tcase_add_test(values, exact_arcs);
    tcase_add_test(values, far_from_origin);
    tcase_add_test(values, three_points);
    suite_add_tcase(suite, values);
    TCase *properties = tcase_create("properties");
    tcase_add_test(properties, turns_with_the_points);
    tcase_add_test(properties, follows_the_points);
    tcase_add_test(properties, least_squares_of_distances);
    tcase_add_test(properties, point_on_centre);
    tcase_add_test(properties, passes_through_the_line);
    tcase_add_test(properties, full_step_is_no_circle);
    tcase_add_test(properties, covariance);
    suite_add_tcase(suite, properties);
    TCase *refusals = tcase_create("refusals");
    tcase_add_test(refusals, too_few_or_equal_points);
    tcase_add_test(refusals, on_a_line);
    tcase_add_test(refusals, height_and_resolution);
    tcase_add_test(refusals, flatter_than_resolution);
    tcase_add_test(refusals, best_circle_is_a_line);
    tcase_add_test(refusals, all_scatter);
    tcase_add_test(refusals, smaller_than_resolution);
    tcase_add_test(refusals, overflow);
    suite_add_tcase(suite, refusals);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
