/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Probabilities of the distributions used here, by GSL, whose functions end the process when an argument is out of their range or
 * an inverse does not converge (its default handler; it is the host's, and is left alone). Nothing here reaches that handler: no
 * other file of src/ calls gsl_cdf_ (tests/style/includes.py). All give NaN where an argument is NaN. */
#ifndef TT_BASE_DISTRIBUTION_H
#define TT_BASE_DISTRIBUTION_H

/* Probability that chi squared of @dof > 0 degrees of freedom is at least @chi2. */
double tt_chi2_upper(double chi2, double dof);

/* Probability that Student's t of @dof > 0 degrees of freedom is at least @t. */
double tt_student_upper(double t, double dof);

/* The t that Student's t of @dof > 0 degrees of freedom stays below with probability @p, 0 < @p < 1. Fewer degrees of freedom than
 * a twentieth count as that. */
double tt_student_quantile(double p, double dof);

/* Probability of more than @k successes in @n trials, each of probability @p (0 to 1). */
double tt_binomial_upper(unsigned k, double p, unsigned n);

/* Probability that Fisher's F of @m and @n > 0 degrees of freedom is at least @f. */
double tt_fisher_upper(double f, double m, double n);

/* Probability that a standard normal deviate is at most @z. */
double tt_normal_lower(double z);

/* ln of the beta function of @a, @b > 0. */
double tt_ln_beta(double a, double b);

#endif
