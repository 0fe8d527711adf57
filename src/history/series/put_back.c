/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run that found an edge elsewhere, or lost motion, has it out of its solution; the other runs
 * have it in, and so this one must, or the two would differ where nothing moved. To first order
 * that is what a solution makes of an edge that shifts (series->response), times the shift, and
 * likewise of lost motion. */
#include "config.h"

#include "history/series/values.h"

#include <math.h>

/* What edge number @i of @run, or lost motion behind them, makes of a solution, and how much of it
 * the run took out; NULL: nothing, or it is not known. */
static const struct tt_series_response *
taken_out(const struct tt_values *v, const struct tt_series_run *run, size_t i, double *by_mm)
{
    const struct tt_series *series = v->series;

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

void tt_put_edges_back(const struct tt_values *v, const struct tt_series_run *run, size_t tip,
                       double offset[2], double *radius)
{
    for (size_t i = 0; i <= run->n_edges; i++) {
        double by_mm;
        const struct tt_series_response *response = taken_out(v, run, i, &by_mm);
        if (response != NULL) {
            offset[0] += response->offset[tip].x_mm * by_mm;
            offset[1] += response->offset[tip].y_mm * by_mm;
            *radius += response->radius[tip] * by_mm;
        }
    }
}

double tt_shift_in(const struct tt_values *v, const struct tt_series_run *run, size_t i)
{
    const struct tt_series_edge *edge = &run->edges[i];
    double shift_mm = edge->freed ? 0 : edge->shift_mm;

    for (size_t k = 0; k <= run->n_edges; k++) {
        double by_mm;
        const struct tt_series_response *response = taken_out(v, run, k, &by_mm);
        shift_mm += response != NULL ? response->edge[edge->edge] * by_mm : 0;
    }
    return shift_mm;
}

/* Returns how much of it the contrasts show. */
static double fill_response_of(const struct tt_values *v, const struct tt_series_response *from,
                               double *to)
{
    size_t n = v->series->n_edge_names;
    double seen = 0;

    for (size_t tip = 0; tip < v->tips; tip++) {
        to[tt_at_offset(v, tip, 0)] = from->offset[tip].x_mm;
        to[tt_at_offset(v, tip, 1)] = from->offset[tip].y_mm;
        to[tt_at_radius(v, tip)] = from->radius[tip];
    }
    for (size_t k = 0; k < v->contrasts; k++) {
        for (size_t i = 0; i < n; i++) {
            to[tt_at_contrast(v, k)] += v->contrast[k * n + i] * from->edge[i];
        }
        seen = hypot(seen, to[tt_at_contrast(v, k)]);
    }
    return seen;
}

void tt_fill_response(struct tt_values *v)
{
    for (size_t edge = 0; edge < v->edges; edge++) {
        (void)fill_response_of(v, &v->series->response[edge], v->response + edge * v->p);
    }
    if (v->series->lost_motion != NULL) {
        double *to = v->response + v->edges * v->p;
        v->lost_motion =
            fill_response_of(v, v->series->lost_motion, to) > TT_LEAST_RESPONSE ? to : NULL;
    }
}
