/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The robust step of a fit (see fit.h). */
#ifndef TT_ADJUST_ROBUST_H
#define TT_ADJUST_ROBUST_H

#include "adjust/fit.h"

/* Scatter is never taken as less than this: data without any noise (examples made by hand) would divide by zero, and
 * weights too far above those of the sightings would make the matrix singular. 1 nm. */
#define TT_LEAST_SCATTER_MM 1e-6

/* First guess of a touch's scatter where none is stated: 3 µm, a usual contact (common practice, no source). Only the weight of
 * touches against priors in the very first step depends on it. */
#define TT_FIRST_SCATTER_MM 3e-3

/* Does the least-squares fit look like nothing but normal scatter, of a usual size or of the stated one? */
bool tt_robust_looks_clean(struct tt_fit *fit);

/* From a least-squares fit: decide which touches are good (fit->good is 1 or 0 then); the fit is to be solved again with them. */
void tt_robust_fit(struct tt_fit *fit);

/* Shares, probabilities and likelihoods of the mixture at a finished fit. */
void tt_robust_sum_up(struct tt_fit *fit);

#endif
