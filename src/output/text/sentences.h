/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The only prose about findings: a sentence for each code, made of its values and subjects. Knows
 * no measurement: what is said here was found elsewhere, and what stands in JSON as `values`
 * suffices. */
#ifndef TT_OUTPUT_TEXT_SENTENCES_H
#define TT_OUTPUT_TEXT_SENTENCES_H

#include "base/buffer.h"
#include "base/status.h"
#include "model/comparison.h"
#include "model/placement.h"
#include "model/proposal.h"
#include "model/solution.h"
#include "model/trend.h"

/* Add the sentence of @finding, one of @solution's, to @buffer: without a code before it, a capital
 * letter or a full stop at its end. Lengths in µm below 1 mm, else in mm; angles in degrees. */
void tt_sentence(struct tt_buffer *buffer, const struct tiptrue_solution *solution,
                 const struct tt_finding *finding);

/* Whether that sentence names the rows that the finding is about. */
bool tt_sentence_names_lines(const struct tt_finding *finding);

/* Add why @tip, one of @solution's, has its verdict: a reason that is no finding. Without @figures
 * the probability is left out. */
void tt_sentence_reason(struct tt_buffer *buffer, const struct tiptrue_solution *solution,
                        const struct tt_tip_result *tip, enum tt_reason_code code, bool figures);

/* Add what limits a plan, or would help: @note, one of @proposal's, whose expected findings have
 * their texts. */
void tt_sentence_note(struct tt_buffer *buffer, const struct tiptrue_proposal *proposal,
                      const struct tt_note *note);

/* The error that a refused @proposal comes to, for the plate of @file: TIPTRUE_E_DEGENERATE. */
TT_MUST_USE enum tiptrue_status tt_output_refusal(const struct tiptrue_proposal *proposal,
                                                  const char *file, struct tiptrue_error *error);

/* Give a text to every finding and every reason of @solution that has none; they live in the
 * solution. TIPTRUE_E_MEMORY: some may still be without. NULL has nothing to be told. */
TT_MUST_USE enum tiptrue_status tt_sentences(struct tiptrue_solution *solution);

/* Give cause and text to each change of @trend, and to what its latest run shows; they live in the
 * trend. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_trend_say_changes(struct tiptrue_trend *trend);

/* Give a text to each tip of @comparison; they live in it. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_comparison_say(struct tiptrue_comparison *comparison);

/* "the offset of 's1' and the turning of 's2'", "nothing". */
void tt_words_explanation(struct tt_buffer *buffer, const struct tiptrue_placement *placement,
                          const struct tt_board_explanation *explanation);

/* Give every finding its text; they live in the placement. TIPTRUE_E_MEMORY: some are without. */
TT_MUST_USE enum tiptrue_status tt_placement_sentences(struct tiptrue_placement *placement);

#endif
