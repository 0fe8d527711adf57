/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The table of fault modes against what it abbreviates: the ratio of two marginal likelihoods, each
 * from a fit of its own. */
#include "config.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "adjust/explain.h"
#include "adjust/modes.h"
#include "scene.h"

struct judged {
    struct scene scene;
    struct scene_read read;
    struct tt_arena arena;
    struct tt_noise noise;
    struct tt_search search;
    struct tt_modes table;
    double stretch; /* the machine counts x too large by this share */
};

/* The model of the run with @terms, fitted, and its ln marginal likelihood but for what no term
 * changes: minus half the squared residuals (touches, sightings, priors), minus half the ln
 * determinant of the normal matrix, minus the ln of the standard deviations of sightings and
 * priors. */
static double log_marginal(struct judged *j, const struct tt_terms *terms, struct tt_model *model,
                           struct tt_fit *fit)
{
    double sum = 0;

    ck_assert_int_eq(
        tt_model_build(model, &j->arena, j->read.plate, j->read.machine, j->read.run, terms, false),
        TIPTRUE_OK);
    ck_assert_int_eq(tt_fit_init(fit, &j->arena, model, &j->noise), TIPTRUE_OK);
    tt_fit_run(fit, NULL);
    ck_assert(!fit->deficient);
    for (size_t i = 0; i < model->n_touches; i++) {
        sum -= 0.5 * fit->weight[i] * model->residual[i] * model->residual[i];
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        const double *r = model->sights[i].residual,
                     w = tt_sight_weight(&model->sights[i], 1 / fit->sight_var_mm2);
        sum += -0.5 * w * (r[0] * r[0] + r[1] * r[1]) + log(w);
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *p = &model->priors[i];
        const double r = (model->x[tt_unknown(model, p->block, p->place)] - p->value) / p->u;
        sum -= 0.5 * r * r + log(p->u);
    }
    return sum - 0.5 * tt_system_log_det(&model->system);
}

static void judge(struct judged *j, struct tt_terms *plain, double *before)
{
    struct scene_rows rows = scene_simulate(&j->scene);
    struct tt_model *model = calloc(1, sizeof *model);
    struct tt_fit *fit = calloc(1, sizeof *fit);

    ck_assert(model != NULL && fit != NULL);
    for (size_t i = 0; i < rows.n; i++) {
        rows.row[i].x *= 1 + j->stretch;
    }
    j->read = scene_read(&j->scene, &rows);
    scene_rows_free(&rows);
    j->noise = tt_noise_of(j->read.machine, j->read.run);
    j->search = (struct tt_search){
        &j->arena, j->read.plate, j->read.machine, j->read.run, &j->noise, NULL, NULL};
    ck_assert_int_eq(tt_terms_new(&j->search, NULL, plain), TIPTRUE_OK);
    *before = log_marginal(j, plain, model, fit);
    if (j->stretch != 0) { /* the sightings scatter as stated */
        double size;
        fit->sight_scattered = false;
        tt_fit_set_sight_var(fit, j->scene.u_sight * j->scene.u_sight);
        tt_fit_set_weights(fit);
        ck_assert(tt_fit_step(fit, true, &size) && tt_fit_step(fit, true, &size));
        tt_system_invert(&model->system);
    }
    ck_assert_int_eq(tt_modes_score(fit, &j->arena, TT_MODES_FINE, &j->table), TIPTRUE_OK);
    free(model);
    free(fit);
}

static void clear(struct judged *j)
{
    tt_arena_clear(&j->arena);
    scene_read_free(&j->read);
}

/* Edges, marks and sightings: widening a prior or a variance, in the table and in a fit that has
 * it. The touches' repeatability is stated with a thousand million degrees of freedom. To second
 * order in the yaw. */
START_TEST(odds_are_ratios_of_marginal_likelihoods)
{
    struct judged j = {.scene = scene_many_edges(20261126)};
    struct tt_terms plain;
    struct tt_model *model = calloc(1, sizeof *model);
    struct tt_fit *fit = calloc(1, sizeof *fit);
    double before;
    size_t compared[TT_MODE_KINDS] = {0};

    ck_assert(model != NULL && fit != NULL);
    j.scene.u_touch = 0.0031;
    j.scene.u_sight = 0.0024;
    j.scene.marks[1].u = j.scene.marks[2].u = 0.007;
    j.scene.edges[2].shift = 0.013;
    judge(&j, &plain, &before);
    for (size_t k = 0; k < j.table.n; k++) {
        const struct tt_mode *mode = &j.table.mode[k];
        if (mode->kind != TT_MODE_EDGE && mode->kind != TT_MODE_MARK &&
            mode->kind != TT_MODE_SIGHT) {
            continue;
        }
        struct tt_terms terms;
        ck_assert_int_eq(tt_terms_new(&j.search, &plain, &terms), TIPTRUE_OK);
        tt_mode_add(&terms, NULL, mode);
        if (mode->kind == TT_MODE_MARK && !(j.read.plate->marks[mode->index].u_mm > 0)) {
            continue; /* exact: the fit with it has two unknowns more, whose priors are counted
                         otherwise */
        }
        const double ratio = log_marginal(&j, &terms, model, fit) - before;
        ck_assert_msg(fabs(mode->log_odds - mode->log_prior - ratio) < 2e-3 * (1 + fabs(ratio)),
                      "kind %d, %zu: %.6f, by two fits %.6f", (int)mode->kind, mode->index,
                      mode->log_odds - mode->log_prior, ratio);
        compared[mode->kind]++;
    }
    ck_assert(compared[TT_MODE_EDGE] == 8 && compared[TT_MODE_MARK] > 0 &&
              compared[TT_MODE_SIGHT] > 3);
    free(model);
    free(fit);
    clear(&j);
}
END_TEST

/* The kind and place of the fault that was put in has the highest odds of all; without one none has
 * better than even ones. */
START_TEST(the_fault_stands_first)
{
    struct judged j = {.scene = scene_many_edges(20261127)};
    struct tt_terms plain;
    double before;
    const struct tt_mode *best = NULL;

    if (_i > 0) {
        j.scene.edges[_i].shift = -0.037;
    }
    judge(&j, &plain, &before);
    for (size_t k = 0; k < j.table.n; k++) {
        best = best == NULL || j.table.mode[k].log_odds > best->log_odds ? &j.table.mode[k] : best;
    }
    ck_assert_ptr_nonnull(best);
    if (_i > 0) {
        ck_assert(best->kind == TT_MODE_FILM || best->kind == TT_MODE_EDGE);
        ck_assert_uint_eq(best->index, (size_t)_i);
        ck_assert(best->log_odds > 3);
    } else {
        ck_assert_msg(best->log_odds < 0, "kind %d at %.2f", (int)best->kind, best->log_odds);
    }
    clear(&j);
}
END_TEST

/* Axes that are off by some per cent are axes; by more than any machine's, they are no explanation:
 * a sighting of another mark looks so to the three numbers that follow it. */
START_TEST(axes_have_a_largest_size)
{
    static const double STRETCH[] = {0.003, -0.045, 0.055, -0.3};
    struct judged j = {.scene = scene_many_edges(20261128), .stretch = STRETCH[_i]};
    struct tt_terms plain;
    double before, odds = NAN, of_x = NAN, of_y = NAN;

    j.scene.u_touch = 0.0031;
    j.scene.u_sight = 0.0024;

    judge(&j, &plain, &before);
    for (size_t k = 0; k < j.table.n; k++) {
        const struct tt_mode *mode = &j.table.mode[k];
        odds = mode->kind == TT_MODE_AXES ? mode->log_odds : odds;
        of_x = mode->kind == TT_MODE_AXIS_X ? mode->log_odds : of_x;
        of_y = mode->kind == TT_MODE_AXIS_Y ? mode->log_odds : of_y;
    }
    ck_assert_msg(fabs(STRETCH[_i]) < 0.05 ? odds > 3 : odds == -INFINITY, "stretch %g: ln odds %g",
                  STRETCH[_i], odds);
    /* it is x alone that was stretched: one number explains it with less luck than three */
    ck_assert_msg(fabs(STRETCH[_i]) < 0.05 ? of_x > odds + 3 && of_x > of_y + 3
                                           : of_x == -INFINITY,
                  "stretch %g: ln odds %g, %g", STRETCH[_i], of_x, of_y);
    clear(&j);
}
END_TEST

/* The table of docs/method.md, section 5: F in mm, s, rad or 1, and P. */
START_TEST(the_table_is_the_documents)
{
    static const struct {
        enum tt_mode_kind kind;
        double size, probability;
    } rows[] = {{TT_MODE_FILM, 0.06, 0.03},        {TT_MODE_EDGE, 5, 0.01},
                {TT_MODE_EDGE_OUT, 0, 0.01},       {TT_MODE_SIGHT, 0.05, 0.01},
                {TT_MODE_SIGHT_GROSS, 2, 0.01},    {TT_MODE_MARK, 0.05, 0.01},
                {TT_MODE_MARK_GROSS, 3, 0.01},     {TT_MODE_RADIUS, 0.1, 0.02},
                {TT_MODE_RADII, 0.1, 0.01},        {TT_MODE_MOVED, 0.03, 0.01},
                {TT_MODE_SLIP, 0.06, 0.01},        {TT_MODE_DRIFT, 0.02, 0.002},
                {TT_MODE_LOST_MOTION, 0.03, 0.02}, {TT_MODE_LATENCY, 0.005, 0.02},
                {TT_MODE_SHAPE, 0.015, 0.02},      {TT_MODE_REVERSED, 0.06, 0.01},
                {TT_MODE_AXES, 0.0005, 0.004},     {TT_MODE_DISTORTION, 0.01, 0.02},
                {TT_MODE_NOT_SQUARE, 5e-4, 0.002}, {TT_MODE_SCALE, 5e-4, 0.002},
                {TT_MODE_TURNED, 0, 0.01},         {TT_MODE_MOVED_FAR, 1, 0.003},
                {TT_MODE_CAMERA, 0.1, 0.01},       {TT_MODE_TIP, 0.1, 0.003},
                {TT_MODE_SCALE_FAR, 5e-3, 0.001},  {TT_MODE_AXIS_X, 5e-3, 0.001},
                {TT_MODE_AXIS_Y, 5e-3, 0.001}};
    ck_assert_uint_eq(sizeof rows / sizeof rows[0], TT_MODE_KINDS);
    for (size_t i = 0; i < TT_MODE_KINDS; i++) {
        ck_assert_double_eq(tt_mode_size(rows[i].kind), rows[i].size);
        ck_assert_double_eq(tt_mode_probability(rows[i].kind), rows[i].probability);
    }
}
END_TEST

/* Of squared residuals that a candidate takes away: half of them where the repeatability is known;
 * where it is found from @own_dof of them, by the ratio of the sums, of which at most 98 % go. */
START_TEST(what_a_candidate_gains)
{
    ck_assert_double_eq_tol(tt_mode_gained(0, 7.3), 3.65, 1e-12);
    ck_assert_double_eq_tol(tt_mode_gained(17, 7.3), 8.5 * log(17 / 9.7), 1e-12);
    ck_assert_double_eq_tol(tt_mode_gained(17, 16.9), 8.5 * log(50), 1e-9);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("modes");
    TCase *cases = tcase_create("table");
    tcase_add_test(cases, odds_are_ratios_of_marginal_likelihoods);
    tcase_add_test(cases, the_table_is_the_documents);
    tcase_add_test(cases, what_a_candidate_gains);
    tcase_add_loop_test(cases, the_fault_stands_first, 0, 8);
    tcase_add_loop_test(cases, axes_have_a_largest_size, 0, 4);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed > 0;
}
