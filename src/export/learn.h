/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A plate file that knows what a board taught of its groups. */
#ifndef TT_EXPORT_LEARN_H
#define TT_EXPORT_LEARN_H

#include "base/buffer.h"
#include "base/status.h"
#include "model/placement.h"
#include "model/plate.h"

/* The text of @plate's file with each group of which @placement knows more at its better place: its
 * edges and marks are moved, its u is the smaller one, and "learned" says where that is from. All
 * other bytes are as they were. TIPTRUE_E_DATA: the run was of another plate or of another version
 * of it, the board is in it already, or nothing was learned; the message says which. */
TT_MUST_USE enum tiptrue_status tt_learn(const struct tiptrue_placement *placement,
                                         const struct tiptrue_plate *plate, struct tt_buffer *to,
                                         struct tiptrue_error *error);

#endif
