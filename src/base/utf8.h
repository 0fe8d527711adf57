/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* UTF-8 by the table of well-formed sequences (Unicode 15, table 3-7): no longer forms, no
 * surrogates, nothing beyond U+10FFFF. */
#ifndef TT_BASE_UTF8_H
#define TT_BASE_UTF8_H

#include <stddef.h>

#include "base/buffer.h"

/* Bytes of the well-formed sequence that begins at @text, of which @room bytes (at least 1) are
 * there; 0: there is none. */
size_t tt_utf8_within(const char *text, size_t room);

/* The same in a text that ends with a NUL byte. */
static inline size_t tt_utf8_length(const char *text)
{
    return tt_utf8_within(text, 4); /* a NUL ends every sequence before */
}

/* Bytes of a UTF-8 byte order mark at the beginning: 3 or 0. */
size_t tt_byte_order_mark(const char *text, size_t length);

/* Characters that steer what shows them: names out of files are shown as given, but for these. */

#define TT_ESCAPE_SIZE 8

/* Whether the character that @text (NUL-terminated) begins with steers a terminal or the direction
 * or lines of a text: C0, DEL and C1 controls, U+2028, U+2029, and what has the property
 * Bidi_Control (Unicode 15, PropList.txt); or begins no well-formed UTF-8. Then @shown receives how
 * it is shown, "\u001b" or "\xff", and the number of its bytes is returned; else 0. */
size_t tt_escape(const char *text, char shown[TT_ESCAPE_SIZE]);

/* @text with these characters escaped. */
void tt_buffer_put_escaped(struct tt_buffer *buffer, const char *text);

/* @length bytes at @text as they stand within the quotation marks of a string of JSON: what ends
 * it, and control characters, escaped. */
void tt_buffer_put_quoted(struct tt_buffer *buffer, const char *text, size_t length);

#endif
