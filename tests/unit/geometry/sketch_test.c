/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What pictures are drawn from, against the touch equation itself
 * (tests/unit/geometry/touch_test.c): the swing is how far the head must stand for the residual to
 * be 0; the place is the foot of the tip's centre on the edge.
 */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "geometry/sketch.h"
#include "geometry/touch.h"

#define TOUCHES 24

struct made {
    struct tiptrue_plate plate;
    struct tt_edge edges[2];
    struct tiptrue_machine machine;
    struct tiptrue_run run;
    struct tt_observation observations[TOUCHES];
    struct tiptrue_solution solution;
    struct tt_pose_result pose;
    struct tt_tip_result tip;
    struct tt_shape_term shape[2];
    struct tt_edge_result found[2];
    struct tt_row_result rows[TOUCHES];
    struct tt_finding finding;
};

/* An oblique edge and another, a turned plate, an oval tip with runout, on a machine that counts
 * clockwise or not. */
static void make(struct made *m, bool clockwise)
{
    *m = (struct made){
        .edges = {{.name = "slant",
                   .from = {3.1, -2.7},
                   .to = {9.4, 5.3},
                   .n_x = -8.0 / hypot(6.3, 8),
                   .n_y = 6.3 / hypot(6.3, 8)},
                  {.name = "other",
                   .from = {-4.2, 7.7},
                   .to = {-4.2, 1.9},
                   .n_x = 1,
                   .n_y = 0,
                   .d_mm = -4.2}},
        .pose = {.setup = "1",
                 .mark_determined = true,
                 .yaw_determined = true,
                 .mark = {131.7, 77.3},
                 .yaw_rad = 0.374},
        .shape = {{2, 0.0041, 0.0003, 0.61}, {3, 0.0017, 0.0003, -0.23}},
        .tip = {.name = "t1",
                .offset_determined_x = true,
                .offset_determined_y = true,
                .offset = {-37.412, 15.083},
                .runout_determined = true,
                .runout = {0.0217, -0.0134},
                .contact_radius_mm = 0.2385,
                .n_shape = 2},
        .found = {{.name = "slant", .shift_mm = 0.0061}, {.name = "other", .shift_mm = -0.0027}}};
    m->edges[0].d_mm = m->edges[0].n_x * 3.1 + m->edges[0].n_y * -2.7;
    m->tip.shape = m->shape;
    m->plate = (struct tiptrue_plate){.edges = m->edges, .n_edges = 2};
    m->machine = (struct tiptrue_machine){.clockwise = clockwise};
    m->run = (struct tiptrue_run){.observations = m->observations, .n_observations = TOUCHES};
    m->solution = (struct tiptrue_solution){.poses = &m->pose,
                                            .n_poses = 1,
                                            .tips = &m->tip,
                                            .n_tips = 1,
                                            .edges = m->found,
                                            .n_edges = 2,
                                            .rows = m->rows,
                                            .n_rows = TOUCHES,
                                            .findings = &m->finding};
    for (size_t i = 0; i < TOUCHES; i++) {
        m->observations[i] =
            (struct tt_observation){.h = {170.3 + 0.173 * (double)i, 63.7 - 0.091 * (double)i},
                                    .rotation_rad = 0.377 * (double)i - 2.1,
                                    .line = 4 + i,
                                    .kind = TT_TOUCH};
        m->rows[i] = (struct tt_row_result){.line = 4 + i,
                                            .kind = TT_TOUCH,
                                            .target = m->edges[i % 2].name,
                                            .tip = "t1",
                                            .rotation_rad = m->observations[i].rotation_rad,
                                            .setup = "1"};
    }
}

/* The residual of touch @i by the touch equation. */
static double residual_mm(const struct made *m, size_t i, bool clockwise)
{
    const struct tt_edge *edge = &m->edges[i % 2];
    struct tt_pose pose = tt_pose_make(m->pose.mark, m->pose.yaw_rad);
    struct tt_site site = tt_site_make(&pose, edge->n_x, edge->n_y, edge->d_mm);
    double theta = clockwise ? -m->rows[i].rotation_rad : m->rows[i].rotation_rad;
    double ab[4] = {m->shape[0].amplitude_mm * cos(2 * m->shape[0].angle_rad),
                    m->shape[0].amplitude_mm * sin(2 * m->shape[0].angle_rad),
                    m->shape[1].amplitude_mm * cos(3 * m->shape[1].angle_rad),
                    m->shape[1].amplitude_mm * sin(3 * m->shape[1].angle_rad)};
    const unsigned orders[] = {2, 3};
    double slopes[4];
    struct tt_touch touch = {.h = m->observations[i].h,
                             .cos_rotation = cos(theta),
                             .sin_rotation = sin(theta),
                             .scale = 1};
    struct tt_touch_state state = {.mark = m->pose.mark,
                                   .offset = m->tip.offset,
                                   .runout = m->tip.runout,
                                   .shift_mm = m->found[i % 2].shift_mm,
                                   .radius_mm = m->tip.contact_radius_mm,
                                   .shape_mm = ab,
                                   .orders = orders,
                                   .n_orders = 2};
    struct tt_touch_slope slope = {.shape = slopes};
    return tt_touch_residual(&site, &touch, &state, &slope);
}

/* n . (h + o - m) - d - shift - r, in the machine frame. */
static double stand_mm(const struct made *m, size_t i)
{
    const struct tt_edge *edge = &m->edges[i % 2];
    double c = cos(m->pose.yaw_rad), s = sin(m->pose.yaw_rad);
    double n_x = c * edge->n_x - s * edge->n_y, n_y = s * edge->n_x + c * edge->n_y;
    return n_x * (m->observations[i].h.x_mm + m->tip.offset.x_mm - m->pose.mark.x_mm) +
           n_y * (m->observations[i].h.y_mm + m->tip.offset.y_mm - m->pose.mark.y_mm) - edge->d_mm -
           m->found[i % 2].shift_mm - m->tip.contact_radius_mm;
}

START_TEST(swing_is_where_the_residual_is_0)
{
    bool clockwise = _i == 1;
    struct made m;
    struct tt_sketch sketch = {0};
    make(&m, clockwise);
    ck_assert_int_eq(tt_sketch_draw(&m.plate, &m.machine, &m.run, &m.solution, &sketch, NULL),
                     TIPTRUE_OK);
    for (size_t i = 0; i < TOUCHES; i++) {
        ck_assert(sketch.spots[i].has_swing);
        ck_assert_double_eq_tol(sketch.spots[i].swing_mm + residual_mm(&m, i, clockwise),
                                stand_mm(&m, i), 1e-12);
    }
    tt_sketch_clear(&sketch);
}
END_TEST

START_TEST(tracks_and_their_curves)
{
    struct made m;
    struct tt_sketch sketch = {0};
    make(&m, false);
    ck_assert_int_eq(tt_sketch_draw(&m.plate, &m.machine, &m.run, &m.solution, &sketch, NULL),
                     TIPTRUE_OK);
    ck_assert_uint_eq(sketch.n_tracks, 2);
    for (size_t t = 0; t < 2; t++) {
        const struct tt_sketch_track *track = &sketch.tracks[t];
        ck_assert_uint_eq(track->n_rows, TOUCHES / 2);
        ck_assert(track->has_curve && !track->sense_contradicted);
        ck_assert_double_eq_tol(track->curve_mm[0], track->curve_mm[TT_SKETCH_STEPS], 1e-12);
        for (size_t i = 0; i < track->n_rows; i++) {
            size_t row = track->rows[i];
            double at = m.rows[row].rotation_rad / (2 * TT_PI),
                   step = (at - floor(at)) * TT_SKETCH_STEPS;
            size_t k = (size_t)step;
            double between = track->curve_mm[k] +
                             (step - (double)k) * (track->curve_mm[k + 1] - track->curve_mm[k]);
            ck_assert_uint_eq(sketch.spots[row].track, t);
            /* a chord of 5 degrees under an arc of order 3 misses by (3 * 0.0873)^2 / 8 of the
             * amplitude */
            ck_assert_double_eq_tol(sketch.spots[row].swing_mm, between, 0.0001);
        }
    }
    tt_sketch_clear(&sketch);
}
END_TEST

/* The foot of the tip's centre stands on the edge, and turned back and forth it is the head's place
 * plus the offset along it. */
START_TEST(places)
{
    struct made m;
    struct tt_sketch sketch = {0};
    make(&m, false);
    ck_assert_int_eq(tt_sketch_draw(&m.plate, &m.machine, &m.run, &m.solution, &sketch, NULL),
                     TIPTRUE_OK);
    for (size_t i = 0; i < TOUCHES; i++) {
        const struct tt_edge *edge = &m.edges[i % 2];
        struct tt_plate_xy at = sketch.spots[i].at;
        struct tt_pose pose = tt_pose_make(m.pose.mark, m.pose.yaw_rad);
        struct tt_machine_xy foot = tt_pose_place(&pose, 1, at);
        struct tt_machine_xy along =
            tt_pose_turn(&pose, (struct tt_plate_xy){-edge->n_y, edge->n_x});
        ck_assert(sketch.spots[i].has_place);
        ck_assert_double_eq_tol(edge->n_x * at.x_mm + edge->n_y * at.y_mm, edge->d_mm, 1e-12);
        ck_assert_double_eq_tol(
            (m.observations[i].h.x_mm + m.tip.offset.x_mm - foot.x_mm) * along.x_mm +
                (m.observations[i].h.y_mm + m.tip.offset.y_mm - foot.y_mm) * along.y_mm,
            0, 1e-12);
    }
    tt_sketch_clear(&sketch);
}
END_TEST

/* A view's residual in pixels is what A makes the residual in millimetres of; A by its definition:
 * the picture's axes to the right and up, as directions and sizes in the machine. */
START_TEST(pixels)
{
    const double turn = 0.2147, shear = -0.0123, square = _i == 1 ? -TT_PI / 2 : TT_PI / 2;
    struct made m;
    struct tt_sketch sketch = {0};
    make(&m, false);
    m.solution.camera = (struct tt_camera_result){.views = 1,
                                                  .determined = true,
                                                  .scale_x_mm = 0.0173,
                                                  .scale_y_mm = 0.0166,
                                                  .turn_rad = turn,
                                                  .shear_rad = shear,
                                                  .mirrored = _i == 1};
    m.rows[3].kind = TT_VIEW;
    m.rows[3].residual_mm = 0.0031;
    m.rows[3].residual_y_mm = -0.0047;
    m.observations[3].px = 871.25;
    m.observations[3].py = 133.5;
    ck_assert_int_eq(tt_sketch_draw(&m.plate, &m.machine, &m.run, &m.solution, &sketch, NULL),
                     TIPTRUE_OK);
    const struct tt_spot *spot = &sketch.spots[3];
    ck_assert(spot->has_pixel && !sketch.spots[2].has_pixel);
    ck_assert_double_eq(spot->px, 871.25);
    ck_assert_double_eq(spot->py, 133.5);
    double right = spot->off_right_px, up = -spot->off_down_px;
    ck_assert_double_eq_tol(0.0173 * right * cos(turn) + 0.0166 * up * cos(turn + square + shear),
                            0.0031, 1e-12);
    ck_assert_double_eq_tol(0.0173 * right * sin(turn) + 0.0166 * up * sin(turn + square + shear),
                            -0.0047, 1e-12);
    tt_sketch_clear(&sketch);
}
END_TEST

/* A sense of rotation that the fit turned round: both curves, each the other's for the other
 * machine. */
START_TEST(sense_turned_round)
{
    struct made m, other;
    struct tt_sketch sketch = {0}, stated = {0};
    make(&m, true);
    make(&other, false);
    m.finding = (struct tt_finding){.code = TT_FINDING_ROTATION_SENSE};
    m.solution.n_findings = 1;
    ck_assert_int_eq(tt_sketch_draw(&m.plate, &m.machine, &m.run, &m.solution, &sketch, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(
        tt_sketch_draw(&other.plate, &other.machine, &other.run, &other.solution, &stated, NULL),
        TIPTRUE_OK);
    ck_assert(sketch.tracks[0].sense_contradicted && !sketch.clockwise);
    for (size_t i = 0; i <= TT_SKETCH_STEPS; i++) {
        ck_assert_double_eq_tol(sketch.tracks[0].curve_mm[i], stated.tracks[0].curve_mm[i], 1e-15);
        ck_assert_double_eq_tol(sketch.tracks[0].stated_mm[i],
                                sketch.tracks[0].curve_mm[TT_SKETCH_STEPS - i], 1e-12);
    }
    tt_sketch_clear(&sketch);
    tt_sketch_clear(&stated);
}
END_TEST

/* Without plate, machine or run: rows by edge and tip, and nothing that was made up. */
START_TEST(without_files)
{
    struct made m;
    struct tt_sketch sketch = {0};
    make(&m, false);
    ck_assert_int_eq(tt_sketch_draw(NULL, NULL, NULL, &m.solution, &sketch, NULL), TIPTRUE_OK);
    ck_assert_uint_eq(sketch.n_tracks, 2);
    ck_assert(!sketch.tracks[0].has_curve && !sketch.spots[3].has_place &&
              !sketch.spots[3].has_swing);
    tt_sketch_clear(&sketch);
    m.run.n_observations--; /* another run */
    ck_assert_int_eq(tt_sketch_draw(&m.plate, &m.machine, &m.run, &m.solution, &sketch, NULL),
                     TIPTRUE_OK);
    ck_assert(sketch.spots[3].has_swing && !sketch.spots[3].has_place);
    tt_sketch_clear(&sketch);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("geometry/sketch");
    TCase *cases = tcase_create("sketch");
    SRunner *runner;
    int failed;

    tcase_add_loop_test(cases, swing_is_where_the_residual_is_0, 0, 2);
    tcase_add_test(cases, tracks_and_their_curves);
    tcase_add_test(cases, places);
    tcase_add_loop_test(cases, pixels, 0, 2);
    tcase_add_test(cases, sense_turned_round);
    tcase_add_test(cases, without_files);
    suite_add_tcase(suite, cases);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
