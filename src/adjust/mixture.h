/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The mixture of good, late and early contacts, alike for touches on edges and from above: how far
 * off a contact may be, how many are, and how contacts repeat where nothing is stated. Lengths are
 * mm, variances mm2. Source of the forms: docs/method.md, section 6. */
#ifndef TT_ADJUST_MIXTURE_H
#define TT_ADJUST_MIXTURE_H

#include <math.h>

/* Contacts of usual machines repeat to 1 to 10 µm (common practice, no source): a log-normal prior
 * on a repeatability that is not stated, weak enough to be overruled by a dozen touches, strong
 * enough that "all are good and scatter by 30 µm" must be earned. */
#define USUAL_SCATTER_MM 3.5e-3
#define USUAL_SCATTER_LN_SD 0.6
/* Late and early contacts are off by anything up to 0.15 mm, or 15 standard deviations, with equal
 * probability, and by more with one that falls with the fourth power; and by anything (a digit, a
 * wrong name) with a small density on top, 1/mm. Without the last a row that is off by 60 mm costs
 * more than a bent plate. */
#define DEPTH_SCALE_MM 0.15
#define DEPTH_SCALE_SCATTERS 15.0
#define GROSS_DENSITY 5e-4
/* A touch nearer than this many standard deviations is never called off: late ones are to be found,
 * not the good ones' tails. Lower, and the repeatability comes out too small. */
#define OFF_FROM_SCATTERS 3.5
/* Strength, in touches, with which an edge's (a pad's) late share is drawn to the run's; and the
 * run's to 1 late and 0.1 early of ten. */
#define SHARE_STRENGTH 4.0
#define SHARE_PRIOR_TOUCHES 10.0
#define SHARE_PRIOR_LATE 1.0
#define SHARE_PRIOR_EARLY 0.1

/* Density, 1/mm, of a contact that is off by @residual_mm, on its side; contacts repeat to @sd_mm.
 */
static inline double tt_off_density(double residual_mm, double sd_mm)
{
    double depth = DEPTH_SCALE_SCATTERS * sd_mm;
    depth = depth > DEPTH_SCALE_MM ? depth : DEPTH_SCALE_MM; /* fmax would be called */
    double beyond = fabs(residual_mm) / depth;
    beyond = beyond > 1 ? beyond : 1;
    return 0.75 / (depth * beyond * beyond * beyond * beyond) +
           GROSS_DENSITY; /* 3/4 within the depth, 1/4 beyond */
}

/* The most probable variance where none is stated: @own_mm2 (may be 0 or less), estimated with @dof
 * >= 0 degrees of freedom, drawn to the usual one. */
static inline double tt_usual_scatter_var(double own_mm2, double dof)
{
    double weight = 1 / (USUAL_SCATTER_LN_SD * USUAL_SCATTER_LN_SD);
    double s = sqrt(fmax(own_mm2, 1e-8));
    double ln_s = (log(s) * 2 * dof + log(USUAL_SCATTER_MM) * weight) / (2 * dof + weight);
    return exp(2 * ln_s);
}

/* ln prior density of the logarithm of a repeatability of variance @variance_mm2, and Laplace's
 * factor with @dof degrees of freedom of the run. With @stated_dof > 0 scaled inverse chi squared
 * about @stated_mm2, whose logarithm has a variance of 1/(2 dof); else log-normal. */
static inline double tt_log_scatter(double variance_mm2, double dof, double stated_mm2,
                                    double stated_dof)
{
    if (stated_dof > 0) {
        double ratio = stated_mm2 / variance_mm2;
        return 0.5 * stated_dof * (log(ratio) - ratio + 1) + 0.5 * log(2 * stated_dof) -
               0.5 * log(2 * (dof + stated_dof));
    }
    double off =
        0.5 * log(variance_mm2 / (USUAL_SCATTER_MM * USUAL_SCATTER_MM)) / USUAL_SCATTER_LN_SD;
    double weight = 1 / (USUAL_SCATTER_LN_SD * USUAL_SCATTER_LN_SD);
    return -0.5 * off * off + 0.5 * log(weight) - 0.5 * log(2 * dof + weight);
}

#endif
