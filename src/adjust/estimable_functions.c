/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The functions of a model that its touches see, found at a linearisation. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/estimable_parts.h"
#include "base/cholesky.h"
#include "base/sums.h"

/* A function whose variance, given those chosen before, is below DEPENDENT of its own is one of
 * them: what a second tip sees of an edge, once it has seen three. Between that and INDEPENDENT (an
 * edge known to 0.1 µm beside a pose known to 10 mm) rounding would show. */
#define DEPENDENT 1e-12
#define INDEPENDENT 1e-9
/* Coefficients below this are rounding: 0.1 pm in a change of 1 mm. */
#define NO_PART 1e-10

/* Column @column of @cell into @row; false: too many numbers. */
static bool gather(const struct tt_model *model, const struct tt_cell *cell, size_t column,
                   struct function *row)
{
    row->n = 0;
    for (size_t k = 0; k < cell->n_entries; k++) {
        const struct tt_entry *entry = &cell->entries[k];
        if (entry->column != column) {
            continue;
        }
        if (row->n == MOST_PARTS) {
            return false;
        }
        row->unknown[row->n] = tt_unknown(model, cell->block, entry->place);
        row->value[row->n++] = entry->value;
    }
    return true;
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
            struct function *row = &s->rows[s->n_rows];
            if (s->n_rows == s->most_rows || !gather(model, &model->cells[c], column, row)) {
                return false;
            }
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

/* Their covariance before any touch, and with all unknowns. After the factorisation of sightings
 * and priors. */
static void covariances(struct tt_estimable_scratch *s, const struct tt_model *model)
{
    size_t n_unknowns = model->n_unknowns, n = s->n_rows;
    double v[MOST_UNKNOWNS] = {0};

    for (size_t i = 0; i < n; i++) {
        const struct function *row = &s->rows[i];
        double *with = s->with + i * n_unknowns;
        for (size_t k = 0; k < row->n; k++) {
            v[row->unknown[k]] = row->value[k];
        }
        tt_system_solve(&model->system, v, with);
        for (size_t k = 0; k < row->n; k++) {
            v[row->unknown[k]] = 0;
        }
        for (size_t j = 0; j <= i; j++) {
            s->covariance[i * n + j] = s->covariance[j * n + i] = value_of(&s->rows[j], with);
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
            double *row = s->factor + i * width;
            row[found] = (s->covariance[i * n + best] - tt_dot(row, of_best, found)) / pivot;
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
            tt_add_times(effect, e->information[k * n + j], s->with + s->chosen[j] * n_unknowns,
                         n_unknowns);
        }
        tt_add_times(e->settle, -e->mean[k], effect, n_unknowns);
    }
}

/* Of edges that an explanation lets lie elsewhere: the variance of the shift that is left where
 * every function is known. */
static void find_left_variances(struct tt_estimable *e, const struct tt_model *model)
{
    const struct tt_estimable_scratch *s = e->scratch;
    size_t n_unknowns = model->n_unknowns;
    double v[MOST_UNKNOWNS] = {0}, with[MOST_UNKNOWNS];

    for (size_t j = 0; j < model->plate->n_edges && model->terms.edge_extra_mm != NULL; j++) {
        size_t u = model->at_edge[j];
        if (u == TT_NONE || !(model->terms.edge_extra_mm[j] > 0)) {
            continue;
        }
        v[u] = 1;
        tt_system_solve(&model->system, v, with);
        v[u] = 0;
        e->left_var[u] = with[u];
        for (size_t k = 0; k < e->n; k++) {
            e->left_var[u] -=
                e->effect[k * n_unknowns + u] * s->with[s->chosen[k] * n_unknowns + u];
        }
    }
}

bool tt_estimable_reduce(struct tt_estimable *e, struct tt_model *model)
{
    struct tt_estimable_scratch *s = e->scratch;
    size_t n_unknowns = model->n_unknowns;

    if (!tt_system_factor(&model->system) || !collect(s, model)) {
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
