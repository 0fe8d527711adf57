/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the steps of an export share: the files, what goes into each, and how far it is. */
#ifndef TT_EXPORT_EXPORT_PARTS_H
#define TT_EXPORT_EXPORT_PARTS_H

#include "export/edit.h"
#include "export/exported.h"
#include "export/guard.h"
#include "export/replace.h"

/* One file and what goes into it. */
struct tt_export_file {
    char *path;                             /* for free() */
    bool named;                             /* by the caller, not by the machine file */
    const struct tt_export_target *profile; /* NULL: there is none */
    struct tt_target *target;
    struct tt_edit *edits;
    size_t n_edits;
    struct tt_buffer new;
    bool changes;
    struct tt_bytes base; /* what is edited, borrowed: the text that was read, or prepared */
    struct tt_buffer prepared;
};

struct tt_export_job {
    const struct tiptrue_solution *solution;
    const struct tiptrue_export_options *options;
    struct tt_export_file *files;
    size_t n_files;
    bool own; /* into the machine file itself */
    struct tt_arena arena;
    struct tt_guards guards;
    struct tt_exported *out;
};

/* Files and places of @job: of the command line, of the machine file, or that file itself. */
TT_MUST_USE enum tiptrue_status tt_export_plan(struct tt_export_job *job,
                                               struct tiptrue_error *error);

/* A tip that is to be updated goes somewhere, with both axes of its offset: else the file would
 * hold an old offset, or half a new one, after an export that went well. TIPTRUE_E_CONFIG: not so.
 * A height without a place is warned of.
 */
TT_MUST_USE enum tiptrue_status tt_export_check_places(struct tt_export_job *job,
                                                       struct tiptrue_error *error);

#endif
