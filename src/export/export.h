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

/* As tiptrue_export, tiptrue_export_undo, tiptrue_template, tiptrue_machine_present of tiptrue.h.
 */
TT_MUST_USE enum tiptrue_status tt_export(const struct tiptrue_solution *solution,
                                          const struct tiptrue_export_options *options,
                                          const struct tiptrue_sink *sink,
                                          struct tiptrue_exported **exported,
                                          struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_export_undo(const char *config, bool dry_run, double now_s,
                                               struct tiptrue_exported **exported,
                                               struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status
tt_template(const struct tiptrue_solution *solution, const char *path, const double rotations_deg[],
            size_t n_rotations, const struct tiptrue_export_options *options,
            const struct tiptrue_sink *sink, struct tiptrue_exported **exported,
            struct tiptrue_error *error);
TT_MUST_USE enum tiptrue_status tt_present_read(struct tiptrue_machine *machine, const char *config,
                                                struct tiptrue_error *error);

#endif
