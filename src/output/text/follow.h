/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which findings follow from others: docs/method.md, section 9, has the table with its reasons.
 * Only pages fold them; documents have them all. */
#ifndef TT_OUTPUT_TEXT_FOLLOW_H
#define TT_OUTPUT_TEXT_FOLLOW_H

#include "model/solution.h"

/* Whether @finding, one of @solution's, probably follows from an error of it, so that it cannot be
 * judged before that is put right. It follows only from what holds of every tip that it is about,
 * and a lack of touches only where some of them were left out. */
bool tt_follows(const struct tiptrue_solution *solution, const struct tt_finding *finding);

/* Whether a list of the touches that were left out would tell of nothing else than the errors: a
 * mistake in the files, or most of all touches off by more than contacts are. */
bool tt_left_out_follow(const struct tiptrue_solution *solution);

/* Whether the worst finding is a mistake in the log or in a file, so that the same log may do once
 * it is corrected. */
bool tt_is_of_files(const struct tiptrue_solution *solution);

#endif
