/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Scatter between runs beyond what each run's own uncertainty explains: R. C. Paule and J. Mandel, Consensus values and weighting
 * factors, J. Res. Natl. Bur. Stand. 87 (1982) 377-385. Any unit.
 */
#ifndef TT_HISTORY_SCATTER_H
#define TT_HISTORY_SCATTER_H

#include <stddef.h>

struct tt_between {
    double s;    /* standard deviation between runs; 0: the runs' own uncertainties explain all */
    double u;    /* its standard uncertainty, from the spread of the sum of squares about its expectation */
    double dof;  /* 2 s^4 / u(s^2)^2; 0 where s is 0 */
    double mean; /* weighted mean with that scatter in the weights */
    double u_mean;
};

/* From @residual[i] with standard uncertainties @u[i] (> 0), of which @parameters (less than n) were fitted: s such that the sum of
 * residual^2 / (u^2 + s^2) is n - parameters. mean and u_mean are not set. */
struct tt_between tt_between_of_residuals(const double residual[], const double u[], size_t n, double parameters);

/* The same for values about their own weighted mean. */
struct tt_between tt_between_of_values(const double value[], const double u[], size_t n);

#endif
