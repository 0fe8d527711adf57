/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The prose about changes over the weeks and differences of two runs: made of codes and values. */
#ifndef TT_OUTPUT_TEXT_TREND_SENTENCES_H
#define TT_OUTPUT_TEXT_TREND_SENTENCES_H

#include "base/status.h"
#include "model/comparison.h"
#include "model/trend.h"

/* Give cause and text to each change of @trend, and to what its latest run shows; they live in the
 * trend. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_trend_say_changes(struct tiptrue_trend *trend);

/* Give a text to each tip of @comparison; they live in it. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_comparison_say(struct tiptrue_comparison *comparison);

#endif
