/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What cannot be, whatever the files allow: findings `implausible` (value `what`) and
 * `change-implausible` (value `like`). */
#ifndef TT_ADJUST_PLAUSIBLE_H
#define TT_ADJUST_PLAUSIBLE_H

#include "adjust/findings.h"

/* All of them, of an assembled view. plausible.c: what was found of touches and tips. */
TT_MUST_USE enum tiptrue_status tt_findings_of_plausibility(struct tt_view *view);
/* The narrowest opening, mm, between two edges that face each other and that the tip of @block
 * touched; HUGE_VAL where there is none. */
double tt_opening_mm(const struct tt_view *view, size_t block);
/* plausible_log.c: rotations and temperatures as logged. */
TT_MUST_USE enum tiptrue_status tt_findings_of_log(struct tt_view *view);
/* plausible_change.c: offsets against those in use and against each other. */
TT_MUST_USE enum tiptrue_status tt_findings_of_change(struct tt_view *view);
/* plausible_statements.c: limits and uncertainties in the wrong unit, where a tip would be kept by
 * them; after all other findings. */
TT_MUST_USE enum tiptrue_status tt_findings_of_statements(struct tt_view *view);

#endif
