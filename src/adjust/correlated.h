/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Touches whose errors resemble those of the touches before them (a slow drift, a film that comes
 * and goes).
 *
 * Test: the lag-1 correlation q of a tip's successive residuals, after their standardisation. The
 * fit makes residuals of independent errors correlated; what it makes of q is known from the fit
 * itself: mean and variance of q by Durbin and Watson (d = 2 (1 - q); J. Durbin, G. S. Watson,
 * Testing for serial correlation in least squares regression I, Biometrika 37 (1950) 409, and the
 * beta distribution of their II, 38 (1951) 159), here with priors, which take part in the fit as
 * rows do.
 *
 * What follows: errors are taken as an autoregressive process of first order (G. E. P. Box, G. M.
 * Jenkins, G. C. Reinsel, Time Series Analysis, 2008, 3.2.3), correlated by rho^k over k touches of
 * one tip. The variance of a mean is enlarged by (1 + rho) / (1 - rho) (A. Zieba, Metrology and
 * Measurement Systems 17 (2010) 3), that of another function of the touches by less: by the
 * spectrum of the process where its gains have theirs. Where that would lessen a variance (gains
 * that change sign from touch to touch), it stays as it is.
 */
#ifndef TT_ADJUST_CORRELATED_H
#define TT_ADJUST_CORRELATED_H

#include "adjust/fit.h"

/* Touches further apart count as not correlated: less than 1e-4 of a variance is left of it. */
#define TT_LAGS 256

struct tt_correlated {
    const struct tt_fit *fit;
    size_t n;      /* good touches */
    size_t *touch; /* them, by tip and in the order of the run's rows */
    size_t *gap;   /* touches of the tip since the one before; 0 = first of its tip */
    double lag_1;  /* correlation of neighbours as found, the fit's bias in it */
    double p;      /* probability of one as large in a run of independent touches; 1 = not asked */
    double rho;    /* of the touches' errors, the fit's bias taken out; 0 = independent */
    double variance;     /* of a touch, over the one that the fit has */
    double dof_share;    /* degrees of freedom of the scatter, over those of independent touches */
    double *gain[2];     /* scratch: gains of two functions */
    size_t *place;       /* of the good touches along all tips; tips are TT_LAGS apart */
    double lag[TT_LAGS]; /* what correlation adds between touches so far apart, in units of their
                            variance */
};

/* Test a finished @fit, whose system stands factored and inverted at the solution. @found: memory
 * in @arena; the fit is borrowed. Cost: n^2 where neighbours resemble each other at all, else n.
 * TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status
tt_correlated_find(struct tt_correlated *found, struct tt_arena *arena, const struct tt_fit *fit);

/* What each good touch, in units of its standard deviation, does to a function of the unknowns
 * whose covariance with them is
 * @cov_x (n_unknowns of the model): n gains into @gain. */
void tt_correlated_gain(const struct tt_correlated *found, const double cov_x[], double gain[]);

/* What correlation adds to the touches' part of the covariance of two functions with these gains,
 * in their units: never negative for a variance. */
double tt_correlated_extra(const struct tt_correlated *found, const double gain[],
                           const double other[]);

#endif
