/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/scene.h"

#include <math.h>
#include <string.h>

/* The full covariance's part in the score: decides between designs that are equal on the same plate. */
#define FULL_SHARE 1e-6
/* A touch whose removal would leave less than this share of its own variance unexplained carries an unknown alone. */
#define CARRIES_ALONE 1e-9
/* Printed digits that are expected of a log: 0.1 µm (common practice, no source). */
#define USUAL_QUANTUM_MM 1e-4
/* Homing on limit switches, as in adjust/model.c. */
#define HOMING_U_MM 0.2

/* ---- the run of a scene ---- */

struct tt_pose tt_scene_pose(const struct tt_scene *scene, size_t setup)
{
    if (scene->poses != NULL) {
        return scene->poses[setup];
    }
    return tt_pose_make(scene->machine->mark, scene->machine->yaw_rad + scene->turned_rad[setup]);
}

double tt_scene_u_place(const struct tt_scene *scene, size_t setup, struct tt_plate_xy at)
{
    const struct tiptrue_machine *machine = scene->machine;
    struct tt_pose_u u = {machine->has_u_mark ? machine->u_mark_mm : HOMING_U_MM, machine->has_yaw ? machine->u_yaw_rad : HUGE_VAL};

    u = scene->poses_u != NULL ? scene->poses_u[setup] : u;
    return hypot(u.mark_mm, u.yaw_rad < HUGE_VAL ? u.yaw_rad * hypot(at.x_mm, at.y_mm) : HUGE_VAL);
}

struct tt_machine_xy tt_scene_head(const struct tt_scene *scene, const struct tt_probe *probe)
{
    const struct tt_edge *edge = &scene->plate->edges[probe->edge];
    const struct tiptrue_machine *machine = scene->machine;
    struct tt_pose pose = tt_scene_pose(scene, probe->setup);
    struct tt_machine_xy q = tt_pose_place(&pose, 1, probe->at), o = scene->offsets[probe->tip];
    struct tt_machine_xy n = tt_pose_turn(&pose, (struct tt_plate_xy){edge->n_x, edge->n_y}), e = {0, 0};
    double radius_mm = 0, sense = machine->clockwise ? -1 : 1;

    if (probe->tip < machine->n_tips) {
        const struct tt_tip *tip = &machine->tips[probe->tip];
        radius_mm = tip->radius_mm;
        e = tt_tip_turn(cos(probe->rotation_rad), sense * sin(probe->rotation_rad), tip->runout);
    }
    return (struct tt_machine_xy){q.x_mm + radius_mm * n.x_mm - o.x_mm - e.x_mm, q.y_mm + radius_mm * n.y_mm - o.y_mm - e.y_mm};
}

static void add_sightings(const struct tt_scene *scene, struct tiptrue_run *run)
{
    const struct tiptrue_plate *plate = scene->plate;

    for (size_t s = 0; s < scene->n_setups; s++) {
        struct tt_pose pose = tt_scene_pose(scene, s);
        for (size_t k = 0; k < 2 * scene->sightings * tt_plate_marks_in_use(plate); k++) {
            size_t mark = tt_plate_mark_in_use(plate, 0, k);
            run->observations[run->n_observations++] = (struct tt_observation){
                .kind = TT_SIGHT, .target = mark, .tip = TT_NONE, .setup = s, .h = tt_pose_place(&pose, 1, plate->marks[mark].at)};
        }
    }
}

/* Rows so far, sightings, touches. */
static enum tiptrue_status make_run(const struct tt_scene *scene, const struct tt_probe probes[], size_t n, struct tt_arena *arena,
                                    struct tiptrue_run *run)
{
    size_t before = scene->so_far != NULL ? scene->so_far->n_observations : 0;
    size_t sightings = 2 * scene->sightings * tt_plate_marks_in_use(scene->plate) * scene->n_setups;

    *run = (struct tiptrue_run){.file = scene->machine->file,
                                .tips = scene->tips,
                                .n_tips = scene->n_tips,
                                .setups = scene->setups,
                                .n_setups = scene->n_setups,
                                .checked_against_plate = true,
                                .checked_against_machine = true};
    run->sighting_digits = run->touch_digits = (struct tt_digits){.quantum_mm = USUAL_QUANTUM_MM};
    run->observations = TT_ARENA_NEW(arena, before + sightings + n, struct tt_observation);
    if (run->observations == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < before; i++) {
        if (!scene->aside[i]) {
            run->observations[run->n_observations++] = scene->so_far->observations[i];
        }
    }
    if (scene->so_far != NULL) {
        run->sighting_digits = scene->so_far->sighting_digits;
        run->touch_digits = scene->so_far->touch_digits;
    }
    add_sightings(scene, run);
    for (size_t i = 0; i < n; i++) {
        run->observations[run->n_observations++] = (struct tt_observation){.kind = TT_TOUCH,
                                                                           .target = probes[i].edge,
                                                                           .tip = probes[i].tip,
                                                                           .setup = probes[i].setup,
                                                                           .rotation_rad = probes[i].rotation_rad,
                                                                           .h = tt_scene_head(scene, &probes[i])};
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_scene_check(const struct tt_scene *scene, const struct tt_probe probes[], size_t n,
                                   struct tt_adjust_workspace *workspace, struct tiptrue_solution **expected,
                                   struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tiptrue_run run;
    enum tiptrue_status status = make_run(scene, probes, n, &arena, &run);

    status =
        status == TIPTRUE_OK ? tt_check(workspace, scene->plate, scene->machine, &run, expected, error) : tt_fail_memory(error);
    tt_arena_clear(&arena);
    return status;
}

/* ---- the engine ---- */

/* A tip out of round is borne as harmonics with a prior, for the tip of the engine alone. */
static void add_shape_priors(struct tt_engine *engine, double shape_u_mm)
{
    struct tt_model *model = &engine->model;

    for (size_t k = TT_TIP_SHAPE; k < model->block_size[engine->block]; k++) {
        model->priors[model->n_priors++] = (struct tt_prior){
            .kind = TT_PRIOR_WEAK, .block = engine->block, .place = model->n_border + k, .u = shape_u_mm, .what = TT_NONE};
    }
}

static void fill_rows(struct tt_engine *engine, size_t first_row)
{
    const struct tt_model *model = &engine->model;

    for (size_t i = 0; i < model->n_touches; i++) {
        if (model->row[i] < first_row) {
            continue;
        }
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *slope = model->slope + i * model->stride;
        struct tt_row *row = &engine->rows[model->row[i] - first_row];
        engine->touch_of_row[model->row[i] - first_row] = i;
        for (size_t k = 0; k < cell->n_entries; k++) {
            row->place[row->n] = (unsigned short)cell->entries[k].place;
            row->value[row->n++] = cell->entries[k].value * slope[cell->entries[k].column];
        }
    }
}

static void find_plate_unknowns(struct tt_engine *engine)
{
    const struct tt_model *model = &engine->model;

    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        if (prior->kind == TT_PRIOR_EDGE || prior->kind == TT_PRIOR_GROUP || prior->kind == TT_PRIOR_MARK) {
            engine->plate_place[engine->n_plate] = prior->place;
            engine->plate_weight[engine->n_plate++] = 1 / (prior->u * prior->u);
        }
    }
}

static enum tiptrue_status build(struct tt_engine *engine, const struct tt_scene *scene, size_t tip,
                                 const struct tt_probe candidates[], size_t n, double shape_u_mm)
{
    struct tt_arena *arena = &engine->arena;
    struct tiptrue_run *run = TT_ARENA_NEW(arena, 1, struct tiptrue_run);
    struct tt_terms terms = {.moved_at = TT_NONE, .slipped_at = TT_NONE, .orders = TT_ARENA_NEW(arena, scene->n_tips, unsigned)};
    enum tiptrue_status status;

    if (run == NULL || terms.orders == NULL || (status = make_run(scene, candidates, n, arena, run)) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    engine->block = 0; /* blocks are the tips that touch, in the order of tips */
    for (size_t t = 0; t < tip; t++) {
        bool touches = false;
        for (size_t i = 0; i < run->n_observations; i++) {
            touches = touches || (run->observations[i].kind == TT_TOUCH && run->observations[i].use == TT_USE &&
                                  run->observations[i].tip == t);
        }
        engine->block += touches;
    }
    for (unsigned k = 2; k <= TT_MOST_ORDER && shape_u_mm > 0; k++) {
        terms.orders[engine->block] |= 1U << k;
    }
    status = tt_model_build(&engine->model, arena, scene->plate, scene->machine, run, &terms, false);
    if (status != TIPTRUE_OK) {
        return status;
    }
    add_shape_priors(engine, shape_u_mm);
    engine->noise = tt_noise_of(scene->machine, run);
    status = tt_fit_init(&engine->fit, arena, &engine->model, &engine->noise);
    engine->variance_mm2 = engine->fit.touch_var_mm2;
    engine->n = engine->model.n_border + engine->model.block_size[engine->block];
    engine->n_rows = n;
    engine->full_limit_mm2 = engine->runout_limit_mm2 = HUGE_VAL;
    engine->rows = TT_ARENA_NEW(arena, n, struct tt_row);
    engine->touch_of_row = TT_ARENA_NEW(arena, n, size_t);
    engine->plate_place = TT_ARENA_NEW(arena, engine->model.n_priors, size_t);
    engine->plate_weight = TT_ARENA_NEW(arena, engine->model.n_priors, double);
    engine->c = TT_ARENA_NEW(arena, engine->n * engine->n, double);
    engine->column = TT_ARENA_NEW(arena, engine->n, double);
    if (status != TIPTRUE_OK || engine->rows == NULL || engine->touch_of_row == NULL || engine->plate_place == NULL ||
        engine->plate_weight == NULL || engine->c == NULL || engine->column == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    tt_model_linearise(&engine->model);
    fill_rows(engine, run->n_observations - n);
    find_plate_unknowns(engine);
    return TIPTRUE_OK;
}

enum tiptrue_status tt_engine_init(struct tt_engine *engine, const struct tt_scene *scene, size_t tip,
                                   const struct tt_probe candidates[], size_t n, double shape_u_mm)
{
    *engine = (struct tt_engine){0};
    enum tiptrue_status status = build(engine, scene, tip, candidates, n, shape_u_mm);
    if (status != TIPTRUE_OK) {
        tt_engine_clear(engine);
    }
    return status;
}

void tt_engine_clear(struct tt_engine *engine)
{
    tt_arena_clear(&engine->arena);
    *engine = (struct tt_engine){0};
}

/* The covariance of border and block out of the factored system. */
static void take_covariance(struct tt_engine *engine)
{
    const struct tt_system *system = &engine->model.system;
    size_t nb = system->n_border, size = engine->model.block_size[engine->block], n = engine->n;

    tt_system_block_covariance(system, engine->block, engine->fit.cc, engine->fit.cb, engine->fit.response);
    for (size_t j = 0; j < nb; j++) {
        memcpy(engine->c + j * n, system->c + j * nb, nb * sizeof *engine->c);
    }
    for (size_t j = 0; j < size; j++) {
        for (size_t k = 0; k < nb; k++) {
            engine->c[(nb + j) * n + k] = engine->c[k * n + nb + j] = engine->fit.cb[j * nb + k];
        }
        memcpy(engine->c + (nb + j) * n + nb, engine->fit.cc + j * size, size * sizeof *engine->c);
    }
}

bool tt_engine_set(struct tt_engine *engine, const size_t counts[])
{
    struct tt_model *model = &engine->model;

    for (size_t i = 0; i < model->n_touches; i++) {
        engine->fit.weight[i] = 1 / engine->variance_mm2;
    }
    for (size_t k = 0; k < engine->n_rows; k++) {
        engine->fit.weight[engine->touch_of_row[k]] = (double)counts[k] / engine->variance_mm2;
    }
    tt_model_accumulate(model, engine->fit.weight, 1 / engine->fit.sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return false;
    }
    tt_system_invert(&model->system);
    take_covariance(engine);
    return true;
}

/* C a into @column; a' C a is returned. */
static double multiply(const struct tt_engine *engine, size_t row, double column[])
{
    const struct tt_row *a = &engine->rows[row];
    size_t n = engine->n;
    double q = 0;

    memset(column, 0, n * sizeof *column);
    for (size_t k = 0; k < a->n; k++) {
        const double *c = engine->c + a->place[k] * n; /* symmetric */
        double value = a->value[k];
        for (size_t j = 0; j < n; j++) {
            column[j] += value * c[j];
        }
    }
    for (size_t k = 0; k < a->n; k++) {
        q += a->value[k] * column[a->place[k]];
    }
    return q;
}

bool tt_engine_change(struct tt_engine *engine, size_t row, int sign)
{
    size_t n = engine->n;
    double *column = engine->column, q = multiply(engine, row, column);
    double pivot = sign > 0 ? engine->variance_mm2 + q : engine->variance_mm2 - q;

    if (!(pivot > CARRIES_ALONE * engine->variance_mm2)) {
        return false;
    }
    for (size_t j = 0; j < n; j++) {
        double factor = sign * column[j] / pivot;
        for (size_t k = 0; k < n; k++) {
            engine->c[j * n + k] -= factor * column[k];
        }
    }
    return true;
}

/* Same-plate variance of the offset's axis @axis when C is changed by -f c c'; the full one is added to *full_mm2. */
static double axis_variance(const struct tt_engine *engine, size_t axis, const double column[], double f, double *full_mm2)
{
    size_t n = engine->n, at = engine->model.n_border + TT_TIP_O_X + axis;
    const double *c = engine->c + at * n;
    double own = column != NULL ? f * column[at] : 0, full = c[at], of_plate = 0;

    full -= column != NULL ? own * column[at] : 0;
    for (size_t k = 0; k < engine->n_plate; k++) {
        size_t p = engine->plate_place[k];
        double gain = column != NULL ? c[p] - own * column[p] : c[p];
        of_plate += engine->plate_weight[k] * gain * gain;
    }
    *full_mm2 += full;
    return full - of_plate;
}

/* Trace of the runout's covariance, C changed likewise. */
static double runout_variance(const struct tt_engine *engine, const double column[], double f)
{
    double sum = 0;

    for (size_t axis = 0; axis < 2; axis++) {
        size_t at = engine->model.n_border + TT_TIP_E_X + axis;
        sum += engine->c[at * engine->n + at] - (column != NULL ? f * column[at] * column[at] : 0);
    }
    return sum;
}

static double score(const struct tt_engine *engine, const double column[], double f)
{
    double full_mm2 = 0, runout_mm2 = runout_variance(engine, column, f);
    double same_plate_mm2 = axis_variance(engine, 0, column, f, &full_mm2) + axis_variance(engine, 1, column, f, &full_mm2);

    return same_plate_mm2 + FULL_SHARE * full_mm2 + fmax(full_mm2 - engine->full_limit_mm2, 0) +
           fmax(runout_mm2 - engine->runout_limit_mm2, 0);
}

double tt_engine_score(const struct tt_engine *engine)
{
    return score(engine, NULL, 0);
}

double tt_engine_score_with(const struct tt_engine *engine, size_t row)
{
    double q = multiply(engine, row, engine->column);
    return score(engine, engine->column, 1 / (engine->variance_mm2 + q));
}

void tt_engine_limit(struct tt_engine *engine, double runout_share)
{
    engine->full_limit_mm2 = 0;
    (void)axis_variance(engine, 0, NULL, 0, &engine->full_limit_mm2);
    (void)axis_variance(engine, 1, NULL, 0, &engine->full_limit_mm2);
    engine->runout_limit_mm2 = runout_share * runout_variance(engine, NULL, 0);
}
