/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/estimable.h"

#include <math.h>
#include <string.h>

#include "base/cholesky.h"
#include "model/frames.h"

/* Larger models gain nothing: their functions, which are not kept by tips, cost more than blocks
 * do. */
#define MOST_UNKNOWNS 64
#define MOST_CELLS 64
#define MOST_ROWS (MOST_CELLS + MOST_UNKNOWNS)
/* A function whose variance, given those chosen before, is below DEPENDENT of its own is one of
 * them: what a second tip sees of an edge, once it has seen three. Between that and INDEPENDENT (an
 * edge known to 0.1 µm beside a pose known to 10 mm) rounding would show. */
#define DEPENDENT 1e-12
#define INDEPENDENT 1e-9
/* Coefficients below this are rounding: 0.1 nm in a change of 1 mm. */
#define NO_PART 1e-10

/* A distinct column of cells: its first cell, and its numbers. */
struct function {
    size_t n, unknown[TT_MOST_ENTRIES];
    double value[TT_MOST_ENTRIES];
};

struct tt_estimable_scratch {
    struct function rows[MOST_ROWS];
    size_t n_rows, row_of[MOST_CELLS * TT_MOST_COLUMNS]; /* per cell and column */
    double solved[MOST_ROWS * MOST_UNKNOWNS], covariance[MOST_ROWS * MOST_ROWS];
    double factor[MOST_ROWS * MOST_UNKNOWNS], lower[MOST_UNKNOWNS * MOST_UNKNOWNS];
    size_t chosen[MOST_UNKNOWNS];
};

struct tt_estimable_scratch *tt_estimable_scratch_new(struct tt_arena *arena)
{
    return TT_ARENA_NEW(arena, 1, struct tt_estimable_scratch);
}

enum tiptrue_status tt_estimable_new(struct tt_arena *arena, const struct tt_model *model,
                                     struct tt_estimable_scratch *scratch,
                                     struct tt_estimable **out)
{
    size_t n_unknowns = model->n_unknowns;

    *out = NULL;
    if (n_unknowns > MOST_UNKNOWNS || model->n_cells > MOST_CELLS || model->picture.n > 0) {
        return TIPTRUE_OK;
    }
    struct tt_estimable *made = TT_ARENA_NEW(arena, 1, struct tt_estimable);
    if (made == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    made->scratch = scratch;
    made->first = TT_ARENA_NEW(arena, model->n_cells + 1, size_t);
    made->yaw = TT_ARENA_NEW(arena, model->n_setups, size_t);
    made->mean = TT_ARENA_NEW(arena, n_unknowns, double);
    made->changed = TT_ARENA_NEW(arena, n_unknowns, double);
    made->settle = TT_ARENA_NEW(arena, n_unknowns, double);
    made->left_var = TT_ARENA_NEW(arena, n_unknowns, double);
    made->at = TT_ARENA_NEW(arena, n_unknowns, double);
    made->information = TT_ARENA_NEW(arena, n_unknowns * n_unknowns, double);
    made->effect = TT_ARENA_NEW(arena, n_unknowns * n_unknowns, double);
    made->factor = TT_ARENA_NEW(arena, n_unknowns * n_unknowns, double);
    made->covariance = TT_ARENA_NEW(arena, n_unknowns * n_unknowns, double);
    made->right = TT_ARENA_NEW(arena, n_unknowns, double);
    made->pull = TT_ARENA_NEW(arena, n_unknowns, double);
    made->entries =
        TT_ARENA_NEW(arena, model->n_cells * (TT_MOST_COLUMNS + 2 * n_unknowns), struct tt_entry);
    if (made->first == NULL || made->yaw == NULL || made->mean == NULL || made->changed == NULL ||
        made->settle == NULL || made->left_var == NULL || made->at == NULL ||
        made->information == NULL || made->effect == NULL || made->factor == NULL ||
        made->covariance == NULL || made->right == NULL || made->pull == NULL ||
        made->entries == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    *out = made;
    return TIPTRUE_OK;
}

/* ---- the functions ---- */

/* Column @column of @cell into @row. */
static void gather(const struct tt_model *model, const struct tt_cell *cell, size_t column,
                   struct function *row)
{
    row->n = 0;
    for (size_t k = 0; k < cell->n_entries; k++) {
        const struct tt_entry *entry = &cell->entries[k];
        if (entry->column == column) {
            row->unknown[row->n] = tt_unknown(model, cell->block, entry->place);
            row->value[row->n++] = entry->value;
        }
    }
}

/* The distinct columns of all cells; false: more than there is room for. */
static bool collect(struct tt_estimable_scratch *s, const struct tt_model *model)
{
    size_t single[MOST_UNKNOWNS]; /* per unknown: the row that is it alone */

    for (size_t u = 0; u < model->n_unknowns; u++) {
        single[u] = TT_NONE;
    }
    s->n_rows = 0;
    for (size_t c = 0; c < model->n_cells; c++) {
        for (size_t column = 0; column < model->cells[c].n_columns; column++) {
            if (s->n_rows == MOST_ROWS) {
                return false;
            }
            struct function *row = &s->rows[s->n_rows];
            gather(model, &model->cells[c], column, row);
            bool alone = row->n == 1 && row->value[0] == 1;
            size_t *had = alone ? &single[row->unknown[0]] : NULL;
            size_t number = had != NULL && *had != TT_NONE ? *had : s->n_rows++;
            s->row_of[c * TT_MOST_COLUMNS + column] = number;
            if (had != NULL) {
                *had = number;
            }
        }
    }
    return true;
}

/* The product of a function with a vector of all unknowns. */
static double value_of(const struct function *row, const double x[])
{
    double sum = 0;

    for (size_t k = 0; k < row->n; k++) {
        sum += row->value[k] * x[row->unknown[k]];
    }
    return sum;
}

/* Their covariance before any touch. After the factorisation of sightings and priors. */
static void covariances(struct tt_estimable_scratch *s, const struct tt_model *model)
{
    size_t n_unknowns = model->n_unknowns, n = s->n_rows;
    double v[MOST_UNKNOWNS] = {0};

    for (size_t i = 0; i < n; i++) {
        const struct function *row = &s->rows[i];
        double *solved = s->solved + i * n_unknowns;
        for (size_t k = 0; k < row->n; k++) {
            v[row->unknown[k]] = row->value[k];
        }
        tt_system_solve(&model->system, v, solved);
        for (size_t k = 0; k < row->n; k++) {
            v[row->unknown[k]] = 0;
        }
        for (size_t j = 0; j <= i; j++) {
            s->covariance[i * n + j] = s->covariance[j * n + i] = value_of(&s->rows[j], solved);
        }
    }
}

/* The independent ones among them, and all of them by these, rows of @width numbers: Cholesky's
 * factorisation with complete pivoting, the chosen ones' a lower triangle in their order. Returns
 * their number, 0: they are too nearly dependent. */
static size_t choose(struct tt_estimable_scratch *s, size_t width)
{
    size_t n = s->n_rows, found = 0;
    double left[MOST_ROWS];

    for (size_t i = 0; i < n; i++) {
        left[i] = s->covariance[i * n + i];
    }
    while (found < n && found < width) {
        size_t best = 0;
        double most = -1;
        for (size_t i = 0; i < n; i++) {
            double share = left[i] / s->covariance[i * n + i];
            if (share > most) {
                most = share;
                best = i;
            }
        }
        if (!(most > INDEPENDENT)) {
            return most < DEPENDENT ? found : 0;
        }
        const double *of_best = s->factor + best * width;
        double pivot = sqrt(left[best]);
        for (size_t i = 0; i < n; i++) {
            double sum = s->covariance[i * n + best], *row = s->factor + i * width;
            for (size_t k = 0; k < found; k++) {
                sum -= row[k] * of_best[k];
            }
            row[found] = sum / pivot;
            left[i] -= row[found] * row[found];
        }
        left[best] = -1;
        s->chosen[found++] = best;
    }
    return found;
}

/* ---- a linearisation ---- */

/* The columns of all cells on the chosen functions. */
static void connect(struct tt_estimable *e, const struct tt_model *model)
{
    const struct tt_estimable_scratch *s = e->scratch;
    size_t at = 0, number[MOST_ROWS];
    double by[MOST_UNKNOWNS];

    for (size_t i = 0; i < s->n_rows; i++) {
        number[i] = TT_NONE;
    }
    for (size_t k = 0; k < e->n; k++) {
        number[s->chosen[k]] = k;
    }
    for (size_t c = 0; c < model->n_cells; c++) {
        e->first[c] = at;
        for (size_t column = 0; column < model->cells[c].n_columns; column++) {
            size_t row = s->row_of[c * TT_MOST_COLUMNS + column];
            if (number[row] != TT_NONE) {
                e->entries[at++] =
                    (struct tt_entry){.column = column, .place = number[row], .value = 1};
                continue;
            }
            memcpy(by, s->factor + row * model->n_unknowns, e->n * sizeof *by);
            tt_cholesky_backward(s->lower, e->n, by);
            for (size_t k = 0; k < e->n; k++) {
                if (fabs(by[k]) > NO_PART) {
                    e->entries[at++] =
                        (struct tt_entry){.column = column, .place = k, .value = by[k]};
                }
            }
        }
    }
    e->first[model->n_cells] = at;
}

/* What a unit of each function changes the unknowns by, and the unknowns' change where every
 * function stays as it is. */
static void find_effects(struct tt_estimable *e, const struct tt_model *model)
{
    const struct tt_estimable_scratch *s = e->scratch;
    size_t n = e->n, n_unknowns = model->n_unknowns;

    tt_system_solve(&model->system, model->system.g, e->settle);
    for (size_t u = 0; u < n_unknowns; u++) {
        e->least_squares -= model->system.g[u] * e->settle[u];
    }
    for (size_t k = 0; k < n; k++) {
        e->mean[k] = value_of(&s->rows[s->chosen[k]], e->settle);
    }
    memset(e->effect, 0, n * n_unknowns * sizeof *e->effect);
    for (size_t k = 0; k < n; k++) {
        double *effect = e->effect + k * n_unknowns;
        for (size_t j = 0; j < n; j++) {
            const double *solved = s->solved + s->chosen[j] * n_unknowns;
            double by = e->information[k * n + j];
            for (size_t u = 0; u < n_unknowns; u++) {
                effect[u] += by * solved[u];
            }
        }
        for (size_t u = 0; u < n_unknowns; u++) {
            e->settle[u] -= e->mean[k] * effect[u];
        }
    }
}

static bool widened(const struct tt_model *model, size_t edge)
{
    return model->terms.edge_extra_mm != NULL && model->terms.edge_extra_mm[edge] > 0;
}

/* Of edges that an explanation lets lie elsewhere: the variance of the shift where every function
 * is known. */
static void find_left_variances(struct tt_estimable *e, const struct tt_model *model)
{
    const struct tt_estimable_scratch *s = e->scratch;
    size_t n_unknowns = model->n_unknowns;
    double v[MOST_UNKNOWNS] = {0}, solved[MOST_UNKNOWNS];

    for (size_t j = 0; j < model->plate->n_edges; j++) {
        size_t u = model->at_edge[j];
        if (u == TT_NONE || !widened(model, j)) {
            continue;
        }
        v[u] = 1;
        tt_system_solve(&model->system, v, solved);
        v[u] = 0;
        e->left_var[u] = solved[u];
        for (size_t k = 0; k < e->n; k++) {
            e->left_var[u] -=
                e->effect[k * n_unknowns + u] * s->solved[s->chosen[k] * n_unknowns + u];
        }
    }
}

/* What sightings and priors say of the functions, and what these do to the unknowns. After the
 * factorisation of sightings and priors. */
static bool reduce(struct tt_estimable *e, struct tt_model *model)
{
    struct tt_estimable_scratch *s = e->scratch;
    size_t n_unknowns = model->n_unknowns;

    if (!collect(s, model)) {
        return false;
    }
    covariances(s, model);
    e->n = choose(s, n_unknowns);
    if (e->n == 0) {
        return false;
    }
    for (size_t k = 0; k < e->n; k++) {
        memcpy(s->lower + k * e->n, s->factor + s->chosen[k] * n_unknowns,
               (k + 1) * sizeof *s->lower);
    }
    e->log_det = tt_system_log_det(&model->system) + tt_cholesky_ln_det(s->lower, e->n);
    connect(e, model);
    tt_cholesky_invert(s->lower, e->n, e->information);
    find_effects(e, model);
    find_left_variances(e, model);
    return true;
}

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
        double sum = 0;
        for (size_t j = 0; j < e->n; j++) {
            sum += e->information[i * e->n + j] * (e->mean[j] - e->changed[j]);
        }
        e->pull[i] = sum;
    }
}

static void linearise(struct tt_estimable *e, struct tt_fit *fit)
{
    struct tt_model *model = fit->model;

    memcpy(e->at, model->x, model->n_unknowns * sizeof *e->at);
    e->sight_var_mm2 = fit->sight_var_mm2;
    find_squares(e, fit);
    tt_model_accumulate(model, NULL, 1 / fit->sight_var_mm2, true);
    e->usable = tt_system_factor(&model->system) && reduce(e, model);
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

    memcpy(e->factor, e->information, n * n * sizeof *e->factor);
    memcpy(e->right, e->pull, n * sizeof *e->right);
    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        tt_cell_gram(model, cell, fit->weight, gram, right);
        for (size_t i = e->first[c]; i < e->first[c + 1]; i++) {
            const struct tt_entry *p = &e->entries[i];
            const double *row = gram + p->column * cell->n_columns;
            double *a_row = e->factor + p->place * n;
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
            e->factor[e->yaw[s] * (n + 1)] += fit->yaw_drawn;
        }
    }
    if (!tt_cholesky(e->factor, n)) {
        return false;
    }
    tt_cholesky_forward(e->factor, n, step);
    tt_cholesky_backward(e->factor, n, step);
    memset(dx, 0, n_unknowns * sizeof *dx);
    if (!e->settled) {
        memcpy(dx, e->settle, n_unknowns * sizeof *dx);
        e->settled = true;
    }
    for (size_t k = 0; k < n; k++) {
        const double *effect = e->effect + k * n_unknowns;
        e->changed[k] += step[k];
        for (size_t u = 0; u < n_unknowns; u++) {
            dx[u] += step[k] * effect[u];
        }
    }
    update_pull(e);
    *size = 0;
    for (size_t u = 0; u < n_unknowns; u++) {
        *size = fmax(*size, fabs(dx[u]));
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
        squares += (e->mean[i] - e->changed[i]) * e->pull[i];
    }
    return e->log_constants - 0.5 * squares;
}

void tt_estimable_update_dof(struct tt_estimable *e, struct tt_fit *fit, const bool edges[])
{
    const struct tt_model *model = fit->model;
    double h[TT_MOST_COLUMNS * TT_MOST_COLUMNS];
    size_t n = e->n;

    tt_cholesky_invert(e->factor, n, e->covariance);
    double before = 0; /* what is left of sightings and priors: the trace of covariance times
                          information */
    for (size_t i = 0; i < n * n; i++) {
        before += e->covariance[i] * e->information[i];
    }
    for (size_t c = 0; c < model->n_cells && edges != NULL; c++) {
        const struct tt_cell *cell = &model->cells[c];
        if (!edges[cell->edge]) {
            continue;
        }
        memset(h, 0, cell->n_columns * cell->n_columns * sizeof *h);
        for (size_t i = e->first[c]; i < e->first[c + 1]; i++) {
            for (size_t j = e->first[c]; j < e->first[c + 1]; j++) {
                const struct tt_entry *p = &e->entries[i], *q = &e->entries[j];
                h[p->column * cell->n_columns + q->column] +=
                    p->value * q->value * e->covariance[p->place * n + q->place];
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
    if (!tt_cholesky(e->factor, e->n)) {
        return false;
    }
    tt_estimable_update_dof(e, fit, model->terms.edge_out);
    return true;
}

double tt_estimable_log_det(const struct tt_estimable *e)
{
    return e->log_det + tt_cholesky_ln_det(e->factor, e->n);
}

double tt_estimable_variance(const struct tt_estimable *e, const struct tt_model *model,
                             size_t unknown)
{
    double variance = e->left_var[unknown];

    for (size_t i = 0; i < e->n; i++) {
        for (size_t j = 0; j < e->n; j++) {
            variance += e->effect[i * model->n_unknowns + unknown] *
                        e->effect[j * model->n_unknowns + unknown] * e->covariance[i * e->n + j];
        }
    }
    return variance;
}
