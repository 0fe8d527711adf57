/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a shifted edge does to a run's numbers: as it is kept, so it comes back, each number at its
 * tip, its edge and its axis; where the run has not all tips or edges of the series too. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "history/series/series.h"
#include "history/store/response.h"

enum { EDGES = 2, TIPS = 3 };

/* A solution of three tips, of which the second was not measured, and two edges; of each tip three
 * numbers for each edge and three of lost motion, of each edge one for each edge and one. */
struct made {
    struct tiptrue_solution solution;
    struct tt_tip_result tips[TIPS];
    struct tt_edge_result edges[EDGES];
    double of_tip[TIPS][3 * (EDGES + 1)], of_edge[EDGES][EDGES + 1];
    struct tt_arena arena;
    struct tt_series series;
};

static void make(struct made *m)
{
    *m = (struct made){0};
    for (size_t i = 0; i < TIPS; i++) {
        for (size_t k = 0; k < 3 * (EDGES + 1); k++) {
            m->of_tip[i][k] = 0.031 + 0.113 * (double)i - 0.0172 * (double)k;
        }
        m->tips[i] =
            (struct tt_tip_result){.verdict = i == 1 ? TIPTRUE_NOT_MEASURED : TIPTRUE_UPDATE,
                                   .edge_response = m->of_tip[i]};
    }
    for (size_t i = 0; i < EDGES; i++) {
        for (size_t k = 0; k < EDGES + 1; k++) {
            m->of_edge[i][k] = -0.217 + 0.301 * (double)i + 0.0433 * (double)k;
        }
        m->edges[i].edge_response = m->of_edge[i];
    }
    m->solution = (struct tiptrue_solution){.tips = m->tips,
                                            .n_tips = TIPS,
                                            .edges = m->edges,
                                            .n_edges = EDGES,
                                            .own_touch_mm = 0.00271,
                                            .own_touch_dof = 33.25,
                                            .own_sighting_mm = 0.00187,
                                            .own_sighting_dof = 6.5};
    m->series.arena = &m->arena;
    /* the series knows a tip and an edge more, and has them in another order */
    ck_assert_uint_eq(tt_series_tip_index(&m->series, "third"), 0);
    ck_assert_uint_eq(tt_series_tip_index(&m->series, "strange"), 1);
    ck_assert_uint_eq(tt_series_tip_index(&m->series, "first"), 2);
    ck_assert_uint_eq(tt_series_edge_index(&m->series, "south"), 0);
    ck_assert_uint_eq(tt_series_edge_index(&m->series, "strange"), 1);
    ck_assert_uint_eq(tt_series_edge_index(&m->series, "north"), 2);
    struct tt_series_run *run = tt_series_new_run(&m->series, 2, EDGES);
    ck_assert_ptr_nonnull(run);
    run->tips[0].tip = 2;
    run->tips[1].tip = 0;
    run->edges[0].edge = 2;
    run->edges[1].edge = 0;
}

static void check_xy(const struct tt_series_response *r, size_t tip, double x, double y,
                     double radius)
{
    ck_assert_double_eq_tol(r->offset[tip].x_mm, x, 1e-6);
    ck_assert_double_eq_tol(r->offset[tip].y_mm, y, 1e-6);
    ck_assert_double_eq_tol(r->radius[tip], radius, 1e-6);
}

/* The answers to a shift of the @k-th edge of the solution, or to lost motion where it is EDGES. */
static void check_response(const struct made *m, const struct tt_series_response *r, size_t k)
{
    const double *first = m->of_tip[0] + 3 * k, *third = m->of_tip[2] + 3 * k;
    check_xy(r, 2, first[0], first[1], first[2]);
    check_xy(r, 0, third[0], third[1], third[2]);
    /* a tip that the run has not answers as the mean of the others */
    check_xy(r, 1, (first[0] + third[0]) / 2, (first[1] + third[1]) / 2, (first[2] + third[2]) / 2);
    ck_assert_double_eq_tol(r->edge[2], m->of_edge[0][k], 1e-6);
    ck_assert_double_eq_tol(r->edge[0], m->of_edge[1][k], 1e-6);
    ck_assert_double_eq(r->edge[1], 0);
}

START_TEST(each_number_comes_back_at_its_place)
{
    struct made m;
    make(&m);
    ck_assert_int_eq(tt_response_take(&m.series, m.series.runs, &m.solution, NULL), TIPTRUE_OK);
    ck_assert_ptr_nonnull(m.series.response);
    ck_assert_ptr_nonnull(m.series.lost_motion);
    check_response(&m, &m.series.response[2], 0);
    check_response(&m, &m.series.response[0], 1);
    check_response(&m, m.series.lost_motion, EDGES);
    tt_arena_clear(&m.arena);
}
END_TEST

/* A run that took lost motion out does not say what it would do. */
START_TEST(lost_motion_that_was_taken_out)
{
    struct made m;
    make(&m);
    m.solution.has_lost_motion = true;
    ck_assert_int_eq(tt_response_take(&m.series, m.series.runs, &m.solution, NULL), TIPTRUE_OK);
    check_response(&m, &m.series.response[2], 0);
    check_response(&m, &m.series.response[0], 1);
    ck_assert_ptr_null(m.series.lost_motion);
    tt_arena_clear(&m.arena);
}
END_TEST

/* Nothing is taken where the solution does not know, or where it is not the run's. */
START_TEST(nothing_is_known)
{
    for (int what = 0; what < 5; what++) {
        struct made m;
        make(&m);
        m.tips[2].edge_response = what == 0 ? NULL : m.tips[2].edge_response;
        m.edges[1].edge_response = what == 1 ? NULL : m.edges[1].edge_response;
        m.solution.n_edges = what == 2 ? 0 : EDGES;
        m.series.runs[0].n_tips = what == 3 ? 1 : 2;
        m.series.runs[0].n_edges = what == 4 ? 1 : EDGES;
        ck_assert_int_eq(tt_response_take(&m.series, m.series.runs, &m.solution, NULL), TIPTRUE_OK);
        ck_assert_msg(m.series.response == NULL && m.series.lost_motion == NULL, "case %d", what);
        tt_arena_clear(&m.arena);
    }
}
END_TEST

START_TEST(what_the_run_shows_itself)
{
    struct made m;
    struct tt_series_run run = {0};
    make(&m);
    tt_response_own(&m.solution, &run);
    ck_assert_double_eq(run.own_touch_mm, 0.00271);
    ck_assert_double_eq(run.own_touch_dof, 33.25);
    ck_assert_double_eq(run.own_sighting_mm, 0.00187);
    ck_assert_double_eq(run.own_sighting_dof, 6.5);
    tt_arena_clear(&m.arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("history/response");
    TCase *tcase = tcase_create("response");
    tcase_add_test(tcase, each_number_comes_back_at_its_place);
    tcase_add_test(tcase, lost_motion_that_was_taken_out);
    tcase_add_test(tcase, nothing_is_known);
    tcase_add_test(tcase, what_the_run_shows_itself);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
