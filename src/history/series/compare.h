/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Is the difference between two results real? On one plate its own errors cancel, and the
 * same-plate covariances tell; between plates the full ones do. The test is the squared distance in
 * units of the covariance of the difference, with effective degrees of freedom by Welch and
 * Satterthwaite (JCGM 100:2008 G.4) in the plane.
 */
#ifndef TT_HISTORY_SERIES_COMPARE_H
#define TT_HISTORY_SERIES_COMPARE_H

#include "base/status.h"
#include "model/comparison.h"
#include "model/trend.h"

/* @trend: of the machine, for its scatter between runs, or NULL. */
TT_MUST_USE enum tiptrue_status tt_compare(const struct tiptrue_solution *a,
                                           const struct tiptrue_solution *b,
                                           const struct tiptrue_trend *trend,
                                           struct tiptrue_comparison **comparison,
                                           struct tiptrue_error *error);

#endif
