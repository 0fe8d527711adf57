/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Characters that steer what shows them: names out of files are shown as given, but for these. */
#ifndef TT_BASE_ESCAPE_H
#define TT_BASE_ESCAPE_H

#include <stddef.h>

#include "base/buffer.h"

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
