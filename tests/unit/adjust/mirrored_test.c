/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Runs taken the wrong way: refused, and what would fit is named. Runs that are refused for other
 * reasons, and good ones, have nothing of the kind. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "scene.h"

/* Solve; the verdict is repeat, and the only finding of @code is an error of @kind with @words in
 * its text. */
static void expect(const struct scene *s, const struct scene_rows *rows, enum tt_finding_code code,
                   const char *kind, const char *words)
{
    struct tiptrue_solution *solution = scene_solve(s, rows, false);
    const struct tt_finding *finding = scene_finding(solution, code);

    ck_assert_int_eq(solution->verdict, TIPTRUE_REPEAT);
    ck_assert_uint_eq(scene_count(solution, code), 1);
    ck_assert_int_eq(finding->severity, TIPTRUE_ERROR);
    ck_assert_msg(strcmp(tt_finding_value(finding, "kind")->text, kind) == 0, "%s", finding->text);
    CHECK_WORDS(finding->text, words);
    tiptrue_solution_free(solution);
}

static void expect_none(const struct scene *s, const struct scene_rows *rows)
{
    struct tiptrue_solution *solution = scene_solve(s, rows, false);

    ck_assert_uint_eq(scene_count(solution, TT_FINDING_MIRRORED), 0);
    ck_assert_uint_eq(scene_count(solution, TT_FINDING_TIPS_EXCHANGED), 0);
    tiptrue_solution_free(solution);
}

/* Two tips that differ, one setup, the yaw roughly stated. */
static struct scene two_tips(unsigned long seed)
{
    struct scene s = scene_usual(seed);

    s.n_tips = 2;
    s.tips[1] = (struct scene_tip){.name = "t2",
                                   .offset_x = -19.75,
                                   .offset_y = 13.0625,
                                   .runout_x = -0.045,
                                   .runout_y = 0.0125,
                                   .radius = 0.4105};
    s.has_yaw = true;
    s.u_yaw_deg = 2;
    return s;
}

/* Each row of the log with an axis counted the other way, or with its axes exchanged. */
START_TEST(axes_of_the_log)
{
    static const char *const kinds[] = {"x-sign", "y-sign", "xy-exchanged"};
    struct scene s = two_tips(20261210);
    struct scene_rows rows = scene_simulate(&s);

    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        const double x = row->x, y = row->y;
        row->x = _i == 0 ? -x : _i == 1 ? x : y;
        row->y = _i == 0 ? y : _i == 1 ? -y : x;
    }
    expect(&s, &rows, TT_FINDING_MIRRORED, kinds[_i],
           _i == 2 ? "columns" : "counted the other way");
    scene_rows_free(&rows);
}
END_TEST

START_TEST(plate_file_mirrored)
{
    struct scene s = two_tips(20261211);
    struct scene_rows rows = scene_simulate(&s);

    for (size_t k = 0; k < s.n_edges; k++) {
        s.edges[k].from_x = -s.edges[k].from_x;
        s.edges[k].to_x = -s.edges[k].to_x;
        s.edges[k].free_right = !s.edges[k].free_right;
    }
    for (size_t k = 0; k < s.n_marks; k++) {
        s.marks[k].x = -s.marks[k].x;
    }
    expect(&s, &rows, TT_FINDING_MIRRORED, "plate-mirrored", "signs of x");
    scene_rows_free(&rows);
}
END_TEST

/* The labels of two edges exchanged, for both tips or for the second one; of all four moved round.
 */
START_TEST(labels_exchanged)
{
    static const struct {
        const char *kind, *words;
    } cases[] = {{"edges-exchanged", "'left' and 'right'"},
                 {"edges-exchanged", "'lower' and 'right' were exchanged in the rows of 't2'"},
                 {"edges-turned", "its neighbour"}};
    static const size_t swapped[] = {1, 0, 2, 3}, second[] = {0, 2, 1, 3}, turned[] = {2, 3, 1, 0};
    const size_t *labels = _i == 0 ? swapped : _i == 1 ? second : turned;
    struct scene s = two_tips(20261212);
    struct scene_rows rows = scene_simulate(&s);

    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        if (!row->is_sight && (_i != 1 || row->tip == 1)) {
            row->target = labels[row->target];
        }
    }
    expect(&s, &rows, TT_FINDING_MIRRORED, cases[_i].kind, cases[_i].words);
    scene_rows_free(&rows);
}
END_TEST

START_TEST(marks_exchanged)
{
    struct scene s = two_tips(20261213);
    struct scene_rows rows = scene_simulate(&s);

    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        row->target = !row->is_sight || row->target == 1 ? row->target : 2 - row->target;
    }
    expect(&s, &rows, TT_FINDING_MIRRORED, "marks-exchanged", "'A' and 'C'");
    scene_rows_free(&rows);
}
END_TEST

/* Twice and half of the rotations, with a runout that shows it. */
START_TEST(gear_of_the_rotation)
{
    struct scene s = two_tips(20261214);

    s.tips[0].runout_x = 0.14;
    s.tips[0].radius = 0.4481;
    s.rotations = 11;
    s.sweep_deg = 720.0 * 11 / 12;
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 0; i < rows.n; i++) {
        rows.row[i].rotation_deg *= _i == 0 ? 2 : 0.5;
    }
    expect(&s, &rows, TT_FINDING_MIRRORED, _i == 0 ? "rotations-halved" : "rotations-doubled",
           "gear");
    scene_rows_free(&rows);
}
END_TEST

/* The controller has taken the radii off the positions: found is nothing, stated 0.25 and 0.41 mm.
 */
START_TEST(radius_taken_off)
{
    struct scene s = two_tips(20261215);

    for (size_t t = 0; t < 2; t++) {
        s.tips[t].stated_radius = s.tips[t].radius;
        s.tips[t].u_radius = 0.004;
        s.tips[t].radius = 0;
    }
    for (size_t k = 0; k < s.n_edges; k++) {
        s.edges[k].u = 0.004;
    }
    struct scene_rows rows = scene_simulate(&s);
    expect(&s, &rows, TT_FINDING_MIRRORED, "radii", "taken the radius off");
    scene_rows_free(&rows);
}
END_TEST

/* Two tips exchanged: told by the offsets in use, or by the stated radii. Not when only one is
 * elsewhere. */
START_TEST(tips_exchanged)
{
    struct scene s = two_tips(20261216);

    for (size_t t = 0; t < 2; t++) {
        s.tips[t].has_present = _i == 0;
        s.tips[t].present_x = s.tips[1 - t].offset_x + 0.1;
        s.tips[t].present_y = s.tips[1 - t].offset_y;
        s.tips[t].stated_radius = _i == 1 ? s.tips[1 - t].radius : 0;
        s.tips[t].u_radius = _i == 1 ? 0.01 : 0;
    }
    struct scene_rows rows = scene_simulate(&s);
    expect(&s, &rows, TT_FINDING_TIPS_EXCHANGED, _i == 0 ? "offset" : "radius", "'t1'");
    s.tips[1].present_x += 3;
    s.tips[1].stated_radius = 0;
    s.tips[1].u_radius = 0;
    struct tiptrue_solution *solution = scene_solve(&s, &rows, false);
    ck_assert_uint_eq(scene_count(solution, TT_FINDING_TIPS_EXCHANGED), 0);
    tiptrue_solution_free(solution);
    scene_rows_free(&rows);
}
END_TEST

/* Good runs, a tip that was changed, an edge that lies elsewhere, film on half of the touches: no
 * other way. */
START_TEST(other_faults_have_none)
{
    struct scene s = two_tips(20261217 + (unsigned long)_i);
    struct scene_rows rows = scene_simulate(&s);

    expect_none(&s, &rows);
    s.tips[0].has_present = true;
    s.tips[0].present_x = s.tips[0].offset_x + 0.7;
    s.tips[0].present_y = s.tips[0].offset_y;
    expect_none(&s, &rows);
    s.edges[_i % 4].from_x += 0.4;
    s.edges[_i % 4].to_x += 0.4;
    s.edges[_i % 4].from_y -= 0.4;
    s.edges[_i % 4].to_y -= 0.4;
    expect_none(&s, &rows);
    for (size_t i = 1; i < rows.n; i += 2) {
        if (!rows.row[i].is_sight) {
            scene_deepen(&rows.row[i], 0.05 + 0.01 * (double)(i % 7));
        }
    }
    expect_none(&s, &rows);
    scene_rows_free(&rows);
}
END_TEST

/* The misfit of the run with x counted the other way, whose touches repeat to @sigma_mm; 0: it is
 * not told. */
static double misfit_at(double sigma_mm)
{
    struct scene s = two_tips(20261219);
    s.sigma_touch = sigma_mm;
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 0; i < rows.n; i++) {
        rows.row[i].x = -rows.row[i].x;
    }
    struct tiptrue_solution *solution = scene_solve(&s, &rows, false);
    double misfit = 0;
    if (scene_count(solution, TT_FINDING_MIRRORED) > 0) {
        const struct tt_finding *finding = scene_finding(solution, TT_FINDING_MIRRORED);
        misfit = tt_finding_value(finding, "misfit")->number;
    }
    tiptrue_solution_free(solution);
    scene_rows_free(&rows);
    return misfit;
}

/* A way that fits to twenty repeatabilities is told, and no other: where touches scatter by more.
 */
START_TEST(fits_to_twenty)
{
    double low = 0.04, high = 0.09, misfit = 0;

    ck_assert(misfit_at(low) > 0);
    ck_assert(!(misfit_at(high) > 0));
    while (high - low > 2e-4 * high) {
        double middle = 0.5 * (low + high), found = misfit_at(middle);
        misfit = found > 0 ? found : misfit;
        low = found > 0 ? middle : low;
        high = found > 0 ? high : middle;
    }
    ck_assert_double_eq_tol(misfit, 20, 0.02);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("mirrored");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 120);
    tcase_add_loop_test(tcase, axes_of_the_log, 0, 3);
    tcase_add_test(tcase, plate_file_mirrored);
    tcase_add_loop_test(tcase, labels_exchanged, 0, 3);
    tcase_add_test(tcase, marks_exchanged);
    tcase_add_test(tcase, fits_to_twenty);
    tcase_add_loop_test(tcase, gear_of_the_rotation, 0, 2);
    tcase_add_test(tcase, radius_taken_off);
    tcase_add_loop_test(tcase, tips_exchanged, 0, 2);
    tcase_add_loop_test(tcase, other_faults_have_none, 0, 8);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
