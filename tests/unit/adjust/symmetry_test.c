/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What must not matter, or must follow: the machine's axes turned, mirrored, shifted; inches; the
 * order of rows and setups; names. Each run is scattered and has late contacts, so that the robust
 * step is held to it too.
 */
#include "config.h"

#include <check.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "scene.h"

/* Two tips, two setups, uncertain plate, stated radius and yaw, late contacts on one edge. Logged
 * with all digits, so that what is turned keeps them. */
static struct scene rich_scene(void)
{
    struct scene s = scene_usual(20260402);
    s.decimals = 0;
    s.n_groups = 2;
    s.groups[0] = (struct scene_group){"routed", 0.018, 0.011, -0.006};
    s.groups[1] = (struct scene_group){"drilled", 0.009, -0.004, 0.007};
    for (size_t k = 0; k < 4; k++) {
        s.edges[k].u = 0.006;
        s.edges[k].shift = 0.004 - 0.002 * (double)k;
        s.edges[k].group = k < 3 ? "routed" : NULL;
    }
    s.marks[1].u = s.marks[2].u = 0.007;
    s.marks[1].group = "drilled";
    s.n_tips = 2;
    s.tips[1] = (struct scene_tip){.name = "t2",
                                   .offset_x = -19.75,
                                   .offset_y = 13.0625,
                                   .runout_x = -0.045,
                                   .runout_y = 0.0125,
                                   .radius = 0.3105,
                                   .stated_radius = 0.3,
                                   .u_radius = 0.02};
    s.tips[0].has_present = true;
    s.tips[0].present_x = s.tips[0].offset_x + 0.012;
    s.tips[0].present_y = s.tips[0].offset_y - 0.007;
    s.tips[0].present_plate = s.serial;
    s.has_yaw = true;
    s.nominal_yaw_deg = 0.1;
    s.u_yaw_deg = 0.4;
    s.u_rotation_deg = 0.2;
    s.permitted_error = 0.03;
    s.n_setups = 2;
    s.setups[1] = (struct scene_setup){"2", 141.5, 88.75, 23.5};
    return s;
}

static struct scene_rows rich_rows(const struct scene *s)
{
    struct scene_rows rows = scene_simulate(s);
    for (size_t i = 0; i < rows.n; i++) {
        if (!rows.row[i].is_sight && rows.row[i].target == 1 && i % 3 == 1) {
            scene_deepen(&rows.row[i], 0.03 + 0.0007 * (double)(i % 71));
        }
    }
    return rows;
}

/* A turn of the machine frame by @turn_rad (after mirroring x where @mirror) and a shift. */
struct change {
    bool mirror;
    double turn_rad, shift_x, shift_y;
};

static struct tt_machine_xy moved_vector(const struct change *c, double x, double y)
{
    x = c->mirror ? -x : x;
    return (struct tt_machine_xy){cos(c->turn_rad) * x - sin(c->turn_rad) * y,
                                  sin(c->turn_rad) * x + cos(c->turn_rad) * y};
}

static struct tt_cov2 moved_cov(const struct change *c, struct tt_cov2 cov)
{
    const double a = cos(c->turn_rad), b = sin(c->turn_rad), xx = cov.xx_mm2, yy = cov.yy_mm2,
                 xy = c->mirror ? -cov.xy_mm2 : cov.xy_mm2;
    return (struct tt_cov2){a * a * xx - 2 * a * b * xy + b * b * yy,
                            a * b * (xx - yy) + (a * a - b * b) * xy,
                            b * b * xx + 2 * a * b * xy + a * a * yy};
}

static void check_cov(struct tt_cov2 found, struct tt_cov2 expected, double share)
{
    const double size = expected.xx_mm2 + expected.yy_mm2;
    ck_assert_double_eq_tol(found.xx_mm2 / size, expected.xx_mm2 / size, share);
    ck_assert_double_eq_tol(found.xy_mm2 / size, expected.xy_mm2 / size, share);
    ck_assert_double_eq_tol(found.yy_mm2 / size, expected.yy_mm2 / size, share);
}

/* The variance that explanations which are not excluded add, x and y together: reversal error and
 * errors of the axes are among them, which the frame does not turn along. */
static double by_rivals(const struct tt_tip_result *tip)
{
    for (size_t i = 0; i < tip->n_budget; i++) {
        if (strcmp(tip->budget[i].source, "explanations not excluded") == 0) {
            return pow(tip->budget[i].u_x_mm, 2) + pow(tip->budget[i].u_y_mm, 2);
        }
    }
    return 0;
}

static void check_tip(const struct tt_tip_result *found, const struct tt_tip_result *before,
                      const struct change *c)
{
    const struct tt_machine_xy o = moved_vector(c, before->offset.x_mm, before->offset.y_mm);
    const struct tt_machine_xy e = moved_vector(c, before->runout.x_mm, before->runout.y_mm);
    ck_assert_double_eq_tol(found->offset.x_mm, o.x_mm, 1e-9);
    ck_assert_double_eq_tol(found->offset.y_mm, o.y_mm, 1e-9);
    ck_assert_double_eq_tol(found->runout.x_mm, e.x_mm, 1e-9);
    ck_assert_double_eq_tol(found->runout.y_mm, e.y_mm, 1e-9);
    ck_assert_double_eq_tol(found->contact_radius_mm, before->contact_radius_mm, 1e-9);
    ck_assert_double_eq_tol(found->u_contact_radius_mm, before->u_contact_radius_mm, 1e-9);
    ck_assert_double_eq_tol(found->u_eccentricity_mm, before->u_eccentricity_mm, 1e-9);
    const double rivals = by_rivals(found) + by_rivals(before);
    if (rivals == 0) {
        check_cov(found->cov, moved_cov(c, before->cov), 1e-6);
        check_cov(found->same_plate_cov, moved_cov(c, before->same_plate_cov), 1e-6);
    }
    ck_assert_uint_eq(found->used, before->used);
    ck_assert_int_eq(found->has_present, before->has_present);
    ck_assert_double_eq_tol(found->p_unchanged, before->p_unchanged, rivals == 0 ? 1e-6 : 0.3);
    ck_assert_double_eq_tol(found->p_conforming, before->p_conforming,
                            rivals == 0 ? 1e-3 : 0.3); /* by rays, which do not turn along */
    if (rivals == 0) {
        ck_assert_int_eq(found->verdict, before->verdict);
    }
}

static void check_follows(const struct tiptrue_solution *found,
                          const struct tiptrue_solution *before, const struct change *c)
{
    ck_assert_uint_eq(found->n_tips, before->n_tips);
    for (size_t t = 0; t < found->n_tips; t++) {
        check_tip(&found->tips[t], &before->tips[t], c);
    }
    for (size_t k = 0; k < found->n_poses; k++) {
        const struct tt_machine_xy m =
            moved_vector(c, before->poses[k].mark.x_mm, before->poses[k].mark.y_mm);
        ck_assert_double_eq_tol(found->poses[k].mark.x_mm, m.x_mm + c->shift_x, 1e-9);
        ck_assert_double_eq_tol(found->poses[k].mark.y_mm, m.y_mm + c->shift_y, 1e-9);
        const double yaw =
            (c->mirror ? -before->poses[k].yaw_rad : before->poses[k].yaw_rad) + c->turn_rad;
        ck_assert_double_eq_tol(remainder(found->poses[k].yaw_rad - yaw, 2 * TT_PI), 0, 1e-10);
    }
    for (size_t i = 0; i < found->n_rows; i++) {
        ck_assert_int_eq(found->rows[i].set_aside, before->rows[i].set_aside);
        if (found->rows[i].kind == TT_TOUCH) {
            ck_assert_double_eq_tol(found->rows[i].residual_mm, before->rows[i].residual_mm, 1e-9);
        }
    }
    if (by_rivals(&found->tips[0]) + by_rivals(&before->tips[0]) > 0) {
        return;
    }
    ck_assert_uint_eq(found->n_findings, before->n_findings);
    for (size_t i = 0; i < found->n_findings; i++) {
        ck_assert_int_eq(found->findings[i].code, before->findings[i].code);
        ck_assert_uint_eq(found->findings[i].n_lines, before->findings[i].n_lines);
    }
    ck_assert_int_eq(found->verdict, before->verdict);
}

/* Change what was logged and what is stated of the machine. A mirrored machine turns its tips the
 * other way and sees a mirrored plate. */
static void apply(struct scene *s, struct scene_rows *rows, const struct change *c)
{
    for (size_t i = 0; i < rows->n; i++) {
        const struct tt_machine_xy h = moved_vector(c, rows->row[i].x, rows->row[i].y);
        rows->row[i].x = h.x_mm + c->shift_x;
        rows->row[i].y = h.y_mm + c->shift_y;
    }
    for (size_t t = 0; t < s->n_tips; t++) {
        const struct tt_machine_xy o = moved_vector(c, s->tips[t].present_x, s->tips[t].present_y);
        s->tips[t].present_x = o.x_mm;
        s->tips[t].present_y = o.y_mm;
    }
    s->nominal_yaw_deg =
        (c->mirror ? -s->nominal_yaw_deg : s->nominal_yaw_deg) + tt_deg_from_rad(c->turn_rad);
    s->clockwise = s->clockwise != c->mirror;
    for (size_t k = 0; k < s->n_marks && c->mirror; k++) {
        s->marks[k].x = -s->marks[k].x;
    }
    for (size_t k = 0; k < s->n_edges && c->mirror; k++) {
        s->edges[k].from_x = -s->edges[k].from_x;
        s->edges[k].to_x = -s->edges[k].to_x;
        s->edges[k].free_right = !s->edges[k].free_right;
    }
}

static const struct change changes[] = {
    {false, 0, 217.75, -1043.5},       {false, 0.61, 0, 0}, {false, 2.083, -14.25, 330.5},
    {false, -3.1, 77.5, 12.5},         {true, 0, 0, 0},     {true, 1.27, 20.25, -9.5},
    {false, 1.5707963267948966, 0, 0},
};

START_TEST(machine_frame)
{
    const struct change *c = &changes[_i];
    struct scene s = rich_scene();
    struct scene_rows rows = rich_rows(&s);
    struct tiptrue_solution *before = scene_solve(&s, &rows, false);
    ck_assert_uint_eq(scene_count(before, TT_FINDING_LATE_CONTACT), 1);
    ck_assert(before->touches_set_aside > 10);
    apply(&s, &rows, c);
    struct tiptrue_solution *after = scene_solve(&s, &rows, false);
    check_follows(after, before, c);
    tiptrue_solution_free(after);
    tiptrue_solution_free(before);
    scene_rows_free(&rows);
}
END_TEST

static const struct change nothing = {false, 0, 0, 0};

/* The sense of rotation alone: the angles logged clockwise, and said to be. */
START_TEST(sense)
{
    struct scene s = rich_scene();
    struct scene_rows rows = rich_rows(&s);
    struct tiptrue_solution *before = scene_solve(&s, &rows, false);
    s.clockwise = true;
    for (size_t i = 0; i < rows.n; i++) {
        rows.row[i].rotation_deg = 360 - rows.row[i].rotation_deg;
    }
    struct tiptrue_solution *after = scene_solve(&s, &rows, false);
    check_follows(after, before, &nothing);
    tiptrue_solution_free(after);
    tiptrue_solution_free(before);
    scene_rows_free(&rows);
}
END_TEST

/* Each of the three files in inches, and all of them. */
START_TEST(inches)
{
    struct scene s = rich_scene();
    struct scene_rows rows = rich_rows(&s);
    struct tiptrue_solution *before = scene_solve(&s, &rows, false);
    s.plate_in_inch = (_i & 1) != 0;
    s.machine_in_inch = (_i & 2) != 0;
    s.run_in_inch = (_i & 4) != 0;
    struct tiptrue_solution *after = scene_solve(&s, &rows, false);
    check_follows(after, before, &nothing);
    tiptrue_solution_free(after);
    tiptrue_solution_free(before);
    scene_rows_free(&rows);
}
END_TEST

/* Rows in another order (the plate stood still, so that order tells nothing): the same, row by row.
 */
START_TEST(order_of_rows)
{
    struct scene s = rich_scene();
    struct scene_rows rows = rich_rows(&s);
    struct tiptrue_solution *before = scene_solve(&s, &rows, false);
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260403);
    size_t *from = malloc(rows.n * sizeof *from);
    ck_assert_ptr_nonnull(from);
    for (size_t i = 0; i < rows.n; i++) {
        from[i] = i;
    }
    for (size_t i = 1; i < rows.n;
         i++) { /* the first row stays, so that the setups keep their order */
        const size_t k = 1 + gsl_rng_uniform_int(random, i);
        const struct scene_row row = rows.row[i];
        rows.row[i] = rows.row[k];
        rows.row[k] = row;
        const size_t index = from[i];
        from[i] = from[k];
        from[k] = index;
    }
    struct tiptrue_solution *after = scene_solve(&s, &rows, false);
    for (size_t t = 0; t < after->n_tips; t++) {
        check_tip(&after->tips[t], &before->tips[t], &nothing);
    }
    for (size_t i = 0; i < rows.n; i++) {
        ck_assert_int_eq(after->rows[i].set_aside, before->rows[from[i]].set_aside);
        ck_assert_double_eq_tol(after->rows[i].residual_mm, before->rows[from[i]].residual_mm,
                                1e-9);
    }
    free(from);
    gsl_rng_free(random);
    tiptrue_solution_free(after);
    tiptrue_solution_free(before);
    scene_rows_free(&rows);
}
END_TEST

/* The second setup first: each pose with its name. Edges and marks listed the other way round in
 * the plate file. */
START_TEST(order_of_features)
{
    struct scene s = rich_scene();
    struct scene_rows rows = rich_rows(&s);
    struct tiptrue_solution *before = scene_solve(&s, &rows, false);
    const size_t half = rows.n / 2;
    for (size_t i = 0; i < half; i++) {
        const struct scene_row row = rows.row[i];
        rows.row[i] = rows.row[half + i];
        rows.row[half + i] = row;
    }
    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        row->target = row->is_sight ? (3 - row->target) % 3 : 3 - row->target;
    }
    for (size_t k = 0; k < 2; k++) {
        const struct scene_edge edge = s.edges[k];
        s.edges[k] = s.edges[3 - k];
        s.edges[3 - k] = edge;
    }
    const struct scene_mark mark = s.marks[1];
    s.marks[1] = s.marks[2];
    s.marks[2] = mark;
    struct tiptrue_solution *after = scene_solve(&s, &rows, false);
    for (size_t t = 0; t < after->n_tips; t++) {
        check_tip(&after->tips[t], &before->tips[t], &nothing);
    }
    for (size_t k = 0; k < 2; k++) {
        ck_assert_str_eq(after->poses[k].setup, before->poses[1 - k].setup);
        ck_assert_double_eq_tol(after->poses[k].mark.x_mm, before->poses[1 - k].mark.x_mm, 1e-9);
        ck_assert_double_eq_tol(after->poses[k].u_yaw_rad, before->poses[1 - k].u_yaw_rad, 1e-10);
    }
    for (size_t k = 0; k < 4; k++) {
        ck_assert_str_eq(after->edges[k].name, before->edges[3 - k].name);
        ck_assert_uint_eq(after->edges[k].used, before->edges[3 - k].used);
        ck_assert_double_eq_tol(after->edges[k].shift_mm, before->edges[3 - k].shift_mm, 1e-9);
        ck_assert_double_eq_tol(after->edges[k].u_shift_mm, before->edges[3 - k].u_shift_mm, 1e-9);
    }
    tiptrue_solution_free(after);
    tiptrue_solution_free(before);
    scene_rows_free(&rows);
}
END_TEST

/* Other names: the same numbers to the last bit. */
START_TEST(names)
{
    struct scene s = rich_scene();
    struct scene_rows rows = rich_rows(&s);
    struct tiptrue_solution *before = scene_solve(&s, &rows, false);
    static const char *const others[] = {"zulu", "yankee", "x ray", "whisky"};
    for (size_t k = 0; k < 4; k++) {
        s.edges[k].name = others[k];
        s.edges[k].group = s.edges[k].group != NULL ? "bravo" : NULL;
    }
    s.groups[0].name = "bravo";
    s.tips[0].name = "9";
    s.tips[1].name = "1";
    s.setups[0].name = "second";
    s.setups[1].name = "first";
    s.marks[0].name = "M";
    struct tiptrue_solution *after = scene_solve(&s, &rows, false);
    for (size_t t = 0; t < 2; t++) {
        const struct tt_tip_result *a = &after->tips[t], *b = &before->tips[t];
        ck_assert_str_eq(a->name, t == 0 ? "9" : "1");
        ck_assert(memcmp(&a->offset, &b->offset, sizeof a->offset) == 0 &&
                  memcmp(&a->cov, &b->cov, sizeof a->cov) == 0);
        ck_assert(memcmp(&a->runout, &b->runout, sizeof a->runout) == 0);
    }
    ck_assert_str_eq(after->poses[0].setup, "second");
    ck_assert_str_eq(after->edges[2].name, "x ray");
    tiptrue_solution_free(after);
    tiptrue_solution_free(before);
    scene_rows_free(&rows);
}
END_TEST

/* The same head positions logged a whole number of turns on. */
START_TEST(whole_turns)
{
    struct scene s = rich_scene();
    struct scene_rows rows = rich_rows(&s);
    struct tiptrue_solution *before = scene_solve(&s, &rows, false);
    for (size_t i = 0; i < rows.n; i++) {
        rows.row[i].rotation_deg += 360 * ((double)(i % 5) - 2);
    }
    struct tiptrue_solution *after = scene_solve(&s, &rows, false);
    check_follows(after, before, &nothing);
    tiptrue_solution_free(after);
    tiptrue_solution_free(before);
    scene_rows_free(&rows);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("symmetry");
    TCase *frames = tcase_create("frames");
    tcase_add_loop_test(frames, machine_frame, 0, (int)(sizeof changes / sizeof changes[0]));
    tcase_add_test(frames, sense);
    tcase_add_test(frames, whole_turns);
    suite_add_tcase(suite, frames);
    TCase *files = tcase_create("files");
    tcase_add_loop_test(files, inches, 1, 8);
    tcase_add_test(files, order_of_rows);
    tcase_add_test(files, order_of_features);
    tcase_add_test(files, names);
    suite_add_tcase(suite, files);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
