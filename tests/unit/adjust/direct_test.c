/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The direct fits: straightness against a line fitted here, by regression, through contacts that
 * the scene's truth gives; what they say of an edge that is turned, of a spindle that wobbles twice
 * a turn, and of runs that are clean. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "scene.h"

#define DEG (3.14159265358979323846 / 180)

/* Three micrometres of scatter, 36 rotations of which each edge sees four places. */
static struct scene bench(unsigned long seed)
{
    struct scene s = scene_usual(seed);

    s.rotations = 36;
    s.spread = 0.2;
    s.setups[0].yaw_deg = 27.5;
    return s;
}

/* Place of the contact of @row along its edge, from the edge's middle, and the edge's length. */
static double along_of(const struct scene *s, const struct scene_row *row, double *length)
{
    const struct scene_edge *e = &s->edges[row->target];
    const struct scene_tip *tip = &s->tips[row->tip];
    const struct scene_setup *pose = &s->setups[row->setup];
    double theta = (s->clockwise ? -row->rotation_deg : row->rotation_deg) * DEG,
           yaw = pose->yaw_deg * DEG;
    double x = row->x + tip->offset_x + cos(theta) * tip->runout_x - sin(theta) * tip->runout_y -
               pose->mark_x,
           y = row->y + tip->offset_y + sin(theta) * tip->runout_x + cos(theta) * tip->runout_y -
               pose->mark_y;
    double u = cos(yaw) * x + sin(yaw) * y - 0.5 * (e->from_x + e->to_x),
           v = cos(yaw) * y - sin(yaw) * x - 0.5 * (e->from_y + e->to_y);

    *length = hypot(e->to_x - e->from_x, e->to_y - e->from_y);
    return (u * (e->to_x - e->from_x) + v * (e->to_y - e->from_y)) / *length;
}

/* What is true of @edge turned counter-clockwise by @turned_rad about the mean of where bench()
 * touches it: contacts come nearer or deeper. From free_right the free side is to the right of
 * from-to. */
static void turn_edge(const struct scene *s, struct scene_rows *rows, size_t edge,
                      double turned_rad)
{
    for (size_t i = 0; i < rows->n; i++) {
        double length;
        if (!rows->row[i].is_sight && rows->row[i].target == edge) {
            double along = along_of(s, &rows->row[i], &length),
                   left = turned_rad * (along - 0.1 * length);
            scene_deepen(&rows->row[i], s->edges[edge].free_right ? left : -left);
        }
    }
}

static struct tiptrue_solution *solved(const struct scene *s, struct scene_rows *rows)
{
    struct tiptrue_solution *solution = scene_solve(s, rows, false);
    scene_rows_free(rows);
    return solution;
}

/* Peak to valley about the regression line of residual on place: an orthogonal line over
 * millimetres with micrometres of height is the same to 1e-6 of it. */
START_TEST(straightness)
{
    struct scene s = bench(20260101);
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 0; i < rows.n; i++) {
        double length, along = along_of(&s, &rows.row[i], &length);
        if (!rows.row[i].is_sight && rows.row[i].target == 1) {
            scene_deepen(&rows.row[i], 4.7e-3 * along * along / (length * length));
        }
    }
    struct tiptrue_solution *solution = scene_solve(&s, &rows, false);
    const struct tt_edge_result *edge = &solution->edges[_i];
    double n = 0, t = 0, tt = 0, r = 0, tr = 0, low = HUGE_VAL, high = -HUGE_VAL, length;
    for (int pass = 0; pass < 2; pass++) {
        double slope = pass == 1 ? (tr - t * r / n) / (tt - t * t / n) : 0;
        for (size_t i = 0; i < rows.n; i++) {
            const struct tt_row_result *row = &solution->rows[i];
            if (row->kind != TT_TOUCH || row->set_aside || strcmp(row->target, edge->name) != 0) {
                continue;
            }
            double along = along_of(&s, &rows.row[i], &length);
            if (pass == 0) {
                n++;
                t += along;
                tt += along * along;
                r += row->residual_mm;
                tr += along * row->residual_mm;
            } else {
                double off = row->residual_mm - r / n - slope * (along - t / n);
                low = fmin(low, off);
                high = fmax(high, off);
            }
        }
    }
    ck_assert_uint_eq((size_t)n, edge->used);
    ck_assert(high - low > 8e-3);
    ck_assert_double_eq_tol(edge->straightness_mm, high - low, 1e-6);
    tiptrue_solution_free(solution);
    scene_rows_free(&rows);
}
END_TEST

/* One place: no line. Three are there from 0.5 mm apart on. */
START_TEST(places)
{
    struct scene s = bench(20260102);
    double length = hypot(s.edges[0].to_x - s.edges[0].from_x, s.edges[0].to_y - s.edges[0].from_y);
    static const struct {
        double apart_mm;
        bool told;
    } CASES[] = {{0, false}, {0.24, false}, {0.45, false}, {0.75, true}};
    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        s.spread = CASES[k].apart_mm / length; /* four places, three steps */
        struct scene_rows rows = scene_simulate(&s);
        struct tiptrue_solution *solution = solved(&s, &rows);
        ck_assert_msg(isfinite(solution->edges[0].straightness_mm) == CASES[k].told,
                      "places %g mm apart: %g", CASES[k].apart_mm,
                      solution->edges[0].straightness_mm);
        tiptrue_solution_free(solution);
    }
}
END_TEST

static double number(const struct tt_finding *finding, const char *key)
{
    const struct tt_value *value = tt_finding_value(finding, key);
    ck_assert_msg(value != NULL && value->text == NULL, "no number %s", key);
    return value->number;
}

/* Which edge, which way, how far; and its effect, against what the turn does to the same run. */
START_TEST(turned_edge)
{
    static const double TURNED_RAD[] = {2.6e-4, -2.4e-4};
    struct scene s = bench(20260103);
    const size_t edge = (size_t)_i % s.n_edges;
    const double turned = TURNED_RAD[_i % 2];
    s.sigma_touch = 2e-4;
    s.sigma_sight = 0;
    s.u_touch = 0;
    s.decimals = 0;
    struct scene_rows rows = scene_simulate(&s), plain = scene_simulate(&s);
    turn_edge(&s, &rows, edge, turned);
    struct tiptrue_solution *solution = solved(&s, &rows), *before = solved(&s, &plain);

    ck_assert_uint_eq(scene_count(before, TT_FINDING_FIT_DISAGREES), 0);
    const struct tt_finding *finding = scene_finding(solution, TT_FINDING_FIT_DISAGREES);
    ck_assert_uint_eq(scene_count(solution, TT_FINDING_FIT_DISAGREES), 1);
    ck_assert_str_eq(solution->edge_names[finding->edge], s.edges[edge].name);
    ck_assert_uint_eq(finding->tip, TT_NONE);
    ck_assert_str_eq(tt_finding_value(finding, "what")->text, "line");
    /* the yaw, which sightings hold, takes up little of it */
    ck_assert_double_eq_tol(number(finding, "turned") / turned, 1, 0.35);
    ck_assert_double_eq_tol(number(finding, "apart"),
                            fabs(number(finding, "turned")) * number(finding, "over"), 1e-9);
    ck_assert(number(finding, "u") > 0 &&
              fabs(number(finding, "apart")) > 4.5 * number(finding, "u"));
    const struct tt_tip_result *tip = &solution->tips[0];
    double moved = hypot(tip->offset.x_mm - before->tips[0].offset.x_mm,
                         tip->offset.y_mm - before->tips[0].offset.y_mm);
    ck_assert_msg(fabs(number(finding, "effect") - moved) < 0.25 * moved, "effect %g, %g",
                  number(finding, "effect"), moved);
    double u = fmin(tip->same_plate_expanded_x_mm, tip->same_plate_expanded_y_mm);
    ck_assert(finding->severity == TIPTRUE_WARNING || number(finding, "effect") > u);
    tiptrue_solution_free(solution);
    tiptrue_solution_free(before);
}
END_TEST

/* The touches in an order in which neighbours are far apart in rotation: nothing that happens at a
 * row looks like something that turns. */
static void shuffle(struct scene_rows *rows)
{
    size_t first = 0, n = 0;
    struct scene_row *copy = calloc(rows->n, sizeof *copy);

    ck_assert(copy != NULL);
    memcpy(copy, rows->row, rows->n * sizeof *copy);
    while (rows->row[first].is_sight) {
        first++;
    }
    n = rows->n - first;
    ck_assert(n % 29 != 0);
    for (size_t i = 0; i < n; i++) {
        rows->row[first + i] = copy[first + i * 29 % n];
    }
    free(copy);
}

/* A spindle whose axis goes round twice a turn: the centres' circle is moved by what a round one
 * cannot show, and the adjustment takes none of it. */
START_TEST(wobble)
{
    struct scene s = bench(20260104);
    const double size = _i == 0 ? 0 : 0.0025;
    s.tips[0].runout_x = 0.17;
    s.tips[0].runout_y = -0.11;
    s.sigma_touch = 0.001;
    s.u_touch = 0;
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        double twice = 2 * row->rotation_deg * DEG;
        if (!row->is_sight) {
            scene_deepen(row, size * (cos(twice) * row->n_x + sin(twice) * row->n_y));
        }
    }
    shuffle(&rows);
    struct tiptrue_solution *solution = solved(&s, &rows);
    if (size > 0) {
        const struct tt_finding *finding = scene_finding(solution, TT_FINDING_FIT_DISAGREES);
        ck_assert_str_eq(solution->tip_names[finding->tip], "t1");
        ck_assert_uint_eq(finding->edge, TT_NONE);
        ck_assert_str_eq(tt_finding_value(finding, "what")->text, "circle");
        ck_assert_double_eq(number(finding, "rotations"), 36);
        /* the centres are displaced by size (cos, sin)(2 theta); along the runout's direction
         * theta + phi that is size cos(theta - phi), of which a circle's centre takes all */
        ck_assert_double_eq_tol(number(finding, "apart") / size, 1, 0.15);
        ck_assert(number(finding, "u") < number(finding, "apart") / 4);
        ck_assert_double_eq_tol(number(finding, "radius"),
                                hypot(s.tips[0].runout_x, s.tips[0].runout_y), 2e-3);
    } else {
        ck_assert_uint_eq(scene_count(solution, TT_FINDING_FIT_DISAGREES), 0);
    }
    tiptrue_solution_free(solution);
}
END_TEST

/* Rotations on one side, and a runout that scatter hides: no circle, so nothing is said of one. */
START_TEST(no_circle)
{
    struct scene s = bench(20260105);
    s.sigma_touch = 0.001;
    s.u_touch = 0;
    if (_i == 0) {
        s.sweep_deg = 120;
    } else {
        s.tips[0].runout_x = 0.004;
        s.tips[0].runout_y = -0.003;
    }
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        double twice = 2 * row->rotation_deg * DEG;
        if (!row->is_sight) {
            scene_deepen(row, 0.006 * (cos(twice) * row->n_x + sin(twice) * row->n_y));
        }
    }
    struct tiptrue_solution *solution = solved(&s, &rows);
    ck_assert_uint_eq(scene_count(solution, TT_FINDING_FIT_DISAGREES), 0);
    tiptrue_solution_free(solution);
}
END_TEST

/* A run with a wobble of @size_mm and a runout of @runout_mm towards @towards_deg. */
static struct tiptrue_solution *wobbling(double size_mm, double runout_mm, double towards_deg)
{
    struct scene s = bench(20260106);
    s.tips[0].runout_x = runout_mm * cos(towards_deg * DEG);
    s.tips[0].runout_y = runout_mm * sin(towards_deg * DEG);
    s.sigma_touch = 0.0005;
    s.u_touch = 0;
    struct scene_rows rows = scene_simulate(&s);
    for (size_t i = 0; i < rows.n; i++) {
        struct scene_row *row = &rows.row[i];
        double twice = 2 * row->rotation_deg * DEG;
        if (!row->is_sight) {
            scene_deepen(row, size_mm * (cos(twice) * row->n_x + sin(twice) * row->n_y));
        }
    }
    shuffle(&rows);
    return solved(&s, &rows);
}

/* A wobble moves the circle's centre along the runout: told whichever way that is, and by how much;
 * one that scatter may be is not. */
START_TEST(wobble_along_an_axis)
{
    static const double TOWARDS_DEG[] = {0, 90, 180, 270, 33};

    for (size_t k = 0; k < sizeof TOWARDS_DEG / sizeof TOWARDS_DEG[0]; k++) {
        for (int told = 0; told < 2; told++) {
            double size_mm = told ? 0.0009 : 0.0003;
            struct tiptrue_solution *solution = wobbling(size_mm, 0.2, TOWARDS_DEG[k]);
            ck_assert_msg(scene_count(solution, TT_FINDING_FIT_DISAGREES) == (size_t)told,
                          "towards %g: %d", TOWARDS_DEG[k], told);
            tiptrue_solution_free(solution);
        }
    }
}
END_TEST

/* A circle is looked at where its radius is thirty standard deviations of a centre, which four
 * edges, two along each axis, give to a repeatability over sqrt(2). */
START_TEST(least_circle)
{
    double low = 0.01, high = 0.2, ratio = 0;

    while (high - low > 1e-3 * high) {
        double middle = 0.5 * (low + high);
        struct tiptrue_solution *solution = wobbling(0.0025, middle, -33);
        bool told = scene_count(solution, TT_FINDING_FIT_DISAGREES) > 0;
        low = told ? low : middle;
        high = told ? middle : high;
        ratio = solution->tips[0].eccentricity_mm / (solution->u_touch_mm / sqrt(2));
        tiptrue_solution_free(solution);
    }
    ck_assert_double_eq_tol(ratio, 30, 0.06);
}
END_TEST

/* 120 clean runs of three kinds; 1 in 400 would be a probability of 0.02 % each. */
START_TEST(clean_runs)
{
    for (unsigned long seed = 1; seed <= 40; seed++) {
        const struct scene scenes[] = {scene_usual(seed), scene_many_edges(seed), bench(seed)};
        struct tiptrue_solution *solution = scene_result(&scenes[_i]);
        ck_assert_uint_eq(scene_count(solution, TT_FINDING_FIT_DISAGREES), 0);
        tiptrue_solution_free(solution);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("direct");
    TCase *all = tcase_create("all");
    tcase_add_loop_test(all, straightness, 0, 4);
    tcase_add_test(all, places);
    tcase_add_loop_test(all, turned_edge, 0, 4);
    tcase_add_loop_test(all, wobble, 0, 2);
    tcase_add_loop_test(all, no_circle, 0, 2);
    tcase_add_test(all, wobble_along_an_axis);
    tcase_add_test(all, least_circle);
    tcase_add_loop_test(all, clean_runs, 0, 3);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
