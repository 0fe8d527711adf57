/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The model of a run with every term it may have: all derivatives of all rows against differences,
 * the normal equations against sums over single rows, the order of cells, priors, start values. */
#include "config.h"

#include "adjust/model.h"

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "scene.h"

/* A run, its model, and what the model borrows. */
struct built {
    struct scene scene;
    struct scene_read read;
    struct tt_arena arena;
    struct tt_terms terms;
    unsigned orders[2];
    double edge_extra_mm[SCENE_EDGES];
    bool yaw_free[SCENE_SETUPS];
    double turned_rad[SCENE_SETUPS];
    struct tt_model model;
};

static struct scene full_scene(void)
{
    struct scene s = scene_plain();
    s.n_groups = 2;
    s.groups[0] = (struct scene_group){.name = "routed", .u = 0.018};
    s.groups[1] = (struct scene_group){.name = "drilled", .u = 0.009};
    s.edges[0].u = s.edges[2].u = 0.006;
    s.edges[0].group = s.edges[1].group = s.edges[3].group = "routed";
    s.marks[1].u = s.marks[2].u = 0.007;
    s.marks[2].group = "drilled";
    s.n_tips = 2;
    s.tips[0].stated_radius = 0.26;
    s.tips[0].u_radius = 0.02;
    s.tips[1] = (struct scene_tip){.name = "t2",
                                   .offset_x = -19.75,
                                   .offset_y = 13.0625,
                                   .runout_x = -0.145,
                                   .radius = 0.3105};
    s.n_setups = 2;
    s.setups[0].yaw_deg = 34.25;
    s.setups[1] = (struct scene_setup){"2", 141.5, 88.75, -123.5};
    s.rotations = 5;
    s.expansion_ppm_per_K = 17;
    s.measured_at_C = 20.5;
    s.temperature_C = 31.5;
    s.feed_mm_min[0] = 60;
    s.feed_mm_min[1] = 110;
    return s;
}

/* @terms: 0 = none; else all, with a plate that was knocked (1), a camera (2) or a tip (3) that
 * moved. */
static void build(struct built *b, int terms)
{
    *b = (struct built){.scene = full_scene(),
                        .terms = {.moved_at = TT_NONE, .slipped_at = TT_NONE}};
    struct scene_rows rows = scene_simulate(&b->scene);
    b->read = scene_read(&b->scene, &rows);
    scene_rows_free(&rows);
    b->terms.orders = b->orders;
    b->terms.edge_extra_mm = b->edge_extra_mm;
    b->terms.yaw_free = b->yaw_free;
    b->terms.turned_rad = b->turned_rad;
    if (terms > 0) {
        b->terms.reversed = b->terms.lost_motion = b->terms.latency = b->terms.drift = true;
        static const enum tt_mover MOVERS[] = {TT_MOVER_PLATE, TT_MOVER_PLATE_FAR, TT_MOVER_CAMERA,
                                               TT_MOVER_TIP};
        b->terms.moved_at = 61; /* in the second setup */
        b->terms.mover = MOVERS[terms];
        b->terms.moved_tip = 1;
        b->orders[0] = 1U << 2 | 1U << 5;
        b->orders[1] = 1U << 3;
        b->edge_extra_mm[1] = 5;
        b->terms.axes = TT_AXES_SCALE;
        b->terms.slipped_at = 17; /* of the first tip's touches */
        b->terms.slipped_tip = 0;
    }
    ck_assert_int_eq(tt_model_build(&b->model, &b->arena, b->read.plate, b->read.machine,
                                    b->read.run, &b->terms, false),
                     TIPTRUE_OK);
}

static void clear(struct built *b)
{
    tt_arena_clear(&b->arena);
    scene_read_free(&b->read);
}

/* Somewhere near the truth, every unknown different from 0. */
static void displace(struct built *b, gsl_rng *random)
{
    for (size_t k = 0; k < b->model.n_unknowns; k++) {
        b->model.x[k] += 0.01 + gsl_ran_gaussian(random, 0.02);
    }
}

/* All residuals: touches, then x and y of every sighting. */
static size_t residuals(struct tt_model *model, double r[])
{
    size_t n = 0;
    tt_model_linearise(model);
    for (size_t i = 0; i < model->n_touches; i++) {
        r[n++] = model->residual[i];
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        r[n++] = model->sights[i].residual[0];
        r[n++] = model->sights[i].residual[1];
    }
    return n;
}

/* The design row of row @r over all unknowns, from entries and columns. */
static void design_row(const struct tt_model *model, size_t r, double row[])
{
    memset(row, 0, model->n_unknowns * sizeof *row);
    if (r < model->n_touches) {
        const struct tt_cell *cell = &model->cells[model->cell_of[r]];
        ck_assert(r >= cell->first && r < cell->first + cell->count);
        for (size_t k = 0; k < cell->n_entries; k++) {
            const struct tt_entry *e = &cell->entries[k];
            row[tt_unknown(model, cell->block, e->place)] +=
                e->value * model->slope[r * model->stride + e->column];
        }
        return;
    }
    const struct tt_sight *sight = &model->sights[(r - model->n_touches) / 2];
    for (size_t k = 0; k < sight->n_entries; k++) {
        const struct tt_entry *e = &sight->entries[(r - model->n_touches) % 2][k];
        row[e->place] += e->value;
    }
}

enum { MOST_ROWS = 400, MOST_UNKNOWNS = 60 };

/* With and without terms: the derivative of every row by every unknown. */
START_TEST(derivatives)
{
    static double above[MOST_ROWS], below[MOST_ROWS], rows[MOST_ROWS][MOST_UNKNOWNS];
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260461);
    struct built b;
    build(&b, _i);
    struct tt_model *model = &b.model;
    displace(&b, random);
    const size_t n = residuals(model, above);
    ck_assert(n <= MOST_ROWS && model->n_unknowns <= MOST_UNKNOWNS);
    for (size_t r = 0; r < n; r++) {
        design_row(model, r, rows[r]);
    }
    for (size_t k = 0; k < model->n_unknowns; k++) {
        const bool angle =
            k == tt_at_pose(0) + 2 || k == tt_at_pose(1) + 2 || k == model->at_turned;
        const double at = model->x[k], step = angle ? 3e-5 : 0.125;
        model->x[k] = at + step;
        (void)residuals(model, above);
        model->x[k] = at - step;
        (void)residuals(model, below);
        model->x[k] = at;
        bool any = false;
        for (size_t r = 0; r < n; r++) {
            ck_assert_double_eq_tol((above[r] - below[r]) / (2 * step), rows[r][k],
                                    angle ? 1e-7 : 1e-10);
            any = any || rows[r][k] != 0;
        }
        ck_assert_msg(any, "no row sees unknown %zu", k);
    }
    gsl_rng_free(random);
    clear(&b);
}
END_TEST

/* A step to first order is the derivative times the step, in residuals and unknowns. */
START_TEST(move)
{
    static double before[MOST_ROWS], after[MOST_ROWS], dx[MOST_UNKNOWNS], row[MOST_UNKNOWNS];
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260462);
    struct built b;
    build(&b, _i);
    struct tt_model *model = &b.model;
    displace(&b, random);
    const size_t n = residuals(model, before);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        dx[k] = gsl_ran_gaussian(random, 0.05);
        after[k] = model->x[k] - dx[k];
    }
    static double expected[MOST_ROWS];
    for (size_t r = 0; r < n; r++) {
        design_row(model, r, row);
        expected[r] = before[r];
        for (size_t k = 0; k < model->n_unknowns; k++) {
            expected[r] -= row[k] * dx[k];
        }
    }
    tt_model_move(model, dx);
    for (size_t k = 0; k < model->n_unknowns; k++) {
        ck_assert_double_eq_tol(model->x[k], after[k], 1e-15);
    }
    for (size_t r = 0; r < n; r++) {
        const double moved =
            r < model->n_touches
                ? model->residual[r]
                : model->sights[(r - model->n_touches) / 2].residual[(r - model->n_touches) % 2];
        ck_assert_double_eq_tol(moved, expected[r], 1e-12);
    }
    gsl_rng_free(random);
    clear(&b);
}
END_TEST

/* Element (@i, @j) of the system's matrix, indices over all unknowns; both in the border or in one
 * block, or 0. */
static double element(const struct tt_model *model, size_t i, size_t j)
{
    const struct tt_system *s = &model->system;
    const size_t nb = s->n_border, high = i > j ? i : j, low = i > j ? j : i;
    if (high < nb) {
        return s->a[high * nb + low];
    }
    if (low < nb) {
        return s->b[(high - nb) * nb + low];
    }
    for (size_t t = 0; t < s->n_blocks; t++) {
        if (low >= s->first[t] && high < s->first[t] + s->size[t]) {
            return s->d[s->d_at[t] + (high - s->first[t]) * s->size[t] + low - s->first[t]];
        }
    }
    return 0;
}

/* The normal equations against the sum over single rows and priors; some touches weigh nothing. */
START_TEST(normal_equations)
{
    static double r[MOST_ROWS], weight[MOST_ROWS], row[MOST_UNKNOWNS], right[MOST_UNKNOWNS],
        whole[MOST_UNKNOWNS][MOST_UNKNOWNS];
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 20260463);
    struct built b;
    build(&b, _i % 2);
    struct tt_model *model = &b.model;
    const bool with_priors = _i < 2;
    displace(&b, random);
    const size_t n = residuals(model, r);
    for (size_t i = 0; i < n; i++) {
        weight[i] = i < model->n_touches ? (i % 7 == 3 ? 0 : 1e5 * gsl_rng_uniform(random)) : 2.5e5;
        design_row(model, i, row);
        for (size_t j = 0; j < model->n_unknowns; j++) {
            right[j] += weight[i] * row[j] * r[i];
            for (size_t k = 0; k < model->n_unknowns; k++) {
                whole[j][k] += weight[i] * row[j] * row[k];
            }
        }
    }
    for (size_t p = 0; p < model->n_priors && with_priors; p++) {
        const struct tt_prior *prior = &model->priors[p];
        const size_t at = tt_unknown(model, prior->block, prior->place);
        whole[at][at] += 1 / (prior->u * prior->u);
        right[at] += (model->x[at] - prior->value) / (prior->u * prior->u);
    }
    tt_model_accumulate(model, weight, 2.5e5, with_priors);
    for (size_t j = 0; j < model->n_unknowns; j++) {
        ck_assert_double_eq_tol(model->system.g[j] / right[j], 1, 1e-9);
        for (size_t k = 0; k < model->n_unknowns; k++) {
            ck_assert_double_eq_tol(element(model, j, k) / sqrt(whole[j][j] * whole[k][k]),
                                    whole[j][k] / sqrt(whole[j][j] * whole[k][k]), 1e-12);
        }
    }
    gsl_rng_free(random);
    clear(&b);
}
END_TEST

/* Every row of the run is in the model once; touches of a cell share what a cell is. */
START_TEST(cells)
{
    struct built b;
    build(&b, _i);
    const struct tt_model *model = &b.model;
    size_t counted = 0;
    ck_assert_uint_eq(model->n_touches, 80);
    ck_assert_uint_eq(model->n_sights, 12);
    ck_assert_uint_eq(model->n_blocks, 2);
    bool *seen = calloc(b.read.run->n_observations, sizeof *seen);
    ck_assert_ptr_nonnull(seen);
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_observation *o = &b.read.run->observations[model->row[i]];
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        ck_assert(!seen[model->row[i]]);
        seen[model->row[i]] = true;
        ck_assert_uint_eq(cell->setup, o->setup);
        ck_assert_uint_eq(cell->edge, o->target);
        ck_assert_uint_eq(model->block_tip[cell->block], o->tip);
        ck_assert_double_eq(model->touch[i].h.x_mm, o->h.x_mm);
        ck_assert_double_eq_tol(model->touch[i].scale, 1 + 17e-6 * 11, 1e-15);
        ck_assert_double_eq_tol(model->touch[i].sin_rotation,
                                (_i > 0 ? -1 : 1) * sin(o->rotation_rad), 1e-15);
        bool moved = (_i == 1 && o->setup == 1 && model->row[i] >= 61) ||
                     (_i == 3 && o->tip == 1 && model->row[i] < 61);
        ck_assert_int_eq(cell->moved, moved);
        if (_i > 0) {
            ck_assert_double_eq(cell->feed_mm_s, o->feed_mm_s);
        }
    }
    for (size_t k = 0; k < model->n_cells; k++) {
        counted += model->cells[k].count;
        ck_assert(k == 0 || model->cells[model->cells_by_block[k]].block >=
                                model->cells[model->cells_by_block[k - 1]].block);
    }
    ck_assert_uint_eq(counted, 80);
    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        bool moved =
            (_i == 1 && sight->setup == 1 && sight->row >= 61) || (_i == 2 && sight->row < 61);
        ck_assert_int_eq(sight->moved, moved);
    }
    free(seen);
    clear(&b);
}
END_TEST

static const struct tt_prior *find_prior(const struct tt_model *model, enum tt_prior_kind kind,
                                         size_t what)
{
    for (size_t p = 0; p < model->n_priors; p++) {
        if (model->priors[p].kind == kind && model->priors[p].what == what) {
            return &model->priors[p];
        }
    }
    return NULL;
}

START_TEST(priors)
{
    struct built b;
    build(&b, 0);
    const struct tt_model *model = &b.model;
    ck_assert_uint_eq(model->n_priors, 2 + 2 * 2 + 2 * 2 + 1); /* edges, groups, marks, radius */
    ck_assert_double_eq_tol(find_prior(model, TT_PRIOR_EDGE, 2)->u, 0.006, 1e-15);
    ck_assert_ptr_null(find_prior(model, TT_PRIOR_EDGE, 1));
    ck_assert_double_eq_tol(find_prior(model, TT_PRIOR_GROUP, 1)->u, 0.009, 1e-15);
    ck_assert_double_eq_tol(find_prior(model, TT_PRIOR_MARK, 2)->u, 0.007, 1e-15);
    const struct tt_prior *radius = find_prior(model, TT_PRIOR_RADIUS, 0);
    ck_assert_double_eq_tol(radius->value, 0.26, 1e-15);
    ck_assert_uint_eq(tt_unknown(model, radius->block, radius->place),
                      model->system.first[0] + TT_TIP_R);
    clear(&b);
}
END_TEST

/* The search starts at the sighted pose, the tips within the reach of the weak priors, though no
 * offset is stated. */
START_TEST(start)
{
    struct built b;
    build(&b, 0);
    const struct tt_model *model = &b.model;
    for (size_t k = 0; k < 2; k++) {
        const double *pose = model->x + tt_at_pose(k);
        ck_assert_double_eq_tol(pose[0], b.scene.setups[k].mark_x, 1e-9);
        ck_assert_double_eq_tol(pose[1], b.scene.setups[k].mark_y, 1e-9);
        ck_assert_double_eq_tol(
            remainder(pose[2] - tt_rad_from_deg(b.scene.setups[k].yaw_deg), 2 * TT_PI), 0, 1e-12);
        const double *tip = model->x + model->system.first[k];
        ck_assert_double_eq_tol(tip[TT_TIP_O_X], b.scene.tips[k].offset_x, 2);
        ck_assert_double_eq_tol(tip[TT_TIP_O_Y], b.scene.tips[k].offset_y, 2);
    }
    ck_assert_double_eq(model->x[model->system.first[0] + TT_TIP_R], 0.26);
    clear(&b);
}
END_TEST

/* A nominal yaw that sightings contradict by more than five of its u is not used for that setup. */
START_TEST(nominal_yaw)
{
    for (int used = 0; used < 2; used++) {
        struct scene s = scene_plain();
        struct tt_terms terms = {.moved_at = TT_NONE, .slipped_at = TT_NONE};
        struct tt_arena arena = {0};
        struct tt_model model;
        unsigned orders[1] = {0};
        s.has_yaw = true;
        s.u_yaw_deg = 0.3;
        s.setups[0].yaw_deg = 2.7;
        s.nominal_yaw_deg = 2.7 - 1.5 * (used ? 0.999 : 1.001);
        struct scene_rows rows = scene_simulate(&s);
        struct scene_read read = scene_read(&s, &rows);
        terms.orders = orders;
        ck_assert_int_eq(
            tt_model_build(&model, &arena, read.plate, read.machine, read.run, &terms, false),
            TIPTRUE_OK);
        ck_assert(model.yaw_sighted[0]);
        ck_assert(model.yaw_prior_used[0] == used);
        tt_arena_clear(&arena);
        scene_read_free(&read);
        scene_rows_free(&rows);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("model");
    TCase *rows = tcase_create("rows");
    tcase_add_loop_test(rows, derivatives, 0, 4);
    tcase_add_loop_test(rows, move, 0, 4);
    tcase_add_loop_test(rows, normal_equations, 0, 4);
    tcase_add_loop_test(rows, cells, 0, 4);
    suite_add_tcase(suite, rows);
    TCase *before = tcase_create("before the rows");
    tcase_add_test(before, priors);
    tcase_add_test(before, nominal_yaw);
    tcase_add_test(before, start);
    suite_add_tcase(suite, before);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
