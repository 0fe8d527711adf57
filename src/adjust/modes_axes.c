/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Modes of the axes and of the picture: up to three columns of the model at once, scored as those
 * of modes.c are, each from its product with the whole design: H = b^T W b - c^T C c, 3 x 3. */
#include "config.h"

#include "adjust/modes.h"

#include <math.h>
#include <string.h>

#include "adjust/views.h"
#include "base/cholesky.h"
#include "base/sums.h"

enum { MOST = TT_AXIS_NUMBERS };

/* Axes are never off by more than so many of their usual sizes, 5 %: what looks so is something
 * else, which they would follow. */
#define AXES_LARGEST 100.0

/* A candidate of @m columns. */
struct candidate {
    const struct tt_fit *fit;
    enum tt_axis_fault fault; /* TT_AXES_RIGHT: the picture's distortion */
    size_t m;
    double largest; /* that it may be */
    double bb[MOST][MOST], g[MOST];
    double *c[MOST]; /* n_unknowns each; in the end substituted forward */
};

/* A row with the values @z of the @m columns, weight @w and residual @r. */
static inline void add_row(struct candidate *k, size_t m, const double z[], double w, double r)
{
    for (size_t i = 0; i < m; i++) {
        k->g[i] += w * z[i] * r;
        for (size_t j = 0; j <= i; j++) {
            k->bb[i][j] += w * z[i] * z[j];
        }
    }
}

/* The touches of @cell, of which q holds the products of the candidate's @m columns with its own:
 * inline, so that one column alone costs no loop. */
static inline void add_touches(struct candidate *k, size_t m, const struct tt_cell *cell,
                               double q[MOST][TT_MOST_COLUMNS])
{
    const struct tt_model *model = k->fit->model;
    double z[MOST];

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = model->slope + i * model->stride;
        struct tt_machine_xy point = tt_axis_point(model, k->fault, cell, i);
        double w = k->fit->weight[i];
        for (size_t a = 0; a < m; a++) {
            struct tt_machine_xy v = tt_axis_column(k->fault, a, point, model->middle);
            z[a] = cell->site.n_x * v.x_mm + cell->site.n_y * v.y_mm;
            for (size_t c = 0; c < cell->n_columns; c++) {
                q[a][c] += w * z[a] * slope[c];
            }
        }
        add_row(k, m, z, w, model->residual[i]);
    }
}

static void add_cell(struct candidate *k, const struct tt_cell *cell)
{
    const struct tt_model *model = k->fit->model;
    double q[MOST][TT_MOST_COLUMNS];

    for (size_t a = 0; a < k->m; a++) {
        memset(q[a], 0, cell->n_columns * sizeof q[a][0]);
    }
    if (k->m == 1) {
        add_touches(k, 1, cell, q);
    } else {
        add_touches(k, MOST, cell, q);
    }
    for (size_t a = 0; a < k->m; a++) {
        for (size_t e = 0; e < cell->n_entries; e++) {
            const struct tt_entry *entry = &cell->entries[e];
            k->c[a][tt_unknown(model, cell->block, entry->place)] +=
                entry->value * q[a][entry->column];
        }
    }
}

/* What column @a of the candidate adds to the residual of @sight. */
static struct tt_machine_xy sight_column(const struct candidate *k, const struct tt_sight *sight,
                                         size_t a)
{
    const struct tt_model *model = k->fit->model;
    struct tt_machine_xy none = {0, 0}, h = model->run->observations[sight->row].h;

    if (k->fault != TT_AXES_RIGHT) {
        return tt_axis_column(k->fault, a, h, model->middle);
    }
    return sight->view ? tt_view_bend(model, sight) : none;
}

static void add_sight(struct candidate *k, const struct tt_sight *sight)
{
    double w = tt_sight_weight(sight, 1 / k->fit->sight_var_mm2);
    struct tt_machine_xy v[MOST];

    for (size_t a = 0; a < k->m; a++) {
        v[a] = sight_column(k, sight, a);
    }
    for (size_t axis = 0; axis < 2; axis++) {
        double z[MOST];
        for (size_t a = 0; a < k->m; a++) {
            z[a] = axis == 0 ? v[a].x_mm : v[a].y_mm;
            for (size_t e = 0; e < sight->n_entries; e++) {
                const struct tt_entry *entry = &sight->entries[axis][e];
                k->c[a][entry->place] += w * z[a] * entry->value;
            }
        }
        add_row(k, k->m, z, w, sight->residual[axis]);
    }
}

/* The candidate's products b^T W b become H: less what the other unknowns take up of them. */
static void less_other_unknowns(struct candidate *k)
{
    const struct tt_system *system = &k->fit->model->system;

    for (size_t a = 0; a < k->m; a++) {
        tt_system_forward(system, k->c[a], k->c[a]);
        for (size_t b = 0; b <= a; b++) {
            k->bb[a][b] -= tt_dot(k->c[a], k->c[b], system->n_unknowns);
        }
    }
}

/* ln odds of the candidate as @kind, its prior probability left out, by H. */
static double log_odds(const struct candidate *k, enum tt_mode_kind kind, double own_dof)
{
    double matrix[MOST * MOST], solution[MOST], largest = 0, log_sizes = 0;
    size_t m = k->m;

    for (size_t a = 0; a < m; a++) {
        double size = tt_mode_axis_size(kind, a);
        for (size_t b = 0; b <= a; b++) {
            matrix[a * m + b] = k->bb[a][b] + (a == b ? 1 / (size * size) : 0);
        }
        log_sizes += log(size);
    }
    if (!tt_cholesky(matrix, m)) {
        return -INFINITY;
    }
    memcpy(solution, k->g, m * sizeof *solution);
    tt_cholesky_forward(matrix, m, solution);
    double form = tt_dot(solution, solution, m);
    tt_cholesky_backward(matrix, m, solution);
    for (size_t a = 0; a < m; a++) {
        largest = fmax(largest, fabs(solution[a]));
    }
    return largest > k->largest
               ? -INFINITY
               : tt_mode_gained(own_dof, form) - 0.5 * tt_cholesky_ln_det(matrix, m) - log_sizes;
}

static void enter(struct tt_modes *modes, const struct candidate *k, enum tt_mode_kind kind,
                  double own_dof)
{
    struct tt_mode mode = {
        .kind = kind, .index = TT_NONE, .log_prior = log(tt_mode_probability(kind))};

    mode.log_odds = mode.log_prior + log_odds(k, kind, own_dof);
    modes->mode[modes->n++] = mode;
}

static bool score(struct tt_fit *fit, struct tt_arena *arena, enum tt_axis_fault fault,
                  double own_dof, struct tt_modes *modes)
{
    static const enum tt_mode_kind KINDS[] = {[TT_AXES_RIGHT] = TT_MODE_DISTORTION,
                                              [TT_AXES_NOT_SQUARE] = TT_MODE_NOT_SQUARE,
                                              [TT_AXES_SCALE] = TT_MODE_SCALE,
                                              [TT_AXES_ALL] = TT_MODE_AXES};
    const struct tt_model *model = fit->model;
    size_t n = model->n_unknowns;
    struct candidate k = {
        .fit = fit, .fault = fault, .m = fault == TT_AXES_ALL ? TT_AXIS_NUMBERS : 1};

    k.largest = AXES_LARGEST * tt_mode_size(KINDS[fault]);
    k.c[0] = TT_ARENA_NEW(arena, k.m * n, double);
    if (k.c[0] == NULL) {
        return false;
    }
    for (size_t a = 1; a < k.m; a++) {
        k.c[a] = k.c[0] + a * n;
    }
    for (size_t c = 0; c < model->n_cells && fault != TT_AXES_RIGHT; c++) {
        add_cell(&k, &model->cells[c]);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        add_sight(&k, &model->sights[i]);
    }
    less_other_unknowns(&k);
    enter(modes, &k, KINDS[fault], own_dof);
    if (fault == TT_AXES_ALL) {
        enter(modes, &k, TT_MODE_AXIS_X, own_dof);
        enter(modes, &k, TT_MODE_AXIS_Y, own_dof);
    } else if (fault == TT_AXES_SCALE) {
        enter(modes, &k, TT_MODE_SCALE_FAR, own_dof);
    }
    return true;
}

double tt_dof_of_sightings(const struct tt_fit *fit)
{
    const struct tt_noise *noise = fit->noise;
    double dof = fmax(fit->dof_sight, 0) + fmax(fit->dof_view, 0);

    dof += fit->sight_scattered || fit->dof_sight <= 0 ? 0 : noise->sight_dof;
    dof += fit->view_scattered || fit->dof_view <= 0 ? 0 : noise->view_dof;
    return fmax(dof, 1);
}

bool tt_modes_score_axes(struct tt_fit *fit, struct tt_arena *arena, double own_dof,
                         struct tt_modes *modes)
{
    const struct tt_model *model = fit->model;
    bool right = model->terms.axes == TT_AXES_RIGHT, told = tt_marks_span(model), good = true;
    double seen_dof = own_dof > 0 ? tt_dof_of_sightings(fit) : 0;

    if (right && told) { /* marks tell, whose repeatability the touches do not */
        good = score(fit, arena, TT_AXES_ALL, seen_dof, modes);
    } else if (right && own_dof > 0) {
        good = score(fit, arena, TT_AXES_NOT_SQUARE, own_dof, modes) &&
               score(fit, arena, TT_AXES_SCALE, own_dof, modes);
    }
    if (model->picture.n > 0 && !model->terms.distortion && model->picture.at_kappa == TT_NONE) {
        good = good && score(fit, arena, TT_AXES_RIGHT, seen_dof, modes);
    }
    return good;
}
