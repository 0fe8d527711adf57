/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board's parts say of the calibration. Knows no files. */
#ifndef TT_PLACEMENT_PLACEMENT_H
#define TT_PLACEMENT_PLACEMENT_H

#include "base/status.h"
#include "model/board.h"
#include "model/machine.h"
#include "model/placement.h"
#include "model/solution.h"

/* As tiptrue_place; findings have no text yet. Cost linear in the parts. */
TT_MUST_USE enum tiptrue_status tt_place(const struct tiptrue_board *board,
                                         const struct tiptrue_machine *machine,
                                         const struct tiptrue_solution *run,
                                         struct tiptrue_placement **placement,
                                         struct tiptrue_error *error);

#endif
