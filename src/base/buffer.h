/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A growing text. Failure (out of memory) is remembered, so that a writer checks once, at the end.
 */
#ifndef TT_BASE_BUFFER_H
#define TT_BASE_BUFFER_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"

struct tt_buffer {
    char *text; /* NUL-terminated once anything was added; malloc'ed, the owner's */
    size_t length, capacity;
    bool failed;
};

/* A buffer in the caller's storage starts as {0}. */
void tt_buffer_add(struct tt_buffer *buffer, const char *text, size_t length);
void tt_buffer_puts(struct tt_buffer *buffer, const char *text);
void tt_buffer_putc(struct tt_buffer *buffer, char c);
/* For writers of many short pieces: @most bytes at the end, to be written by the caller, who then
 * says by tt_buffer_end how far he came. NULL: out of memory. */
char *tt_buffer_room(struct tt_buffer *buffer, size_t most);
/* What was written into the room from its beginning up to @end is now part of the text. */
void tt_buffer_end(struct tt_buffer *buffer, char *end);
/* printf in the "C" way of numbers whatever the locale for %d %zu %s %c; floating-point conversions
 * are not allowed: use base/number.h. */
void tt_buffer_printf(struct tt_buffer *buffer, const char *format, ...) TT_PRINTF(2, 3);
void tt_buffer_vprintf(struct tt_buffer *buffer, const char *format, va_list arguments)
    TT_PRINTF(2, 0);
/* Empty, memory kept. */
void tt_buffer_reset(struct tt_buffer *buffer);
/* A finished text becomes the caller's, for free(): *text, never NULL, with its length if @length
 * is not NULL. TIPTRUE_E_MEMORY: it is not whole; the buffer is empty then. */
TT_MUST_USE enum tiptrue_status tt_buffer_hand_over(struct tt_buffer *buffer, char **text,
                                                    size_t *length, struct tiptrue_error *error);
/* A finished text, copied into @arena; NULL: there is none, or it is not whole. The buffer is {0}.
 */
const char *tt_buffer_keep(struct tt_buffer *buffer, struct tt_arena *arena);
/* Give the memory back; the buffer is {0} again. */
void tt_buffer_clear(struct tt_buffer *buffer);

/* A block of bytes with an owner. */

struct tt_bytes {
    char *text; /* malloc'ed; a NUL follows the last byte */
    size_t length;
};

#endif
