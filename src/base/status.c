/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Messages are put together in a longer array first, so that they can be cut at a whole character.
 */
#include "config.h"

#include "base/status.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* A copy that ends at a whole character: half a UTF-8 sequence at the end would make the message
 * unreadable as text. */
static void copy_text(char *to, size_t size, const char *from)
{
    size_t length = strlen(from);
    if (length >= size) {
        length = size - 1;
        while (length > 0 && ((unsigned char)from[length] & 0xC0u) == 0x80u) {
            length--;
        }
    }
    memmove(to, from, length);
    to[length] = '\0';
}

enum tiptrue_status tt_fail(struct tiptrue_error *error, enum tiptrue_status status,
                            const char *file, size_t line, size_t column, const char *hint,
                            const char *format, ...)
{
    if (error == NULL || error->status != TIPTRUE_OK) {
        return status;
    }
    char text[2 * sizeof(error->text)];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof(text), format, arguments);
    va_end(arguments);
    error->status = status;
    error->line = line;
    error->column = column;
    copy_text(error->file, sizeof(error->file), file != NULL ? file : "");
    copy_text(error->text, sizeof(error->text), text);
    copy_text(error->hint, sizeof(error->hint), hint != NULL ? hint : "");
    return status;
}

enum tiptrue_status tt_fail_memory(struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_MEMORY, NULL, 0, 0,
                   "close other programs, or give a smaller file", "out of memory");
}
