/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Few unknowns, all at once: normal equations with unit diagonal, Cholesky, inverse. */
#include "config.h"

#include "adjust/height_model.h"

#include <math.h>
#include <string.h>

#include "adjust/fit.h"

/* What nothing is known of, in the search: a height about the middle of its touches, a slope (bench
 * plates lie level to some mm/m: common practice, no source), and the level of a further setup. */
#define PROPER_HEIGHT_MM 1.0
#define PROPER_SLOPE_RAD 3e-3
#define WEAK_HEIGHT_MM 1e3
#define WEAK_SLOPE_RAD 0.1
/* Heights known better are exact. */
#define EXACT_HEIGHT_MM 1e-7
#define HEIGHT_PIVOT 1e-12
#define MOST_HEIGHT_STEPS 30
#define HEIGHT_SCATTER_DONE 1e-9
#define LEAST_HEIGHT_SCATTER_MM 1e-5

/* ---- layout ---- */

static size_t add_unknown(struct tt_height_fit *fit, double u, enum tt_height_prior of)
{
    fit->prior_u[fit->n] = u;
    fit->prior_of[fit->n] = of;
    return fit->n++;
}

/* By how much a mode widens the stated height of @pad. */
static double widened_by(const struct tt_height_fit *fit, size_t pad)
{
    double sum = 0;

    for (size_t m = 0; m < fit->n_modes; m++) {
        bool of_pad =
            fit->modes[m].kind == TT_HEIGHT_PAD || fit->modes[m].kind == TT_HEIGHT_PAD_FAR;
        sum += of_pad && fit->modes[m].what == pad ? fit->modes[m].size * fit->modes[m].size : 0;
    }
    return sum;
}

static void lay_out_mode(struct tt_height_fit *fit, size_t m, bool proper)
{
    const struct tt_height_mode *mode = &fit->modes[m];
    double u = proper ? mode->size : WEAK_HEIGHT_MM;

    fit->at_mode[m] = TT_NONE;
    switch (mode->kind) {
    case TT_HEIGHT_PAD:
    case TT_HEIGHT_PAD_FAR:
        fit->at_mode[m] = fit->at_pad[mode->what];
        break;
    case TT_HEIGHT_FACE:
        fit->at_mode[m] = add_unknown(fit, u, TT_HEIGHT_OF_NOTHING);
        (void)add_unknown(fit, u, TT_HEIGHT_OF_NOTHING);
        break;
    case TT_HEIGHT_DRIFT:
    case TT_HEIGHT_MOVE:
    case TT_HEIGHT_LATENCY:
    case TT_HEIGHT_MODES:
        fit->at_mode[m] = add_unknown(fit, u, TT_HEIGHT_OF_NOTHING);
        break;
    }
}

static void lay_out_tips(struct tt_height_fit *fit, double height_u)
{
    for (size_t t = 0; t < fit->heights->n_tips; t++) {
        size_t at = add_unknown(fit, height_u, TT_HEIGHT_OF_NOTHING);
        fit->prior_value[at] = fit->heights->tip_about_mm[t];
    }
}

static void lay_out_setup(struct tt_height_fit *fit, size_t s, double height_u, double slope_u)
{
    const struct tt_heights *h = fit->heights;
    bool stated = h->level_rad.stated;
    double u = stated ? h->level_rad.value : slope_u;
    enum tt_height_prior of = stated ? TT_HEIGHT_OF_LEVEL : TT_HEIGHT_OF_NOTHING;

    fit->at_slope[s] = fit->at_level[s] = TT_NONE;
    if (h->has_slope[s]) {
        fit->at_slope[s] = add_unknown(fit, u, of);
        (void)add_unknown(fit, u, of);
    }
    if (s > 0) {
        fit->at_level[s] = add_unknown(fit, height_u, TT_HEIGHT_OF_NOTHING);
    }
}

static void lay_out_pad(struct tt_height_fit *fit, size_t p)
{
    double extra = widened_by(fit, p), u = fit->heights->pads[p].u_mm;

    fit->at_pad[p] = u > EXACT_HEIGHT_MM || extra > 0
                         ? add_unknown(fit, sqrt(u * u + extra), TT_HEIGHT_OF_PAD)
                         : TT_NONE;
}

static void lay_out_all(struct tt_height_fit *fit, bool proper)
{
    const struct tt_heights *h = fit->heights;
    double height_u = proper ? PROPER_HEIGHT_MM : WEAK_HEIGHT_MM,
           slope_u = proper ? PROPER_SLOPE_RAD : WEAK_SLOPE_RAD;

    lay_out_tips(fit, height_u);
    for (size_t s = 0; s < h->n_setups; s++) {
        lay_out_setup(fit, s, height_u, slope_u);
    }
    for (size_t p = 0; p < h->n_pads; p++) {
        lay_out_pad(fit, p);
    }
    for (size_t m = 0; m < fit->n_modes; m++) {
        lay_out_mode(fit, m, proper);
    }
    if (h->latency_s.stated && h->feeds_stated) {
        size_t at = add_unknown(fit, fmax(h->u_latency_s, 1e-9), TT_HEIGHT_OF_LATENCY);
        fit->prior_value[at] = h->latency_s.value;
    }
}

/* The column of mode @mode for row @i, its second one in *second (0 where it has none). */
static double column_of(const struct tt_heights *heights, const struct tt_height_mode *mode,
                        size_t i, double *second)
{
    const struct tt_height_row *row = &heights->rows[i];

    *second = 0;
    switch (mode->kind) {
    case TT_HEIGHT_FACE:
        *second = row->tip == mode->what ? row->sine : 0;
        return row->tip == mode->what ? row->cosine : 0;
    case TT_HEIGHT_PAD:
    case TT_HEIGHT_PAD_FAR:
        return row->pad == mode->what ? 1 : 0;
    case TT_HEIGHT_DRIFT:
        return row->clock;
    case TT_HEIGHT_MOVE: /* counted before the row, so that heights are the later ones */
        return i < mode->what ? 1 : 0;
    case TT_HEIGHT_LATENCY:
        return -row->feed_mm_s;
    case TT_HEIGHT_MODES:
        break;
    }
    return 0;
}

static void fill_design(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;

    for (size_t i = 0; i < h->n_rows; i++) {
        const struct tt_height_row *row = &h->rows[i];
        double *a = fit->design + i * fit->n;
        a[row->tip] = 1;
        if (fit->at_slope[row->setup] != TT_NONE) {
            a[fit->at_slope[row->setup]] = row->x_mm;
            a[fit->at_slope[row->setup] + 1] = row->y_mm;
        }
        if (fit->at_level[row->setup] != TT_NONE) {
            a[fit->at_level[row->setup]] = 1;
        }
        if (fit->at_pad[row->pad] != TT_NONE) {
            a[fit->at_pad[row->pad]] = 1;
        }
        for (size_t m = 0; m < fit->n_modes; m++) {
            double second, first = column_of(h, &fit->modes[m], i, &second);
            a[fit->at_mode[m]] = first;
            if (fit->modes[m].kind == TT_HEIGHT_FACE) {
                a[fit->at_mode[m] + 1] = second;
            }
        }
        if (h->latency_s.stated && h->feeds_stated) {
            a[fit->n - 1] = -row->feed_mm_s;
        }
        fit->given[i] = row->z_mm - h->pads[row->pad].height_mm;
    }
}

enum tiptrue_status tt_height_fit_init(struct tt_height_fit *fit, struct tt_arena *arena,
                                       const struct tt_heights *heights,
                                       const struct tt_height_mode modes[], size_t n_modes,
                                       bool proper)
{
    size_t most = heights->n_tips + 3 * heights->n_setups + heights->n_pads + 2 * n_modes + 1,
           rows = heights->n_rows;

    *fit = (struct tt_height_fit){.heights = heights, .n_modes = n_modes};
    if (n_modes > 0) {
        memcpy(fit->modes, modes, n_modes * sizeof *modes);
    }
    fit->at_slope = TT_ARENA_NEW(arena, heights->n_setups, size_t);
    fit->at_level = TT_ARENA_NEW(arena, heights->n_setups, size_t);
    fit->at_pad = TT_ARENA_NEW(arena, heights->n_pads, size_t);
    fit->prior_u = TT_ARENA_NEW(arena, most, double);
    fit->prior_value = TT_ARENA_NEW(arena, most, double);
    fit->prior_of = TT_ARENA_NEW(arena, most, enum tt_height_prior);
    double *of_rows = TT_ARENA_NEW(arena, 4 * rows, double);
    if (fit->at_slope == NULL || fit->at_level == NULL || fit->at_pad == NULL ||
        fit->prior_u == NULL || fit->prior_value == NULL || fit->prior_of == NULL ||
        of_rows == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    fit->given = of_rows;
    fit->residual = of_rows + rows;
    fit->good = of_rows + 2 * rows;
    fit->weight = of_rows + 3 * rows;
    lay_out_all(fit, proper);
    fit->design = TT_ARENA_NEW(arena, rows * fit->n, double);
    fit->x = TT_ARENA_NEW(arena, fit->n, double);
    fit->covariance = TT_ARENA_NEW(arena, fit->n * fit->n, double);
    fit->scratch = TT_ARENA_NEW(arena, fit->n * fit->n + 4 * fit->n, double);
    if (fit->design == NULL || fit->x == NULL || fit->covariance == NULL || fit->scratch == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    fill_design(fit);
    return TIPTRUE_OK;
}

/* ---- the solution ---- */

/* Cholesky factor of @a (n x n, lower triangle), in place. */
static bool factor(double *a, size_t n)
{
    for (size_t j = 0; j < n; j++) {
        for (size_t i = j; i < n; i++) {
            double sum = a[i * n + j];
            for (size_t k = 0; k < j; k++) {
                sum -= a[i * n + k] * a[j * n + k];
            }
            if (i == j && !(sum > HEIGHT_PIVOT)) {
                return false;
            }
            a[i * n + j] = i == j ? sqrt(sum) : sum / a[j * n + j];
        }
    }
    return true;
}

/* The inverse of the factored matrix, unscaled by @scale, into @c. */
static void invert(const double *l, const double scale[], size_t n, double *c, double *column)
{
    for (size_t j = 0; j < n; j++) {
        for (size_t i = 0; i < n; i++) {
            double sum = i == j ? 1 : 0;
            for (size_t k = 0; k < i; k++) {
                sum -= l[i * n + k] * column[k];
            }
            column[i] = sum / l[i * n + i];
        }
        for (size_t i = n; i-- > 0;) {
            double sum = column[i];
            for (size_t k = i + 1; k < n; k++) {
                sum -= l[k * n + i] * column[k];
            }
            column[i] = sum / l[i * n + i];
            c[i * n + j] = column[i] * scale[i] * scale[j];
        }
    }
}

/* x by one step from the present one: residuals are exact, so that rounding of one step is taken
 * out by the next. */
static void step(struct tt_height_fit *fit, double *right)
{
    size_t n = fit->n;

    for (size_t j = 0; j < n; j++) {
        right[j] = (fit->prior_value[j] - fit->x[j]) / (fit->prior_u[j] * fit->prior_u[j]);
    }
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        const double *a = fit->design + i * n;
        double weighted = fit->weight[i] * fit->residual[i];
        for (size_t j = 0; j < n && weighted != 0; j++) {
            right[j] += weighted * a[j];
        }
    }
    for (size_t j = 0; j < n; j++) {
        for (size_t k = 0; k < n; k++) {
            fit->x[j] += fit->covariance[j * n + k] * right[k];
        }
    }
}

static void set_residuals(struct tt_height_fit *fit)
{
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        const double *a = fit->design + i * fit->n;
        double sum = fit->given[i];
        for (size_t j = 0; j < fit->n; j++) {
            sum -= a[j] * fit->x[j];
        }
        fit->residual[i] = sum;
    }
}

/* Degrees of freedom that the unknowns take of the touches: their number less what priors tell of
 * them. */
static double spent_on_touches(const struct tt_height_fit *fit)
{
    double spent = (double)fit->n;

    for (size_t j = 0; j < fit->n; j++) {
        spent -= fit->covariance[j * (fit->n + 1)] / (fit->prior_u[j] * fit->prior_u[j]);
    }
    return spent;
}

bool tt_height_solve(struct tt_height_fit *fit)
{
    size_t n = fit->n;
    double *matrix = fit->scratch, *scale = fit->scratch + n * n, *column = scale + n;

    memset(matrix, 0, n * n * sizeof *matrix);
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        const double *a = fit->design + i * n;
        for (size_t j = 0; j < n && fit->weight[i] > 0; j++) {
            for (size_t k = 0; k <= j && a[j] != 0; k++) {
                matrix[j * n + k] += fit->weight[i] * a[j] * a[k];
            }
        }
    }
    for (size_t j = 0; j < n; j++) {
        matrix[j * n + j] += 1 / (fit->prior_u[j] * fit->prior_u[j]);
        scale[j] = 1 / sqrt(matrix[j * n + j]);
    }
    for (size_t j = 0; j < n; j++) {
        for (size_t k = 0; k <= j; k++) {
            matrix[j * n + k] *= scale[j] * scale[k];
        }
    }
    if (!factor(matrix, n)) {
        return false;
    }
    fit->log_det = 0;
    for (size_t j = 0; j < n; j++) {
        fit->log_det += 2 * log(matrix[j * n + j] / scale[j]);
    }
    invert(matrix, scale, n, fit->covariance, column);
    for (int k = 0; k < 2; k++) {
        set_residuals(fit);
        step(fit, column);
    }
    set_residuals(fit);
    fit->spent = spent_on_touches(fit);
    return true;
}

double tt_height_variance(const struct tt_height_fit *fit, const double g[], double cg[])
{
    double sum = 0;

    for (size_t j = 0; j < fit->n; j++) {
        cg[j] = 0;
        for (size_t k = 0; k < fit->n; k++) {
            cg[j] += fit->covariance[j * fit->n + k] * g[k];
        }
        sum += g[j] * cg[j];
    }
    return fmax(sum, 0);
}

double tt_height_part(const struct tt_height_fit *fit, const double cg[], enum tt_height_prior kind)
{
    double sum = 0;

    for (size_t j = 0; j < fit->n; j++) {
        double gain = cg[j] / fit->prior_u[j];
        sum += fit->prior_of[j] == kind ? gain * gain : 0;
    }
    return sum;
}

static void set_weights(struct tt_height_fit *fit)
{
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        fit->weight[i] = fit->good[i] / fit->variance_mm2;
    }
}

/* The run's own variance, and what it makes with the stated one. */
static void find_scatter(struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;
    double sum = 0, good = 0, least = LEAST_HEIGHT_SCATTER_MM * LEAST_HEIGHT_SCATTER_MM;

    for (size_t i = 0; i < h->n_rows; i++) {
        sum += fit->good[i] * fit->residual[i] * fit->residual[i];
        good += fit->good[i];
    }
    fit->dof = fmax(good - fit->spent, 0);
    fit->contradicted = false;
    fit->pooled_dof = fit->dof + h->stated_dof;
    if (fit->dof > 0.5) {
        fit->own_mm2 = fmax(sum / fit->dof, least + h->digit_mm2);
        fit->variance_mm2 = tt_fit_pooled(fit->own_mm2, fit->dof, h->stated_mm2 + h->digit_mm2,
                                          h->stated_dof, &fit->contradicted);
        fit->pooled_dof = fit->contradicted ? fit->dof : fit->pooled_dof;
    }
}

bool tt_height_least_squares(struct tt_height_fit *fit, const double good[])
{
    const struct tt_heights *h = fit->heights;
    double before = 0;

    for (size_t i = 0; i < h->n_rows; i++) {
        fit->good[i] = good != NULL ? good[i] : 1;
    }
    fit->variance_mm2 = h->stated_dof > 0 ? h->stated_mm2 + h->digit_mm2
                                          : TT_FIRST_HEIGHT_SCATTER_MM * TT_FIRST_HEIGHT_SCATTER_MM;
    for (size_t k = 0; k < MOST_HEIGHT_STEPS; k++) {
        set_weights(fit);
        if (!tt_height_solve(fit)) {
            return false;
        }
        before = fit->variance_mm2;
        find_scatter(fit);
        if (fabs(fit->variance_mm2 - before) < HEIGHT_SCATTER_DONE * before) {
            break;
        }
    }
    return true;
}

/* ---- a mode's odds ---- */

/* b^T W r and b^T W b for both columns, c = A^T W b. */
static void sums(const struct tt_height_fit *fit, const struct tt_height_mode *mode, double br[2],
                 double bb[3], double *c)
{
    size_t n = fit->n;

    memset(c, 0, 2 * n * sizeof *c);
    for (size_t i = 0; i < fit->heights->n_rows; i++) {
        double second, first = column_of(fit->heights, mode, i, &second);
        const double *a = fit->design + i * n;
        if (first == 0 && second == 0) {
            continue;
        }
        br[0] += fit->weight[i] * first * fit->residual[i];
        br[1] += fit->weight[i] * second * fit->residual[i];
        bb[0] += fit->weight[i] * first * first;
        bb[1] += fit->weight[i] * first * second;
        bb[2] += fit->weight[i] * second * second;
        for (size_t j = 0; j < n; j++) {
            c[j] += fit->weight[i] * first * a[j];
            c[n + j] += fit->weight[i] * second * a[j];
        }
    }
}

double tt_height_odds(struct tt_height_fit *fit, const struct tt_height_mode *mode)
{
    double *c = fit->scratch, *product = c + 2 * fit->n, s[2] = {0, 0}, h[3] = {0, 0, 0}, t, ln_det;
    double f = 1 / (mode->size * mode->size);

    sums(fit, mode, s, h, c);
    h[0] -= tt_height_variance(fit, c, product);
    if (mode->kind == TT_HEIGHT_FACE) {
        for (size_t j = 0; j < fit->n; j++) {
            h[1] -= product[j] * c[fit->n + j];
        }
        h[2] -= tt_height_variance(fit, c + fit->n, product);
        double xx = fmax(h[0], 0) + f, yy = fmax(h[2], 0) + f, det = xx * yy - h[1] * h[1];
        det = fmax(det, f * f);
        t = (s[0] * s[0] * yy - 2 * s[0] * s[1] * h[1] + s[1] * s[1] * xx) / det;
        ln_det = log(det / (f * f));
    } else {
        t = s[0] * s[0] / (fmax(h[0], 0) + f);
        ln_det = log1p(fmax(h[0], 0) / f);
    }
    double dof = fmax(fit->pooled_dof, 1), share = fmin(t / dof, 0.98);
    return -0.5 * dof * log1p(-share) - 0.5 * ln_det + mode->log_p;
}
