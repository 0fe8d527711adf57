/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The touch equation: its residual against the definitions written out from scratch (a tip, a
 * plate, a step towards the edge), its derivatives against central differences, the signs of
 * frames, sense and lateness.
 */
#include "config.h"

#include "geometry/touch.h"

#include <check.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

#define DEG (acos(-1) / 180)
#define MOST_ORDERS (TT_MOST_ORDER - 1)

/* All that a touch depends on, as numbers one can change one by one. */
struct truth {
    double mark_x, mark_y, yaw_deg;
    double offset_x, offset_y, runout_x, runout_y, radius;
    double group_x, group_y, shift, lost_motion, latency;
    double normal_deg, d; /* of the edge, on the plate */
    double rotation_deg, scale, feed;
    size_t n_orders;
    unsigned orders[MOST_ORDERS];
    double shape[2 * MOST_ORDERS];
};

/* Distances of millimetres and angles of any size, shapes and shifts of hundredths. */
static struct truth any_truth(gsl_rng *random)
{
    struct truth t = {.mark_x = 200 * gsl_rng_uniform(random) - 60,
                      .mark_y = 150 * gsl_rng_uniform(random) - 90,
                      .yaw_deg = 360 * gsl_rng_uniform(random),
                      .offset_x = 80 * gsl_rng_uniform(random) - 40,
                      .offset_y = 30 * gsl_rng_uniform(random) - 10,
                      .runout_x = 0.2 * gsl_rng_uniform(random) - 0.1,
                      .runout_y = 0.2 * gsl_rng_uniform(random) - 0.1,
                      .radius = 0.2 + 0.2 * gsl_rng_uniform(random),
                      .group_x = 0.1 * gsl_rng_uniform(random) - 0.04,
                      .group_y = 0.1 * gsl_rng_uniform(random) - 0.04,
                      .shift = 0.05 * gsl_rng_uniform(random) - 0.02,
                      .lost_motion = 0.06 * gsl_rng_uniform(random) - 0.02,
                      .latency = 0.004 * gsl_rng_uniform(random),
                      .normal_deg = 360 * gsl_rng_uniform(random),
                      .d = 50 * gsl_rng_uniform(random) - 25,
                      .rotation_deg = 720 * gsl_rng_uniform(random) - 360,
                      .scale = 1 + 4e-4 * (gsl_rng_uniform(random) - 0.5),
                      .feed = 0.5 + 3 * gsl_rng_uniform(random),
                      .n_orders = MOST_ORDERS};
    for (size_t k = 0; k < MOST_ORDERS; k++) {
        t.orders[k] = (unsigned)k + 2;
        t.shape[2 * k] = 0.05 * gsl_rng_uniform(random) - 0.025;
        t.shape[2 * k + 1] = 0.05 * gsl_rng_uniform(random) - 0.025;
    }
    return t;
}

/* rho(psi) with psi the direction of the contact seen in the tip's own frame: the contact lies from
 * the tip's centre against the edge's normal, and a tip that has turned by theta sees that
 * direction turned back by theta. */
static double contact_radius(const struct truth *t, double yaw_deg)
{
    const double psi = (t->normal_deg + yaw_deg + 180 - t->rotation_deg) * DEG;
    const double n_x = cos((t->normal_deg + yaw_deg) * DEG),
                 n_y = sin((t->normal_deg + yaw_deg) * DEG);
    double rho = t->radius + t->lost_motion * (n_x * n_x - n_y * n_y) / 2 - t->latency * t->feed;
    for (size_t k = 0; k < t->n_orders; k++) {
        rho += t->shape[2 * k] * cos(t->orders[k] * psi) +
               t->shape[2 * k + 1] * sin(t->orders[k] * psi);
    }
    return rho;
}

/* Where the head is when the tip, coming along -n from the free side at @along_mm beside the foot
 * of the normal, has its contact point @deep_mm behind the edge. */
static struct tt_machine_xy head(const struct truth *t, double along_mm, double deep_mm)
{
    const double n_deg = t->normal_deg + t->yaw_deg;
    const double n_x = cos(n_deg * DEG), n_y = sin(n_deg * DEG);
    /* the group moves the edge by its share along n; the edge's own shift is along n */
    const double shift =
        t->shift + t->group_x * cos(t->normal_deg * DEG) + t->group_y * sin(t->normal_deg * DEG);
    const double out = t->scale * t->d + shift + contact_radius(t, t->yaw_deg) - deep_mm;
    const double centre_x = t->mark_x + out * n_x - along_mm * n_y,
                 centre_y = t->mark_y + out * n_y + along_mm * n_x;
    const double c = cos(t->rotation_deg * DEG), s = sin(t->rotation_deg * DEG);
    return (struct tt_machine_xy){centre_x - t->offset_x - (c * t->runout_x - s * t->runout_y),
                                  centre_y - t->offset_y - (s * t->runout_x + c * t->runout_y)};
}

static double residual(const struct truth *t, struct tt_machine_xy h,
                       double slopes[3 + 2 * MOST_ORDERS])
{
    const struct tt_pose pose =
        tt_pose_make((struct tt_machine_xy){t->mark_x, t->mark_y}, t->yaw_deg * DEG);
    const struct tt_site site =
        tt_site_make(&pose, cos(t->normal_deg * DEG), sin(t->normal_deg * DEG), t->d);
    const struct tt_touch touch = {h, cos(t->rotation_deg * DEG), sin(t->rotation_deg * DEG),
                                   t->scale, t->feed};
    const struct tt_touch_state state = {.mark = {t->mark_x, t->mark_y},
                                         .offset = {t->offset_x, t->offset_y},
                                         .runout = {t->runout_x, t->runout_y},
                                         .group_shift = {t->group_x, t->group_y},
                                         .shift_mm = t->shift,
                                         .radius_mm = t->radius,
                                         .lost_motion_mm = t->lost_motion,
                                         .latency_s = t->latency,
                                         .shape_mm = t->shape,
                                         .orders = t->orders,
                                         .n_orders = t->n_orders};
    struct tt_touch_slope slope = {.shape = slopes + 3};
    const double r = tt_touch_residual(&site, &touch, &state, &slope);
    slopes[0] = slope.yaw_mm;
    slopes[1] = slope.runout_x;
    slopes[2] = slope.runout_y;
    return r;
}

static double plain_residual(const struct truth *t, struct tt_machine_xy h)
{
    double slopes[3 + 2 * MOST_ORDERS];
    return residual(t, h, slopes);
}

/* A contact made by the definitions leaves no residual; one that is late by 37 um leaves -37 um;
 * early, plus. */
START_TEST(residual_by_the_definitions)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260312);
    for (int run = 0; run < 500; run++) {
        struct truth t = any_truth(random);
        t.n_orders = (size_t)run % (MOST_ORDERS + 1);
        const double along_mm = 8 * gsl_rng_uniform(random) - 4;
        ck_assert_double_eq_tol(plain_residual(&t, head(&t, along_mm, 0)), 0, 2e-13);
        ck_assert_double_eq_tol(plain_residual(&t, head(&t, along_mm, 0.037)), -0.037, 2e-13);
        ck_assert_double_eq_tol(plain_residual(&t, head(&t, along_mm, -0.0125)), 0.0125, 2e-13);
    }
    gsl_rng_free(random);
}
END_TEST

/* The central difference of the residual when the number at @of changes by @by either way. */
static double difference(struct truth *t, double *of, double by, struct tt_machine_xy h)
{
    const double value = *of;
    *of = value + by;
    const double above = plain_residual(t, h);
    *of = value - by;
    const double below = plain_residual(t, h);
    *of = value;
    return (above - below) / (2 * by);
}

/* Every unknown; by the yaw with its parts in the shape and the lost motion. */
START_TEST(derivatives)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260313);
    for (int run = 0; run < 200; run++) {
        struct truth t = any_truth(random);
        double slopes[3 + 2 * MOST_ORDERS];
        struct tt_machine_xy h = head(&t, 6 * gsl_rng_uniform(random) - 2, 0.02);
        (void)residual(&t, h, slopes);
        const double n_x = cos((t.normal_deg + t.yaw_deg) * DEG),
                     n_y = sin((t.normal_deg + t.yaw_deg) * DEG);
        /* by degrees: the step is large against rounding at 200 mm, and what the third derivative
         * adds at 50 mm is 1e-8 */
        ck_assert_double_eq_tol(difference(&t, &t.yaw_deg, 2e-3, h) / DEG, slopes[0], 1e-7);
        ck_assert_double_eq_tol(difference(&t, &t.runout_x, 0.25, h), slopes[1], 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.runout_y, 0.25, h), slopes[2], 1e-11);
        for (size_t k = 0; k < 2 * MOST_ORDERS; k++) {
            ck_assert_double_eq_tol(difference(&t, &t.shape[k], 0.25, h), slopes[3 + k], 1e-11);
        }
        /* those that the header gives in words */
        ck_assert_double_eq_tol(difference(&t, &t.offset_x, 0.25, h), n_x, 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.offset_y, 0.25, h), n_y, 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.mark_x, 0.25, h), -n_x, 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.mark_y, 0.25, h), -n_y, 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.group_x, 0.25, h), -cos(t.normal_deg * DEG),
                                1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.group_y, 0.25, h), -sin(t.normal_deg * DEG),
                                1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.shift, 0.25, h), -1, 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.radius, 0.25, h), -1, 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.lost_motion, 0.25, h),
                                -(n_x * n_x - n_y * n_y) / 2, 1e-11);
        ck_assert_double_eq_tol(difference(&t, &t.latency, 0.25, h), t.feed, 1e-11);
    }
    gsl_rng_free(random);
}
END_TEST

/* An oval tip, 20 um longer towards 25 degrees of its own frame, turned by 40 degrees: it points at
 * 65 degrees of the machine. An edge whose conductor lies there (free side at 245 degrees) is met
 * early, by the full 20 um; one across, by as much late. */
START_TEST(shape_turns_with_the_tip)
{
    struct truth t = {.radius = 0.3,
                      .normal_deg = 245,
                      .d = 12.5,
                      .rotation_deg = 40,
                      .scale = 1,
                      .n_orders = 1,
                      .orders = {2}};
    t.shape[0] = 0.02 * cos(2 * 25 * DEG);
    t.shape[1] = 0.02 * sin(2 * 25 * DEG);
    ck_assert_double_eq_tol(contact_radius(&t, 0), 0.32, 1e-15);
    const struct tt_machine_xy h = {12.82 * cos(245 * DEG), 12.82 * sin(245 * DEG)};
    ck_assert_double_eq_tol(plain_residual(&t, h), 0, 1e-14);
    t.normal_deg = 155;
    const struct tt_machine_xy across = {12.78 * cos(155 * DEG), 12.78 * sin(155 * DEG)};
    ck_assert_double_eq_tol(plain_residual(&t, across), 0, 1e-14);
    /* an odd shape tells the contact from the side away from it: three lobes, one of them towards
     * 25 degrees */
    t.orders[0] = 3;
    t.shape[0] = 0.02 * cos(3 * 25 * DEG);
    t.shape[1] = 0.02 * sin(3 * 25 * DEG);
    t.normal_deg = 245;
    ck_assert_double_eq_tol(plain_residual(&t, h), 0, 1e-14);
    t.normal_deg = 65;
    const struct tt_machine_xy behind = {12.78 * cos(65 * DEG), 12.78 * sin(65 * DEG)};
    ck_assert_double_eq_tol(plain_residual(&t, behind), 0, 1e-14);
}
END_TEST

/* cos k psi and sin k psi of every order, also asked for alone. */
START_TEST(shape_angle)
{
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260314);
    for (int run = 0; run < 100; run++) {
        const struct truth t = any_truth(random);
        const struct tt_pose pose =
            tt_pose_make((struct tt_machine_xy){t.mark_x, t.mark_y}, t.yaw_deg * DEG);
        const struct tt_site site =
            tt_site_make(&pose, cos(t.normal_deg * DEG), sin(t.normal_deg * DEG), t.d);
        const struct tt_touch touch = {.cos_rotation = cos(t.rotation_deg * DEG),
                                       .sin_rotation = sin(t.rotation_deg * DEG)};
        const double psi = (t.normal_deg + t.yaw_deg + 180 - t.rotation_deg) * DEG;
        for (unsigned k = 1; k <= TT_MOST_ORDER; k++) {
            double c, s;
            tt_touch_shape_angle(&site, &touch, k, &c, &s);
            ck_assert_double_eq_tol(c, cos(k * psi), 1e-13);
            ck_assert_double_eq_tol(s, sin(k * psi), 1e-13);
        }
    }
    gsl_rng_free(random);
}
END_TEST

/* A plate put down again, turned by 180 degrees: an edge that faced +x faces -x; a group shift
 * changes sides with it, so that the sum of the head positions over both is free of it (the
 * reversal method). */
START_TEST(reversal)
{
    struct truth there = {.mark_x = 12.5,
                          .mark_y = -3.5,
                          .offset_x = -41.25,
                          .offset_y = 12.75,
                          .radius = 0.3,
                          .group_x = 0.044,
                          .group_y = -0.013,
                          .normal_deg = 20,
                          .d = 15.5,
                          .scale = 1.0002};
    struct truth back = there;
    back.yaw_deg = 180;
    const struct tt_machine_xy one = head(&there, 1.5, 0), two = head(&back, 1.5, 0);
    ck_assert_double_eq_tol(plain_residual(&there, one), 0, 1e-13);
    ck_assert_double_eq_tol(plain_residual(&back, two), 0, 1e-13);
    ck_assert_double_eq_tol(0.5 * (one.x_mm + two.x_mm), 12.5 + 41.25, 1e-13);
    ck_assert_double_eq_tol(0.5 * (one.y_mm + two.y_mm), -3.5 - 12.75, 1e-13);
    /* and its own size shows in the difference */
    const double apart =
        (one.x_mm - two.x_mm) * cos(20 * DEG) + (one.y_mm - two.y_mm) * sin(20 * DEG);
    ck_assert_double_eq_tol(
        apart, 2 * (15.5 * 1.0002 + 0.3 + 0.044 * cos(20 * DEG) - 0.013 * sin(20 * DEG)), 1e-13);
}
END_TEST

/* The machine's sense of rotation is applied by whoever fills the touch in: minus the sine turns
 * runout and shape the other way. */
START_TEST(clockwise)
{
    struct truth t = {.offset_x = 3.25,
                      .offset_y = -1.5,
                      .runout_x = 0.04,
                      .runout_y = -0.025,
                      .radius = 0.3,
                      .normal_deg = 31,
                      .d = 9.5,
                      .rotation_deg = -50,
                      .scale = 1,
                      .n_orders = 1,
                      .orders = {3},
                      .shape = {0.012, -0.007}};
    const struct tt_machine_xy h = head(&t, 0.75, 0);
    const struct tt_pose pose = tt_pose_make((struct tt_machine_xy){0, 0}, 0);
    const struct tt_site site = tt_site_make(&pose, cos(31 * DEG), sin(31 * DEG), 9.5);
    /* logged as 50 degrees, clockwise */
    const struct tt_touch touch = {h, cos(50 * DEG), -sin(50 * DEG), 1, 0};
    const struct tt_touch_state state = {.offset = {3.25, -1.5},
                                         .runout = {0.04, -0.025},
                                         .radius_mm = 0.3,
                                         .shape_mm = t.shape,
                                         .orders = t.orders,
                                         .n_orders = 1};
    double shape[2];
    struct tt_touch_slope slope = {.shape = shape};
    ck_assert_double_eq_tol(tt_touch_residual(&site, &touch, &state, &slope), 0, 1e-14);
    const struct tt_touch other = {h, cos(50 * DEG), sin(50 * DEG), 1, 0};
    ck_assert(fabs(tt_touch_residual(&site, &other, &state, &slope)) > 0.01);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("touch");
    TCase *values = tcase_create("values");
    tcase_add_test(values, residual_by_the_definitions);
    tcase_add_test(values, shape_turns_with_the_tip);
    tcase_add_test(values, shape_angle);
    tcase_add_test(values, reversal);
    tcase_add_test(values, clockwise);
    suite_add_tcase(suite, values);
    TCase *slopes = tcase_create("derivatives");
    tcase_add_test(slopes, derivatives);
    suite_add_tcase(suite, slopes);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
