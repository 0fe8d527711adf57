/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* External reliability: the effect that is told against what a fault of that size does to a
 * noise-free run that is solved by least squares, which no part of the code under test has a hand
 * in; its size against the misfit that it leaves there, and against the two modes' odds written
 * out. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/check.h"
#include "model/between.h"
#include "scene.h"

/* Edges askew and known to 4 to 9 um, marks to 7 and 8.5 um, two tips, the plate at 27.5 degrees;
 * the log is exact. */
static struct scene uneven(void)
{
    struct scene s = scene_many_edges(1);
    for (size_t k = 0; k < s.n_edges; k++) {
        s.edges[k].u = 0.004 + 0.0007 * (double)k;
    }
    s.edges[2].u = 0; /* exact: no unknown of its own */
    s.n_edges = 6;
    s.marks[1].u = 0.007;
    s.marks[2].u = 0.0085;
    s.sigma_touch = s.sigma_sight = 0;
    s.decimals = 0;
    s.setups[0].yaw_deg = 27.5;
    s.n_tips = 2;
    s.tips[1] = (struct scene_tip){.name = "t2",
                                   .offset_x = -19.75,
                                   .offset_y = 13.0625,
                                   .runout_x = -0.045,
                                   .runout_y = 0.0125,
                                   .radius = 0.3105};
    return s;
}

static struct tiptrue_solution *plain_solution(const struct scene *s)
{
    struct scene_rows rows = scene_simulate(s);
    struct tiptrue_solution *solution = scene_solve(s, &rows, true);
    scene_rows_free(&rows);
    return solution;
}

/* How far the offset that moves most is away from the truth. */
static double farthest_mm(const struct tiptrue_solution *solution, const struct scene *s)
{
    double most = 0;
    for (size_t t = 0; t < s->n_tips; t++) {
        const struct tt_tip_result *tip = &solution->tips[t];
        most = fmax(most, hypot(tip->offset.x_mm - s->tips[t].offset_x,
                                tip->offset.y_mm - s->tips[t].offset_y));
    }
    return most;
}

/* Sum of squares, in their standard deviations, of what an exact run with one fault leaves: by
 * definition H times its square. */
static double misfit(const struct tiptrue_solution *solution, const struct scene *s)
{
    double sum = 0;
    for (size_t i = 0; i < solution->n_rows; i++) {
        const struct tt_row_result *row = &solution->rows[i];
        double u = row->kind == TT_TOUCH ? s->u_touch : s->u_sight;
        sum += (row->residual_mm * row->residual_mm + row->residual_y_mm * row->residual_y_mm) /
               (u * u);
    }
    for (size_t i = 0; i < solution->n_edges; i++) {
        sum += s->edges[i].u > 0 ? pow(solution->edges[i].shift_mm / s->edges[i].u, 2) : 0;
    }
    return sum;
}

/* From where the likelier one of two modes of size f1, f2 and probability @p has odds above 1, in
 * standard deviations. */
static double seen_from(double h, double f1, double p1, double f2, double p2, double dof)
{
    double a = log(1 + f1 * f1 * h) - 2 * log(p1), b = log(1 + f2 * f2 * h) - 2 * log(p2);
    a = dof * (exp(a / dof) - 1);
    b = dof * (exp(b / dof) - 1);
    return fmin(sqrt(a * (1 + 1 / (f1 * f1 * h))), sqrt(b * (1 + 1 / (f2 * f2 * h)))) + 1.28;
}

START_TEST(edge)
{
    struct scene s = uneven();
    for (size_t k = 0; k < 3;
         k++) { /* marks are exact here: their own shifts are not in a result */
        s.marks[k].u = 0;
    }
    struct tiptrue_solution *right = plain_solution(&s);
    ck_assert_double_lt(farthest_mm(right, &s), 1e-6);
    double told = right->edges[_i].unseen_effect_mm, size = right->edges[_i].unseen_shift_mm;
    ck_assert_double_gt(size, 0.005);
    s.edges[_i].shift = size;
    struct tiptrue_solution *wrong = plain_solution(&s);
    ck_assert_double_eq_tol(farthest_mm(wrong, &s) / told, 1, 0.01);
    double z2 = misfit(wrong, &s);
    ck_assert_double_eq_tol(
        sqrt(z2) / seen_from(z2 / (size * size), 0.06, 0.03 / 6, 5, 0.01 / 6, 1e9), 1, 0.01);
    tiptrue_solution_free(right);
    tiptrue_solution_free(wrong);
}
END_TEST

/* From the misfits of faults in many directions: the size is that of the direction seen worst, the
 * effect the largest of all, each with the size from which that direction is seen. */
START_TEST(mark)
{
    enum { DIRECTIONS = 72 };
    struct scene s = uneven();
    for (size_t k = 0; k < 3; k++) {
        s.marks[k].u = 0;
    }
    struct tiptrue_solution *right = plain_solution(&s);
    ck_assert_uint_eq(right->n_marks, 3);
    ck_assert_str_eq(right->marks[_i].name, s.marks[_i].name);
    double size = right->marks[_i].unseen_shift_mm, h[DIRECTIONS], moved[DIRECTIONS],
           least = HUGE_VAL, most = 0;
    for (int k = 0; k < DIRECTIONS; k++) {
        double angle = k * acos(-1) / DIRECTIONS;
        s.marks[_i].shift_x = size * cos(angle);
        s.marks[_i].shift_y = size * sin(angle);
        struct tiptrue_solution *wrong = plain_solution(&s);
        h[k] = misfit(wrong, &s) / (size * size);
        moved[k] = farthest_mm(wrong, &s);
        least = fmin(least, h[k]);
        tiptrue_solution_free(wrong);
    }
    for (int k = 0; k < DIRECTIONS; k++) {
        most = fmax(most, moved[k] * sqrt(least / h[k]));
    }
    ck_assert_double_eq_tol(right->marks[_i].unseen_effect_mm / most, 1, 0.01);
    double xy = h[DIRECTIONS / 4] - 0.5 * (h[0] + h[DIRECTIONS / 2]), z2[2];
    static const double SIZES[2] = {0.05, 3};
    for (int k = 0; k < 2; k++) {
        double f2 = SIZES[k] * SIZES[k],
               det = (1 + f2 * h[0]) * (1 + f2 * h[DIRECTIONS / 2]) - f2 * f2 * xy * xy;
        z2[k] = (log(det) - 2 * log(0.01 / 3)) * (1 + 1 / (f2 * least));
    }
    ck_assert_double_eq_tol((sqrt(fmin(z2[0], z2[1])) + 1.28) / (size * sqrt(least)), 1, 0.01);
    tiptrue_solution_free(right);
}
END_TEST

/* A mark with a u, which is an unknown, and an exact one take different ways: at a u of 10 nm both
 * give the same. */
START_TEST(nearly_exact_mark)
{
    struct scene s = uneven();
    s.marks[_i].u = 1e-5;
    struct tiptrue_solution *nearly = plain_solution(&s);
    s.marks[_i].u = 0;
    struct tiptrue_solution *exact = plain_solution(&s);
    ck_assert_double_eq_tol(nearly->marks[_i].unseen_shift_mm / exact->marks[_i].unseen_shift_mm, 1,
                            1e-3);
    ck_assert_double_eq_tol(nearly->marks[_i].unseen_effect_mm / exact->marks[_i].unseen_effect_mm,
                            1, 1e-3);
    tiptrue_solution_free(nearly);
    tiptrue_solution_free(exact);
}
END_TEST

/* What nothing else can contradict is never seen: the only mark; and it is told before the run is
 * solved, too. */
START_TEST(never_seen)
{
    struct scene s = uneven();
    s.n_marks = 1;
    s.has_yaw = true;
    s.nominal_yaw_deg = 27.5;
    s.u_yaw_deg = 0.1;
    struct tiptrue_solution *solution = plain_solution(&s);
    ck_assert_uint_eq(solution->n_marks, 1);
    ck_assert(isnan(solution->marks[0].unseen_shift_mm) &&
              isnan(solution->marks[0].unseen_effect_mm));
    ck_assert(isfinite(solution->edges[0].unseen_shift_mm));
    tiptrue_solution_free(solution);
}
END_TEST

START_TEST(before_the_run)
{
    struct scene s = uneven();
    struct scene_rows rows = scene_simulate(&s);
    struct scene_read read = scene_read(&s, &rows);
    struct tt_adjust_workspace *workspace = NULL;
    struct tiptrue_solution *before = NULL, *solution = plain_solution(&s);
    ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_check(workspace, read.plate, read.machine, read.run, &before, NULL),
                     TIPTRUE_OK);
    ck_assert_uint_eq(before->n_edges, 6);
    for (size_t j = 0; j < 6; j++) {
        ck_assert_double_eq_tol(
            before->edges[j].unseen_shift_mm / solution->edges[j].unseen_shift_mm, 1, 0.02);
        ck_assert_double_eq_tol(
            before->edges[j].unseen_effect_mm / solution->edges[j].unseen_effect_mm, 1, 0.02);
    }
    tiptrue_solution_free(before);
    tiptrue_solution_free(solution);
    tt_adjust_workspace_free(workspace);
    scene_read_free(&read);
    scene_rows_free(&rows);
}
END_TEST

/* As with a history: what the solution makes of edges that shift is in it. */
static struct tiptrue_solution *solved_with_history(const struct scene *s)
{
    static const struct tiptrue_between NONE = {0};
    const struct tiptrue_solve_options options = {.between = &NONE};
    struct scene_rows rows = scene_simulate(s);
    struct scene_read read = scene_read(s, &rows);
    struct tt_adjust_workspace *workspace = NULL;
    struct tiptrue_solution *solution = NULL;
    ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
    ck_assert_int_eq(
        tt_adjust(workspace, read.plate, read.machine, read.run, &options, &solution, NULL),
        TIPTRUE_OK);
    tt_adjust_workspace_free(workspace);
    scene_read_free(&read);
    scene_rows_free(&rows);
    return solution;
}

/* Against solving an exact log again whose edge truly lies 1 um further out: offsets with the plate
 * held, radii, all edges' own shifts. Edge 2 is exact: it has no shift of its own. */
START_TEST(response)
{
    struct scene s = uneven();
    const double by = 1e-3;
    struct tiptrue_solution *right = solved_with_history(&s);
    s.edges[_i].shift = by;
    struct tiptrue_solution *moved = solved_with_history(&s);
    double most = 0;
    for (size_t t = 0; t < s.n_tips; t++) {
        const struct tt_tip_result *a = &right->tips[t], *b = &moved->tips[t];
        const double *told = a->edge_response + 3 * _i;
        ck_assert_double_eq_tol(told[0], (b->held.x_mm - a->held.x_mm) / by, 2e-3);
        ck_assert_double_eq_tol(told[1], (b->held.y_mm - a->held.y_mm) / by, 2e-3);
        ck_assert_double_eq_tol(told[2], (b->contact_radius_mm - a->contact_radius_mm) / by, 2e-3);
        most = fmax(most, fmax(fabs(told[0]), fabs(told[1])));
    }
    ck_assert_double_gt(most, 0.05);
    for (size_t i = 0; i < right->n_edges; i++) {
        ck_assert_double_eq_tol(right->edges[i].edge_response[_i],
                                (moved->edges[i].shift_mm - right->edges[i].shift_mm) / by, 2e-3);
    }
    ck_assert(_i == 2 || right->edges[_i].edge_response[_i] > 0.1);
    tiptrue_solution_free(right);
    tiptrue_solution_free(moved);
}
END_TEST

/* Of marks only those that were sighted are told. */
START_TEST(marks_that_were_sighted)
{
    struct scene s = scene_usual(20261131);
    struct scene_rows rows = scene_simulate(&s);
    size_t kept = 0;

    for (size_t i = 0; i < rows.n; i++) {
        if (!rows.row[i].is_sight || rows.row[i].target != 1) {
            rows.row[kept++] = rows.row[i];
        }
    }
    rows.n = kept;
    struct tiptrue_solution *solution = scene_solve(&s, &rows, false);
    ck_assert_uint_eq(solution->n_marks, 2);
    ck_assert_str_eq(solution->marks[0].name, "A");
    ck_assert_str_eq(solution->marks[1].name, "C");
    tiptrue_solution_free(solution);
    scene_rows_free(&rows);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("unseen");
    TCase *all = tcase_create("all");
    tcase_add_loop_test(all, edge, 0, 6);
    tcase_add_loop_test(all, mark, 0, 3);
    tcase_add_loop_test(all, nearly_exact_mark, 0, 3);
    tcase_add_test(all, never_seen);
    tcase_add_test(all, before_the_run);
    tcase_add_loop_test(all, response, 0, 6);
    tcase_add_test(all, marks_that_were_sighted);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
