/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* For the tests of this room: what was told, as text; and files of the source tree. */
#ifndef TT_TESTS_INGEST_COLLECT_H
#define TT_TESTS_INGEST_COLLECT_H

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "tiptrue.h"

/* "file:line:column: error: text" and "  hint: text", a line each. */
static inline void collect_told(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    static const char *const words[] = {
        [TIPTRUE_NOTE] = "note", [TIPTRUE_WARNING] = "warning", [TIPTRUE_ERROR] = "error"};
    struct tt_buffer *buffer = context;
    if (diagnostic->file != NULL) {
        const char *slash = strrchr(diagnostic->file, '/');
        tt_buffer_printf(buffer, "%s:", slash != NULL ? slash + 1 : diagnostic->file);
    }
    if (diagnostic->line > 0) {
        tt_buffer_printf(buffer, "%zu:", diagnostic->line);
    }
    if (diagnostic->column > 0) {
        tt_buffer_printf(buffer, "%zu:", diagnostic->column);
    }
    tt_buffer_printf(buffer, " %s: %s\n", words[diagnostic->severity], diagnostic->text);
    if (diagnostic->hint != NULL) {
        tt_buffer_printf(buffer, "  hint: %s\n", diagnostic->hint);
    }
}

/* @path below the folder of the sources, for free(). */
static inline char *source_path(const char *path)
{
    const char *srcdir = getenv("srcdir");
    size_t size = strlen(path) + (srcdir != NULL ? strlen(srcdir) : 1) + 2;
    char *whole = malloc(size);
    ck_assert_ptr_nonnull(whole);
    snprintf(whole, size, "%s/%s", srcdir != NULL ? srcdir : ".", path);
    return whole;
}

/* All of the file @path below the folder of the sources, NUL-terminated, for free(). */
static inline char *source_text(const char *path)
{
    char *whole = source_path(path);
    FILE *file = fopen(whole, "rb");
    ck_assert_msg(file != NULL, "%s cannot be opened", whole);
    struct tt_buffer buffer = {0};
    char block[4096];
    size_t got;
    while ((got = fread(block, 1, sizeof(block), file)) > 0) {
        tt_buffer_add(&buffer, block, got);
    }
    fclose(file);
    free(whole);
    ck_assert_ptr_nonnull(buffer.text);
    return buffer.text;
}

/* Whether @told is what was expected; on a difference both are shown. */
static inline void assert_told(const struct tt_buffer *told, const char *expected)
{
    const char *text = told->text != NULL ? told->text : "";
    ck_assert_msg(strcmp(text, expected) == 0, "told:\n%sexpected:\n%s", text, expected);
}

#endif
