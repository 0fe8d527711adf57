/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/shares.h"

#include <math.h>
#include <string.h>

#include "adjust/mixture.h"
#include "adjust/modes.h"
#include "base/distribution.h"

bool tt_edge_is_out(const struct tt_fit *fit, size_t edge)
{
    return fit->model->terms.edge_out != NULL && fit->model->terms.edge_out[edge];
}

bool tt_edge_is_filmed(const struct tt_fit *fit, size_t edge)
{
    const double *extra = fit->model->terms.edge_extra_mm;
    return extra != NULL && extra[edge] == tt_mode_size(TT_MODE_FILM);
}

double tt_bare_depth(const struct tt_fit *fit, size_t edge)
{
    return tt_edge_is_filmed(fit, edge) ? OFF_FROM_SCATTERS * sqrt(fit->touch_var_mm2) -
                                              fit->model->x[fit->model->at_edge[edge]]
                                        : 0;
}

/* Late and early touches, by the present `good`: late by edge into fit->late_count. */
static void count_off(struct tt_fit *fit, double *early, double *late, double *touches)
{
    const struct tt_model *model = fit->model;
    size_t n_edges = model->plate->n_edges;

    memset(fit->late_count, 0, n_edges * sizeof *fit->late_count);
    memset(fit->edge_count, 0, n_edges * sizeof *fit->edge_count);
    *early = *late = *touches = 0;
    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        bool out = tt_edge_is_out(fit, cell->edge);
        double off = 0;
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            double q = 1 - fit->good[i];
            off += out || model->residual[i] < 0 ? q : 0;
            *early += !out && model->residual[i] >= 0 ? q : 0;
        }
        fit->late_count[cell->edge] += off;
        fit->edge_count[cell->edge] += (double)cell->count;
        *late += out ? 0 : off;
        *touches += out ? 0 : (double)cell->count;
    }
}

void tt_shares_update(struct tt_fit *fit)
{
    double early, late, touches;

    count_off(fit, &early, &late, &touches);
    fit->run_share = (late + SHARE_PRIOR_LATE) / (touches + SHARE_PRIOR_TOUCHES);
    fit->early_share = fmin(
        (early + SHARE_PRIOR_EARLY) / ((double)fit->model->n_touches + SHARE_PRIOR_TOUCHES), 0.3);
    for (size_t j = 0; j < fit->model->plate->n_edges; j++) {
        double share = (fit->late_count[j] + SHARE_STRENGTH * fit->run_share) /
                       (fit->edge_count[j] + SHARE_STRENGTH);
        fit->late_share[j] = fmin(fmin(fmax(share, 1e-3), 0.97), 0.985 - fit->early_share);
    }
}

double tt_log_early(double early, double others, double ln_early, double ln_others)
{
    double all = early + others, whole = floor(early), part = early - whole, sum = 0,
           none = tt_ln_beta(SHARE_PRIOR_EARLY, SHARE_PRIOR_TOUCHES - SHARE_PRIOR_EARLY);

    for (int k = 0; k < 2; k++) {
        double n = fmin(whole + k, all), weight = k > 0 ? part : 1 - part;
        double known = (early > 0 ? n * ln_early / early : 0) +
                       (others > 0 ? (all - n) * ln_others / others : 0);
        if (weight > 0) {
            sum += weight * exp(tt_ln_beta(n + SHARE_PRIOR_EARLY,
                                           all - n + SHARE_PRIOR_TOUCHES - SHARE_PRIOR_EARLY) -
                                none - known);
        }
    }
    return log(sum);
}

/* The same of this climb. A filmed edge's touches on bare metal have a share of their own. */
static double log_early(const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double early = 0, others = 0, ln_early = 0, ln_others = 0;

    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        bool filmed = tt_edge_is_filmed(fit, cell->edge);
        double not_late = filmed ? 1 : 1 - fit->late_share[cell->edge], off = 0, good = 0,
               from_mm = tt_bare_depth(fit, cell->edge);
        if (tt_edge_is_out(fit, cell->edge)) {
            continue;
        }
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            good += filmed ? 0 : fit->good[i];
            off += model->residual[i] < from_mm ? 0 : 1 - fit->good[i];
        }
        early += off;
        others += good;
        ln_early += off * log(fit->early_share / not_late);
        ln_others += good * log1p(-fit->early_share / not_late);
    }
    return tt_log_early(early, others, ln_early, ln_others);
}

double tt_shares_log_evidence(struct tt_fit *fit)
{
    double early, late, touches, sum = 0, pi = fit->run_share;
    double a = SHARE_STRENGTH * pi, b = SHARE_STRENGTH * (1 - pi), prior = tt_ln_beta(a, b);

    count_off(fit, &early, &late, &touches);
    for (size_t j = 0; j < fit->model->plate->n_edges; j++) {
        double n_late = fit->late_count[j], n_good = fmax(fit->edge_count[j] - n_late, 0);
        if (fit->edge_count[j] == 0) {
            continue;
        }
        if (tt_edge_is_out(fit, j)) {
            sum += log(tt_mode_probability(TT_MODE_EDGE_OUT));
            continue;
        }
        sum += tt_ln_beta(n_late + a, n_good + b) - prior - n_late * log(fit->late_share[j]) -
               n_good * log1p(-fit->late_share[j]);
    }
    return sum + SHARE_PRIOR_LATE * log(pi / 0.1) +
           (SHARE_PRIOR_TOUCHES - SHARE_PRIOR_LATE) * log((1 - pi) / 0.9) + log_early(fit);
}
