/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What reading a plate, a machine and a plan have in common: a JSON file of a stated schema, into
 * one object. */
#ifndef TT_INGEST_DOCUMENT_H
#define TT_INGEST_DOCUMENT_H

#include "base/arena.h"
#include "base/bytes.h"
#include "ingest/fields.h"

struct tt_document {
    const char *schema;
    void (*read)(void *object, struct tt_fields *fields); /* from fields->json.root, whose schema is
                                                             right and whose units are read */
    void *object;
    struct tt_arena *arena;  /* the object's own */
    const char **file;       /* receives the file's name */
    struct tt_bytes *source; /* receives the text, which becomes the object's; NULL: not kept */
};

TT_MUST_USE enum tiptrue_status tt_document_read(const struct tt_document *document,
                                                 const char *path, const struct tiptrue_sink *sink,
                                                 struct tiptrue_error *error);
/* From memory; @name stands for the file's. */
TT_MUST_USE enum tiptrue_status
tt_document_read_bytes(const struct tt_document *document, const char *name, const char *text,
                       size_t length, const struct tiptrue_sink *sink, struct tiptrue_error *error);

#endif
