/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Climbs in the functions that touches see against climbs whose every step is one of the whole
 * model: they must end at the same place. */
#include "config.h"

#include "adjust/estimable.h"

#include <check.h>
#include <math.h>
#include <string.h>

#include "adjust/explain.h"
#include "adjust/modes.h"
#include "adjust/robust.h"
#include "scene.h"

struct climbed {
    struct tt_model model;
    struct tt_fit fit;
};

struct both {
    struct scene scene;
    struct scene_read read;
    struct tt_arena arena;
    struct tt_noise noise;
    struct tt_search search;
    struct tt_terms terms;
    struct tt_climb how;
    double tip_mm; /* how well a tip is known before any touch; 0 = as always */
    struct climbed whole, functions;
};

static void prepare(struct both *b, size_t deepened)
{
    struct scene_rows rows = scene_simulate(&b->scene);

    for (size_t i = 0; i < rows.n && deepened > 0; i += deepened) {
        if (!rows.row[i].is_sight) {
            scene_deepen(&rows.row[i], 0.0371 + 0.0007 * (double)(i % 13));
        }
    }
    b->read = scene_read(&b->scene, &rows);
    scene_rows_free(&rows);
    b->noise = tt_noise_of(b->read.machine, b->read.run);
    b->search = (struct tt_search){
        &b->arena, b->read.plate, b->read.machine, b->read.run, &b->noise, NULL, NULL};
    ck_assert_int_eq(tt_terms_new(&b->search, NULL, &b->terms), TIPTRUE_OK);
    b->terms.proper = true;
    b->how = (struct tt_climb){.hopeless = -INFINITY, .deviations = true};
}

static void climb(struct both *b, struct climbed *c, bool by_functions)
{
    ck_assert_int_eq(tt_model_build(&c->model, &b->arena, b->read.plate, b->read.machine,
                                    b->read.run, &b->terms, false),
                     TIPTRUE_OK);
    for (size_t k = 0; k < c->model.n_priors; k++) {
        struct tt_prior *prior = &c->model.priors[k];
        if (b->tip_mm > 0 && prior->kind == TT_PRIOR_WEAK && prior->place >= c->model.n_border) {
            prior->u = b->tip_mm;
        }
    }
    ck_assert_int_eq(tt_fit_init(&c->fit, &b->arena, &c->model, &b->noise), TIPTRUE_OK);
    if (by_functions) {
        struct tt_estimable_scratch *scratch = NULL;
        ck_assert_int_eq(tt_estimable_new(&b->arena, &c->model, &scratch, &c->fit.at_start),
                         TIPTRUE_OK);
        ck_assert_int_eq(tt_estimable_new(&b->arena, &c->model, &scratch, &c->fit.moved),
                         TIPTRUE_OK);
    }
    ck_assert(tt_robust_start(&c->fit));
    ck_assert(tt_robust_climb(&c->fit, &b->how));
}

static void check_near(double a, double b, double tolerance)
{
    ck_assert_msg(fabs(a - b) <= tolerance * fmax(1, fabs(a)), "%.15g, and %.15g by functions", a,
                  b);
}

static void compare(const struct both *b)
{
    const struct tt_fit *one = &b->whole.fit, *other = &b->functions.fit;
    const struct tt_model *model = &b->whole.model, *by = &b->functions.model;

    check_near(one->log_evidence, other->log_evidence, 1e-7);
    check_near(one->log_likelihood, other->log_likelihood, 1e-7);
    check_near(one->spent_touch, other->spent_touch, 1e-6);
    check_near(sqrt(one->touch_var_mm2), sqrt(other->touch_var_mm2), 1e-10);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        check_near(model->x[k], by->x[k], 1e-8);
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        check_near(model->residual[i], by->residual[i], 1e-8);
        check_near(one->good[i], other->good[i], 1e-5);
        check_near(one->leverage[i], other->leverage[i], 1e-6);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        for (size_t axis = 0; axis < 2; axis++) {
            check_near(model->sights[i].residual[axis], by->sights[i].residual[axis], 1e-8);
        }
    }
    ck_assert_uint_eq(one->iterations, other->iterations);
}

/* Both climbs of what is prepared, twice by functions: the second takes the linearisation of the
 * first. */
static void check_climbs(struct both *b, bool usable, size_t functions)
{
    climb(b, &b->whole, false);
    climb(b, &b->functions, true);
    ck_assert_ptr_nonnull(b->functions.fit.estimable);
    ck_assert_int_eq(b->functions.fit.estimable->usable, usable);
    if (usable) {
        ck_assert_uint_eq(b->functions.fit.estimable->n, functions);
    }
    compare(b);
    struct tt_fit *again = &b->functions.fit;
    double before = again->log_evidence;
    memcpy(again->model->x, again->at_start->at, again->model->n_unknowns * sizeof(double));
    again->iterations = 0;
    ck_assert(tt_robust_climb(again, &b->how));
    check_near(before, again->log_evidence, 1e-12);
    compare(b);
    scene_read_free(&b->read);
    tt_arena_clear(&b->arena);
}

START_TEST(a_usual_run)
{
    /* four edges of 5 µm, yaw, runout x and y */
    struct both b = {.scene = scene_usual(81)};
    for (size_t j = 0; j < b.scene.n_edges; j++) {
        b.scene.edges[j].u = 0.005;
    }
    prepare(&b, 7);
    check_climbs(&b, true, b.scene.n_edges + 3);
}
END_TEST

/* Edges stated as exact have the least uncertainty of a proper model: no function depends on
 * others. */
START_TEST(exact_edges)
{
    struct both b = {.scene = scene_many_edges(82)};
    for (size_t j = 0; j < b.scene.n_edges; j++) {
        b.scene.edges[j].u = j % 2 == 0 ? 0.0043 : 0;
    }
    prepare(&b, 9);
    check_climbs(&b, true, b.scene.n_edges + 3);
}
END_TEST

/* A second tip and a third add an offset's two coordinates, a radius and a runout's two each: what
 * they see of the edges beyond the third depends on what the first sees. */
START_TEST(three_tips_depend)
{
    struct both b = {.scene = scene_many_edges(83)};
    b.scene.n_tips = 3;
    b.scene.tips[1] = (struct scene_tip){.name = "t2",
                                         .offset_x = -19.75,
                                         .offset_y = 13.0625,
                                         .runout_x = -0.145,
                                         .radius = 0.3105};
    b.scene.tips[2] = (struct scene_tip){
        .name = "t3", .offset_x = 21.125, .offset_y = 17.25, .runout_y = 0.0381, .radius = 0.4415};
    prepare(&b, 9);
    check_climbs(&b, true, b.scene.n_edges + 3 + 2 * 5);
}
END_TEST

START_TEST(an_edge_out)
{
    struct both b = {.scene = scene_many_edges(85)};
    prepare(&b, 11);
    b.terms.edge_out[2] = true;
    check_climbs(&b, true, b.scene.n_edges + 3);
}
END_TEST

START_TEST(edges_widened)
{
    struct both b = {.scene = scene_many_edges(86)};
    prepare(&b, 11);
    b.terms.edge_extra_mm[1] = tt_mode_size(TT_MODE_FILM);
    b.terms.edge_extra_mm[4] = tt_mode_size(TT_MODE_EDGE);
    check_climbs(&b, true, b.scene.n_edges + 3);
}
END_TEST

/* Tips that may be anywhere within 40 mm: beside that, exact edges are too near. */
START_TEST(open_tips)
{
    struct both b = {.scene = scene_many_edges(87), .tip_mm = 40};
    for (size_t j = 0; j < b.scene.n_edges; j++) {
        b.scene.edges[j].u = 0;
    }
    prepare(&b, 8);
    check_climbs(&b, false, 0);
}
END_TEST

/* Two tips, one with a shape, two setups, groups, lost motion, latency, a plate that creeps and
 * moves, axes that are not square, and a rotation that slips. */
START_TEST(all_terms)
{
    struct both b = {.scene = scene_full()};
    b.scene.rotations = 9;
    b.scene.edges[3].u = 0.0062;
    b.scene.feed_mm_min[0] = 60;
    b.scene.feed_mm_min[1] = 110;
    prepare(&b, 13);
    b.terms.lost_motion = b.terms.latency = b.terms.drift = true;
    b.terms.axes = TT_AXES_NOT_SQUARE;
    b.terms.moved_at = 3 * b.read.run->n_observations / 4;
    b.terms.slipped_at = b.read.run->n_observations / 3;
    b.terms.slipped_tip = 1;
    b.terms.orders[0] = 1U << 3;
    b.how.own_scatter = true;
    climb(&b, &b.whole, false);
    climb(&b, &b.functions, true);
    ck_assert(b.functions.fit.estimable->usable);
    compare(&b);
    scene_read_free(&b.read);
    tt_arena_clear(&b.arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("estimable");
    TCase *test = tcase_create("estimable");

    tcase_add_test(test, a_usual_run);
    tcase_add_test(test, exact_edges);
    tcase_add_test(test, three_tips_depend);
    tcase_add_test(test, an_edge_out);
    tcase_add_test(test, edges_widened);
    tcase_add_test(test, open_tips);
    tcase_add_test(test, all_terms);
    suite_add_tcase(suite, test);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed > 0;
}
