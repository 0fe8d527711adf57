/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Propagation of distributions through the whole estimator (JCGM 101:2008, JCGM 102:2011 clause 7),
 * to set beside the covariance that the adjustment states.
 *
 * Each trial is a run like the one at hand: the plate's shifts, the stated radii, yaw and place of
 * the mark are drawn from their priors, the repeatability of touches and sightings, resolution and
 * rotation from theirs; touches that were set aside stay off by what they were. It is solved as the
 * run was, robust step and choice of terms included. What counts is how far its offset lies from
 * the one it was made with.
 */
#ifndef TT_ADJUST_MONTE_CARLO_H
#define TT_ADJUST_MONTE_CARLO_H

#include "adjust/assemble.h"

/* Run @trials trials with GSL's mt19937 from @seed and fill the monte_carlo parts of
 * view->solution's tips. Offsets that the run does not determine are left out. @view is assembled.
 * Cost: @trials solves. */
TT_MUST_USE enum tiptrue_status tt_monte_carlo(const struct tt_view *view, size_t trials,
                                               unsigned long seed);

/* Standard deviation and probabilistically symmetric 95 % interval of @n errors (sorted by the
 * call; n >= 2) of one axis (JCGM 101:2008 7.6, 7.7), against the stated @u_mm > 0 and
 * @expanded_mm, with the tolerance of 7.9.2 and 8.1. */
void tt_trial_axis_sum_up(struct tt_trial_axis *axis, double errors_mm[], size_t n, double u_mm,
                          double expanded_mm);

#endif
