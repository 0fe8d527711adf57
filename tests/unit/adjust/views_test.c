/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Views and axes, on simulated runs with known truth: values, signs both ways, coverage, findings.
 * The simulation builds its rows from the definitions of docs/method.md (src/planning/picture.c),
 * the adjustment linearises its own. Bounds of counts: binomial, beyond 10^-4.
 */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../simulation/view_runs.h"
#include "adjust/uncertainty.h"
#include "planning/picture.h"
#include "adjust/views.h"
#include "recorded.h"

/* Which of the scales of 0.0173 and 0.0169 mm, the turn and the shear lie in their 95 % intervals.
 */
static void count_held(const struct scene *s, const struct tiptrue_solution *solution,
                       size_t held[4])
{
    const struct tt_camera_result *c = &solution->camera;
    double t = tt_factor_line(c->dof);

    held[0] += fabs(c->scale_x_mm - 0.0173) < t * c->u_scale_x_mm;
    held[1] += fabs(c->scale_y_mm - 0.0169) < t * c->u_scale_y_mm;
    held[2] += fabs(c->turn_rad - s->truth.camera.turn_rad) < t * c->u_turn_rad;
    held[3] += fabs(c->shear_rad - s->truth.camera.shear_rad) < t * c->u_shear_rad;
}

/* The solution of @run, which is freed. */
static struct tiptrue_solution *solved(const struct scene *s, struct tiptrue_run *run)
{
    struct tt_adjust_workspace *workspace = NULL;
    struct tiptrue_solution *solution = NULL;
    must(tt_adjust_workspace_new(&workspace, NULL) == TIPTRUE_OK);
    must(tt_adjust(workspace, s->plate, s->machine, run, NULL, &solution, NULL) == TIPTRUE_OK);
    tt_adjust_workspace_free(workspace);
    tiptrue_run_free(run);
    return solution;
}

static const struct tt_finding *finding(const struct tiptrue_solution *solution,
                                        enum tt_finding_code code)
{
    for (size_t i = 0; i < solution->n_findings; i++) {
        if (solution->findings[i].code == code) {
            return &solution->findings[i];
        }
    }
    return NULL;
}

static void check_kind(const struct tiptrue_solution *solution, enum tt_finding_code code,
                       const char *kind)
{
    const struct tt_finding *found = finding(solution, code);
    ck_assert_ptr_nonnull(found);
    ck_assert_str_eq(tt_finding_value(found, "kind")->text, kind);
}

static void near(double found, double wanted, double u)
{
    ck_assert_msg(fabs(found - wanted) < 5 * u, "%g is not %g within 5 times %g", found, wanted, u);
    ck_assert(u > 0);
}

START_TEST(views_tell_the_picture)
{
    static const double TURNS[] = {0.43, -3.7, 91.2, -176.5};
    for (size_t k = 0; k < 8; k++) {
        struct scene s;
        scene_make(&s, TT_VIEW, 2, 5, "0.0173, 0.0169", "0");
        s.machine->camera.has_scale = false; /* the head then goes by the truth */
        s.truth.camera.turn_rad = tt_rad_from_deg(TURNS[k % 4]);
        s.truth.camera.mirrored = k >= 4;
        s.truth.camera.kappa = k % 2 == 0 ? 0 : -0.011;
        struct tiptrue_solution *solution = solved(&s, scene_run(&s, 7 + k));
        const struct tt_camera_result *c = &solution->camera;
        ck_assert_uint_eq(c->views, 10);
        ck_assert(c->determined);
        near(c->scale_x_mm, 0.0173, c->u_scale_x_mm);
        near(c->scale_y_mm, 0.0169, c->u_scale_y_mm);
        near(tt_angle_wrap(c->turn_rad - s.truth.camera.turn_rad), 0, c->u_turn_rad);
        near(c->shear_rad, s.truth.camera.shear_rad, c->u_shear_rad);
        ck_assert_int_eq(c->mirrored, k >= 4);
        ck_assert_int_eq(c->has_distortion, k % 2 == 1);
        if (c->has_distortion) {
            near(c->kappa, -0.011, c->u_kappa);
            ck_assert(c->at_corner_px < -5);
        }
        ck_assert_int_eq(finding(solution, TT_FINDING_PICTURE_MIRRORED) != NULL, k >= 4);
        near(solution->tips[0].offset.x_mm, 38.61, 0.004);
        near(solution->tips[0].offset.y_mm, -16.25, 0.004);
        ck_assert(!solution->axes.found);
        tiptrue_solution_free(solution);
        scene_clear(&s);
    }
}
END_TEST

START_TEST(intervals_hold)
{
    struct scene s;
    size_t held[5] = {0};
    const size_t runs = 120;
    scene_make(&s, TT_VIEW, 3, 5, "0.0173, 0.0169", "0.4");
    for (size_t k = 0; k < runs; k++) {
        struct tiptrue_solution *solution = solved(&s, scene_run(&s, 100 + k));
        count_held(&s, solution, held);
        held[4] += !solution->axes.found && !solution->camera.has_distortion;
        tiptrue_solution_free(solution);
    }
    for (size_t k = 0; k < 5; k++) { /* of 120 at 95 %, fewer than 103 come once in 10 000 */
        ck_assert_uint_ge(held[k], k < 4 ? 103 : 118);
    }
    scene_clear(&s);
}
END_TEST

/* Four views of each of nine places, whose errors repeat there: a blob whose middle is found
 * beside it. Nine places of each mark tell no more than nine views, and none of it is distortion.
 */
START_TEST(places_that_err_alike)
{
    struct scene s;
    size_t held[4] = {0}, told = 0, bent = 0;
    const size_t runs = 120;
    uint64_t state = 0x2545f4914f6cdd1du;
    scene_make(&s, TT_VIEW, 2, 36, "0.0173, 0.0169", "0.4");
    s.truth.camera.sigma_px = (struct tt_stated){true, 0.05};
    for (size_t k = 0; k < runs; k++) {
        struct tiptrue_run *run = scene_run(&s, 300 + k);
        double off[36];
        for (size_t i = 0; i < 36; i++) { /* uniform: 0.15 pixels standard */
            state = state * 6364136223846793005u + 1442695040888963407u;
            off[i] = 0.15 * sqrt(12) * ((double)(state >> 11) / 9007199254740992.0 - 0.5);
        }
        for (size_t i = 0; i < 72; i++) {
            size_t place = i / 36 * 9 + i % 9;
            run->observations[i].px += off[place];
            run->observations[i].py += off[18 + place];
        }
        struct tiptrue_solution *solution = solved(&s, run);
        count_held(&s, solution, held);
        const struct tt_finding *found = finding(solution, TT_FINDING_SCATTERED);
        told += found != NULL && strcmp(tt_finding_value(found, "what")->text, "views-alike") == 0;
        bent += solution->camera.has_distortion;
        tiptrue_solution_free(solution);
    }
    for (size_t k = 0; k < 4; k++) { /* of 120 at 95 %, fewer than 103 come once in 10 000 */
        ck_assert_uint_ge(held[k], 103);
    }
    ck_assert_uint_eq(told, runs);
    ck_assert_uint_le(bent, 1);
    scene_clear(&s);
}
END_TEST

START_TEST(axes_both_ways)
{
    for (int k = 0; k < 8; k++) {
        struct scene s;
        scene_make(&s, k < 4 ? TT_SIGHT : TT_VIEW, 4, k < 4 ? 3 : 5, "0.0173, 0.0169", "0.43");
        double sign = k % 2 == 0 ? 1 : -1, other = k % 4 < 2 ? 1 : -1;
        s.truth.axes = (struct tt_truth_axes){sign * 6.1e-4, other * 3.7e-4, sign * -8.3e-4};
        struct tiptrue_solution *solution = solved(&s, scene_run(&s, 40 + (unsigned)k));
        const struct tt_axes_result *a = &solution->axes;
        ck_assert(a->found);
        near(a->scale_x, s.truth.axes.scale_x, a->u_scale_x);
        near(a->scale_y, s.truth.axes.scale_y, a->u_scale_y);
        near(a->square_rad, s.truth.axes.square_rad, a->u_square_rad);
        ck_assert(a->u_scale_x < 1e-4 && a->u_square_rad < 1e-4);
        ck_assert_ptr_nonnull(finding(solution, TT_FINDING_AXES_SCALE));
        ck_assert_str_eq(
            tt_finding_value(finding(solution, TT_FINDING_AXES_NOT_SQUARE), "way")->text,
            sign > 0 ? "clockwise" : "counter-clockwise");
        near(solution->poses[0].mark.x_mm, 144.16, 0.004);
        near(solution->poses[0].mark.y_mm, 88.46, 0.004);
        near(solution->tips[0].offset.x_mm, 38.61, 0.004); /* in the machine's own units */
        near(solution->tips[0].offset.y_mm, -16.25, 0.004);
        tiptrue_solution_free(solution);
        scene_clear(&s);
    }
}
END_TEST

/* The diagonal test of squareness, in the common form of ISO 230-1 (from memory): over a square of
 * side L the diagonals D1, D2 differ by 2 L g/sqrt(2), so that g = (D1 - D2)/(sqrt(2) L). */
START_TEST(squareness_is_that_of_the_diagonals)
{
    const struct tt_truth_axes axes = {.square_rad = 4.7e-4};
    const double side = 87.3;
    struct tt_machine_xy from = {12.1, -7.7},
                         corner[4] = {{0, 0}, {side, 0}, {side, side}, {0, side}};
    for (size_t k = 0; k < 4; k++) {
        corner[k].x_mm += from.x_mm;
        corner[k].y_mm += from.y_mm;
        corner[k] = tt_axes_truth(&axes, corner[k], from);
    }
    double d1 = hypot(corner[2].x_mm - corner[0].x_mm, corner[2].y_mm - corner[0].y_mm),
           d2 = hypot(corner[3].x_mm - corner[1].x_mm, corner[3].y_mm - corner[1].y_mm);
    ck_assert_double_eq_tol((d2 - d1) / (sqrt(2) * side), axes.square_rad, 1e-6);
}
END_TEST

START_TEST(one_view_of_something_else)
{
    struct scene s;
    scene_make(&s, TT_VIEW, 3, 5, "0.0173, 0.0169", "0.43");
    struct tiptrue_run *run = scene_run(&s, 5);
    run->observations[7].px += 61;
    run->observations[7].py -= 23;
    struct tiptrue_solution *solution = solved(&s, run);
    const struct tt_finding *found = finding(solution, TT_FINDING_SCATTERED);
    ck_assert_ptr_nonnull(found);
    ck_assert_uint_eq(found->lines[0], 8);
    near(solution->camera.scale_x_mm, 0.0173, solution->camera.u_scale_x_mm);
    near(solution->tips[0].offset.x_mm, 38.61, 0.004);
    tiptrue_solution_free(solution);
    scene_clear(&s);
}
END_TEST

/* Statements and countings that are wrong. */
START_TEST(what_is_wrong_is_named)
{
    static const struct {
        const char *scale, *turn, *kind;
    } CASES[] = {{"17.3, 16.9", "0.43", "unit-um"},
                 {"1.73e-5, 1.69e-5", "0.43", "unit-m"},
                 {"6.811e-4, 6.654e-4", "0.43", "unit-inch"},
                 {"0.0251, 0.0247", "0.43", "lens"},
                 {"0.0173, 0.0169", "180", "half-turn"},
                 {"0.0173, 0.0169", "-22", "turned"},
                 {"0.0175, 0.0171", "0.43", "off"}};
    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct scene s;
        scene_make(&s, TT_VIEW, 2, 5, "0.0173, 0.0169", "0.43");
        struct tiptrue_run *run = scene_run(&s, 11 + k);
        struct scene wrong;
        scene_make(&wrong, TT_VIEW, 2, 5, CASES[k].scale, CASES[k].turn);
        struct tiptrue_solution *solution = solved(&wrong, run);
        check_kind(solution, TT_FINDING_CAMERA_OFF, CASES[k].kind);
        tiptrue_solution_free(solution);
        scene_clear(&wrong);
        scene_clear(&s);
    }
}
END_TEST

START_TEST(pixels_counted_otherwise)
{
    static const char *const KINDS[] = {"rows-up", "columns-left", "exchanged"};
    for (size_t k = 0; k < 3; k++) {
        struct scene s;
        scene_make(&s, TT_VIEW, 2, 5, "0.0173, 0.0169", "0.43");
        struct tiptrue_run *run = scene_run(&s, 21 + k);
        for (size_t i = 0; i < 10; i++) {
            struct tt_observation *o = &run->observations[i];
            double px = o->px;
            o->px = k == 1 ? 1280 - px : k == 2 ? o->py + 160 : px;
            o->py = k == 0 ? 960 - o->py : k == 2 ? px - 160 : o->py;
        }
        struct tiptrue_solution *solution = solved(&s, run);
        check_kind(solution, TT_FINDING_PICTURE_MIRRORED, KINDS[k]);
        near(solution->tips[0].offset.x_mm, 38.61, 0.004);
        tiptrue_solution_free(solution);
        scene_clear(&s);
    }
}
END_TEST

/* Two marks' names exchanged in the log, each pair of four. */
START_TEST(marks_exchanged)
{
    static const char *const NAMES[] = {"A", "B", "C", "D"};
    for (size_t b = 1; b < 4; b++) {
        for (size_t a = 0; a < b; a++) {
            struct scene s;
            scene_make(&s, TT_VIEW, 4, 5, "0.0173, 0.0169", "0.43");
            struct tiptrue_run *run = scene_run(&s, 31 + a + 4 * b);
            for (size_t i = 0; i < 20; i++) {
                size_t *mark = &run->observations[i].target;
                *mark = *mark == a ? b : *mark == b ? a : *mark;
            }
            struct tiptrue_solution *solution = solved(&s, run);
            check_kind(solution, TT_FINDING_MIRRORED, "marks-exchanged");
            const struct tt_finding *found = finding(solution, TT_FINDING_MIRRORED);
            ck_assert_str_eq(tt_finding_value(found, "first")->text, NAMES[a]);
            ck_assert_str_eq(tt_finding_value(found, "second")->text, NAMES[b]);
            ck_assert_int_eq(solution->verdict, TIPTRUE_REPEAT);
            tiptrue_solution_free(solution);
            scene_clear(&s);
        }
    }
}
END_TEST

/* px and py in millimetres, in thousands of pixels, as parts of the picture; x and y a thousandth
 * of what they are. */
START_TEST(other_units)
{
    static const double FACTORS[] = {0.0173, 1e-3, 1 / 1280.0, 1};
    for (size_t k = 0; k < 4; k++) {
        struct scene s;
        scene_make(&s, TT_VIEW, 2, 5, "0.0173, 0.0169", "0.43");
        struct tiptrue_run *run = scene_run(&s, 61 + k);
        for (size_t i = 0; i < run->n_observations; i++) {
            struct tt_observation *o = &run->observations[i];
            o->px *= FACTORS[k];
            o->py *= FACTORS[k];
            if (k == 3) {
                o->h.x_mm *= 1e-3;
                o->h.y_mm *= 1e-3;
            }
        }
        struct tiptrue_solution *solution = solved(&s, run);
        const struct tt_finding *found =
            finding(solution, k < 3 ? TT_FINDING_IMPLAUSIBLE : TT_FINDING_UNIT_SUSPECT);
        ck_assert_ptr_nonnull(found);
        if (k < 3) {
            ck_assert_str_eq(tt_finding_value(found, "what")->text, "pixels");
            ck_assert_ptr_null(finding(solution, TT_FINDING_PICTURE_MIRRORED));
        }
        ck_assert_int_eq(solution->verdict, TIPTRUE_REPEAT);
        tiptrue_solution_free(solution);
        scene_clear(&s);
    }
}
END_TEST

/* What a case has besides a clean run of views; a bit each. */
enum {
    BENT = 1,
    AXES = 2,
    SIGHTED = 4, /* sightings in place of views */
    ONE_OFF = 8,
    NOT_STATED = 16,
    ALIKE = 32,
    LIMITED = 64,
    TURNED = 128,
    WORSE = 256,
    YAWED = 512, /* and one view of each mark, without a stated scale */
    MIRRORED = 1024
};
enum { MIXED = 64 };

static void put_camera(struct tt_buffer *to, const struct tt_camera_result *c)
{
    const double numbers[] = {c->scale_x_mm,
                              1e3 * c->u_scale_x_mm,
                              c->scale_y_mm,
                              1e3 * c->u_scale_y_mm,
                              c->turn_rad,
                              1e3 * c->u_turn_rad,
                              c->shear_rad,
                              1e3 * c->u_shear_rad,
                              c->dof,
                              c->kappa,
                              c->u_kappa,
                              c->at_corner_px,
                              c->rms_px,
                              c->off_at_corner_mm,
                              c->u_off_at_corner_mm,
                              1e3 * c->u_corner_mm};
    tt_buffer_printf(to, "camera %d%d%d", c->determined, c->has_distortion, c->has_off);
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        recorded_put(to, numbers[i]);
    }
    tt_buffer_putc(to, '\n');
}

static void put_rest(struct tt_buffer *to, const struct tiptrue_solution *s)
{
    const struct tt_axes_result *a = &s->axes;
    const struct tt_tip_result *t = &s->tips[0];
    const double numbers[] = {1e3 * a->scale_x,    1e6 * a->u_scale_x,
                              1e3 * a->scale_y,    1e6 * a->u_scale_y,
                              1e3 * a->square_rad, 1e6 * a->u_square_rad,
                              t->offset.x_mm,      1e6 * t->cov.xx_mm2,
                              1e6 * t->cov.xy_mm2, t->dof,
                              t->same_plate_dof,   1e3 * t->common_u_x_mm,
                              1e3 * s->u_touch_mm, 1e3 * s->u_sighting_mm,
                              s->own_sighting_dof, 1e3 * s->poses[0].u_yaw_rad};
    tt_buffer_printf(to, "rest %d", a->found);
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        recorded_put(to, numbers[i]);
    }
    tt_buffer_printf(to, "\nfindings");
    for (size_t i = 0; i < s->n_findings; i++) {
        const struct tt_value *what = tt_finding_value(&s->findings[i], "what");
        tt_buffer_printf(to, " %s/%d/%s", tt_finding_name(s->findings[i].code),
                         (int)s->findings[i].severity,
                         what != NULL && what->text != NULL ? what->text : "");
    }
    tt_buffer_putc(to, '\n');
}

struct view_case {
    int what;
    size_t marks, seen;
};

/* What is wrong of the case is so @size times. */
static struct tiptrue_solution *solve_case(const struct view_case *of, unsigned long seed,
                                           double size)
{
    int what = of->what;
    struct scene s;
    scene_make(&s, what & SIGHTED ? TT_SIGHT : TT_VIEW, of->marks, of->seen, "0.01734, 0.0169",
               what & TURNED ? "-3.7" : "0.41");
    s.truth.camera.kappa = what & BENT ? -0.011 * size : 0;
    s.truth.axes = what & AXES
                       ? (struct tt_truth_axes){6.1e-4 * size, -3.7e-4 * size, 8.3e-4 * size}
                       : (struct tt_truth_axes){0, 0, 0};
    s.truth.camera.sigma_px =
        (struct tt_stated){what & (WORSE | ALIKE), what & WORSE ? 0.6 * size : 0.05};
    s.machine->camera.u_px = what & NOT_STATED ? 0 : s.machine->camera.u_px;
    s.machine->has_u_sighting = !(what & NOT_STATED);
    s.machine->limits.has_permitted_view = what & LIMITED;
    s.machine->yaw_rad = what & YAWED ? 0.31 : 0;
    s.pose.yaw_rad = what & YAWED ? 0.304 : 0.012;
    s.machine->camera.has_scale = !(what & YAWED);
    s.machine->camera.mirrored = s.truth.camera.mirrored = what & MIRRORED;
    s.machine->limits.permitted_view_mm = 0.02;
    for (size_t i = 0; i < 4 && what & YAWED; i++) {
        s.moves[i].px = PIXELS[i][0];
        s.moves[i].py = PIXELS[i][1];
    }
    struct tiptrue_run *run = scene_run(&s, seed);
    for (size_t i = 0; i < 72 && what & ALIKE; i++) { /* two marks, nine places, four views */
        run->observations[i].px += 0.23 * size * cos(1.7 * (double)(i / 36 * 9 + i % 9));
        run->observations[i].py += 0.23 * size * sin(2.9 * (double)(i / 36 * 9 + i % 9));
    }
    run->observations[7].px += what & ONE_OFF ? 61 * size : 0;
    struct tiptrue_solution *solution = solved(&s, run);
    scene_clear(&s);
    return solution;
}

static bool tells(const struct tiptrue_solution *solution, enum tt_finding_code code,
                  const char *what)
{
    bool told = false;

    for (size_t i = 0; i < solution->n_findings; i++) {
        const struct tt_value *value = tt_finding_value(&solution->findings[i], "what");
        told = told || (solution->findings[i].code == code &&
                        strcmp(value != NULL ? value->text : "", what) == 0);
    }
    return told;
}

/* Numbers of views to seven digits, most of which no other test asks for; and the parts of the
 * faults from which on they are told. */
START_TEST(as_before)
{
    static const struct view_case CASES[] = {{0, 2, 5},
                                             {BENT, 3, 5},
                                             {AXES, 4, 5},
                                             {AXES | SIGHTED, 4, 3},
                                             {ONE_OFF, 3, 5},
                                             {NOT_STATED, 2, 5},
                                             {NOT_STATED | AXES, 4, 4},
                                             {ALIKE, 2, 36},
                                             {LIMITED | BENT, 2, 7},
                                             {TURNED, 2, 3},
                                             {WORSE, 3, 6},
                                             {SIGHTED | NOT_STATED, 3, 4},
                                             {0, 2, 2},
                                             {NOT_STATED, 3, 2},
                                             {AXES | ONE_OFF, 4, 9},
                                             {YAWED, 4, 1},
                                             {YAWED, 1, 1},
                                             {YAWED | NOT_STATED, 4, 1},
                                             {MIRRORED, 2, 2},
                                             {MIRRORED, 3, 4}};
    static const struct {
        struct view_case of;
        enum tt_finding_code code;
        const char *what;
    } SIZED[] = {{{BENT, 3, 5}, TT_FINDING_LENS_DISTORTION, ""},
                 {{BENT | NOT_STATED, 4, 9}, TT_FINDING_LENS_DISTORTION, ""},
                 {{AXES, 4, 5}, TT_FINDING_AXES_SCALE, ""},
                 {{AXES | SIGHTED, 4, 3}, TT_FINDING_AXES_NOT_SQUARE, ""},
                 {{ONE_OFF, 3, 5}, TT_FINDING_SCATTERED, "sighting"},
                 {{ALIKE, 2, 36}, TT_FINDING_SCATTERED, "views-alike"},
                 {{WORSE, 3, 6}, TT_FINDING_SCATTERED, "views"}};
    struct tt_buffer found = {0};

    for (size_t k = 0; k < sizeof CASES / sizeof CASES[0]; k++) {
        struct tiptrue_solution *solution = solve_case(&CASES[k], 700 + k, 1);
        tt_buffer_printf(&found, "case %zu\n", k);
        put_camera(&found, &solution->camera);
        put_rest(&found, solution);
        tiptrue_solution_free(solution);
    }
    for (size_t k = 0; k < sizeof SIZED / sizeof SIZED[0]; k++) {
        double low = 0, high = 1;
        while (high - low > 1e-3) {
            double middle = 0.5 * (low + high);
            struct tiptrue_solution *solution = solve_case(&SIZED[k].of, 900 + k, middle);
            bool on = tells(solution, SIZED[k].code, SIZED[k].what);
            low = on ? low : middle;
            high = on ? middle : high;
            tiptrue_solution_free(solution);
        }
        tt_buffer_printf(&found, "case size %zu: %.5g\n", k, high);
    }
    recorded_compare(&found, "tests/unit/adjust/views.txt", 0.1);
    tt_buffer_clear(&found);
}
END_TEST

/* Cases of any number of views with several faults of any size. */
START_TEST(mixed_as_before)
{
    struct tt_buffer found = {0};
    uint64_t drawn = 0x9e3779b97f4a7c15u;

    for (size_t k = 0; k < MIXED; k++) {
        drawn = drawn * 6364136223846793005u + 1442695040888963407u;
        unsigned bits = (unsigned)(drawn >> 40), more = (unsigned)(drawn >> 20);
        struct view_case of = {(int)(bits & bits >> 11 & (MIRRORED * 2 - 1)) & ~ALIKE, 2 + more % 3,
                               2 + more / 4 % 7};
        struct tiptrue_solution *solution =
            solve_case(&of, 1300 + k, 0.05 + (double)(more / 64 % 97) / 97);
        tt_buffer_printf(&found, "case mixed %zu, %d of %zu x %zu\n", k, of.what, of.marks,
                         of.seen);
        put_camera(&found, &solution->camera);
        put_rest(&found, solution);
        tiptrue_solution_free(solution);
    }
    recorded_compare_by(&found, "tests/unit/adjust/views_mixed.txt",
                        (struct recorded_rule){2e-4, 0.1, false});
    tt_buffer_clear(&found);
}
END_TEST

/* Four sighted marks at the ends of two lines that cross at right angles, @a_mm and @b_mm from
 * their middle: they spread by a / sqrt(2) along the one and b / sqrt(2) along the other. */
static bool span(double a_mm, double b_mm, double turned_rad)
{
    const double c = cos(turned_rad), s = sin(turned_rad);
    struct tt_mark mark[4] = {{.name = "A"}};
    struct tt_sight sight[4] = {{.mark = 0}};
    struct tiptrue_plate plate = {.marks = mark, .n_marks = 4};
    struct tt_model model = {.plate = &plate, .n_setups = 1, .sights = sight, .n_sights = 4};

    for (size_t k = 0; k < 4; k++) {
        double sign = k % 2 == 0 ? 1 : -1, x = k < 2 ? sign * a_mm : 0, y = k < 2 ? 0 : sign * b_mm;
        mark[k].at = (struct tt_plate_xy){17.3 + c * x - s * y, -4.9 + s * x + c * y};
        sight[k].mark = k;
    }
    return tt_marks_span(&model);
}

/* Marks span a plane where they spread by 1 mm across, and by a twentieth of what they do along. */
START_TEST(marks_that_span)
{
    static const double TURNED_RAD[] = {0, 0.47, 1.13, 2.31};

    for (size_t k = 0; k < sizeof TURNED_RAD / sizeof TURNED_RAD[0]; k++) {
        ck_assert(span(11, sqrt(2) * 1.0002, TURNED_RAD[k]));
        ck_assert(!span(11, sqrt(2) * 0.9998, TURNED_RAD[k]));
        ck_assert(span(43, 43.0 / 20 * 1.0002, TURNED_RAD[k]));
        ck_assert(!span(43, 43.0 / 20 * 0.9998, TURNED_RAD[k]));
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("adjust/views");
    TCase *tests = tcase_create("views");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, views_tell_the_picture);
    tcase_add_test(tests, intervals_hold);
    tcase_add_test(tests, places_that_err_alike);
    tcase_add_test(tests, axes_both_ways);
    tcase_add_test(tests, squareness_is_that_of_the_diagonals);
    tcase_add_test(tests, one_view_of_something_else);
    tcase_add_test(tests, what_is_wrong_is_named);
    tcase_add_test(tests, pixels_counted_otherwise);
    tcase_add_test(tests, marks_exchanged);
    tcase_add_test(tests, other_units);
    tcase_add_test(tests, as_before);
    tcase_add_test(tests, mixed_as_before);
    tcase_add_test(tests, marks_that_span);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
