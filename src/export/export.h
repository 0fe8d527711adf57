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
/* @config NULL: of all files that the machine file exports to, or of none where it exports nothing;
 * TIPTRUE_E_CONFIG then where one of them is missing. */
TT_MUST_USE enum tiptrue_status tt_present_read(struct tiptrue_machine *machine, const char *config,
                                                struct tiptrue_error *error);

/* What the machine file says where it exports to, seen from the current folder, for free(): beside
 * it, never elsewhere. */
TT_MUST_USE enum tiptrue_status tt_export_path(const struct tiptrue_machine *machine,
                                               const struct tt_export_target *target, char **path,
                                               struct tiptrue_error *error);

/* tt_export into the machine file itself, which says no other place: offset and offset_plate of
 * each tip that is to be updated. @options->machine must be there. */
TT_MUST_USE enum tiptrue_status tt_export_own(const struct tiptrue_solution *solution,
                                              const struct tiptrue_export_options *options,
                                              const struct tiptrue_sink *sink,
                                              struct tiptrue_exported **exported,
                                              struct tiptrue_error *error);

/* As tiptrue_ready_undo. */
TT_MUST_USE enum tiptrue_status tt_export_undo_all(const struct tiptrue_machine *machine,
                                                   bool dry_run, double now_s,
                                                   struct tiptrue_exported **exported,
                                                   struct tiptrue_error *error);

#endif
