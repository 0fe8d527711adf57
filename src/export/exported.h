/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What an export says when it is done, and what a history keeps of it. */
#ifndef TT_EXPORT_EXPORTED_H
#define TT_EXPORT_EXPORTED_H

#include "base/arena.h"
#include "base/buffer.h"
#include "export/edit.h"
#include "ingest/bytes.h"

struct tt_exported {
    struct tiptrue_exported public; /* first: the caller's pointer is to it */
    struct tt_buffer text;
    bool nothing_needed, heights_left;
    struct tiptrue_export_file *files; /* in the arena */
    size_t n_files;
    struct tt_arena arena;
};

TT_MUST_USE enum tiptrue_status tt_exported_new(struct tt_exported **out,
                                                struct tiptrue_error *error);
/* Enter a file that was written: digests of its old and new bytes, and its values as JSON. */
TT_MUST_USE enum tiptrue_status tt_exported_add(struct tt_exported *out, const char *file,
                                                const char *backup, const struct tt_bytes *old,
                                                const struct tt_buffer *new,
                                                const struct tt_edit edits[], size_t n,
                                                struct tiptrue_error *error);
/* Hand it over if @status is TIPTRUE_OK, else free it. Returns @status, or that memory ran out. */
TT_MUST_USE enum tiptrue_status tt_exported_finish(struct tt_exported *out,
                                                   enum tiptrue_status status,
                                                   struct tiptrue_exported **exported,
                                                   struct tiptrue_error *error);

#endif
