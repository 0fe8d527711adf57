/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The prose of what a board says, sentence by sentence: for the terminal and for the page. */
#ifndef TT_OUTPUT_TEXT_PLACEMENT_TEXT_H
#define TT_OUTPUT_TEXT_PLACEMENT_TEXT_H

#include "model/placement.h"
#include "output/page.h"

/* The verdict, opened by tt_verdict_shout. */
void tt_text_board_verdict(struct tt_page *page, const struct tiptrue_placement *placement);
/* Which board this is, and how well its parts repeat. */
void tt_text_board(struct tt_page *page, const struct tiptrue_placement *placement);
void tt_text_board_likeliest(struct tt_page *page, const struct tiptrue_placement *placement);
void tt_text_board_findings(struct tt_page *page, const struct tiptrue_placement *placement);

/* What a board and a run of touches say together, as part of a board's text. */

/* Whether there is anything of that. */
bool tt_is_joined(const struct tiptrue_placement *placement);
/* Its words, a sentence each: with which run, and where the plate's groups lie. */
void tt_text_joined_run(struct tt_page *page, const struct tt_joined *joined);
void tt_text_joined_groups(struct tt_page *page, const struct tt_joined *joined);

#endif
