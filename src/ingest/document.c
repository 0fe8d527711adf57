/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Bytes, text, JSON, schema, units, then the object: the first of these that is wrong ends the
 * reading, as what follows would tell nonsense. */
#include "config.h"

#include "ingest/document.h"

#include <string.h>

#include "ingest/bytes.h"

/* Read the object from the tree, if the schema is right: with a wrong one every member would be
 * reported. */
static void read_tree(const struct tt_document *document, struct tt_fields *fields)
{
    if (tt_field_schema(fields, fields->json.root, document->schema)) {
        tt_field_units(fields, fields->json.root);
        document->read(document->object, fields);
    }
}

static enum tiptrue_status read_text(const struct tt_document *document, const char *name,
                                     const struct tt_bytes *bytes, const struct tiptrue_sink *sink,
                                     struct tiptrue_error *error)
{
    struct tt_diagnose diagnose;
    struct tt_fields fields = {.diagnose = &diagnose, .arena = document->arena};
    size_t mark = tt_byte_order_mark(bytes->text, bytes->length);
    *document->file = tt_arena_copy_text(document->arena, name, strlen(name));
    if (*document->file == NULL) {
        return tt_fail_memory(error);
    }
    tt_diagnose_init(&diagnose, sink, error, *document->file, bytes->text + mark,
                     bytes->length - mark);
    if (tt_text_check(&diagnose) && tt_text_is_there(&diagnose) &&
        tt_json_read(&fields.json, &diagnose, diagnose.text, diagnose.end, NULL)) {
        read_tree(document, &fields);
    }
    bool out_of_memory = fields.out_of_memory || fields.json.out_of_memory;
    tt_json_clear(&fields.json);
    if (out_of_memory) {
        return tt_fail_memory(error);
    }
    return diagnose.faults > 0 ? TIPTRUE_E_DATA : TIPTRUE_OK;
}

/* The text becomes the object's, which frees it, or is given back. */
static void hand_over(const struct tt_document *document, struct tt_bytes *bytes)
{
    if (document->source != NULL) {
        *document->source = *bytes;
    } else {
        tt_bytes_clear(bytes);
    }
}

enum tiptrue_status tt_document_read_bytes(const struct tt_document *document, const char *name,
                                           const char *text, size_t length,
                                           const struct tiptrue_sink *sink,
                                           struct tiptrue_error *error)
{
    struct tt_bytes bytes;
    enum tiptrue_status status = tt_bytes_copy(text, length, &bytes, error);
    if (status == TIPTRUE_OK) {
        status = read_text(document, name, &bytes, sink, error);
        hand_over(document, &bytes);
    }
    return status;
}

enum tiptrue_status tt_document_read(const struct tt_document *document, const char *path,
                                     const struct tiptrue_sink *sink, struct tiptrue_error *error)
{
    struct tt_bytes bytes;
    enum tiptrue_status status = tt_bytes_read(path, &bytes, error);
    if (status == TIPTRUE_OK) {
        status = read_text(document, tt_bytes_name(path), &bytes, sink, error);
        hand_over(document, &bytes);
    }
    return status;
}
