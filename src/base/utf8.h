/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* UTF-8 by the table of well-formed sequences (Unicode 15, table 3-7): no longer forms, no
 * surrogates, nothing beyond U+10FFFF. */
#ifndef TT_BASE_UTF8_H
#define TT_BASE_UTF8_H

#include <stddef.h>

/* Bytes of the well-formed sequence that begins at @text, of which @room bytes (at least 1) are
 * there; 0: there is none. */
size_t tt_utf8_within(const char *text, size_t room);

/* The same in a text that ends with a NUL byte. */
static inline size_t tt_utf8_length(const char *text)
{
    return tt_utf8_within(text, 4); /* a NUL ends every sequence before */
}

#endif
