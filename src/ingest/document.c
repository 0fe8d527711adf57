/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Bytes, text, JSON, schema, units, then the object: the first of these that is wrong ends the
 * reading, as what follows would tell nonsense. */
#include "config.h"

#include "ingest/fields.h"

#include <stdlib.h>
#include <string.h>

#include "ingest/bytes.h"

/* Into @object, if the schema is right: with a wrong one every member would be reported. */
static enum tiptrue_status read_text(const struct tt_document *document,
                                     struct tt_diagnose *diagnose, char *object,
                                     struct tiptrue_error *error)
{
    struct tt_fields fields = {.diagnose = diagnose, .arena = (void *)(object + document->arena)};

    if (tt_text_check(diagnose) && tt_text_is_there(diagnose) &&
        tt_json_read(&fields.json, diagnose, diagnose->text, diagnose->end, NULL) &&
        tt_field_schema(&fields, fields.json.root, document->schema)) {
        tt_field_units(&fields, fields.json.root);
        document->read(object, &fields);
    }
    bool out_of_memory = fields.out_of_memory || fields.json.out_of_memory;
    tt_json_clear(&fields.json);
    return out_of_memory ? tt_fail_memory(error) : tt_diagnose_status(diagnose);
}

enum tiptrue_status tt_document_read(const struct tt_document *document, const char *path,
                                     const struct tt_text *text, const struct tiptrue_sink *sink,
                                     void **object, struct tiptrue_error *error)
{
    struct tt_bytes bytes = {0};
    struct tt_diagnose diagnose;
    char *made = calloc(1, document->size);
    struct tt_arena *arena = (void *)(made + document->arena);
    enum tiptrue_status status = made == NULL ? tt_fail_memory(error)
                                 : text != NULL
                                     ? tt_bytes_copy(text->text, text->length, &bytes, error)
                                     : tt_bytes_read(path, &bytes, error);

    path = text == NULL ? tt_bytes_name(path) : path;
    if (status == TIPTRUE_OK && document->file > 0) {
        path = tt_arena_copy(arena, path);
        memcpy(made + document->file - 1, &path, sizeof path);
        status = path != NULL ? TIPTRUE_OK : tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        tt_diagnose_bytes(&diagnose, sink, error, path, &bytes);
        status = read_text(document, &diagnose, made, error);
    }
    if (status == TIPTRUE_OK && document->source > 0) {
        memcpy(made + document->source - 1, &bytes, sizeof bytes);
    } else {
        tt_bytes_clear(&bytes);
    }
    if (status != TIPTRUE_OK && made != NULL) {
        tt_arena_clear(arena);
        free(made);
        made = NULL;
    }
    *object = made;
    return status;
}
