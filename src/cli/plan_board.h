/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part of tiptrue plan that is about parts on a board. */
#ifndef TT_CLI_PLAN_BOARD_H
#define TT_CLI_PLAN_BOARD_H

#include "cli/inputs.h"

/* "110x80" (mm, or each with its unit) into the struct tiptrue_board_options @at, else a usage
 * error. */
void cli_board_size(void *at, const char *text, struct argp_state *state);
/* Plan the board and write it; the exit status: 0 its parts tell every term, 20 they do not. */
int cli_plan_board(struct cli_inputs *inputs, const struct tiptrue_board_options *options,
                   enum tiptrue_plan_form form);

#endif
