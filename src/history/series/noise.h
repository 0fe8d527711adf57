/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How runs deviate from what persists: a variance between runs for each column, one shared by the
 * tips' places of a run, and the lag-1 autocorrelation of each class, from successive differences,
 * so that no change has to be known (J. von Neumann, Ann. Math. Stat. 12 (1941) 367; the
 * correlation from differences: S. Chakar and others, Bernoulli 23 (2017) 1408), later from
 * residuals.
 */
#ifndef TT_HISTORY_SERIES_NOISE_H
#define TT_HISTORY_SERIES_NOISE_H

#include "history/series/values.h"

struct tt_series_noise {
    double phi[TT_CLASSES]; /* lag-1 autocorrelation of the whitened values; 0 unless it shows */
    double nu[TT_CLASSES];  /* degrees of freedom with which a class's variance is known */
    double *between;        /* [column]: variance between runs, of the column's own */
    double shared[TT_MOST_AXES]; /* [axis]: the part that the tips' places of a run share */
};

/* From successive differences. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_noise_from_differences(struct tt_series_noise *noise,
                                                          const struct tt_values *values,
                                                          struct tt_arena *arena);

/* From @residual [run * p + column] of a fit that used @before: @parameters[class] were fitted,
 * @boundary[run] tells that a step begins with the run. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status
tt_noise_from_residuals(struct tt_series_noise *noise, const struct tt_series_noise *before,
                        const struct tt_values *values, const double *residual,
                        const double parameters[TT_CLASSES], const bool *boundary,
                        struct tt_arena *arena);

/* The places of the tips in @run along @axis (2: heights): @own[tips * tips] and @shared[tips] such
 * that own own' + shared shared' is the inverse of their covariance, the columns of `own` free of
 * what all share; 0 for tips that are not there. False: no tip is there. */
bool tt_noise_offset_parts(const struct tt_series_noise *noise, const struct tt_values *values,
                           size_t run, size_t axis, double *own, double *shared);

/* Variance of a value, of a tip's place its own part. */
double tt_noise_variance(const struct tt_series_noise *noise, const struct tt_values *values,
                         size_t run, size_t column);
/* The same of a run that states what they do on average. */
double tt_noise_mean_variance(const struct tt_series_noise *noise, const struct tt_values *values,
                              size_t column);

#endif
