/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See exported.h. */
#include "config.h"

#include "export/exported.h"

#include <stdlib.h>
#include <string.h>

#include "base/digest.h"
#include "base/utf8.h"

enum tiptrue_status tt_exported_new(struct tt_exported **out, struct tiptrue_error *error)
{
    *out = calloc(1, sizeof(**out));
    return *out != NULL ? TIPTRUE_OK : tt_fail_memory(error);
}

void tiptrue_exported_free(struct tiptrue_exported *exported)
{
    struct tt_exported *out = (struct tt_exported *)exported;
    if (out != NULL) {
        tt_buffer_clear(&out->text);
        tt_arena_clear(&out->arena);
        free(out);
    }
}

/* {"t1.offset.x:.4": "-41.3000", …}: as it stood, and stands, in the file. */
static const char *values_json(struct tt_exported *out, const struct tt_edit edits[], size_t n,
                               bool new)
{
    struct tt_buffer json = {0};
    tt_buffer_putc(&json, '{');
    for (size_t i = 0; i < n; i++) {
        const char *text = new ? edits[i].new_text : edits[i].old_text;
        tt_buffer_puts(&json, i > 0 ? "," : "");
        tt_buffer_putc(&json, '"');
        tt_buffer_put_quoted(&json, edits[i].put.field.text, edits[i].put.field.length);
        tt_buffer_puts(&json, "\":\"");
        tt_buffer_put_quoted(&json, text, strlen(text));
        tt_buffer_putc(&json, '"');
    }
    tt_buffer_putc(&json, '}');
    return tt_buffer_keep(&json, &out->arena);
}

enum tiptrue_status tt_exported_add(struct tt_exported *out, const char *file, const char *backup,
                                    const struct tt_bytes *old, const struct tt_buffer *new,
                                    const struct tt_edit edits[], size_t n,
                                    struct tiptrue_error *error)
{
    char digest[17];
    struct tiptrue_export_file made = {0};
    struct tiptrue_export_file *files =
        tt_arena_grow(&out->arena, out->files, out->n_files + 1, sizeof(*out->files));
    if (files == NULL) {
        return tt_fail_memory(error);
    }
    out->files = files;
    made.file = tt_arena_copy(&out->arena, file);
    made.backup = tt_arena_copy(&out->arena, backup);
    tt_digest(old->text, old->length, digest);
    made.old_digest = tt_arena_copy(&out->arena, digest);
    tt_digest(new->text, new->length, digest);
    made.new_digest = tt_arena_copy(&out->arena, digest);
    made.old_values = values_json(out, edits, n, false);
    made.new_values = values_json(out, edits, n, true);
    if (made.file == NULL || made.backup == NULL || made.old_digest == NULL ||
        made.new_digest == NULL || made.old_values == NULL || made.new_values == NULL) {
        return tt_fail_memory(error);
    }
    out->files[out->n_files++] = made;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_exported_finish(struct tt_exported *out, enum tiptrue_status status,
                                       struct tiptrue_exported **exported,
                                       struct tiptrue_error *error)
{
    if (status == TIPTRUE_OK) {
        tt_buffer_add(&out->text, "", 0); /* a text there is, if an empty one */
        status = out->text.failed || out->text.text == NULL ? tt_fail_memory(error) : TIPTRUE_OK;
    }
    if (status != TIPTRUE_OK) {
        tiptrue_exported_free(&out->public);
        return status;
    }
    out->public = (struct tiptrue_exported){out->text.text, out->text.length, out->nothing_needed,
                                            out->n_files, out->files, out->heights_left};
    *exported = &out->public;
    return TIPTRUE_OK;
}
