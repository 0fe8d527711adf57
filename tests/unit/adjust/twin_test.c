/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Covariance, budget and estimate of a whole run against a slow twin: every unknown moved by hand
 * in the simulation, the dense normal matrix inverted by GSL, the budget as gain times variance
 * source by source.
 */
#include "config.h"

#include <check.h>
#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "scene.h"

enum { MOST_UNKNOWNS = 64 };

/* Scatters and uncertainties of a tenth: what the twin leaves out (squares of shifts and of the
 * yaw's error) is a hundredth. */
static struct scene sharp_scene(void)
{
    struct scene s = scene_full();
    s.sigma_touch = s.u_touch = 0.0003;
    s.sigma_sight = s.u_sight = 0.0002;
    for (size_t k = 0; k < 4; k++) {
        s.edges[k].u *= 0.1;
        s.marks[k % 3].u *= k < 3 ? 0.1 : 1;
        s.groups[k % 2].u *= k < 2 ? 0.1 : 1;
    }
    s.tips[0].stated_radius = s.tips[0].radius + 0.0012;
    s.tips[0].u_radius = 0.002;
    s.u_rotation_deg = 0.035;
    for (size_t k = 0; k < s.n_tips; k++) { /* so that a change on this plate is judged */
        s.tips[k].has_present = true;
        s.tips[k].present_plate = s.serial;
    }
    return s;
}

/* ---- the twin ---- */

enum kind { FREE, OF_EDGE, OF_GROUP, OF_MARK, OF_RADIUS, OF_YAW, KINDS };

struct unknown {
    double *value, step,
        per_unit; /* per_unit: of what is solved for (rad) in units of the value (deg) */
    enum kind kind;
    double prior, u; /* prior less truth */
};

struct twin {
    struct scene scene;
    struct unknown unknowns[MOST_UNKNOWNS];
    size_t n;
    size_t tip[SCENE_TIPS], pose[SCENE_SETUPS], edge[SCENE_EDGES]; /* first unknown of each */
    gsl_matrix *inverse;
    gsl_vector *right;
};

static void unknown(struct twin *t, double *value, double step, enum kind kind, double prior,
                    double u)
{
    ck_assert(t->n < MOST_UNKNOWNS);
    t->unknowns[t->n++] = (struct unknown){value, step, 1, kind, prior, u};
}

static void list_unknowns(struct twin *t)
{
    struct scene *s = &t->scene;
    for (size_t k = 0; k < s->n_setups; k++) {
        t->pose[k] = t->n;
        unknown(t, &s->setups[k].mark_x, 0.125, FREE, 0, 0);
        unknown(t, &s->setups[k].mark_y, 0.125, FREE, 0, 0);
        const bool stated = s->has_yaw;
        unknown(t, &s->setups[k].yaw_deg, 2e-3, stated ? OF_YAW : FREE,
                tt_rad_from_deg(s->nominal_yaw_deg - s->setups[k].yaw_deg),
                tt_rad_from_deg(s->u_yaw_deg));
        t->unknowns[t->n - 1].per_unit = tt_rad_from_deg(1);
    }
    for (size_t g = 0; g < s->n_groups; g++) {
        unknown(t, &s->groups[g].shift_x, 0.125, OF_GROUP, -s->groups[g].shift_x, s->groups[g].u);
        unknown(t, &s->groups[g].shift_y, 0.125, OF_GROUP, -s->groups[g].shift_y, s->groups[g].u);
    }
    for (size_t k = 0; k < s->n_edges; k++) {
        t->edge[k] = t->n;
        if (s->edges[k].u > 0) {
            unknown(t, &s->edges[k].shift, 0.125, OF_EDGE, -s->edges[k].shift, s->edges[k].u);
        }
    }
    for (size_t k = 0; k < s->n_marks; k++) {
        if (s->marks[k].u > 0) {
            unknown(t, &s->marks[k].shift_x, 0.125, OF_MARK, -s->marks[k].shift_x, s->marks[k].u);
            unknown(t, &s->marks[k].shift_y, 0.125, OF_MARK, -s->marks[k].shift_y, s->marks[k].u);
        }
    }
    for (size_t k = 0; k < s->n_tips; k++) {
        struct scene_tip *tip = &s->tips[k];
        t->tip[k] = t->n;
        unknown(t, &tip->offset_x, 0.125, FREE, 0, 0);
        unknown(t, &tip->offset_y, 0.125, FREE, 0, 0);
        unknown(t, &tip->runout_x, 0.125, FREE, 0, 0);
        unknown(t, &tip->runout_y, 0.125, FREE, 0, 0);
        unknown(t, &tip->radius, 0.125, tip->u_radius > 0 ? OF_RADIUS : FREE,
                tip->stated_radius - tip->radius, tip->u_radius);
    }
}

/* How the head positions of all rows change per unit of @value. */
static void differences(struct scene *s, double *value, double step, double *dx, double *dy)
{
    const double there = *value;
    *value = there + step;
    struct scene_rows above = scene_simulate(s);
    *value = there - step;
    struct scene_rows below = scene_simulate(s);
    *value = there;
    for (size_t i = 0; i < above.n; i++) {
        dx[i] = (above.row[i].x - below.row[i].x) / (2 * step);
        dy[i] = (above.row[i].y - below.row[i].y) / (2 * step);
    }
    scene_rows_free(&above);
    scene_rows_free(&below);
}

/* Variance of every touch: its scatter, and the rotation's own uncertainty times what a turn moves
 * the contact along the normal. */
static void touch_variances(struct scene *s, const struct scene_rows *rows, double variance[])
{
    double *dx = malloc(rows->n * sizeof *dx), *dy = malloc(rows->n * sizeof *dy);
    ck_assert(dx != NULL && dy != NULL);
    differences(s, &s->first_rotation_deg, 0.01, dx, dy);
    for (size_t i = 0; i < rows->n; i++) {
        const double across =
            (rows->row[i].n_x * dx[i] + rows->row[i].n_y * dy[i]) * s->u_rotation_deg;
        variance[i] = s->u_touch * s->u_touch + across * across;
    }
    free(dx);
    free(dy);
}

/* One row of the design, of residual @r at the truth (observed less what the truth would give). */
static void add_row(struct twin *t, gsl_matrix *normal, const double row[], double r, double weight)
{
    for (size_t i = 0; i < t->n; i++) {
        *gsl_vector_ptr(t->right, i) += weight * row[i] * r;
        for (size_t j = 0; j < t->n; j++) {
            *gsl_matrix_ptr(normal, i, j) += weight * row[i] * row[j];
        }
    }
}

static void add_rows(struct twin *t, gsl_matrix *normal, const struct scene_rows *observed,
                     const struct scene_rows *clean)
{
    const size_t rows = clean->n;
    double *dx = malloc(t->n * rows * sizeof *dx), *dy = malloc(t->n * rows * sizeof *dy),
           *variance = malloc(rows * sizeof *variance);
    double row[MOST_UNKNOWNS];
    ck_assert(dx != NULL && dy != NULL && variance != NULL);
    for (size_t k = 0; k < t->n; k++) {
        differences(&t->scene, t->unknowns[k].value, t->unknowns[k].step, dx + k * rows,
                    dy + k * rows);
    }
    touch_variances(&t->scene, clean, variance);
    for (size_t i = 0; i < rows; i++) {
        const struct scene_row *o = &observed->row[i], *c = &clean->row[i];
        for (size_t axis = 0; axis < (c->is_sight ? 2u : 1u); axis++) {
            const double n_x = c->is_sight ? axis == 0 : c->n_x,
                         n_y = c->is_sight ? axis == 1 : c->n_y;
            for (size_t k = 0; k < t->n; k++) {
                row[k] =
                    (n_x * dx[k * rows + i] + n_y * dy[k * rows + i]) / t->unknowns[k].per_unit;
            }
            add_row(t, normal, row, n_x * (o->x - c->x) + n_y * (o->y - c->y),
                    c->is_sight ? 1 / (t->scene.u_sight * t->scene.u_sight) : 1 / variance[i]);
        }
    }
    free(dx);
    free(dy);
    free(variance);
}

/* The twin's covariance and its first-order estimate (right: what is to be added to the truth). */
static void twin_solve(struct twin *t, const struct scene *s, const struct scene_rows *observed)
{
    *t = (struct twin){.scene = *s};
    t->scene.sigma_touch = t->scene.sigma_sight = 0;
    list_unknowns(t);
    gsl_matrix *normal = gsl_matrix_calloc(t->n, t->n);
    t->right = gsl_vector_calloc(t->n);
    struct scene_rows clean = scene_simulate(&t->scene);
    add_rows(t, normal, observed, &clean);
    scene_rows_free(&clean);
    for (size_t k = 0; k < t->n; k++) {
        if (t->unknowns[k].kind != FREE) {
            const double weight = 1 / (t->unknowns[k].u * t->unknowns[k].u);
            *gsl_matrix_ptr(normal, k, k) += weight;
            *gsl_vector_ptr(t->right, k) += weight * t->unknowns[k].prior;
        }
    }
    gsl_vector *scale = gsl_vector_alloc(t->n);
    gsl_linalg_cholesky_scale(normal, scale);
    gsl_linalg_cholesky_scale_apply(normal, scale);
    ck_assert_int_eq(gsl_linalg_cholesky_decomp1(normal), 0);
    gsl_linalg_cholesky_invert(normal);
    for (size_t i = 0; i < t->n; i++) {
        for (size_t j = 0; j < t->n; j++) {
            *gsl_matrix_ptr(normal, i, j) *= gsl_vector_get(scale, i) * gsl_vector_get(scale, j);
        }
    }
    t->inverse = normal;
    gsl_vector *shift = gsl_vector_calloc(t->n);
    gsl_blas_dgemv(CblasNoTrans, 1, t->inverse, t->right, 0, shift);
    gsl_vector_memcpy(t->right, shift);
    gsl_vector_free(shift);
    gsl_vector_free(scale);
}

static void twin_clear(struct twin *t)
{
    gsl_matrix_free(t->inverse);
    gsl_vector_free(t->right);
}

static double u_of(const struct twin *t, size_t k)
{
    return sqrt(gsl_matrix_get(t->inverse, k, k));
}

/* What the priors of one kind bring into unknowns @i and @j: gain times variance times gain. */
static double part(const struct twin *t, enum kind kind, size_t i, size_t j)
{
    double sum = 0;
    for (size_t k = 0; k < t->n; k++) {
        if (t->unknowns[k].kind == kind) {
            sum += gsl_matrix_get(t->inverse, i, k) * gsl_matrix_get(t->inverse, j, k) /
                   (t->unknowns[k].u * t->unknowns[k].u);
        }
    }
    return sum;
}

/* ---- held against it ---- */

static void check_cov_to(struct tt_cov2 cov, double xx, double xy, double yy, double tolerance)
{
    ck_assert_double_eq_tol(cov.xx_mm2 / xx, 1, tolerance);
    ck_assert_double_eq_tol(cov.xy_mm2 / sqrt(xx * yy), xy / sqrt(xx * yy), tolerance);
    ck_assert_double_eq_tol(cov.yy_mm2 / yy, 1, tolerance);
}

static void check_cov(struct tt_cov2 cov, double xx, double xy, double yy)
{
    check_cov_to(cov, xx, xy, yy, 3e-5);
}

static struct tt_cov2 less(struct tt_cov2 a, struct tt_cov2 b)
{
    return (struct tt_cov2){a.xx_mm2 - b.xx_mm2, a.xy_mm2 - b.xy_mm2, a.yy_mm2 - b.yy_mm2};
}

static void check_budget_line(const struct tt_tip_result *tip, const char *source, char type,
                              bool of_plate, double xx, double yy)
{
    for (size_t k = 0; k < tip->n_budget; k++) {
        if (strcmp(tip->budget[k].source, source) == 0) {
            ck_assert_double_eq_tol(tip->budget[k].u_x_mm, sqrt(xx), 1e-7);
            ck_assert_double_eq_tol(tip->budget[k].u_y_mm, sqrt(yy), 1e-7);
            ck_assert_int_eq(tip->budget[k].type, type);
            ck_assert_int_eq(tip->budget[k].of_plate, of_plate);
            return;
        }
    }
    ck_assert_msg(xx < 1e-20 && yy < 1e-20, "no budget line '%s'", source);
}

static void check_tip(const struct twin *t, size_t index, const struct tt_tip_result *tip)
{
    const size_t k = t->tip[index];
    const struct scene_tip *truth = &t->scene.tips[index];
    const double *shift = gsl_vector_const_ptr(t->right, k);
    ck_assert_double_eq_tol(tip->offset.x_mm, truth->offset_x + shift[0], 1e-8);
    ck_assert_double_eq_tol(tip->offset.y_mm, truth->offset_y + shift[1], 1e-8);
    ck_assert_double_eq_tol(tip->runout.x_mm, truth->runout_x + shift[2], 1e-8);
    ck_assert_double_eq_tol(tip->runout.y_mm, truth->runout_y + shift[3], 1e-8);
    ck_assert_double_eq_tol(tip->contact_radius_mm, truth->radius + shift[4], 1e-8);
    check_cov(tip->cov, gsl_matrix_get(t->inverse, k, k), gsl_matrix_get(t->inverse, k, k + 1),
              gsl_matrix_get(t->inverse, k + 1, k + 1));
    double plate[3] = {0}, all[2] = {0};
    for (enum kind kind = OF_EDGE; kind < KINDS; kind++) {
        const double xx = part(t, kind, k, k), xy = part(t, kind, k, k + 1),
                     yy = part(t, kind, k + 1, k + 1);
        const bool of_plate = kind == OF_EDGE || kind == OF_GROUP || kind == OF_MARK;
        plate[0] += of_plate ? xx : 0;
        plate[1] += of_plate ? xy : 0;
        plate[2] += of_plate ? yy : 0;
        all[0] += xx;
        all[1] += yy;
        static const char *const names[KINDS] = {[OF_EDGE] = "edge places",
                                                 [OF_GROUP] = "group shifts",
                                                 [OF_MARK] = "mark places",
                                                 [OF_RADIUS] = "stated contact radius",
                                                 [OF_YAW] = "nominal yaw"};
        check_budget_line(tip, names[kind], 'B', of_plate, xx, yy);
    }
    check_cov(less(tip->cov, tip->change_cov), plate[0], plate[1],
              plate[2]); /* judged by the rest of the full solution */
    ck_assert(all[0] < tip->cov.xx_mm2 && all[1] < tip->cov.yy_mm2);
    ck_assert_double_eq_tol(tip->u_contact_radius_mm, u_of(t, k + 4), 1e-8);
}

static void check_rest(const struct twin *t, const struct tiptrue_solution *solution)
{
    for (size_t k = 0; k < solution->n_poses; k++) {
        ck_assert_double_eq_tol(solution->poses[k].u_mark_x_mm, u_of(t, t->pose[k]), 1e-8);
        ck_assert_double_eq_tol(solution->poses[k].u_mark_y_mm, u_of(t, t->pose[k] + 1), 1e-8);
        ck_assert_double_eq_tol(solution->poses[k].u_yaw_rad / u_of(t, t->pose[k] + 2), 1, 1e-5);
    }
    for (size_t k = 0; k < solution->n_edges; k++) {
        const bool uncertain = t->scene.edges[k].u > 0;
        ck_assert_double_eq_tol(solution->edges[k].shift_mm,
                                uncertain ? gsl_vector_get(t->right, t->edge[k]) : 0, 1e-8);
        ck_assert_double_eq_tol(solution->edges[k].u_shift_mm, uncertain ? u_of(t, t->edge[k]) : 0,
                                1e-8);
    }
}

/* ---- the plate held ---- */

#define HELD_U_MM 1e-6

static bool of_plate(enum kind kind)
{
    return kind == OF_EDGE || kind == OF_GROUP || kind == OF_MARK;
}

/* The twin with the plate's features held by priors of a nanometre. */
static void twin_hold(struct twin *t, const struct scene *s, const struct scene_rows *observed)
{
    struct scene held = *s;
    for (size_t k = 0; k < held.n_groups; k++) {
        held.groups[k].u = HELD_U_MM;
    }
    for (size_t k = 0; k < held.n_edges; k++) {
        held.edges[k].u = held.edges[k].u > 0 ? HELD_U_MM : 0;
    }
    for (size_t k = 0; k < held.n_marks; k++) {
        held.marks[k].u = held.marks[k].u > 0 ? HELD_U_MM : 0;
    }
    twin_solve(t, &held, observed);
}

/* Effects of the features: what the twin answers to a prior, the other way round. */
static void check_effects(const struct twin *t, size_t tip, const struct tiptrue_solution *solution)
{
    const size_t at = t->tip[tip];
    size_t n = 0;
    for (size_t k = 0; k < t->n; k++) {
        if (!of_plate(t->unknowns[k].kind)) {
            continue;
        }
        const struct tt_plate_feature *feature = &solution->features[n];
        const double weight = 1 / (HELD_U_MM * HELD_U_MM);
        ck_assert_int_eq(feature->kind, t->unknowns[k].kind == OF_EDGE    ? TT_FEATURE_EDGE
                                        : t->unknowns[k].kind == OF_GROUP ? TT_FEATURE_GROUP
                                                                          : TT_FEATURE_MARK);
        ck_assert_double_eq_tol(solution->tips[tip].plate_effect_x[n],
                                -weight * gsl_matrix_get(t->inverse, at, k), 2e-4);
        ck_assert_double_eq_tol(solution->tips[tip].plate_effect_y[n],
                                -weight * gsl_matrix_get(t->inverse, at + 1, k), 2e-4);
        n++;
    }
    ck_assert_uint_eq(solution->n_features, n);
}

/* The covariance of a difference of tips by the twin, and of the plate's errors what does not
 * cancel. */
static void check_between(const struct twin *t, const struct tiptrue_solution *solution, size_t tip)
{
    const struct tt_tip_difference *d = &solution->between_tips[tip - 1];
    const struct tt_tip_result *a = &solution->tips[tip], *b = &solution->tips[0];
    const size_t p = t->tip[tip], q = t->tip[0];
    double c[3];
    for (size_t k = 0; k < 3; k++) {
        const size_t i = k / 2, j = (k + 1) / 2;
        c[k] = gsl_matrix_get(t->inverse, p + i, p + j) + gsl_matrix_get(t->inverse, q + i, q + j) -
               gsl_matrix_get(t->inverse, p + i, q + j) - gsl_matrix_get(t->inverse, q + i, p + j);
        for (size_t f = 0; f < solution->n_features; f++) {
            const double x = a->plate_effect_x[f] - b->plate_effect_x[f],
                         y = a->plate_effect_y[f] - b->plate_effect_y[f];
            const double u = solution->features[f].u_mm;
            c[k] += u * u * (i == 0 ? x : y) * (j == 0 ? x : y);
        }
    }
    ck_assert_str_eq(d->tip, a->name);
    ck_assert_str_eq(d->over, b->name);
    ck_assert_double_eq_tol(d->offset.x_mm, a->held.x_mm - b->held.x_mm, 1e-12);
    ck_assert_double_eq_tol(d->offset.y_mm, a->held.y_mm - b->held.y_mm, 1e-12);
    check_cov_to(d->cov, c[0], c[1], c[2], 5e-4);
    ck_assert_double_eq_tol(d->expanded_x_mm, 1.959964 * sqrt(c[0]), 1e-8);
    ck_assert_double_eq_tol(d->expanded_y_mm, 1.959964 * sqrt(c[2]), 1e-8);
}

static void check_held(const struct scene *s, const struct scene_rows *rows,
                       const struct tiptrue_solution *solution)
{
    struct twin twin;
    twin_hold(&twin, s, rows);
    ck_assert_uint_eq(solution->n_between_tips, s->n_tips - 1);
    for (size_t k = 0; k < s->n_tips; k++) {
        const struct tt_tip_result *tip = &solution->tips[k];
        const size_t at = twin.tip[k];
        const double x = gsl_vector_get(twin.right, at), y = gsl_vector_get(twin.right, at + 1);
        ck_assert_double_eq_tol(tip->held.x_mm, s->tips[k].offset_x + x,
                                4e-7); /* squares of the yaw between the solutions */
        ck_assert_double_eq_tol(tip->held.y_mm, s->tips[k].offset_y + y, 4e-7);
        ck_assert(hypot(tip->held.x_mm - tip->offset.x_mm, tip->held.y_mm - tip->offset.y_mm) >
                  1e-6);
        check_cov_to(tip->same_plate_cov, gsl_matrix_get(twin.inverse, at, at),
                     gsl_matrix_get(twin.inverse, at, at + 1),
                     gsl_matrix_get(twin.inverse, at + 1, at + 1), 5e-4);
        check_effects(&twin, k, solution);
        if (k > 0) {
            check_between(&twin, solution, k);
        }
    }
    twin_clear(&twin);
}

static void compare(const struct scene *s)
{
    struct twin twin;
    struct scene_rows rows = scene_simulate(s);
    struct tiptrue_solution *solution = scene_solve(s, &rows, true);
    twin_solve(&twin, s, &rows);
    for (size_t k = 0; k < s->n_tips; k++) {
        check_tip(&twin, k, &solution->tips[k]);
    }
    check_rest(&twin, solution);
    check_held(s, &rows, solution);
    twin_clear(&twin);
    tiptrue_solution_free(solution);
    scene_rows_free(&rows);
}

START_TEST(twin_of_everything)
{
    struct scene s = sharp_scene();
    compare(&s);
    s.has_yaw = true; /* and a yaw that is stated better than it is seen */
    s.nominal_yaw_deg = 4.2501;
    s.u_yaw_deg = 0.0004;
    s.n_setups = 1;
    s.clockwise = true;
    compare(&s);
}
END_TEST

/* Touches from two sides only: the stated radii of both tips carry their offsets, each through the
 * plate's shifts into the other's too. */
START_TEST(twin_of_one_sided_touches)
{
    struct scene s = sharp_scene();
    s.tips[1].stated_radius = s.tips[1].radius - 0.0009;
    s.tips[1].u_radius = 0.0014;
    s.edges[1] = s.edges[2];
    s.n_edges = 2;
    s.rotations = 9;
    compare(&s);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("twin");
    TCase *twins = tcase_create("twins");
    tcase_add_test(twins, twin_of_everything);
    tcase_add_test(twins, twin_of_one_sided_touches);
    suite_add_tcase(suite, twins);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
