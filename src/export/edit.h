/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Values of one configuration, found, replaced and found again. Knows texts, not files. */
#ifndef TT_EXPORT_EDIT_H
#define TT_EXPORT_EDIT_H

#include <stddef.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "export/field.h"
#include "export/place.h"

/* One FIELD=PLACE. */
struct tt_export_put {
    struct tt_export_field field;
    const char *place;
};

/* Split at the first '=' and read the field. Both point into @text. */
TT_MUST_USE enum tiptrue_status tt_put_read(const char *text, struct tt_export_put *put,
                                            struct tiptrue_error *error);

/* One value and what is to become of it. */
struct tt_edit {
    struct tt_export_put put;
    const char *tip;              /* of the solution */
    double value_mm;              /* what is to stand there, before rounding */
    enum tiptrue_verdict verdict; /* of that quantity */
    bool kept;                    /* found, and left: the verdict is keep, or it is a height that
                                     may not be used */
    /* from here on the work of tt_edits_find */
    struct tt_span span;
    size_t line;
    const char *old_text,
        *new_text;         /* as it stands there; as it is to stand there (the same when kept) */
    double old_mm, new_mm; /* what they mean */
    size_t new_at;         /* where it will stand */
};

/* Find every value in the text (NUL-terminated) of the configuration @name; texts into @arena.
 * TIPTRUE_E_CONFIG: a place is not one number, or two places are the same. */
TT_MUST_USE enum tiptrue_status tt_edits_find(const char *name, const char *text, size_t length,
                                              struct tt_edit edits[], size_t n,
                                              struct tt_arena *arena, struct tiptrue_error *error);
/* The text with the new values, all other bytes as they were. */
void tt_edits_apply(const char *text, size_t length, struct tt_edit edits[], size_t n,
                    struct tt_buffer *to);
/* Whether in @new every place is the meant value and stands where it must, and every byte outside
 * is that of @old. TIPTRUE_E_CONFIG: not so. */
TT_MUST_USE enum tiptrue_status tt_edits_verify(const char *name, const char *old,
                                                size_t old_length, const char *new,
                                                size_t new_length, const struct tt_edit edits[],
                                                size_t n, struct tiptrue_error *error);

/* The difference of two texts of equally many lines, as a unified diff (POSIX diff -u) that patch
 * takes. */

/* Nothing is written if they are equal. */
void tt_diff_write(const char *name, const char *old, size_t old_length, const char *new,
                   size_t new_length, struct tt_buffer *to);

#endif
