/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How well touches and sightings repeat, and how many touches of an edge trigger late, over the
 * weeks: whether that changed for some runs or for good, or rises (docs/trend.md).
 *
 * Variances by the likelihood of scaled chi squared with each run's degrees of freedom (M. S.
 * Bartlett, Proc. R. Soc. A 160 (1937) 268), late shares by the binomial's (M. Kulldorff, Commun.
 * Stat. Theory Methods 26 (1997) 1481), both over what neighbouring runs differ by (P. McCullagh,
 * J. A. Nelder, Generalized Linear Models, 1989, 4.5). */
#ifndef TT_HISTORY_SERIES_TRACKS_H
#define TT_HISTORY_SERIES_TRACKS_H

#include "base/status.h"
#include "model/trend.h"

/* Fill the tracks of @trend, whose edges are there. Cost: runs * log(runs) for each track.
 * TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_trend_tracks(struct tiptrue_trend *trend,
                                                const struct tt_series *series);

#endif
