/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which touches are good, given an explanation of all else (a model with its terms): one EM climb
 * of the mixture of good, late and early contacts from a given start, and the evidence of where it
 * ends.
 *
 * A contact is good (normal), late (film, flux, swarf: the tip latches deeper, by an unknown depth)
 * or early (bounce, cable noise). Late ones cluster on an edge, so each edge has its own share of
 * them, beta distributed about the run's, which is integrated out in the evidence. Nothing is
 * called off within 3.5 standard deviations. Sources: A. P. Dempster, N. M. Laird, D. B. Rubin, J.
 * R. Stat. Soc. B 39 (1977) 1-38 (EM); R. Koenker, G. Bassett, Econometrica 46 (1978) 33-50
 * (asymmetric absolute deviations); R. E. Kass, A. E. Raftery, J. Am. Stat. Assoc. 90 (1995)
 * 773-795 (Laplace's approximation of evidence).
 */
#ifndef TT_ADJUST_ROBUST_H
#define TT_ADJUST_ROBUST_H

#include "adjust/fit.h"

/* Repeatability is never taken as less than this: data without any noise (examples made by hand)
 * would divide by zero, and weights too far above those of the sightings would make the matrix
 * singular. 1 nm. */
#define TT_LEAST_SCATTER_MM 1e-6

/* First guess of a touch's repeatability where none is stated: 3 µm, a usual contact (common
 * practice, no source). Only the weight of touches against priors in the very first step depends on
 * it. */
#define TT_FIRST_SCATTER_MM 3e-3

/* And of a view's, per axis: 0.2 pixels, a usual blob finder (common practice, no source), worth so
 * many degrees of freedom beside what the run shows itself. */
#define TT_FIRST_VIEW_PX 0.2
#define TT_FIRST_VIEW_DOF 1.4

/* Unknowns of the tips by least absolute deviations with the poses held as they are; stated radii
 * count. The model is linearised where it was before. False: singular. */
TT_MUST_USE bool tt_robust_start(struct tt_fit *fit);

/* Where a climb starts. */
struct tt_climb {
    const double *keep; /* per touch: weight in [0, 1] of the first solution; NULL = all 1 */
    double hopeless;  /* ln likelihood below which it is given up, once the good touches are found;
                         -INFINITY = never */
    bool own_scatter; /* with the repeatability that the start shows, whatever is stated */
    bool deviations;  /* from asymmetric least absolute deviations of those kept, else from their
                         least squares */
};

/* Climb from model->x (a robust start: the model is linearised there first). fit->good, model->x,
 * the repeatability and fit->log_evidence are those of the end. The model must be proper. False:
 * singular. */
TT_MUST_USE bool tt_robust_climb(struct tt_fit *fit, const struct tt_climb *climb);

#endif
