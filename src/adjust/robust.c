/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The mixture of good, late and early contacts: its likelihood, the climb, the starts. The method is said in fit.h. */
#include "config.h"

#include "adjust/robust.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#define MOST_EM_STEPS 40
#define CLIMBED 0.03 /* of the logarithm of the likelihood */
#define NEARLY_CLIMBED 0.5
#define MOST_HELD_STEPS 15
#define START_LATE 0.2
#define START_EARLY 0.01
/* Contacts of usual machines scatter by 1 to 10 µm (common practice, no source): a log-normal prior on a scatter that is not
 * stated, weak enough to be overruled by a dozen touches, strong enough that "all are good and scatter by 30 µm" must be earned. */
#define USUAL_SCATTER_MM 3.5e-3
#define USUAL_SCATTER_LN_SD 0.6
/* Late and early contacts are off by anything up to 0.15 mm, or 15 scatters, with equal probability, and by more with one that
 * falls with the fourth power, so that a contact off by millimetres is still explained. */
#define DEPTH_SCALE_MM 0.15
#define DEPTH_SCALE_SCATTERS 15.0
/* A touch nearer than this many scatters is never called off: late ones are to be found, not the good ones' tails. Lower, and the
 * scatter comes out too small. */
#define OFF_FROM_SCATTERS 3.5
/* Strength, in touches, with which an edge's late share is drawn to the run's, and the run's to nothing. */
#define SHARE_STRENGTH 4.0
#define SHARE_PRIOR_TOUCHES 10.0
#define SHARE_PRIOR_LATE 0.1
/* Least squares stands unless the mixture explains the run better by this much (natural logarithm). Lower, and clean runs of a
 * dozen touches lose some; higher, and single late touches of 5 scatters stay. */
#define LEAST_GAIN 3.0

static void state_take(struct tt_fit_state *state, const struct tt_fit *fit)
{
    memcpy(state->x, fit->model->x, fit->model->n_unknowns * sizeof *state->x);
    memcpy(state->good, fit->good, fit->model->n_touches * sizeof *state->good);
    state->touch_var_mm2 = fit->touch_var_mm2;
    state->sight_var_mm2 = fit->sight_var_mm2;
    state->log_likelihood = fit->log_likelihood;
}

static void state_restore(const struct tt_fit_state *state, struct tt_fit *fit)
{
    memcpy(fit->model->x, state->x, fit->model->n_unknowns * sizeof *state->x);
    memcpy(fit->good, state->good, fit->model->n_touches * sizeof *state->good);
    fit->touch_var_mm2 = state->touch_var_mm2;
    fit->sight_var_mm2 = state->sight_var_mm2;
    fit->log_likelihood = state->log_likelihood;
    tt_model_linearise(fit->model);
}

static double outlier_density(double residual_mm, double scatter_mm)
{
    double depth = fmax(DEPTH_SCALE_MM, DEPTH_SCALE_SCATTERS * scatter_mm), beyond = fmax(fabs(residual_mm) / depth, 1);
    return 0.75 / (depth * beyond * beyond * beyond * beyond); /* 3/4 within the depth, 1/4 beyond */
}

/* The part of one cell in the expectation; returns its part of the logarithm of the likelihood. Most touches are near enough to be
 * good for certain: for them no exponential is taken, and the variances' factors are gathered into one logarithm. */
static double expect_cell(const struct tt_fit *fit, const struct tt_cell *cell, double scatter_mm, double probability[])
{
    double share = fit->late_share[cell->edge], early = fit->early_share, good_share = 1 - share - early;
    double log_sum = (double)cell->count * log(good_share / sqrt(2 * TT_PI * fit->touch_var_mm2)), ratios = 1;

    for (size_t i = cell->first; i < cell->first + cell->count; i++) {
        double variance = fit->touch_var_mm2 + fit->rotation_var_mm2[i], r = fit->model->residual[i];
        double exponent = -0.5 * r * r / variance, ratio = fit->touch_var_mm2 / variance;
        ratios *= ratio;
        if (ratios < 1e-200) {
            log_sum += 0.5 * log(ratios);
            ratios = 1;
        }
        probability[i] = 1;
        log_sum += exponent;
        if (exponent < -0.5 * OFF_FROM_SCATTERS * OFF_FROM_SCATTERS) {
            double good = good_share * exp(exponent) * sqrt(ratio) / sqrt(2 * TT_PI * fit->touch_var_mm2);
            double off = (r < 0 ? share : early) * outlier_density(r, scatter_mm);
            probability[i] = good / (good + off);
            log_sum += log(good + off) - exponent - 0.5 * log(ratio) - log(good_share / sqrt(2 * TT_PI * fit->touch_var_mm2));
        }
    }
    return log_sum + 0.5 * log(ratios);
}

/* Expectation: how probable each touch is good, into @probability, and the likelihood. @unknowns: degrees of freedom that the fit
 * takes up; they are given back to the scatter, else a fit to few touches would always look better than a fit to many. */
static void expect(struct tt_fit *fit, double unknowns, double probability[])
{
    const struct tt_model *model = fit->model;
    double s = sqrt(fit->touch_var_mm2), log_sum = unknowns * log(s);

    for (size_t c = 0; c < model->n_cells; c++) {
        log_sum += expect_cell(fit, &model->cells[c], s, probability);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        const double *r = model->sights[i].residual;
        log_sum -= 0.5 * (r[0] * r[0] + r[1] * r[1]) / fit->sight_var_mm2 + log(fit->sight_var_mm2);
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        double r = (model->x[tt_unknown(model, model->priors[i].block, model->priors[i].place)] - model->priors[i].value) /
                   model->priors[i].u;
        log_sum -= 0.5 * r * r;
    }
    if (!fit->noise->touch_known) {
        double off = log(s / USUAL_SCATTER_MM) / USUAL_SCATTER_LN_SD;
        log_sum -= 0.5 * off * off;
    }
    fit->log_likelihood = log_sum;
    fit->full_likelihood = log_sum - unknowns * log(s);
}

/* Shares of late and early contacts from the present `good`. */
static void update_shares(struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    size_t n_edges = model->plate->n_edges;
    double late = 0, early = 0, n = (double)model->n_touches, *edge_late = fit->late_share, *edge_n = fit->edge_count;

    memset(edge_late, 0, n_edges * sizeof *edge_late);
    memset(edge_n, 0, n_edges * sizeof *edge_n);
    for (size_t i = 0; i < model->n_touches; i++) {
        size_t edge = model->cells[model->cell_of[i]].edge;
        double off = 1 - fit->good[i];
        edge_n[edge] += 1;
        if (model->residual[i] < 0) {
            edge_late[edge] += off;
            late += off;
        } else {
            early += off;
        }
    }
    double run_share = (late + SHARE_PRIOR_LATE) / (n + SHARE_PRIOR_TOUCHES);
    fit->early_share = (early + SHARE_PRIOR_LATE) / (n + SHARE_PRIOR_TOUCHES);
    for (size_t j = 0; j < n_edges; j++) {
        edge_late[j] =
            fmin((edge_late[j] + SHARE_STRENGTH * run_share) / (edge_n[j] + SHARE_STRENGTH), 0.95 * (1 - fit->early_share));
    }
}

/* Climb from the present x, shares and scatter; the scatter is held until the climb has nearly ended with it, so that it cannot
 * widen before the late touches are found. False: singular. */
static bool climb(struct tt_fit *fit, double unknowns, double least_var)
{
    double before = -INFINITY;
    bool held = !fit->noise->touch_known;

    for (size_t k = 0; k < MOST_EM_STEPS; k++) {
        double size;
        expect(fit, unknowns, fit->good);
        if (held && (!(fabs(fit->log_likelihood - before) > NEARLY_CLIMBED) || k >= MOST_HELD_STEPS)) {
            held = false;
        } else if (!held && !(fabs(fit->log_likelihood - before) > CLIMBED)) {
            break;
        }
        before = fit->log_likelihood;
        update_shares(fit);
        if (!fit->noise->touch_known && !held) {
            double good = tt_fit_total_good(fit);
            fit->touch_var_mm2 = fmax(tt_fit_touch_scatter(fit, fmax(good - unknowns, 1)), least_var);
        }
        tt_fit_set_weights(fit);
        if (!tt_fit_step(fit, false, &size)) {
            return false;
        }
    }
    return true;
}

/* Scatter from the shortest interval that holds half of the residuals (normal: half-width / 0.6745). */
static double shortest_half(const struct tt_fit *fit)
{
    size_t n = fit->model->n_touches, half = n / 2 + 1;
    double *sorted = fit->sorted_mm, best = INFINITY;

    memcpy(sorted, fit->model->residual, n * sizeof *sorted);
    gsl_sort(sorted, 1, n);
    for (size_t i = 0; i + half <= n; i++) {
        best = fmin(best, sorted[i + half - 1] - sorted[i]);
    }
    return best / (2 * 0.6745);
}

/* Asymmetric least absolute deviations at @level (0.5: median; above: the upper part of the residuals counts more), by reweighting.
 */
static bool absolute_deviations(struct tt_fit *fit, double level, size_t steps)
{
    const struct tt_model *model = fit->model;
    double floor_mm = 0.5 * sqrt(fit->noise->touch_digit_var_mm2 + 1e-6); /* half a micrometre: beyond it all are equal */

    for (size_t k = 0; k < steps; k++) {
        double size;
        for (size_t i = 0; i < model->n_touches; i++) {
            double r = model->residual[i], side = r > 0 ? level : 1 - level;
            /* Scaled so that a touch off by one first scatter weighs as in least squares: priors keep their meaning. */
            fit->weight[i] = 2 * side / (TT_FIRST_SCATTER_MM * fmax(fabs(r), floor_mm));
        }
        if (!tt_fit_step(fit, false, &size)) {
            return false;
        }
    }
    return true;
}

bool tt_robust_looks_clean(struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double largest = 0, half;

    for (size_t i = 0; i < model->n_touches; i++) {
        double free_share = fmax(1 - fit->leverage[i], 0.05);
        double variance = (fit->touch_var_mm2 + fit->rotation_var_mm2[i]) * free_share;
        largest = fmax(largest, model->residual[i] * model->residual[i] / variance);
    }
    half = shortest_half(fit);
    fit->half_scatter_mm = half;
    double scatter = sqrt(fit->scatter_touch_mm2);
    /* 3.2 scatters, or twice as wide as its middle half says: one clean run in ten of a hundred touches is looked at twice. */
    return largest < 3.2 * 3.2 && scatter < 1.6 * half + 1e-6 && (fit->noise->touch_known || scatter < 2 * USUAL_SCATTER_MM);
}

/* Few set aside and the rest as normal as it should be: no other start would end elsewhere. */
static bool convincing(const struct tt_fit *fit)
{
    double n = (double)fit->model->n_touches;
    return tt_fit_total_good(fit) > 0.85 * n && n > 24 &&
           (fit->noise->touch_known || sqrt(fit->touch_var_mm2) < 2 * USUAL_SCATTER_MM);
}

/* One start: from the present x with @scatter_mm. */
static bool try_start(struct tt_fit *fit, double scatter_mm, double unknowns, double least_var)
{
    if (!fit->noise->touch_known) {
        fit->touch_var_mm2 = fmax(scatter_mm * scatter_mm, least_var);
    }
    for (size_t j = 0; j < fit->model->plate->n_edges; j++) {
        fit->late_share[j] = START_LATE;
    }
    fit->early_share = START_EARLY;
    return climb(fit, unknowns, least_var);
}

/* With few late touches least squares is not far off: climb from there, and be content with a convincing end. */
static bool first_guess(struct tt_fit *fit, double spent, double least_var)
{
    if (!try_start(fit, fmin(fit->half_scatter_mm, 2 * USUAL_SCATTER_MM), spent, least_var) || !convincing(fit)) {
        return false;
    }
    state_take(&fit->best, fit);
    return true;
}

static void search_starts(struct tt_fit *fit, double spent, double least_var)
{
    static const double levels[] = {0.5, 0.7, 0.85}, scatters_mm[] = {4e-3, 2e-3, 10e-3};
    size_t n_scatters = fit->noise->touch_known ? 1 : sizeof scatters_mm / sizeof scatters_mm[0];

    if (first_guess(fit, spent, least_var)) {
        return;
    }
    for (size_t k = 0; k < sizeof levels / sizeof levels[0]; k++) {
        state_restore(&fit->plain, fit);
        if (!absolute_deviations(fit, levels[k], 8)) {
            continue;
        }
        state_take(&fit->start, fit);
        for (size_t j = 0; j < n_scatters; j++) {
            state_restore(&fit->start, fit);
            if (try_start(fit, scatters_mm[j], spent, least_var) && fit->log_likelihood > fit->best.log_likelihood) {
                state_take(&fit->best, fit);
            }
        }
    }
}

void tt_robust_fit(struct tt_fit *fit)
{
    struct tt_model *model = fit->model;
    double spent = fit->spent_touch;
    double least_var = fit->least_touch_var_mm2;

    update_shares(fit);
    expect(fit, spent, fit->probability);
    state_take(&fit->plain, fit);
    fit->best.log_likelihood = -INFINITY;
    search_starts(fit, spent, least_var);
    state_restore(fit->best.log_likelihood > fit->plain.log_likelihood + LEAST_GAIN ? &fit->best : &fit->plain, fit);
    for (size_t i = 0; i < model->n_touches; i++) {
        fit->good[i] = fit->good[i] > 0.5 ? 1 : 0;
    }
}

void tt_robust_sum_up(struct tt_fit *fit)
{
    update_shares(fit);
    expect(fit, fit->spent_touch, fit->probability);
}
