/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The only prose about findings: a sentence for each code, made of its values and subjects. Knows
 * no measurement: what is said here was found elsewhere, and what stands in JSON as `values`
 * suffices. */
#ifndef TT_OUTPUT_TEXT_SENTENCES_H
#define TT_OUTPUT_TEXT_SENTENCES_H

#include "base/buffer.h"
#include "model/solution.h"

/* Add the sentence of @finding, one of @solution's, to @buffer: without a code before it, a capital
 * letter or a full stop at its end. Lengths in µm below 1 mm, else in mm; angles in degrees. */
void tt_sentence(struct tt_buffer *buffer, const struct tiptrue_solution *solution,
                 const struct tt_finding *finding);

/* Give a text to every finding of @solution that has none, and to each tip that is to be measured
 * again the reasons that are such findings. Both live in the solution. TIPTRUE_E_MEMORY: some may
 * still be without. Costs nothing where every finding has its text. */
TT_MUST_USE enum tiptrue_status tt_sentences(struct tiptrue_solution *solution);

#endif
