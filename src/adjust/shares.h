/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How many touches are late and early: the shares of a climb's mixture, and what they bring to the
 * evidence of where it ends. */
#ifndef TT_ADJUST_SHARES_H
#define TT_ADJUST_SHARES_H

#include "adjust/fit.h"

/* Is no touch of @edge good, by the model's terms? */
bool tt_edge_is_out(const struct tt_fit *fit, size_t edge);
/* Is it late as a whole? */
bool tt_edge_is_filmed(const struct tt_fit *fit, size_t edge);

/* Of an edge that is filmed: touches early by less met the bare metal, mm. Else 0. */
double tt_bare_depth(const struct tt_fit *fit, size_t edge);

/* The most probable shares, by fit->good and the residuals: of each edge's late touches, drawn to
 * the run's; of the run's late and early ones. */
void tt_shares_update(struct tt_fit *fit);

/* What to add to the ln likelihood in which the shares were taken as known: their distributions are
 * integrated out, that of the run's late share is taken at its value. */
double tt_shares_log_evidence(struct tt_fit *fit);

/* ln of the probability that @early of all touches are early and @others are not, their share
 * integrated out, over that with the share as it is in the likelihood: there @ln_early is the ln
 * probability of the early ones, @ln_others of the others. Which are early is known but for a touch
 * or so: between two whole numbers the mean is taken. */
double tt_log_early(double early, double others, double ln_early, double ln_others);

#endif
