/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A solution into the machine's configuration; a template filled with it; the way back; the present
 * offsets from there. */
#ifndef TT_EXPORT_EXPORT_H
#define TT_EXPORT_EXPORT_H

#include "base/buffer.h"
#include "base/status.h"
#include "model/machine.h"
#include "model/placement.h"
#include "model/plate.h"
#include "model/solution.h"

/* What the machine file says where it exports to, seen from the current folder, for free(): beside
 * it, never elsewhere. */
TT_MUST_USE enum tiptrue_status tt_export_path(const struct tiptrue_machine *machine,
                                               const struct tt_export_target *target, char **path,
                                               struct tiptrue_error *error);

/* tiptrue_export into the machine file itself, which says no other place: offset and offset_plate
 * of each tip that is to be updated. @options->machine must be there. */
TT_MUST_USE enum tiptrue_status tt_export_own(const struct tiptrue_solution *solution,
                                              const struct tiptrue_export_options *options,
                                              const struct tiptrue_sink *sink,
                                              struct tiptrue_exported **exported,
                                              struct tiptrue_error *error);

/* A plate file that knows what a board taught of its groups. */

/* The text of @plate's file with each group of which @placement knows more at its better place: its
 * edges and marks are moved, its u is the smaller one, and "learned" says where that is from. All
 * other bytes are as they were. TIPTRUE_E_DATA: the run was of another plate or of another version
 * of it, the board is in it already, or nothing was learned; the message says which. */
TT_MUST_USE enum tiptrue_status tt_learn(const struct tiptrue_placement *placement,
                                         const struct tiptrue_plate *plate, struct tt_buffer *to,
                                         struct tiptrue_error *error);

#endif
