/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What fits instead of a run that does not: axes, files, labels and tips taken otherwise. */
#ifndef TT_ADJUST_MIRRORED_H
#define TT_ADJUST_MIRRORED_H

#include "adjust/findings.h"

/* Standard uncertainties by which a radius is not a tip's own, and within which it is another's. */
#define TT_TIPS_DIFFER 5.0
#define TT_TIPS_AGREE 3.0

/* Findings `mirrored` and `tips-exchanged`; after all others but those of completeness. */
TT_MUST_USE enum tiptrue_status tt_findings_of_other_ways(struct tt_view *view);

#endif
