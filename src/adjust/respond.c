/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/respond.h"

#include <math.h>
#include <string.h>

/* What @by of a shift of the cell's edge adds to the right side @c; returns the sum of weights. */
static double pull_of_cell(const struct tt_fit *fit, const struct tt_cell *cell, double by,
                           double c[])
{
    const struct tt_model *model = fit->model;
    double sums[TT_MOST_COLUMNS] = {0};

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        for (size_t k = 0; k < cell->n_columns; k++) {
            sums[k] -= fit->weight[i] * slope[k];
        }
    }
    for (size_t k = 0; k < cell->n_entries; k++) {
        const struct tt_entry *entry = &cell->entries[k];
        c[tt_unknown(model, cell->block, entry->place)] += by * entry->value * sums[entry->column];
    }
    return -sums[TT_COLUMN_ONE];
}

double tt_edge_pull(const struct tt_fit *fit, size_t edge, double c[])
{
    double own = 0;

    memset(c, 0, fit->model->n_unknowns * sizeof *c);
    for (size_t k = 0; k < fit->model->n_cells; k++) {
        if (fit->model->cells[k].edge == edge) {
            own += pull_of_cell(fit, &fit->model->cells[k], 1, c);
        }
    }
    return own;
}

/* The same of lost motion: to each touch it is as if its edge lay elsewhere (geometry/touch.c). */
static void lost_motion_pull(const struct tt_fit *fit, double c[])
{
    memset(c, 0, fit->model->n_unknowns * sizeof *c);
    for (size_t k = 0; k < fit->model->n_cells; k++) {
        const struct tt_cell *cell = &fit->model->cells[k];
        double n_x = cell->site.n_x, n_y = cell->site.n_y;
        (void)pull_of_cell(fit, cell, 0.5 * (n_x * n_x - n_y * n_y), c);
    }
}

/* Of the offsets with the plate held: a row of gains times @c. */
static double held_by(const struct tt_held *held, size_t block, size_t axis, const double c[])
{
    const struct tt_system *from = &held->fit->model->system;
    const double *gain = held->gain + (2 * block + axis) * held->system.n_unknowns;
    double sum = 0;

    for (size_t j = 0; j < from->n_border; j++) {
        sum += held->place[j] != TT_NONE ? gain[held->place[j]] * c[j] : 0;
    }
    for (size_t i = from->n_border; i < from->n_unknowns; i++) {
        sum += gain[i - from->n_border + held->system.n_border] * c[i];
    }
    return sum;
}

static bool make_room(struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_tips; i++) {
        s->tips[i].edge_response = TT_ARENA_NEW(&s->arena, 3 * (s->n_edges + 1), double);
        if (s->tips[i].edge_response == NULL) {
            return false;
        }
    }
    for (size_t i = 0; i < s->n_edges; i++) {
        s->edges[i].edge_response = TT_ARENA_NEW(&s->arena, s->n_edges + 1, double);
        if (s->edges[i].edge_response == NULL) {
            return false;
        }
    }
    return true;
}

/* Touched edges have their place in the solution's list in the plate's order. */
static void respond(struct tt_view *view, size_t column, const double c[], const double x[])
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_model *model = view->model;

    for (size_t i = 0; i < s->n_tips; i++) {
        size_t block = model->tip_block[tt_run_tip(view, i)];
        double *to = s->tips[i].edge_response + 3 * column;
        if (block != TT_NONE) {
            to[0] = held_by(&view->held, block, 0, c);
            to[1] = held_by(&view->held, block, 1, c);
            to[2] = x[model->system.first[block] + TT_TIP_R];
        }
    }
    for (size_t j = 0, row = 0; j < view->plate->n_edges && row < s->n_edges; j++) {
        if (strcmp(s->edges[row].name, view->plate->edges[j].name) == 0) {
            size_t at = model->at_edge[j];
            s->edges[row++].edge_response[column] = at != TT_NONE ? x[at] : 0;
        }
    }
}

static void fill_own(struct tiptrue_solution *s, const struct tt_fit *fit)
{
    if (fit->dof_touch >= 1) {
        s->own_touch_mm = sqrt(fit->scatter_touch_mm2);
        s->own_touch_dof = fit->dof_touch;
    }
    if (fit->dof_sight >= 1) {
        s->own_sighting_mm = sqrt(fit->scatter_sight_mm2);
        s->own_sighting_dof = fit->dof_sight;
    }
}

bool tt_respond(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    size_t n = view->model->n_unknowns;
    double *c = TT_ARENA_NEW(view->scratch, 2 * n, double);

    if (c == NULL || !make_room(s)) {
        return false;
    }
    fill_own(s, view->fit);
    for (size_t j = 0, column = 0; j < view->plate->n_edges && column < s->n_edges; j++) {
        if (strcmp(s->edges[column].name, view->plate->edges[j].name) == 0) {
            (void)tt_edge_pull(view->fit, j, c);
            tt_system_solve(&view->model->system, c, c + n);
            respond(view, column++, c, c + n);
        }
    }
    lost_motion_pull(view->fit, c);
    tt_system_solve(&view->model->system, c, c + n);
    respond(view, s->n_edges, c, c + n);
    return true;
}
