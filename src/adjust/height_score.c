/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What one set of good touches from above is worth: its evidence. */
#include "config.h"

#include <math.h>

#include "adjust/height_sets.h"
#include "adjust/mixture.h"
#include "base/distribution.h"
#include "model/frames.h"

#define HEIGHT_LARGEST 3.4 /* standard deviations up to which least squares stands */
#define HEIGHT_CLEAN_MM 7e-3
#define HEIGHT_CLEAN_IMPROBABLE 1e-4
#define MOST_HEIGHT_SCORE_STEPS 12
#define HEIGHT_SCORED 1e-3 /* relative change of the variance that ends them */
#define LEAST_SCATTER_MM 1e-4
#define LARGEST_SCATTER_MM 1.0
#define SCATTER_HALVINGS 24
#define HEIGHT_SHARES 12 /* of late touches in the run, equally probable, that are summed over */

bool tt_height_looks_clean(const struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double largest = 0, dof = fmax(fit->dof, 1);

    for (size_t i = 0; i < h->n_rows; i++) {
        double known = tt_height_variance(fit, fit->design + i * fit->n, fit->scratch),
               variance = fmax(fit->variance_mm2 - known, 0.05 * fit->variance_mm2);
        largest = fmax(largest, fit->residual[i] * fit->residual[i] / variance);
    }
    if (!(largest < HEIGHT_LARGEST * HEIGHT_LARGEST)) {
        return false;
    }
    if (h->stated_dof == 0) {
        return fit->own_mm2 < HEIGHT_CLEAN_MM * HEIGHT_CLEAN_MM;
    }
    return tt_chi2_upper(dof * fit->own_mm2 / (h->stated_mm2 + h->digit_mm2), dof) >
           HEIGHT_CLEAN_IMPROBABLE;
}

/* ---- the evidence of one set ---- */

/* ln of a (a + 1) ... (a + n - 1). */
static double ln_rising(double a, size_t n)
{
    double sum = 0;

    for (size_t k = 0; k < n; k++) {
        sum += log(a + (double)k);
    }
    return sum;
}

/* ln probability of @some of @all, drawn by a share of Beta(@a, @b). */
static double ln_drawn(size_t some, size_t all, double a, double b)
{
    return ln_rising(a, some) + ln_rising(b, all - some) - ln_rising(a + b, all);
}

/* Off touches of @pad on one side. */
static size_t count_off(const struct tt_height_fit *fit, size_t pad, bool late, size_t *all)
{
    size_t n = 0;

    *all = 0;
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        bool here = pad == TT_NONE || fit->heights->rows[i].pad == pad;
        *all += here;
        n += here && fit->good[i] == 0 && (fit->residual[i] < 0) == late;
    }
    return n;
}

/* ln probability that these touches are late and early: the pads' shares are integrated out, that
 * of the run is summed over its prior, Beta(1, b). */
static double ln_shares(const struct tt_height_fit *fit)
{
    double sum = 0, most = -INFINITY, b = SHARE_PRIOR_TOUCHES - SHARE_PRIOR_LATE;
    size_t all, off;

    for (size_t k = 0; k < HEIGHT_SHARES; k++) {
        double share = 1 - pow(1 - ((double)k + 0.5) / HEIGHT_SHARES, 1 / b), ln = 0;
        for (size_t p = 0; p < fit->heights->n_pads; p++) {
            off = count_off(fit, p, true, &all);
            ln += ln_drawn(off, all, SHARE_STRENGTH * share, SHARE_STRENGTH * (1 - share));
        }
        sum = ln > most ? sum * exp(most - ln) + 1 : sum + exp(ln - most);
        most = fmax(most, ln);
    }
    off = count_off(fit, TT_NONE, false, &all);
    return most + log(sum / HEIGHT_SHARES) +
           ln_drawn(off, all, SHARE_PRIOR_EARLY, SHARE_PRIOR_TOUCHES - SHARE_PRIOR_EARLY);
}

/* Slope, along the logarithm of a repeatability of variance @variance_mm2, of the ln probability of
 * the good ones' squares, @sum_mm2 with @dof degrees of freedom, and of its usual prior. */
static double slope_at(double variance_mm2, double sum_mm2, double dof, double digit_mm2)
{
    double all = variance_mm2 + digit_mm2,
           ln = 0.5 * log(variance_mm2 / (USUAL_SCATTER_MM * USUAL_SCATTER_MM));

    return (sum_mm2 / all - dof) * variance_mm2 / all -
           ln / (USUAL_SCATTER_LN_SD * USUAL_SCATTER_LN_SD);
}

/* The most probable variance where none is stated, without the digit's. */
static double usual_variance(double sum_mm2, double dof, double digit_mm2)
{
    double low = log(LEAST_SCATTER_MM), high = log(LARGEST_SCATTER_MM);

    for (int k = 0; k < SCATTER_HALVINGS; k++) {
        double middle = 0.5 * (low + high);
        bool more = slope_at(exp(2 * middle), sum_mm2, dof, digit_mm2) > 0;
        low = more ? middle : low;
        high = more ? high : middle;
    }
    return exp(low + high);
}

/* The repeatability of the good ones; its relative change. */
static double update_scatter(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double sum = 0, good = 0, before = fit->variance_mm2;

    for (size_t i = 0; i < h->n_rows; i++) {
        good += fit->good[i];
        sum += fit->good[i] * fit->residual[i] * fit->residual[i];
    }
    fit->dof = fmax(good - fit->spent, 0);
    fit->pooled_dof = fit->dof + h->stated_dof;
    fit->own_mm2 = sum / fmax(fit->dof, 0.5);
    fit->variance_mm2 =
        h->stated_dof > 0 ? (h->stated_dof * (h->stated_mm2 + h->digit_mm2) + sum) / fit->pooled_dof
                          : usual_variance(sum, fit->dof, h->digit_mm2) + h->digit_mm2;
    return fabs(fit->variance_mm2 / before - 1);
}

/* Rows that are called off but lie with the good ones are good. */
static bool take_near(struct tt_height_fit *fit)
{
    bool any = false;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        bool near = fit->residual[i] * fit->residual[i] <
                    OFF_FROM_SCATTERS * OFF_FROM_SCATTERS * fit->variance_mm2;
        any = any || (near && fit->good[i] == 0);
        fit->good[i] = near ? 1 : fit->good[i];
    }
    return any;
}

/* ln density of the touches and of the unknowns. */
static double ln_rows(const struct tt_height_fit *fit)
{
    double sd = sqrt(fit->variance_mm2), sum = 0;

    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        double r = fit->residual[i];
        sum += fit->good[i] > 0 ? -0.5 * r * r / fit->variance_mm2 - log(sqrt(2 * TT_PI) * sd)
                                : log(tt_off_density(r, sd));
    }
    for (size_t j = 0; j < fit->n; j++) {
        double r = (fit->x[j] - fit->prior_value[j]) / fit->prior_u[j];
        sum -= 0.5 * r * r + log(fit->prior_u[j]);
    }
    return sum;
}

/* ln prior density of the logarithm of the repeatability, and Laplace's factor. */
static double ln_scatter(const struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double own = fit->own_mm2 * fmax(fit->dof, 0.5) / fit->variance_mm2;

    return tt_log_scatter(fmax(fit->variance_mm2 - h->digit_mm2, 1e-10),
                          h->stated_dof > 0 ? fit->dof : own, h->stated_mm2, h->stated_dof);
}

bool tt_height_score(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double sd = h->stated_dof > 0 ? sqrt(h->stated_mm2 + h->digit_mm2) : TT_FIRST_HEIGHT_SCATTER_MM;

    fit->variance_mm2 = sd * sd;
    for (size_t k = 0; k < MOST_HEIGHT_SCORE_STEPS; k++) {
        for (size_t i = 0; i < h->n_rows; i++) {
            fit->weight[i] = fit->good[i] / fit->variance_mm2;
        }
        if (!tt_height_solve(fit)) {
            return false;
        }
        if (update_scatter(fit) < HEIGHT_SCORED && !take_near(fit)) {
            break;
        }
    }
    fit->log_evidence = ln_rows(fit) + ln_shares(fit) + ln_scatter(fit) - 0.5 * fit->log_det;
    for (size_t m = 0; m < fit->n_modes; m++) {
        fit->log_evidence += fit->modes[m].log_p;
    }
    return true;
}
