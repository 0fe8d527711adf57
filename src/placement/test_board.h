/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Plan a board whose parts tell all terms best. */
#ifndef TT_PLACEMENT_TEST_BOARD_H
#define TT_PLACEMENT_TEST_BOARD_H

#include "base/status.h"
#include "model/machine.h"
#include "model/test_board.h"

/* As tiptrue_test_board_make. */
TT_MUST_USE enum tiptrue_status tt_test_board(const struct tiptrue_machine *machine,
                                              const struct tiptrue_board_options *options,
                                              struct tiptrue_test_board **board,
                                              struct tiptrue_error *error);

#endif
