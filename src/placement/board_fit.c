/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "placement/board_fit.h"

#include <math.h>
#include <string.h>

#include "base/cholesky.h"
#include "base/distribution.h"

/* Repeatabilities are kept apart where they would differ so much by chance once in a thousand
 * boards: a wrong split costs degrees of freedom, a missed one gives a worn tip's scatter to all.
 */
#define DIFFERS_P 1e-3
/* A group with fewer degrees of freedom has no repeatability of its own to compare. */
#define LEAST_DOF 4.0
/* Rounds of weights by repeatabilities that are estimated with them: they settle by a factor of
 * some hundred each. */
#define ROUNDS 4

bool tt_board_fit_init(struct tt_board_fit *fit, const struct tt_board_design *design,
                       struct tt_arena *arena)
{
    size_t p = design->n_unknowns;
    *fit = (struct tt_board_fit){.variance = 1.0};
    fit->unknowns = TT_ARENA_NEW(arena, p, double);
    fit->covariance = TT_ARENA_NEW(arena, p * p, double);
    fit->factor = TT_ARENA_NEW(arena, p * p, double);
    return tt_sums_init(&fit->sums, p, arena) && fit->unknowns != NULL && fit->covariance != NULL &&
           fit->factor != NULL;
}

/* What is known of an unknown beforehand: 1 / variance. */
static double prior(const struct tt_board_fit *fit, const struct tt_board_design *design,
                    size_t unknown)
{
    /* the board's own turn, or nothing at all: wide enough not to matter, and not singular */
    static const double open = 1e-2;
    size_t grid = tt_at_grid(design);
    if (unknown < tt_at_turning(design, 0)) {
        return 1e-6; /* a metre: a tip all of whose parts slipped leaves the rest solvable */
    }
    double u = unknown < grid                                     ? TT_PRIOR_TURNING_MM
               : unknown == grid + TT_GRID_TURN && fit->turn_free ? open
                                                                  : TT_PRIOR_GRID;
    return 1.0 / (u * u);
}

bool tt_board_fit_solve(struct tt_board_fit *fit, const struct tt_board_design *design)
{
    size_t p = design->n_unknowns;
    tt_sums_make(&fit->sums, design);
    memcpy(fit->factor, fit->sums.normal, p * p * sizeof(*fit->factor));
    memcpy(fit->unknowns, fit->sums.right, p * sizeof(*fit->unknowns));
    for (size_t i = 0; i < p; i++) {
        fit->factor[i * p + i] += prior(fit, design, i);
    }
    if (!tt_cholesky(fit->factor, p)) {
        return false;
    }
    tt_cholesky_forward(fit->factor, p, fit->unknowns);
    tt_cholesky_backward(fit->factor, p, fit->unknowns);
    tt_cholesky_invert(fit->factor, p, fit->covariance);
    fit->effective = (double)p; /* trace of normal * covariance */
    for (size_t i = 0; i < p; i++) {
        fit->effective -= prior(fit, design, i) * fit->covariance[i * p + i];
    }
    fit->dof = 2.0 * fit->sums.weight - fit->effective;
    return true;
}

double tt_board_fit_form(const struct tt_board_fit *fit, const double a[], const double b[])
{
    size_t n = fit->sums.n_unknowns;
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; a[i] != 0.0 && j < n; j++) {
            sum += a[i] * b[j] * fit->covariance[i * n + j];
        }
    }
    return sum;
}

double tt_board_fit_u(const struct tt_board_fit *fit, size_t unknown)
{
    return sqrt(fit->variance * fit->covariance[unknown * (fit->sums.n_unknowns + 1)]);
}

void tt_board_fit_squares(const struct tt_board_fit *fit, const struct tt_board_design *design,
                          size_t tip, double squares_mm2[2], double *parts)
{
    squares_mm2[0] = squares_mm2[1] = *parts = 0.0;
    for (size_t i = 0; i < design->n; i++) {
        double x, y;
        if (design->weight[i] > 0.0 && (tip == TT_NONE || design->rows[i].tip == tip)) {
            tt_part_residual(design, fit->unknowns, i, &x, &y);
            squares_mm2[0] += design->weight[i] * x * x;
            squares_mm2[1] += design->weight[i] * y * y;
            *parts += design->weight[i];
        }
    }
}

/* Bartlett's test (Proc. R. Soc. A 160 (1937) 268-282) of the tips' variances, x and y together:
 * its p, 1 where there is nothing to compare. */
static double tips_alike(const struct tt_board_fit *fit, const struct tt_board_design *design)
{
    double nu = 0.0, sum = 0.0, ln_sum = 0.0, inverse = 0.0;
    size_t groups = 0;
    for (size_t t = 0; t < design->n_tips; t++) {
        double squares[2], parts;
        tt_board_fit_squares(fit, design, t, squares, &parts);
        double dof = fit->dof * parts / fit->sums.weight;
        if (dof >= LEAST_DOF && squares[0] + squares[1] > 0.0) {
            nu += dof;
            sum += squares[0] + squares[1];
            ln_sum += dof * log((squares[0] + squares[1]) / dof);
            inverse += 1.0 / dof;
            groups++;
        }
    }
    if (groups < 2) {
        return 1.0;
    }
    double correction = 1.0 + (inverse - 1.0 / nu) / (3.0 * (double)(groups - 1));
    return tt_chi2_upper((nu * log(sum / nu) - ln_sum) / correction, (double)(groups - 1));
}

/* Fisher's test of the variances on x and on y: two-sided p. */
static double axes_alike(const struct tt_board_fit *fit, const struct tt_board_design *design)
{
    double squares[2], parts;
    tt_board_fit_squares(fit, design, TT_NONE, squares, &parts);
    if (fit->dof < 2.0 * LEAST_DOF || !(squares[0] > 0.0) || !(squares[1] > 0.0)) {
        return 1.0;
    }
    double ratio = fmax(squares[0], squares[1]) / fmin(squares[0], squares[1]);
    return fmin(1.0, 2.0 * tt_fisher_upper(ratio, fit->dof / 2.0, fit->dof / 2.0));
}

/* The repeatabilities of the present residuals into design->precision. */
static void weigh(const struct tt_board_fit *fit, struct tt_board_design *design, bool by_axis,
                  bool by_tip)
{
    double share = fit->dof / (2.0 * fit->sums.weight); /* of each squared residual */
    for (size_t t = 0; t < design->n_tips; t++) {
        double all[2], own[2], parts, own_parts;
        tt_board_fit_squares(fit, design, TT_NONE, all, &parts);
        tt_board_fit_squares(fit, design, t, own, &own_parts);
        bool apart = by_tip && 2.0 * own_parts * share >= LEAST_DOF;
        const double *squares = apart ? own : all;
        double n = apart ? own_parts : parts;
        for (size_t axis = 0; axis < 2; axis++) {
            double variance = by_axis ? squares[axis] / (n * share)
                                      : (squares[0] + squares[1]) / (2.0 * n * share);
            design->precision[2 * t + axis] =
                1.0 / fmax(variance, TT_LEAST_PLACING_MM * TT_LEAST_PLACING_MM);
        }
    }
}

bool tt_board_fit_scatter(struct tt_board_fit *fit, struct tt_board_design *design, bool *by_axis,
                          bool *by_tip)
{
    *by_axis = *by_tip = false;
    fit->variance = 1.0;
    for (int round = 0; round < ROUNDS; round++) {
        if (!tt_board_fit_solve(fit, design)) {
            return false;
        }
        if (!(fit->dof > TT_LEAST_PLACING_DOF)) {
            return true; /* too few parts to have a repeatability: said elsewhere */
        }
        if (round == 1) {
            *by_axis = axes_alike(fit, design) < DIFFERS_P;
            *by_tip = tips_alike(fit, design) < DIFFERS_P;
        }
        weigh(fit, design, *by_axis, *by_tip);
    }
    return tt_board_fit_solve(fit, design);
}
