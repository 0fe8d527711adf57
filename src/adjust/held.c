/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/held.h"

#include <math.h>
#include <string.h>

#include "adjust/correlated.h"

/* A feature whose place a term widens is not held: it is free. */
static bool is_held(const struct tt_prior *prior)
{
    return !(prior->extra > 0) && (prior->kind == TT_PRIOR_EDGE || prior->kind == TT_PRIOR_GROUP ||
                                   prior->kind == TT_PRIOR_MARK);
}

/* ---- the system without the features ---- */

static bool find_features(struct tt_held *held, struct tt_arena *arena, size_t *n_border)
{
    const struct tt_model *model = held->fit->model;
    size_t n = 0;

    held->place = TT_ARENA_NEW(arena, model->n_border, size_t);
    held->features = TT_ARENA_NEW(arena, model->n_priors, size_t);
    if (held->place == NULL || held->features == NULL) {
        return false;
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        if (is_held(&model->priors[i])) {
            held->features[held->n_features++] = i;
            held->place[model->priors[i].place] = TT_NONE;
        }
    }
    for (size_t j = 0; j < model->n_border; j++) {
        if (held->place[j] != TT_NONE) {
            held->place[j] = n++;
        }
    }
    *n_border = n;
    return true;
}

/* The element of the fit's normal matrix between two places of the border. */
static double border_element(const struct tt_system *from, size_t i, size_t j)
{
    return i > j ? from->a[i * from->n_border + j] : from->a[j * from->n_border + i];
}

static void copy_submatrix(struct tt_held *held)
{
    const struct tt_system *from = &held->fit->model->system;
    struct tt_system *to = &held->system;
    size_t rows = from->n_unknowns - from->n_border, squares = 0;

    for (size_t t = 0; t < from->n_blocks; t++) {
        squares += from->size[t] * from->size[t];
    }
    if (squares > 0) {
        memcpy(to->d, from->d, squares * sizeof *to->d);
    }
    for (size_t j = 0; j < from->n_border; j++) {
        size_t at = held->place[j];
        for (size_t k = 0; k <= j && at != TT_NONE; k++) {
            if (held->place[k] != TT_NONE) {
                to->a[at * to->n_border + held->place[k]] = border_element(from, j, k);
            }
        }
        for (size_t i = 0; i < rows && at != TT_NONE; i++) {
            to->b[i * to->n_border + at] = from->b[i * from->n_border + j];
        }
    }
}

static void sum_sightings(struct tt_held *held)
{
    const struct tt_model *model = held->fit->model;
    size_t nb = held->system.n_border;

    for (size_t i = 0; i < 2 * model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i / 2];
        const struct tt_entry *e = sight->entries[i % 2];
        double w = tt_sight_weight(sight, 1 / held->fit->sight_var_mm2);
        for (size_t j = 0; j < sight->n_entries; j++) {
            size_t row = held->place[e[j].place];
            for (size_t k = 0; k < sight->n_entries && row != TT_NONE; k++) {
                size_t column = held->place[e[k].place];
                if (column != TT_NONE) {
                    held->sight[row * nb + column] += w * e[j].value * e[k].value;
                }
            }
        }
    }
}

/* ---- gains and effects ---- */

/* Index among the system's unknowns. */
static size_t offset_at(const struct tt_held *held, size_t block, size_t axis)
{
    return held->system.first[block] + TT_TIP_O_X + axis;
}

static double *gain_of(const struct tt_held *held, size_t block, size_t axis)
{
    return held->gain + (2 * block + axis) * held->system.n_unknowns;
}

static const double *effects_of(const struct tt_held *held, size_t block, size_t axis)
{
    return held->effect + (2 * block + axis) * held->n_features;
}

/* gain . N_p for the feature at @place of the model's border. */
static double effect(const struct tt_held *held, const double gain[], size_t place)
{
    const struct tt_system *from = &held->fit->model->system;
    size_t rows = from->n_unknowns - from->n_border;
    const double *in_blocks = gain + held->system.n_border;
    double sum = 0;

    for (size_t j = 0; j < from->n_border; j++) {
        sum +=
            held->place[j] != TT_NONE ? gain[held->place[j]] * border_element(from, j, place) : 0;
    }
    for (size_t i = 0; i < rows; i++) {
        sum += in_blocks[i] * from->b[i * from->n_border + place];
    }
    return sum;
}

static void find_gains(struct tt_held *held)
{
    const struct tt_model *model = held->fit->model;

    for (size_t k = 0; k < 2 * model->n_blocks; k++) {
        double *gain = gain_of(held, k / 2, k % 2);
        gain[offset_at(held, k / 2, k % 2)] = 1;
        tt_system_solve(&held->system, gain, gain);
        for (size_t i = 0; i < held->n_features; i++) {
            held->effect[k * held->n_features + i] =
                effect(held, gain, model->priors[held->features[i]].place);
        }
    }
}

bool tt_held_init(struct tt_held *held, struct tt_arena *arena, const struct tt_fit *fit)
{
    size_t nb;

    *held = (struct tt_held){.fit = fit};
    return find_features(held, arena, &nb) &&
           tt_system_init(&held->system, arena, nb, fit->model->n_blocks, fit->model->block_size) ==
               TIPTRUE_OK;
}

bool tt_held_factor(struct tt_held *held)
{
    copy_submatrix(held);
    return tt_system_factor(&held->system);
}

bool tt_held_make(struct tt_held *held, struct tt_arena *arena, const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;

    if (!tt_held_init(held, arena, fit)) {
        return false;
    }
    size_t nb = held->system.n_border;
    held->scatters = tt_scatters_of(fit);
    held->sight = TT_ARENA_NEW(arena, nb * nb, double);
    held->gain = TT_ARENA_NEW(arena, 2 * model->n_blocks * held->system.n_unknowns, double);
    held->effect = TT_ARENA_NEW(arena, 2 * model->n_blocks * held->n_features, double);
    held->of_model = TT_ARENA_NEW(arena, model->n_unknowns, double);
    if (held->sight == NULL || held->gain == NULL || held->effect == NULL ||
        held->of_model == NULL) {
        return false;
    }
    /* a principal submatrix of what was factored already: it is no nearer to singular */
    if (tt_held_factor(held)) {
        sum_sightings(held);
        find_gains(held);
    }
    return true;
}

/* ---- covariances ---- */

/* A linear function of the unknowns: its covariance with each of them, and the features' effects on
 * it. */
struct function {
    const double *plus, *minus; /* gains of a tip; of the one that is taken off, NULL = none */
    const double *effect_plus, *effect_minus;
};

static struct function function_of(const struct tt_held *held, size_t block, size_t over,
                                   size_t axis)
{
    struct function f = {.plus = gain_of(held, block, axis),
                         .effect_plus = effects_of(held, block, axis)};

    if (over != TT_NONE) {
        f.minus = gain_of(held, over, axis);
        f.effect_minus = effects_of(held, over, axis);
    }
    return f;
}

static double gain_at(const struct function *f, size_t at)
{
    return f->plus[at] - (f->minus != NULL ? f->minus[at] : 0);
}

static double effect_at(const struct function *f, size_t feature)
{
    return f->effect_plus[feature] - (f->effect_minus != NULL ? f->effect_minus[feature] : 0);
}

/* The covariance of two functions by source. */
struct parts {
    double touch, sight, told,
        pose;    /* told: stated radius, yaw, place; pose: that of yaw and place */
    double rest; /* on weak priors */
};

/* Gains of correlated touches on @f: those of the model's unknowns that are not held have a
 * covariance with it. */
static void touch_gain(const struct tt_held *held, const struct function *f, double gain[])
{
    const struct tt_system *from = &held->fit->model->system;

    for (size_t j = 0; j < from->n_border; j++) {
        held->of_model[j] = held->place[j] != TT_NONE ? gain_at(f, held->place[j]) : 0;
    }
    for (size_t i = from->n_border; i < from->n_unknowns; i++) {
        held->of_model[i] = gain_at(f, i - from->n_border + held->system.n_border);
    }
    tt_correlated_gain(held->fit->correlated, held->of_model, gain);
}

/* @total: their covariance with the weights of the fit. */
static struct parts parts_of(const struct tt_held *held, const struct function *f,
                             const struct function *g, double total)
{
    const struct tt_model *model = held->fit->model;
    size_t nb = held->system.n_border;
    struct parts parts = {0};

    for (size_t j = 0; j < nb; j++) {
        double sum = 0;
        for (size_t k = 0; k < nb; k++) {
            sum += held->sight[j * nb + k] * gain_at(g, k);
        }
        parts.sight += gain_at(f, j) * sum;
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        if (is_held(prior)) {
            continue;
        }
        size_t at = prior->block == TT_NONE
                        ? held->place[prior->place]
                        : held->system.first[prior->block] + prior->place - model->n_border;
        double part = gain_at(f, at) * gain_at(g, at) / (prior->u * prior->u);
        *(prior->kind == TT_PRIOR_WEAK || prior->extra > 0 ? &parts.rest : &parts.told) += part;
        parts.pose += prior->kind == TT_PRIOR_YAW || prior->kind == TT_PRIOR_PLACE ? part : 0;
    }
    parts.touch = total - parts.sight - parts.told - parts.rest;
    if (held->fit->correlated != NULL) {
        const struct tt_correlated *found = held->fit->correlated;
        touch_gain(held, f, found->gain[0]);
        touch_gain(held, g, found->gain[1]);
        parts.touch += tt_correlated_extra(found, found->gain[0], found->gain[1]);
    }
    return parts;
}

static double sum_of(const struct parts *parts)
{
    return parts->touch + parts->sight + parts->told + parts->rest;
}

/* The shift of @f's quantity by what the fit found of the features. */
static double shift_of(const struct tt_held *held, const struct function *f)
{
    const struct tt_model *model = held->fit->model;
    double sum = 0;

    for (size_t i = 0; i < held->n_features; i++) {
        const struct tt_prior *prior = &model->priors[held->features[i]];
        sum += effect_at(f, i) * (model->x[prior->place] - prior->value);
    }
    return sum;
}

static double left_over(const struct tt_held *held, const struct function *f,
                        const struct function *g)
{
    const struct tt_model *model = held->fit->model;
    double sum = 0;

    for (size_t i = 0; i < held->n_features; i++) {
        double u = model->priors[held->features[i]].u;
        sum += effect_at(f, i) * effect_at(g, i) * u * u;
    }
    return sum;
}

/* The tip of @block, less that of @over unless it is TT_NONE. */
static struct tt_held_offset offset_of(const struct tt_held *held, size_t block, size_t over)
{
    const struct tt_model *model = held->fit->model;
    struct function f[2];
    struct parts parts[3]; /* xx, xy, yy */
    double at[2];

    for (size_t axis = 0; axis < 2; axis++) {
        f[axis] = function_of(held, block, over, axis);
        at[axis] =
            model->x[model->system.first[block] + TT_TIP_O_X + axis] + shift_of(held, &f[axis]);
        at[axis] -= over != TT_NONE ? model->x[model->system.first[over] + TT_TIP_O_X + axis] : 0;
    }
    for (size_t k = 0; k < 3; k++) {
        const struct function *row = &f[k / 2], *column = &f[(k + 1) / 2];
        double total = gain_at(row, offset_at(held, block, (k + 1) / 2));
        total -= over != TT_NONE ? gain_at(row, offset_at(held, over, (k + 1) / 2)) : 0;
        parts[k] = parts_of(held, row, column, total);
    }
    struct tt_held_offset made = {.offset = {at[0], at[1]},
                                  .cov = {sum_of(&parts[0]), sum_of(&parts[1]), sum_of(&parts[2])},
                                  .statement = {parts[0].told, parts[1].told, parts[2].told}};
    if (over != TT_NONE) {
        made.cov.xx_mm2 += left_over(held, &f[0], &f[0]);
        made.cov.xy_mm2 += left_over(held, &f[0], &f[1]);
        made.cov.yy_mm2 += left_over(held, &f[1], &f[1]);
    }
    if (over == TT_NONE && held->fit->rivals != NULL) {
        made.cov.xx_mm2 += held->fit->rivals[block].xx_mm2;
        made.cov.xy_mm2 += held->fit->rivals[block].xy_mm2;
        made.cov.yy_mm2 += held->fit->rivals[block].yy_mm2;
    }
    made.touch = (struct tt_cov2){parts[0].touch, parts[1].touch, parts[2].touch};
    made.sight = (struct tt_cov2){parts[0].sight, parts[1].sight, parts[2].sight};
    const struct tt_scatter_part scatter[] = {{made.touch, held->scatters.touch.dof},
                                              {made.sight, held->scatters.sight.dof}};
    made.dof = tt_effective_dof(scatter, sizeof scatter / sizeof scatter[0], made.cov);
    return made;
}

struct tt_held_offset tt_held_of_tip(const struct tt_held *held, size_t block)
{
    return offset_of(held, block, TT_NONE);
}

struct tt_held_offset tt_held_between(const struct tt_held *held, size_t block, size_t over)
{
    return offset_of(held, block, over);
}

void tt_held_common(const struct tt_held *held, size_t block, double *xx_mm2, double *yy_mm2)
{
    size_t n = held->fit->model->n_blocks;
    double *const out[] = {xx_mm2, yy_mm2};

    for (size_t axis = 0; axis < 2; axis++) {
        struct function own = function_of(held, block, TT_NONE, axis);
        struct parts parts = parts_of(held, &own, &own, own.plus[offset_at(held, block, axis)]);
        double sum = n > 1 ? 0 : parts.sight + parts.pose;
        for (size_t other = 0; other < n; other++) {
            if (other != block) {
                struct function f = function_of(held, other, TT_NONE, axis);
                struct parts shared =
                    parts_of(held, &own, &f, own.plus[offset_at(held, other, axis)]);
                sum += sum_of(&shared) / (double)(n - 1);
            }
        }
        *out[axis] = fmin(fmax(sum, 0), sum_of(&parts));
    }
}
