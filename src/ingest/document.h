/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What reading a plate, a machine, a plan, a truth and a result have in common: a JSON file of a
 * stated schema, into one object. */
#ifndef TT_INGEST_DOCUMENT_H
#define TT_INGEST_DOCUMENT_H

#include "ingest/fields.h"
#include "model/record.h"

/* A kind of document. */
struct tt_document {
    const char *schema;
    void (*read)(void *object, struct tt_fields *fields); /* from fields->json.root, whose schema is
                                                             right and whose units are read */
    size_t size, arena;  /* of the object: its bytes; the place of its arena */
    size_t file, source; /* TT_FLAG of its file's name and of the text, which becomes the object's;
                            0: not kept */
};

/* A new object from the file @path, or from @text where that is not NULL: @path then stands for the
 * file's name. *object: for the free function of its kind. */
TT_MUST_USE enum tiptrue_status tt_document_read(const struct tt_document *document,
                                                 const char *path, const struct tt_text *text,
                                                 const struct tiptrue_sink *sink, void **object,
                                                 struct tiptrue_error *error);

#endif
