/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run that found an edge elsewhere has it out of its solution; the other runs have it in, and so
 * this one must, or the two would differ where nothing moved. To first order that is what a
 * solution makes of an edge that shifts (series->response), times the shift. */
#include "config.h"

#include "history/series/values.h"

void tt_put_edges_back(const struct tt_values *v, const struct tt_series_run *run, size_t tip,
                       double offset[2], double *radius)
{
    const struct tt_series_response *response = v->series->response;

    for (size_t i = 0; i < run->n_edges && response != NULL; i++) {
        const struct tt_series_edge *edge = &run->edges[i];
        if (edge->freed && edge->edge < v->series->n_edge_names) {
            offset[0] += response[edge->edge].offset[tip].x_mm * edge->shift_mm;
            offset[1] += response[edge->edge].offset[tip].y_mm * edge->shift_mm;
            *radius += response[edge->edge].radius[tip] * edge->shift_mm;
        }
    }
}

double tt_shift_in(const struct tt_values *v, const struct tt_series_run *run, size_t i)
{
    const struct tt_series_edge *edge = &run->edges[i];
    double shift_mm = edge->freed ? 0 : edge->shift_mm;

    for (size_t k = 0; k < run->n_edges; k++) {
        const struct tt_series_edge *other = &run->edges[k];
        if (other->freed && other->edge < v->series->n_edge_names) {
            shift_mm += v->series->response[other->edge].edge[edge->edge] * other->shift_mm;
        }
    }
    return shift_mm;
}
