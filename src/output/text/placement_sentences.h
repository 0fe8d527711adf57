/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The prose about the parts of a board. */
#ifndef TT_OUTPUT_TEXT_PLACEMENT_SENTENCES_H
#define TT_OUTPUT_TEXT_PLACEMENT_SENTENCES_H

#include "base/buffer.h"
#include "model/placement.h"
#include "model/solution.h"

/* "the offset of 's1' and the turning of 's2'", "nothing". */
void tt_words_explanation(struct tt_buffer *buffer, const struct tiptrue_placement *placement,
                          const struct tt_board_explanation *explanation);

/* Give every finding its text; they live in the placement. TIPTRUE_E_MEMORY: some are without. */
TT_MUST_USE enum tiptrue_status tt_placement_sentences(struct tiptrue_placement *placement);

#endif
