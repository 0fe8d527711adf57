/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a fit spends its observations on: leverages, and the degrees of freedom that are left to the
 * repeatabilities.
 */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/fit_parts.h"
#include "base/distribution.h"

/* The quadratic form of @slope with the lower triangle @h. */
static double form(const double h[], const double slope[], size_t n)
{
    double total = 0;

    for (size_t j = 0; j < n; j++) {
        double part = 0;
        for (size_t k = 0; k <= j; k++) {
            part += h[j * n + k] * slope[k];
        }
        total += part * slope[j];
    }
    return total;
}

/* The same of the TT_COLUMN_MORE columns that every cell has. */
static double plain_form(const double h[], const double slope[])
{
    double a = slope[0], b = slope[1], c = slope[2], d = slope[3];

    return h[0] * a * a + (h[4] * a + h[5] * b) * b + (h[8] * a + h[9] * b + h[10] * c) * c +
           (h[12] * a + h[13] * b + h[14] * c + h[15] * d) * d;
}

double tt_fit_cell_leverage(struct tt_fit *fit, const struct tt_cell *cell, const double h[])
{
    size_t n = cell->n_columns;
    double sum = 0;

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        const double *slope = fit->model->slope + i * fit->model->stride;
        double total = n == TT_COLUMN_MORE ? plain_form(h, slope) : form(h, slope, n);
        fit->leverage[i] = total / (fit->touch_var_mm2 + fit->rotation_var_mm2[i]);
        sum += fit->good[i] * fit->leverage[i];
    }
    return sum;
}

static void cell_leverage(struct tt_fit *fit, const struct tt_cell *cell, const double cc[],
                          const double cb[], double *sum)
{
    const struct tt_system *system = &fit->model->system;
    size_t nb = system->n_border, size = system->size[cell->block], n = cell->n_columns;
    double h[TT_MOST_COLUMNS * TT_MOST_COLUMNS] = {0};

    for (size_t i = 0; i < cell->n_entries; i++) {
        const struct tt_entry *p = &cell->entries[i];
        const double *border =
            p->place < nb ? system->c + p->place * nb : cb + (p->place - nb) * nb;
        for (size_t j = 0; j <= i; j++) { /* in ascending order of place */
            const struct tt_entry *q = &cell->entries[j];
            double c =
                q->place < nb ? border[q->place] : cc[(p->place - nb) * size + q->place - nb];
            tt_fold_covariance(h, n, p, q, c);
        }
    }
    *sum += tt_fit_cell_leverage(fit, cell, h);
}

/* What a fit spends on sightings: on those that count for their repeatability, and on all. */
struct sight_spent {
    double counted[2], n_counted[2]; /* of sightings, of views */
    double all;
};

/* After tt_system_invert. */
static struct sight_spent spent_on_sights(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    const double *c = model->system.c;
    size_t nb = model->n_border;
    struct sight_spent spent = {0};

    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        double share = tt_sight_share(sight), variance = 0;
        for (size_t axis = 0; axis < 2; axis++) {
            for (size_t j = 0; j < sight->n_entries; j++) {
                for (size_t k = 0; k < sight->n_entries; k++) {
                    const struct tt_entry *p = &sight->entries[axis][j],
                                          *q = &sight->entries[axis][k];
                    variance += p->value * q->value * c[p->place * nb + q->place];
                }
            }
        }
        spent.n_counted[sight->view] += share;
        spent.counted[sight->view] +=
            share * variance / (sight->view ? fit->view_var_mm2 : fit->sight_var_mm2);
        spent.all += variance * tt_sight_weight(sight, 1 / fit->sight_var_mm2);
    }
    return spent;
}

/* Share of each touch's weight that the fit spends on it (w J C J^T), on @edges (NULL = all); the
 * sum over their good touches is returned: the degrees of freedom that the fit takes up. After
 * tt_system_invert. */
static double leverages(struct tt_fit *fit, const bool edges[])
{
    struct tt_model *model = fit->model;
    size_t block = TT_NONE;
    double sum = 0;

    for (size_t k = 0; k < model->n_cells; k++) {
        struct tt_cell *cell = &model->cells[model->cells_by_block[k]];
        if (edges != NULL && !edges[cell->edge]) {
            continue;
        }
        if (cell->block != block) {
            block = cell->block;
            tt_system_block_covariance(&model->system, block, fit->cc, fit->cb, fit->response);
        }
        cell_leverage(fit, cell, fit->cc, fit->cb, &sum);
    }
    return sum;
}

/* What the fit spends on what is known beforehand: the priors' shares of the unknowns. After
 * tt_system_invert. */
static double spent_on_priors(struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    const struct tt_system *system = &model->system;
    size_t nb = model->n_border;
    double *in_block = fit->cc, *half = fit->response, sum = 0;

    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        double variance = 0;
        if (prior->place < nb) {
            variance = system->c[prior->place * nb + prior->place];
        } else {
            size_t size = system->size[prior->block];
            memset(half, 0, nb * sizeof *half);
            memset(in_block, 0, size * sizeof *in_block);
            in_block[prior->place - nb] = 1;
            tt_system_half_solve(system, prior->block, half, in_block, half);
            for (size_t k = 0; k < nb + size; k++) {
                variance += half[k] * half[k];
            }
        }
        sum += variance / (prior->u * prior->u);
    }
    return sum;
}

static void set_dof(struct tt_fit *fit, double touches, const struct sight_spent *sights)
{
    fit->spent_touch = touches;
    fit->dof_found_at_mm2 = fit->touch_var_mm2;
    fit->dof_touch = tt_fit_total_good(fit) - touches;
    fit->dof_sight = 2 * sights->n_counted[false] - sights->counted[false];
    fit->dof_view = 2 * sights->n_counted[true] - sights->counted[true];
}

void tt_fit_update_dof(struct tt_fit *fit)
{
    tt_system_invert(&fit->model->system);
    struct sight_spent sights = spent_on_sights(fit);
    set_dof(fit, leverages(fit, NULL), &sights);
}

void tt_fit_update_dof_only(struct tt_fit *fit, const bool edges[])
{
    tt_system_invert(&fit->model->system);
    struct sight_spent sights = spent_on_sights(fit);
    if (edges != NULL) {
        (void)leverages(fit, edges);
    }
    set_dof(fit, (double)fit->model->n_unknowns - spent_on_priors(fit) - sights.all, &sights);
}

bool tt_fit_factor(struct tt_fit *fit, const bool edges[])
{
    struct tt_model *model = fit->model;

    tt_model_accumulate(model, fit->weight, 1 / fit->sight_var_mm2, true);
    if (!tt_system_factor(&model->system)) {
        return false;
    }
    tt_fit_update_dof_only(fit, edges);
    return true;
}

double tt_fit_total_good(const struct tt_fit *fit)
{
    double sum = 0;
    for (size_t i = 0; i < fit->model->n_touches; i++) {
        sum += fit->good[i];
    }
    return sum;
}

double tt_fit_pooled(double own_mm2, double dof, double stated_mm2, double stated_dof,
                     bool *contradicted)
{
    *contradicted = false;
    if (isinf(stated_dof)) {
        return stated_mm2;
    }
    if (stated_dof <= 0) { /* nothing stated */
        return own_mm2;
    }
    double ratio = own_mm2 / stated_mm2;
    *contradicted = tt_fisher_upper(ratio, dof, stated_dof) < TT_STATED_IMPROBABLE &&
                    tt_chi2_upper(ratio * dof, dof) < TT_STATED_CHANCE;
    return *contradicted ? own_mm2 : (stated_dof * stated_mm2 + dof * own_mm2) / (stated_dof + dof);
}
