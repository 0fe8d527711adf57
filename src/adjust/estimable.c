/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/estimable.h"

#include <math.h>
#include <string.h>

#include "adjust/estimable_parts.h"
#include "base/cholesky.h"
#include "base/sums.h"
#include "model/frames.h"

/* Terms of an explanation, and the cells that a move parts in two. */
#define MORE_UNKNOWNS 12
#define MORE_CELLS 2

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* With room for @model and what explanations add to it; NULL: out of memory. */
static struct tt_estimable_scratch *scratch_new(struct tt_arena *arena,
                                                const struct tt_model *model)
{
    struct tt_estimable_scratch *s = TT_ARENA_NEW(arena, 1, struct tt_estimable_scratch);
    size_t unknowns = smaller(model->n_unknowns + MORE_UNKNOWNS, MOST_UNKNOWNS),
           cells = smaller(MORE_CELLS * model->n_cells, MOST_CELLS), rows = cells + unknowns,
           wide = rows * unknowns, square = unknowns * unknowns;
    double *numbers = TT_ARENA_ROOM(arena, 2 * wide + rows * rows + 3 * square, double);

    if (s == NULL || numbers == NULL) {
        return NULL;
    }
    *s = (struct tt_estimable_scratch){
        .most_unknowns = unknowns,
        .most_cells = cells,
        .most_rows = rows,
        .rows = TT_ARENA_ROOM(arena, rows, struct function),
        .row_of = TT_ARENA_ROOM(arena, cells * TT_MOST_COLUMNS, size_t),
        .with = numbers,
        .factor = numbers + wide,
        .lower = numbers + 2 * wide,
        .normal = numbers + 2 * wide + square,
        .inverse = numbers + 2 * wide + 2 * square,
        .covariance = numbers + 2 * wide + 3 * square,
    };
    return s->rows == NULL || s->row_of == NULL ? NULL : s;
}

enum tiptrue_status tt_estimable_new(struct tt_arena *arena, const struct tt_model *model,
                                     struct tt_estimable_scratch **scratch,
                                     struct tt_estimable **out)
{
    size_t n_unknowns = model->n_unknowns;

    *out = NULL;
    if (model->n_blocks > MOST_TIPS || n_unknowns > MOST_UNKNOWNS || model->n_cells > MOST_CELLS ||
        model->picture.n > 0) {
        return TIPTRUE_OK;
    }
    if (*scratch == NULL && (*scratch = scratch_new(arena, model)) == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if (n_unknowns > (*scratch)->most_unknowns || model->n_cells > (*scratch)->most_cells) {
        return TIPTRUE_OK;
    }
    struct tt_estimable *made = TT_ARENA_NEW(arena, 1, struct tt_estimable);
    size_t square = n_unknowns * n_unknowns;
    double *numbers = TT_ARENA_ROOM(arena, 8 * n_unknowns + 2 * square, double);
    size_t *counts = TT_ARENA_ROOM(arena, model->n_cells + 1 + model->n_setups, size_t);
    /* columns with several unknowns are the first, that of a drift, and the yaw's of a plate that
     * turned */
    size_t wide = 1U + (model->at_drift != TT_NONE) + (model->at_turned != TT_NONE);
    struct tt_entry *entries =
        TT_ARENA_ROOM(arena, model->n_cells * (model->stride + wide * n_unknowns), struct tt_entry);
    if (made == NULL || numbers == NULL || counts == NULL || entries == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    *made = (struct tt_estimable){.scratch = *scratch,
                                  .entries = entries,
                                  .first = counts,
                                  .yaw = counts + model->n_cells + 1,
                                  .information = numbers,
                                  .effect = numbers + square};
    double **vectors[] = {&made->mean,   &made->changed,  &made->pull, &made->right,
                          &made->settle, &made->left_var, &made->left, &made->at};
    for (size_t k = 0; k < sizeof vectors / sizeof vectors[0]; k++) {
        *vectors[k] = numbers + 2 * square + k * n_unknowns;
    }
    *out = made;
    return TIPTRUE_OK;
}

/* ---- a linearisation ---- */

/* The squares of sightings and priors where the model stands, and what else their density has. */
static void find_squares(struct tt_estimable *e, const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;

    e->squares = e->log_constants = 0;
    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        const double *r = sight->residual;
        double weight = tt_sight_weight(sight, 1 / fit->sight_var_mm2);
        e->squares += weight * (r[0] * r[0] + r[1] * r[1]);
        e->log_constants -=
            sight->share * log(fit->sight_var_mm2 * sight->ratio + sight->extra_mm2);
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        double z =
            (model->x[tt_unknown(model, prior->block, prior->place)] - prior->value) / prior->u;
        e->squares += z * z;
        e->log_constants -= log(prior->u) + 0.5 * log(2 * TT_PI);
    }
    e->least_squares = e->squares;
}

static bool linearised_there(const struct tt_estimable *e, const struct tt_fit *fit)
{
    return e->usable && e->sight_var_mm2 == fit->sight_var_mm2 &&
           memcmp(e->at, fit->model->x, fit->model->n_unknowns * sizeof *e->at) == 0;
}

/* The pull of sightings and priors on the functions as they are. */
static void update_pull(struct tt_estimable *e)
{
    for (size_t i = 0; i < e->n; i++) {
        e->left[i] = e->mean[i] - e->changed[i];
    }
    for (size_t i = 0; i < e->n; i++) {
        e->pull[i] = tt_dot(e->information + i * e->n, e->left, e->n);
    }
}

static void linearise(struct tt_estimable *e, struct tt_fit *fit)
{
    struct tt_model *model = fit->model;

    memcpy(e->at, model->x, model->n_unknowns * sizeof *e->at);
    e->sight_var_mm2 = fit->sight_var_mm2;
    find_squares(e, fit);
    tt_model_accumulate(model, NULL, 1 / fit->sight_var_mm2, true);
    e->usable = tt_estimable_reduce(e, model);
    for (size_t s = 0; s < model->n_setups; s++) {
        e->yaw[s] = TT_NONE;
    }
    for (size_t c = 0; c < model->n_cells && e->usable; c++) {
        for (size_t k = e->first[c]; k < e->first[c + 1]; k++) {
            if (e->entries[k].column == TT_COLUMN_YAW) {
                e->yaw[model->cells[c].setup] = e->entries[k].place;
            }
        }
    }
}

void tt_estimable_begin(struct tt_estimable *e, struct tt_fit *fit)
{
    if (!linearised_there(e, fit)) {
        linearise(e, fit);
    }
    memset(e->changed, 0, e->n * sizeof *e->changed);
    e->settled = false;
    update_pull(e);
}

/* ---- steps ---- */

static void accumulate(struct tt_estimable *e, const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double gram[TT_MOST_COLUMNS * TT_MOST_COLUMNS], right[TT_MOST_COLUMNS];
    size_t n = e->n;

    memcpy(e->scratch->normal, e->information, n * n * sizeof *e->scratch->normal);
    memcpy(e->right, e->pull, n * sizeof *e->right);
    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        tt_cell_gram(model, cell, fit->weight, gram, right);
        for (size_t i = e->first[c]; i < e->first[c + 1]; i++) {
            const struct tt_entry *p = &e->entries[i];
            const double *row = gram + p->column * cell->n_columns;
            double *a_row = e->scratch->normal + p->place * n;
            e->right[p->place] += p->value * right[p->column];
            for (size_t j = e->first[c]; j < e->first[c + 1]; j++) {
                const struct tt_entry *q = &e->entries[j];
                if (q->place <= p->place) {
                    a_row[q->place] += p->value * q->value * row[q->column];
                }
            }
        }
    }
}

bool tt_estimable_step(struct tt_estimable *e, struct tt_fit *fit, double *size)
{
    struct tt_model *model = fit->model;
    size_t n = e->n, n_unknowns = model->n_unknowns;
    double *step = e->right, by_column[TT_MOST_COLUMNS], *dx = fit->step_mm;

    accumulate(e, fit);
    for (size_t s = 0; s < model->n_setups; s++) {
        if (e->yaw[s] != TT_NONE) {
            e->scratch->normal[e->yaw[s] * (n + 1)] += fit->yaw_drawn;
        }
    }
    if (!tt_cholesky(e->scratch->normal, n)) {
        return false;
    }
    tt_cholesky_forward(e->scratch->normal, n, step);
    tt_cholesky_backward(e->scratch->normal, n, step);
    memset(dx, 0, n_unknowns * sizeof *dx);
    if (!e->settled) {
        memcpy(dx, e->settle, n_unknowns * sizeof *dx);
        e->settled = true;
    }
    for (size_t k = 0; k < n; k++) {
        e->changed[k] += step[k];
        tt_add_times(dx, step[k], e->effect + k * n_unknowns, n_unknowns);
    }
    update_pull(e);
    *size = 0;
    for (size_t u = 0; u < n_unknowns; u++) {
        *size = fabs(dx[u]) > *size ? fabs(dx[u]) : *size;
        model->x[u] -= dx[u];
    }
    for (size_t c = 0; c < model->n_cells; c++) {
        memset(by_column, 0, model->cells[c].n_columns * sizeof *by_column);
        for (size_t k = e->first[c]; k < e->first[c + 1]; k++) {
            by_column[e->entries[k].column] += e->entries[k].value * step[e->entries[k].place];
        }
        tt_cell_move(model, &model->cells[c], by_column);
    }
    fit->iterations++;
    return true;
}

double tt_estimable_log_rest(const struct tt_estimable *e)
{
    double squares = e->settled ? e->least_squares : e->squares;

    for (size_t i = 0; i < e->n && e->settled; i++) {
        squares += e->left[i] * e->pull[i];
    }
    return e->log_constants - 0.5 * squares;
}

void tt_estimable_update_dof(struct tt_estimable *e, struct tt_fit *fit, const bool edges[])
{
    const struct tt_model *model = fit->model;
    double h[TT_MOST_COLUMNS * TT_MOST_COLUMNS];
    size_t n = e->n;

    tt_cholesky_invert(e->scratch->normal, n, e->scratch->inverse);
    double before = 0; /* what is left of sightings and priors: the trace of covariance times
                          information */
    for (size_t i = 0; i < n * n; i++) {
        before += e->scratch->inverse[i] * e->information[i];
    }
    for (size_t c = 0; c < model->n_cells && edges != NULL; c++) {
        const struct tt_cell *cell = &model->cells[c];
        if (!edges[cell->edge]) {
            continue;
        }
        memset(h, 0, cell->n_columns * cell->n_columns * sizeof *h);
        for (size_t i = e->first[c]; i < e->first[c + 1]; i++) {
            for (size_t j = e->first[c]; j <= i; j++) {
                const struct tt_entry *p = &e->entries[i], *q = &e->entries[j];
                tt_fold_covariance(h, cell->n_columns, p, q,
                                   e->scratch->inverse[p->place * n + q->place]);
            }
        }
        (void)tt_fit_cell_leverage(fit, cell, h);
    }
    fit->spent_touch = (double)n - before;
    fit->dof_found_at_mm2 = fit->touch_var_mm2;
    fit->dof_touch = tt_fit_total_good(fit) - fit->spent_touch;
}

bool tt_estimable_end(struct tt_estimable *e, struct tt_fit *fit)
{
    struct tt_model *model = fit->model;
    double dx[MOST_UNKNOWNS];

    for (size_t u = 0; u < model->n_unknowns; u++) {
        dx[u] = e->at[u] - model->x[u];
    }
    tt_model_move_sights(model, dx);
    accumulate(e, fit);
    if (!tt_cholesky(e->scratch->normal, e->n)) {
        return false;
    }
    tt_estimable_update_dof(e, fit, model->terms.edge_out);
    return true;
}

double tt_estimable_log_det(const struct tt_estimable *e)
{
    return e->log_det + tt_cholesky_ln_det(e->scratch->normal, e->n);
}

double tt_estimable_variance(const struct tt_estimable *e, const struct tt_model *model,
                             size_t unknown)
{
    double variance = e->left_var[unknown];

    for (size_t i = 0; i < e->n; i++) {
        for (size_t j = 0; j < e->n; j++) {
            variance += e->effect[i * model->n_unknowns + unknown] *
                        e->effect[j * model->n_unknowns + unknown] *
                        e->scratch->inverse[i * e->n + j];
        }
    }
    return variance;
}
