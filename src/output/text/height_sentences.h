/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The sentences of findings about heights: a part of the table of sentences.c. */
#ifndef TT_OUTPUT_TEXT_HEIGHT_SENTENCES_H
#define TT_OUTPUT_TEXT_HEIGHT_SENTENCES_H

#include "model/solution.h"

/* The template (output/text/template.h) of a finding about heights; NULL: it is about none. */
const char *tt_height_template(const struct tt_finding *finding);

/* What a reason says that is of heights, as those of sentences.c; "" of another one. */
const char *tt_height_reason(enum tt_reason_code code);

#endif
