/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The engine of scene.h: a covariance that is brought up to date touch by touch. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "planning/scene.h"

/* The full covariance's part in the score: decides between designs that are equal on the same
 * plate. */
#define FULL_SHARE 1e-6
/* A full trace that is over its limit by one per cent counts as two per cent of the trace on the
 * plate: at 1 plans of irregular plates give away 3 % in full for 2 % on the plate, at 5 they are
 * hardly better than evenly spread touches. */
#define FULL_EXCESS 2.0
/* Over evenly spread touches' by so much it is at its limit: within it the plan is free, so that
 * what is expected on the plate falls with every touch. */
#define FULL_FREE 1.02
/* A touch whose removal would leave less than this share of its own variance unexplained carries an
 * unknown alone. */
#define CARRIES_ALONE 1e-9

/* A tip out of round is borne as harmonics with a prior, for the tip of the engine alone. */
static void add_shape_priors(struct tt_engine *engine, double shape_u_mm)
{
    struct tt_model *model = &engine->model;

    for (size_t k = TT_TIP_SHAPE; k < model->block_size[engine->block]; k++) {
        model->priors[model->n_priors++] = (struct tt_prior){.kind = TT_PRIOR_WEAK,
                                                             .block = engine->block,
                                                             .place = model->n_border + k,
                                                             .u = shape_u_mm,
                                                             .what = TT_NONE};
    }
}

static void fill_rows(struct tt_engine *engine, size_t first_row)
{
    const struct tt_model *model = &engine->model;
    size_t nb = model->n_border, held_nb = engine->held.system.n_border;

    for (size_t i = 0; i < model->n_touches; i++) {
        if (model->row[i] < first_row) {
            continue;
        }
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *slope = model->slope + i * model->stride;
        size_t at = model->row[i] - first_row;
        struct tt_row *full = &engine->full.rows[at], *plate = &engine->plate.rows[at];
        engine->touch_of_row[at] = i;
        for (size_t k = 0; k < cell->n_entries; k++) {
            size_t place = cell->entries[k].place,
                   held = place < nb ? engine->held.place[place] : held_nb + place - nb;
            double value = cell->entries[k].value * slope[cell->entries[k].column];
            full->place[full->n] = (unsigned short)place;
            full->value[full->n++] = value;
            if (held != TT_NONE) {
                plate->place[plate->n] = (unsigned short)held;
                plate->value[plate->n++] = value;
            }
        }
    }
}

/* o_x, o_y, e_x, e_y. */
enum { GAINS = 4 };

/* Memory of a covariance whose system has @n_border unknowns in its border. */
static bool running_init(struct tt_running *running, struct tt_engine *engine, size_t n_border)
{
    size_t n = n_border + engine->model.block_size[engine->block];

    *running = (struct tt_running){
        .n = n, .offset = n_border + TT_TIP_O_X, .runout = n_border + TT_TIP_E_X};
    running->rows = TT_ARENA_NEW(&engine->arena, engine->n_rows, struct tt_row);
    running->c = TT_ARENA_NEW(&engine->arena, n * n, double);
    running->column = TT_ARENA_NEW(&engine->arena, n, double);
    running->q = TT_ARENA_NEW(&engine->arena, engine->n_rows, double);
    running->gain = TT_ARENA_NEW(&engine->arena, GAINS * engine->n_rows, double);
    return running->rows != NULL && running->c != NULL && running->column != NULL &&
           running->q != NULL && running->gain != NULL;
}

static enum tiptrue_status build(struct tt_engine *engine, const struct tt_scene *scene, size_t tip,
                                 const struct tt_probe candidates[], size_t n, double shape_u_mm)
{
    struct tt_arena *arena = &engine->arena;
    struct tiptrue_run *run = TT_ARENA_NEW(arena, 1, struct tiptrue_run);
    struct tt_terms terms = {.moved_at = TT_NONE,
                             .slipped_at = TT_NONE,
                             .orders = TT_ARENA_NEW(arena, scene->n_tips, unsigned)};

    if (run == NULL || terms.orders == NULL ||
        tt_scene_run(scene, candidates, n, arena, run) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    engine->block = 0; /* blocks are the tips that touch, in the order of tips */
    for (size_t t = 0; t < tip; t++) {
        bool touches = false;
        for (size_t i = 0; i < run->n_observations; i++) {
            touches =
                touches || (run->observations[i].kind == TT_TOUCH &&
                            run->observations[i].use == TT_USE && run->observations[i].tip == t);
        }
        engine->block += touches;
    }
    for (unsigned k = 2; k <= TT_MOST_ORDER && shape_u_mm > 0; k++) {
        terms.orders[engine->block] |= 1U << k;
    }
    enum tiptrue_status status =
        tt_model_build(&engine->model, arena, scene->plate, scene->machine, run, &terms, false);
    if (status != TIPTRUE_OK) {
        return status;
    }
    add_shape_priors(engine, shape_u_mm);
    engine->noise = tt_noise_of(scene->machine, run);
    status = tt_fit_init(&engine->fit, arena, &engine->model, &engine->noise);
    engine->variance_mm2 = engine->fit.touch_var_mm2;
    engine->n_rows = n;
    engine->n_views = scene->n_views;
    engine->n_seen = engine->model.picture.n - scene->n_views * scene->n_setups;
    engine->sightings = 1;
    engine->stride = 1;
    engine->full_limit_mm2 = engine->runout_limit_mm2 = HUGE_VAL;
    engine->touch_of_row = TT_ARENA_NEW(arena, n, size_t);
    if (status != TIPTRUE_OK || engine->touch_of_row == NULL ||
        !tt_held_init(&engine->held, arena, &engine->fit) ||
        !running_init(&engine->full, engine, engine->model.n_border) ||
        !running_init(&engine->plate, engine, engine->held.system.n_border)) {
        return TIPTRUE_E_MEMORY;
    }
    tt_model_linearise(&engine->model);
    fill_rows(engine, run->n_observations - n);
    return TIPTRUE_OK;
}

enum tiptrue_status tt_engine_init(struct tt_engine *engine, const struct tt_scene *scene,
                                   size_t tip, const struct tt_probe candidates[], size_t n,
                                   double shape_u_mm)
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

/* The covariance of border and block out of a factored system. */
static void take_covariance(const struct tt_engine *engine, struct tt_system *system,
                            struct tt_running *running)
{
    size_t nb = system->n_border, size = engine->model.block_size[engine->block], n = running->n;
    const struct tt_fit *fit = &engine->fit;

    tt_system_invert(system);
    tt_system_block_covariance(system, engine->block, fit->cc, fit->cb, fit->response);
    for (size_t j = 0; j < nb; j++) {
        memcpy(running->c + j * n, system->c + j * nb, nb * sizeof *running->c);
    }
    for (size_t j = 0; j < size; j++) {
        for (size_t k = 0; k < nb; k++) {
            running->c[(nb + j) * n + k] = running->c[k * n + nb + j] = fit->cb[j * nb + k];
        }
        memcpy(running->c + (nb + j) * n + nb, fit->cc + j * size, size * sizeof *running->c);
    }
}

/* The place of the @i-th gain among the unknowns. */
static size_t gain_at(const struct tt_running *running, size_t i)
{
    return i < 2 ? running->offset + i : running->runout + i - 2;
}

/* a' C a and the gains of every @stride-th candidate, from C. */
static void ask_all(struct tt_running *running, size_t n_rows, size_t stride)
{
    size_t n = running->n;

    for (size_t row = 0; row < n_rows; row += stride) {
        const struct tt_row *a = &running->rows[row];
        double q = 0;
        for (size_t i = 0; i < GAINS; i++) {
            const double *c = running->c + gain_at(running, i) * n;
            double sum = 0;
            for (size_t k = 0; k < a->n; k++) {
                sum += a->value[k] * c[a->place[k]];
            }
            running->gain[GAINS * row + i] = sum;
        }
        for (size_t j = 0; j < a->n; j++) {
            const double *c = running->c + a->place[j] * n;
            double sum = 0;
            for (size_t k = 0; k < j; k++) {
                sum += a->value[k] * c[a->place[k]];
            }
            q += a->value[j] * (2 * sum + a->value[j] * c[a->place[j]]);
        }
        running->q[row] = q;
    }
}

void tt_engine_weigh_views(struct tt_engine *engine, const size_t counts[])
{
    struct tt_fit *fit = &engine->fit;
    size_t n = 0;

    for (size_t i = 0; i < engine->model.n_sights; i++) {
        struct tt_sight *sight = &engine->model.sights[i];
        if (sight->view && n++ >= engine->n_seen) {
            size_t count = counts[(n - 1 - engine->n_seen) % engine->n_views];
            sight->ratio = count > 0 ? fit->view_var_mm2 / fit->sight_var_mm2 / (double)count
                                     : HUGE_VAL; /* of no weight */
        }
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
    tt_model_accumulate(model, engine->fit.weight, engine->sightings / engine->fit.sight_var_mm2,
                        true);
    if (!tt_system_factor(&model->system) || !tt_held_factor(&engine->held)) {
        return false;
    }
    take_covariance(engine, &model->system, &engine->full);
    take_covariance(engine, &engine->held.system, &engine->plate);
    ask_all(&engine->full, engine->n_rows, engine->stride);
    ask_all(&engine->plate, engine->n_rows, engine->stride);
    return true;
}

double tt_running_multiply(const struct tt_running *running, const struct tt_row *a)
{
    double *column = running->column, q = 0;
    size_t n = running->n;

    memset(column, 0, n * sizeof *column);
    for (size_t k = 0; k < a->n; k++) {
        const double *c = running->c + a->place[k] * n; /* symmetric */
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

void tt_running_update(struct tt_running *running, double f, size_t n_rows, size_t stride)
{
    const double *column = running->column;
    size_t n = running->n;
    double step[GAINS];

    for (size_t j = 0; j < n; j++) {
        double factor = f * column[j];
        for (size_t k = 0; k < n; k++) {
            running->c[j * n + k] -= factor * column[k];
        }
    }
    for (size_t i = 0; i < GAINS; i++) {
        step[i] = f * column[gain_at(running, i)];
    }
    for (size_t row = 0; row < n_rows; row += stride) {
        const struct tt_row *a = &running->rows[row];
        double along = 0;
        for (size_t k = 0; k < a->n; k++) {
            along += a->value[k] * column[a->place[k]];
        }
        running->q[row] -= f * along * along;
        for (size_t i = 0; i < GAINS; i++) {
            running->gain[GAINS * row + i] -= step[i] * along;
        }
    }
}

bool tt_engine_change(struct tt_engine *engine, size_t row, int sign)
{
    double v = engine->variance_mm2,
           on_plate = v + sign * tt_running_multiply(&engine->plate, &engine->plate.rows[row]);

    if (!(on_plate >
          CARRIES_ALONE * v)) { /* what the plate's priors carry besides is no ground to stand on */
        return false;
    }
    double in_full = v + sign * tt_running_multiply(&engine->full, &engine->full.rows[row]);
    tt_running_update(&engine->plate, sign / on_plate, engine->n_rows, engine->stride);
    tt_running_update(&engine->full, sign / in_full, engine->n_rows, engine->stride);
    return true;
}

/* Trace of two unknowns from @at on. */
static double trace_of(const struct tt_running *running, size_t at)
{
    size_t step = running->n + 1;

    return running->c[at * step] + running->c[(at + 1) * step];
}

/* What a touch of candidate @row more takes from the traces of offset and runout: the gains
 * squared, over what is uncertain of it.
 */
struct less {
    double offset_mm2, runout_mm2;
};
static struct less less_with(const struct tt_running *running, size_t row, double variance_mm2)
{
    const double *gain = running->gain + GAINS * row;
    double f = 1 / (variance_mm2 + running->q[row]);

    return (struct less){f * (gain[0] * gain[0] + gain[1] * gain[1]),
                         f * (gain[2] * gain[2] + gain[3] * gain[3])};
}

static double score(const struct tt_engine *engine, double plate_mm2, double full_mm2,
                    double runout_mm2)
{
    return plate_mm2 + FULL_SHARE * full_mm2 +
           FULL_EXCESS * engine->plate_even_mm2 * fmax(full_mm2 / engine->full_limit_mm2 - 1, 0) +
           fmax(runout_mm2 - engine->runout_limit_mm2, 0);
}

double tt_engine_score(const struct tt_engine *engine)
{
    const struct tt_running *plate = &engine->plate, *full = &engine->full;

    return score(engine, trace_of(plate, plate->offset), trace_of(full, full->offset),
                 trace_of(plate, plate->runout));
}

double tt_engine_score_with(const struct tt_engine *engine, size_t row, double best)
{
    const struct tt_running *plate = &engine->plate, *full = &engine->full;
    struct less less = less_with(plate, row, engine->variance_mm2);
    double plate_mm2 = trace_of(plate, plate->offset) - less.offset_mm2;

    if (plate_mm2 >= best) { /* the rest only adds */
        return HUGE_VAL;
    }
    return score(engine, plate_mm2,
                 trace_of(full, full->offset) -
                     less_with(full, row, engine->variance_mm2).offset_mm2,
                 trace_of(plate, plate->runout) - less.runout_mm2);
}

void tt_engine_limit(struct tt_engine *engine, double runout_share)
{
    engine->plate_even_mm2 = trace_of(&engine->plate, engine->plate.offset);
    engine->full_limit_mm2 = FULL_FREE * trace_of(&engine->full, engine->full.offset);
    engine->runout_limit_mm2 = runout_share * trace_of(&engine->plate, engine->plate.runout);
}
