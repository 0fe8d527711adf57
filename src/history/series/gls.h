/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Generalised least squares on the table of runs: every column has a level; on top of it come
 * terms, each a course in time (a step, a stretch of runs, a regressor) times a pattern over the
 * columns. Deviations have the covariance of noise.h: run by run as each run states it, between
 * tips as they share, autoregressive of first order in time (Prais-Winsten filter, without gaps).
 *
 * Steps only ever need sums over the runs behind them, so that the normal equations of any set of
 * terms come from a few matrices for each run; levels are eliminated first. Cost of a model: runs *
 * tips^2 (times tips once); of a fit: terms^3.
 */
#ifndef TT_HISTORY_SERIES_GLS_H
#define TT_HISTORY_SERIES_GLS_H

#include "history/series/noise.h"

/* A few columns with a factor each. */
struct tt_pattern {
    size_t n, *column;
    double *factor;
};

/* A regressor, or from the run @from up to @to (not included; the number of runs: to this day). */
struct tt_course {
    size_t regressor; /* TT_NONE: a step */
    size_t from, to;
};

struct tt_gls {
    const struct tt_values *values;
    const struct tt_series_noise *noise;
    size_t n, p, tips, axes, block; /* block: numbers of a matrix over the columns, tips x tips for
                                       each axis of their places, then the diagonal */
    size_t n_regressors;
    double **regressor;      /* [regressor][run] */
    double *later, *earlier; /* [run * block]: weight of the runs from here on, against themselves;
                                against those from an earlier run on too */
    double **mixed;          /* [regressor][run * block]: against the regressor */
    double *both;            /* [(regressor * n_regressors + regressor) * block] */
    double *data,
        *data_of;    /* [run * p]: weighted values of the runs from here on; [regressor * p] */
    double *inverse; /* block: covariance of the levels */
    size_t *turned;  /* block: where a number of one stands in its transpose */
    double rss;      /* of the levels alone */
};

/* @regressor: @n_regressors pointers to n numbers, borrowed. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_gls_make(struct tt_gls *gls, const struct tt_values *values,
                                            const struct tt_series_noise *noise, double **regressor,
                                            size_t n_regressors, struct tt_arena *arena);

/* out[p] = weight of a step at @run against @course times @pattern. */
void tt_gls_against(const struct tt_gls *gls, size_t run, const struct tt_course *course,
                    const struct tt_pattern *pattern, double *out);
/* out[p] -= weight of a step at @run against the levels, times @levels[p]. */
void tt_gls_less_levels(const struct tt_gls *gls, size_t run, const double *levels, double *out);
/* out[p] = covariance of the levels times @in[p]. */
void tt_gls_levels(const struct tt_gls *gls, const double *in, double *out);
/* Normal equations of two terms, and right side of one; levels not eliminated. */
double tt_gls_product(const struct tt_gls *gls, const struct tt_course *a,
                      const struct tt_pattern *of_a, const struct tt_course *b,
                      const struct tt_pattern *of_b);
/* @of_a times the block matrix @m times @of_b, or times @v where that is NULL. */
double tt_gls_block_product(const struct tt_gls *gls, const double *m,
                            const struct tt_pattern *of_a, const struct tt_pattern *of_b,
                            const double *v);
double tt_gls_right(const struct tt_gls *gls, const struct tt_course *a,
                    const struct tt_pattern *of_a);
/* The course at @run. */
double tt_gls_course(const struct tt_gls *gls, const struct tt_course *course, size_t run);

static inline double tt_pattern_dot(const struct tt_pattern *pattern, const double *v)
{
    double sum = 0;

    for (size_t i = 0; i < pattern->n; i++) {
        sum += pattern->factor[i] * v[pattern->column[i]];
    }
    return sum;
}

#endif
