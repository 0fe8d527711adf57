/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "base/distribution.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>

/* gsl_cdf_tdist_Pinv converges from 0.0084 degrees of freedom on (GSL 2.7.1, p = 0.975). A quantile
 * at a twentieth is 1e26. */
#define LEAST_DOF 0.05
/* Beyond this Student's t is the normal distribution, and chi squared is too, to six digits and
 * more. */
#define MANY_DOF 1e8
/* Beyond this a covariance counts as known: the 95 % radius differs by less than 1e-6 of itself. */
#define MANY_PLANE_DOF 1e6
/* Smaller than exp of this is no positive double. */
#define LEAST_LN (-745.0)

double tt_chi2_upper(double chi2, double dof)
{
    if (isnan(chi2) || !(dof > 0)) {
        return NAN;
    }
    if (!(chi2 > 0)) {
        return 1;
    }
    /* Chernoff's bound: ln P(chi2 >= x) <= (dof - x + dof ln(x / dof)) / 2 for x > dof */
    if (chi2 > dof && !(0.5 * (dof - chi2 + dof * log(chi2 / dof)) > LEAST_LN)) {
        return 0;
    }
    if (dof > MANY_DOF) { /* Wilson and Hilferty's cube root */
        double spread = 2 / (9 * dof);
        return isinf(dof) ? NAN
                          : gsl_cdf_ugaussian_Q((cbrt(chi2 / dof) - 1 + spread) / sqrt(spread));
    }
    return gsl_cdf_chisq_Q(chi2, dof);
}

double tt_student_upper(double t, double dof)
{
    if (isnan(t) || !(dof > 0)) {
        return NAN;
    }
    return dof < MANY_DOF ? gsl_cdf_tdist_Q(t, fmax(dof, LEAST_DOF)) : gsl_cdf_ugaussian_Q(t);
}

double tt_plane_upper(double t2, double dof)
{
    return dof < MANY_PLANE_DOF ? exp(-0.5 * dof * log1p(t2 / dof)) : exp(-0.5 * t2);
}

double tt_satterthwaite(const double part[3], const double whole[3], double dof)
{
    double det = whole[0] * whole[2] - whole[1] * whole[1];

    if (!(det > 0) || !(dof < MANY_PLANE_DOF)) {
        return 0;
    }
    double a = (part[0] * whole[2] - part[1] * whole[1]) / det,
           b = (part[1] * whole[0] - part[0] * whole[1]) / det;
    double c = (part[1] * whole[2] - part[2] * whole[1]) / det,
           d = (part[2] * whole[0] - part[1] * whole[1]) / det;
    return (a * a + 2 * b * c + d * d) / dof;
}

double tt_student_quantile(double p, double dof)
{
    if (!(p > 0) || !(p < 1) || !(dof > 0)) {
        return NAN;
    }
    return dof < MANY_DOF ? gsl_cdf_tdist_Pinv(p, fmax(dof, LEAST_DOF)) : gsl_cdf_ugaussian_Pinv(p);
}

double tt_fisher_upper(double f, double m, double n)
{
    if (isnan(f) || !(m > 0) || !(n > 0)) {
        return NAN;
    }
    return f > 0 ? gsl_cdf_fdist_Q(f, fmin(fmax(m, LEAST_DOF), MANY_DOF),
                                   fmin(fmax(n, LEAST_DOF), MANY_DOF))
                 : 1;
}

double tt_normal_lower(double z)
{
    return 0.5 * erfc(-z * sqrt(0.5));
}

double tt_ln_beta(double a, double b)
{
    gsl_sf_result value = {NAN, 0};
    return a > 0 && b > 0 && gsl_sf_lnbeta_e(a, b, &value) == 0
               ? value.val
               : NAN; /* it calls the handler for others only */
}

double tt_binomial_upper(unsigned k, double p, unsigned n)
{
    return p >= 0 && p <= 1 ? gsl_cdf_binomial_Q(k, p, n) : NAN;
}

double tt_log_p_f(double gain, size_t q, double nu)
{
    if (!(gain > 0)) {
        return 0;
    }
    if (q == 2) {
        return -0.5 * nu * log1p(gain / nu);
    }
    double p = tt_fisher_upper(gain / (double)q, (double)q, nu);
    /* far out the tail falls as that of q = 2 does */
    return p > 1e-290 ? log(p) : -0.5 * nu * log1p(gain / nu);
}

/* By the rule of false position, the end that stays weighted down (M. Dowell, P. Jarratt, BIT 11
 * (1971) 168): the logarithm is nearly a straight line. */
double tt_f_price(size_t q, double nu, double alpha)
{
    double wanted = log(alpha), low = 0, high = (double)q + 4;
    double above = -wanted, below = tt_log_p_f(high, q, nu) - wanted; /* at low, at high */
    int side = 0;

    while (below > 0 && high < 1e6) {
        low = high;
        above = below;
        high *= 2;
        below = tt_log_p_f(high, q, nu) - wanted;
    }
    while (high - low > 1e-7 * high && below < 0) {
        double at = high - below * (high - low) / (below - above);
        double value = tt_log_p_f(at, q, nu) - wanted;
        if (fabs(value) < 1e-7) {
            return at;
        }
        if (value > 0) {
            low = at;
            above = value;
            below *= side > 0 ? 0.5 : 1;
            side = 1;
        } else {
            high = at;
            below = value;
            above *= side < 0 ? 0.5 : 1;
            side = -1;
        }
    }
    return high;
}
