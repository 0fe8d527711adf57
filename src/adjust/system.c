/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/system.h"

#include <math.h>
#include <string.h>

#include "base/cholesky.h"
#include "base/sums.h"
#include "model/frames.h"

#define PIVOT_FLOOR 1e-11
/* Of a block's trace, beside its diagonal where the block is solved alone: nothing next to a touch
 * that sees the unknown, and far above the pivot's floor. */
#define BLOCK_RIDGE 1e-9

enum tiptrue_status tt_system_init(struct tt_system *system, struct tt_arena *arena,
                                   size_t n_border, size_t n_blocks, const size_t size[])
{
    size_t rows = 0, squares = 0;

    *system = (struct tt_system){.n_border = n_border, .n_blocks = n_blocks, .size = size};
    system->first = TT_ARENA_NEW(arena, n_blocks, size_t);
    system->d_at = TT_ARENA_NEW(arena, n_blocks, size_t);
    if (system->first == NULL || system->d_at == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t t = 0; t < n_blocks; t++) {
        system->first[t] = n_border + rows;
        system->d_at[t] = squares;
        rows += size[t];
        squares += size[t] * size[t];
    }
    system->n_unknowns = n_border + rows;
    system->a = TT_ARENA_NEW(arena, n_border * n_border, double);
    system->b = TT_ARENA_NEW(arena, rows * n_border, double);
    system->d = TT_ARENA_NEW(arena, squares, double);
    system->g = TT_ARENA_NEW(arena, system->n_unknowns, double);
    system->scale = TT_ARENA_NEW(arena, system->n_unknowns, double);
    system->la = TT_ARENA_NEW(arena, n_border * n_border, double);
    system->lb = TT_ARENA_NEW(arena, rows * n_border, double);
    system->ld = TT_ARENA_NEW(arena, squares, double);
    system->c = TT_ARENA_NEW(arena, n_border * n_border, double);
    if (system->a == NULL || system->b == NULL || system->d == NULL || system->g == NULL ||
        system->scale == NULL || system->la == NULL || system->lb == NULL || system->ld == NULL ||
        system->c == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    return TIPTRUE_OK;
}

void tt_system_zero(struct tt_system *system)
{
    size_t nb = system->n_border, rows = system->n_unknowns - nb, squares = 0;

    for (size_t t = 0; t < system->n_blocks; t++) {
        squares += system->size[t] * system->size[t];
    }
    memset(system->a, 0, nb * nb * sizeof *system->a);
    memset(system->b, 0, rows * nb * sizeof *system->b);
    memset(system->d, 0, squares * sizeof *system->d);
    memset(system->g, 0, system->n_unknowns * sizeof *system->g);
}

void tt_system_add_cell(struct tt_system *system, size_t block, const struct tt_entry entries[],
                        size_t n, const double gram[], const double right[], size_t n_columns)
{
    size_t nb = system->n_border, in_border = 0;

    while (in_border < n && entries[in_border].place < nb) {
        const struct tt_entry *p = &entries[in_border];
        const double *column = gram + p->column * n_columns;
        double *a = system->a + p->place * nb;
        system->g[p->place] += p->value * right[p->column];
        for (size_t j = 0; j <= in_border; j++) {
            a[entries[j].place] += p->value * entries[j].value * column[entries[j].column];
        }
        in_border++;
    }
    if (in_border == n) {
        return;
    }
    size_t size = system->size[block], first = system->first[block];
    double *d = system->d + system->d_at[block];
    for (size_t i = in_border; i < n; i++) {
        const struct tt_entry *p = &entries[i];
        const double *column = gram + p->column * n_columns;
        size_t row = p->place - nb;
        double *b_row = system->b + (first - nb + row) * nb, *d_row = d + row * size;
        system->g[first + row] += p->value * right[p->column];
        for (size_t j = 0; j < in_border; j++) {
            b_row[entries[j].place] += p->value * entries[j].value * column[entries[j].column];
        }
        for (size_t j = in_border; j <= i; j++) {
            d_row[entries[j].place - nb] += p->value * entries[j].value * column[entries[j].column];
        }
    }
}

void tt_system_add_row(struct tt_system *system, size_t block, const struct tt_entry entries[],
                       size_t n, double weight, double residual)
{
    double right = weight * residual;
    tt_system_add_cell(system, block, entries, n, &weight, &right, 1);
}

void tt_system_add_diagonal(struct tt_system *system, size_t block, size_t place, double weight,
                            double residual)
{
    size_t nb = system->n_border;

    if (place < nb) {
        system->a[place * nb + place] += weight;
        system->g[place] += weight * residual;
    } else {
        size_t k = place - nb, size = system->size[block];
        system->d[system->d_at[block] + k * size + k] += weight;
        system->g[system->first[block] + k] += weight * residual;
    }
}

/* Two rows less multiples of a third, up to its column @n: independent sums hide each other's wait.
 */
static inline void less_products(const double by[], size_t n, const double one[],
                                 const double other[], double sums[2])
{
    double first = sums[0], second = sums[1];

    for (size_t k = 0; k < n; k++) {
        first -= one[k] * by[k];
        second -= other[k] * by[k];
    }
    sums[0] = first;
    sums[1] = second;
}

/* In place, lower triangle; the upper one is left as it was. */
static bool cholesky(double m[], size_t n)
{
    for (size_t j = 0; j < n; j++) {
        double *row_j = m + j * n, pivot = row_j[j];
        for (size_t k = 0; k < j; k++) {
            pivot -= row_j[k] * row_j[k];
        }
        if (!(pivot > PIVOT_FLOOR)) {
            return false;
        }
        row_j[j] = sqrt(pivot);
        double inverse = 1 / row_j[j];
        for (size_t i = j + 1; i < n; i += 2) {
            double *row_i = m + i * n, *next = i + 1 < n ? row_i + n : row_i;
            double sums[2] = {row_i[j], next[j]};
            less_products(row_j, j, row_i, next, sums);
            next[j] = sums[1] * inverse;
            row_i[j] = sums[0] * inverse;
        }
    }
    return true;
}

static bool set_scale(struct tt_system *system)
{
    size_t nb = system->n_border;

    for (size_t i = 0; i < nb; i++) {
        if (!(system->a[i * nb + i] > 0)) {
            return false;
        }
        system->scale[i] = 1 / sqrt(system->a[i * nb + i]);
    }
    for (size_t t = 0; t < system->n_blocks; t++) {
        const double *d = system->d + system->d_at[t];
        for (size_t i = 0; i < system->size[t]; i++) {
            if (!(d[i * system->size[t] + i] > 0)) {
                return false;
            }
            system->scale[system->first[t] + i] = 1 / sqrt(d[i * system->size[t] + i]);
        }
    }
    return true;
}

/* @la (lower triangle, n x n) less the products of the columns of @rows (@n_rows x n): three rows
 * at a time, each number of @la is read and written once for them. */
static void take_off(double la[], size_t n, const double rows[], size_t n_rows)
{
    size_t i = 0;

    for (; i + 3 <= n_rows; i += 3) {
        const double *a = rows + i * n, *b = a + n, *c = b + n;
        for (size_t j = 0; j < n; j++) {
            double by_a = a[j], by_b = b[j], by_c = c[j], *sum = la + j * n;
            for (size_t k = 0; k <= j; k++) {
                sum[k] = sum[k] - by_a * a[k] - by_b * b[k] - by_c * c[k];
            }
        }
    }
    for (; i < n_rows; i++) {
        const double *a = rows + i * n;
        for (size_t j = 0; j < n; j++) {
            for (size_t k = 0; k <= j; k++) {
                la[j * n + k] -= a[j] * a[k];
            }
        }
    }
}

/* Factor one block, turn its border rows into L^-1 B, and take their part off the Schur complement.
 */
static bool eliminate(struct tt_system *system, size_t t)
{
    size_t nb = system->n_border, size = system->size[t];
    const double *scale = system->scale + system->first[t];
    const double *d = system->d + system->d_at[t], *b = system->b + (system->first[t] - nb) * nb;
    double *ld = system->ld + system->d_at[t], *lb = system->lb + (system->first[t] - nb) * nb;

    for (size_t i = 0; i < size; i++) {
        for (size_t j = 0; j <= i; j++) {
            ld[i * size + j] = d[i * size + j] * scale[i] * scale[j];
        }
    }
    if (!cholesky(ld, size)) {
        return false;
    }
    for (size_t i = 0; i < size; i++) {
        double *row = lb + i * nb;
        for (size_t j = 0; j < nb; j++) {
            row[j] = b[i * nb + j] * scale[i] * system->scale[j];
        }
        for (size_t k = 0; k < i; k++) {
            tt_add_times(row, -ld[i * size + k], lb + k * nb, nb);
        }
        double inverse = 1 / ld[i * size + i];
        for (size_t j = 0; j < nb; j++) {
            row[j] *= inverse;
        }
    }
    take_off(system->la, nb, lb, size);
    return true;
}

bool tt_system_factor(struct tt_system *system)
{
    size_t nb = system->n_border;

    if (!set_scale(system)) {
        return false;
    }
    for (size_t i = 0; i < nb; i++) {
        for (size_t j = 0; j <= i; j++) {
            system->la[i * nb + j] = system->a[i * nb + j] * system->scale[i] * system->scale[j];
        }
    }
    for (size_t t = 0; t < system->n_blocks; t++) {
        if (!eliminate(system, t)) {
            return false;
        }
    }
    return cholesky(system->la, nb);
}

void tt_system_forward(const struct tt_system *system, const double v[], double x[])
{
    size_t nb = system->n_border;

    for (size_t i = 0; i < system->n_unknowns; i++) {
        x[i] = v[i] * system->scale[i];
    }
    for (size_t t = 0; t < system->n_blocks; t++) {
        size_t size = system->size[t];
        double *x_t = x + system->first[t];
        const double *lb = system->lb + (system->first[t] - nb) * nb;
        tt_cholesky_forward(system->ld + system->d_at[t], size, x_t);
        for (size_t i = 0; i < size; i++) {
            tt_add_times(x, -x_t[i], lb + i * nb, nb);
        }
    }
    tt_cholesky_forward(system->la, nb, x);
}

void tt_system_solve(const struct tt_system *system, const double v[], double x[])
{
    size_t nb = system->n_border;

    tt_system_forward(system, v, x);
    tt_cholesky_backward(system->la, nb, x);
    for (size_t t = 0; t < system->n_blocks; t++) {
        size_t size = system->size[t];
        double *x_t = x + system->first[t];
        const double *lb = system->lb + (system->first[t] - nb) * nb;
        for (size_t i = 0; i < size; i++) {
            x_t[i] -= tt_dot(lb + i * nb, x, nb);
        }
        tt_cholesky_backward(system->ld + system->d_at[t], size, x_t);
    }
    for (size_t i = 0; i < system->n_unknowns; i++) {
        x[i] *= system->scale[i];
    }
}

double tt_system_log_det(const struct tt_system *system)
{
    size_t nb = system->n_border;
    struct tt_log_product det = {0, 1};

    for (size_t i = 0; i < nb; i++) {
        tt_log_times(&det, system->la[i * nb + i]);
    }
    for (size_t t = 0; t < system->n_blocks; t++) {
        const double *ld = system->ld + system->d_at[t];
        for (size_t i = 0; i < system->size[t]; i++) {
            tt_log_times(&det, ld[i * system->size[t] + i]);
        }
    }
    for (size_t i = 0; i < system->n_unknowns; i++) {
        tt_log_times(&det, 1 / system->scale[i]);
    }
    return 2 * tt_log_product(det);
}

bool tt_system_solve_blocks(struct tt_system *system, double x[])
{
    memset(x, 0, system->n_border * sizeof *x);
    for (size_t t = 0; t < system->n_blocks; t++) {
        size_t size = system->size[t], first = system->first[t];
        const double *d = system->d + system->d_at[t];
        double *ld = system->ld + system->d_at[t], *x_t = x + first, trace = 0;
        for (size_t i = 0; i < size; i++) {
            trace += d[i * size + i];
        }
        for (size_t i = 0; i < size; i++) {
            double own = d[i * size + i] + BLOCK_RIDGE * trace;
            system->scale[first + i] = own > 0 ? 1 / sqrt(own) : 0;
            for (size_t j = 0; j <= i; j++) {
                ld[i * size + j] =
                    d[i * size + j] * system->scale[first + i] * system->scale[first + j];
            }
            ld[i * size + i] = 1;
            x_t[i] = system->g[first + i] * system->scale[first + i];
        }
        if (!cholesky(ld, size)) {
            return false;
        }
        tt_cholesky_forward(ld, size, x_t);
        tt_cholesky_backward(ld, size, x_t);
        for (size_t i = 0; i < size; i++) {
            x_t[i] *= system->scale[first + i];
        }
    }
    return true;
}

void tt_system_half_solve(const struct tt_system *system, size_t block, const double border[],
                          const double in_block[], double y[])
{
    size_t nb = system->n_border;

    for (size_t j = 0; j < nb; j++) {
        y[j] = border[j] * system->scale[j];
    }
    if (block != TT_NONE) {
        size_t size = system->size[block];
        const double *lb = system->lb + (system->first[block] - nb) * nb;
        double *y_t = y + nb;
        for (size_t i = 0; i < size; i++) {
            y_t[i] = in_block[i] * system->scale[system->first[block] + i];
        }
        tt_cholesky_forward(system->ld + system->d_at[block], size, y_t);
        for (size_t i = 0; i < size; i++) {
            tt_add_times(y, -y_t[i], lb + i * nb, nb);
        }
    }
    tt_cholesky_forward(system->la, nb, y);
}

void tt_system_invert(struct tt_system *system)
{
    size_t nb = system->n_border;

    tt_cholesky_invert(system->la, nb, system->c);
    for (size_t i = 0; i < nb; i++) {
        for (size_t j = 0; j < nb; j++) {
            system->c[i * nb + j] *= system->scale[i] * system->scale[j];
        }
    }
}

void tt_system_block_covariance(const struct tt_system *system, size_t block, double cc[],
                                double cb[], double response[])
{
    size_t nb = system->n_border, size = system->size[block];
    const double *scale = system->scale + system->first[block];
    const double *ld = system->ld + system->d_at[block],
                 *lb = system->lb + (system->first[block] - nb) * nb;

    memcpy(response, lb, size * nb * sizeof *response);
    for (size_t i = size; i-- > 0;) { /* L^-T (L^-1 B) */
        double *row = response + i * nb;
        for (size_t k = i + 1; k < size; k++) {
            tt_add_times(row, -ld[k * size + i], response + k * nb, nb);
        }
        for (size_t j = 0; j < nb; j++) {
            row[j] /= ld[i * size + i];
        }
    }
    memset(cb, 0, size * nb * sizeof *cb);
    for (size_t i = 0; i < size; i++) {
        double *row = response + i * nb;
        for (size_t k = 0; k < nb; k++) { /* unscaled */
            row[k] *= scale[i] / system->scale[k];
            tt_add_times(cb + i * nb, -row[k], system->c + k * nb, nb);
        }
    }
    tt_cholesky_invert(ld, size, cc);
    for (size_t i = 0; i < size; i++) {
        for (size_t j = 0; j < size; j++) {
            cc[i * size + j] =
                cc[i * size + j] * scale[i] * scale[j] - tt_dot(cb + i * nb, response + j * nb, nb);
        }
    }
}
