/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A solution into the machine's configuration; a template filled with it; the way back; the present
 * offsets from there. */
#ifndef TT_EXPORT_EXPORT_H
#define TT_EXPORT_EXPORT_H

#include "base/status.h"
#include "model/machine.h"
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

#endif
