/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Probabilities of the distributions used here, by GSL, whose functions end the process when an
 * argument is out of their range or an inverse does not converge (its default handler; it is the
 * host's, and is left alone). Nothing here reaches that handler: no other file of src/ calls
 * gsl_cdf_ (tests/style/includes.py). All give NaN where an argument is NaN. */
#ifndef TT_BASE_DISTRIBUTION_H
#define TT_BASE_DISTRIBUTION_H

#include <stddef.h>

/* Probability that chi squared of @dof > 0 degrees of freedom is at least @chi2. */
double tt_chi2_upper(double chi2, double dof);

/* Probability that Student's t of @dof > 0 degrees of freedom is at least @t. */
double tt_student_upper(double t, double dof);

/* Probability that a pair of quantities with an estimated covariance of @dof degrees of freedom
 * lies at a squared distance (in units of that covariance) of at least @t2 >= 0. HUGE_VAL: of a
 * known covariance. */
double tt_plane_upper(double t2, double dof);

/* tr[(P W^-1)^2] / @dof: what a @part of the covariance @whole, estimated with @dof degrees of
 * freedom, adds to 2 / (those of the whole). Welch and Satterthwaite's formula in the plane, for
 * scatters that scale a known matrix (JCGM 100:2008 G.4.1 is the same on one axis). Each is {xx,
 * xy, yy}. 0 where the part is known or the whole is not positive definite. */
double tt_satterthwaite(const double part[3], const double whole[3], double dof);

/* The t that Student's t of @dof > 0 degrees of freedom stays below with probability @p, 0 < @p
 * < 1. Fewer degrees of freedom than a twentieth count as that. */
double tt_student_quantile(double p, double dof);

/* Probability of more than @k successes in @n trials, each of probability @p (0 to 1). */
double tt_binomial_upper(unsigned k, double p, unsigned n);

/* Probability that Fisher's F of @m and @n > 0 degrees of freedom is at least @f. */
double tt_fisher_upper(double f, double m, double n);

/* Probability that a standard normal deviate is at most @z. */
double tt_normal_lower(double z);

/* ln of the beta function of @a, @b > 0. */
double tt_ln_beta(double a, double b);

/* q times the upper @alpha quantile of F with @q and @nu degrees of freedom. */
double tt_f_price(size_t q, double nu, double alpha);
/* Natural logarithm of the probability that q F is at least @gain. */
double tt_log_p_f(double gain, size_t q, double nu);

#endif
