/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/edges.h"

#include <math.h>

#define JACOBI_SWEEPS 12

/* What edge number @i of @run, or lost motion behind them, makes of a solution, and how much of it
 * the run took out; NULL: nothing, or it is not known. */
static const struct tt_series_response *
taken_out(const struct tt_series *series, const struct tt_series_run *run, size_t i, double *by_mm)
{
    if (i == run->n_edges) {
        *by_mm = run->lost_motion_mm;
        return series->lost_motion;
    }
    *by_mm = run->edges[i].shift_mm;
    return run->edges[i].freed && run->edges[i].edge < series->n_edge_names &&
                   series->response != NULL
               ? &series->response[run->edges[i].edge]
               : NULL;
}

void tt_put_edges_back(const struct tt_series *series, const struct tt_series_run *run, size_t tip,
                       double offset[2], double *radius)
{
    for (size_t i = 0; i <= run->n_edges; i++) {
        double by_mm;
        const struct tt_series_response *response = taken_out(series, run, i, &by_mm);
        if (response != NULL) {
            offset[0] += response->offset[tip].x_mm * by_mm;
            offset[1] += response->offset[tip].y_mm * by_mm;
            *radius += response->radius[tip] * by_mm;
        }
    }
}

double tt_shift_in(const struct tt_series *series, const struct tt_series_run *run, size_t i)
{
    const struct tt_series_edge *edge = &run->edges[i];
    double shift_mm = edge->freed ? 0 : edge->shift_mm;

    for (size_t k = 0; k <= run->n_edges; k++) {
        double by_mm;
        const struct tt_series_response *response = taken_out(series, run, k, &by_mm);
        shift_mm += response != NULL ? response->edge[edge->edge] * by_mm : 0;
    }
    return shift_mm;
}

/* Eigenvectors (columns of @u) and eigenvalues (the diagonal left in @m) of a symmetric n x n, by
 * Jacobi's rotations. */
static void diagonalise(double *m, double *u, size_t n)
{
    for (size_t i = 0; i < n * n; i++) {
        u[i] = i % (n + 1) == 0;
    }
    for (int sweep = 0; sweep < JACOBI_SWEEPS; sweep++) {
        for (size_t p = 0; p < n; p++) {
            for (size_t q = p + 1; q < n; q++) {
                double angle = 0.5 * atan2(2 * m[p * n + q], m[q * n + q] - m[p * n + p]),
                       c = cos(angle), s = sin(angle);
                for (size_t k = 0; k < n; k++) {
                    double a = m[k * n + p], b = m[k * n + q];
                    m[k * n + p] = c * a - s * b;
                    m[k * n + q] = s * a + c * b;
                }
                for (size_t k = 0; k < n; k++) {
                    double a = m[p * n + k], b = m[q * n + k];
                    m[p * n + k] = c * a - s * b;
                    m[q * n + k] = s * a + c * b;
                    a = u[k * n + p];
                    b = u[k * n + q];
                    u[k * n + p] = c * a - s * b;
                    u[k * n + q] = s * a + c * b;
                }
            }
        }
    }
}

double *tt_edge_contrasts(const struct tt_series *series, size_t *found, struct tt_arena *arena)
{
    size_t n = series->n_edge_names;
    double *m = TT_ARENA_NEW(arena, n * n, double), *u = TT_ARENA_NEW(arena, n * n, double),
           *contrast = TT_ARENA_NEW(arena, n * n, double);

    *found = 0;
    if (m == NULL || u == NULL || contrast == NULL || series->response == NULL) {
        return m != NULL && u != NULL ? contrast : NULL;
    }
    for (size_t i = 0; i < n * n; i++) {
        for (size_t e = 0; e < n; e++) {
            m[i] += series->response[e].edge[i / n] * series->response[e].edge[i % n];
        }
    }
    diagonalise(m, u, n);
    for (size_t k = 0; k < n; k++) {
        double s = sqrt(fmax(m[k * n + k], 0));
        for (size_t i = 0; i < n && s > TT_LEAST_RESPONSE; i++) {
            contrast[*found * n + i] = u[i * n + k] / s;
        }
        *found += s > TT_LEAST_RESPONSE;
    }
    return contrast;
}
