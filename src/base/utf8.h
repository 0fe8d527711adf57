/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where a character of UTF-8 ends. */
#ifndef TT_BASE_UTF8_H
#define TT_BASE_UTF8_H

#include <stddef.h>

/* Bytes of the well-formed character (Unicode Standard, table 3-7) at @text, which is
 * NUL-terminated; 0 = there is none. */
size_t tt_utf8_length(const char *text);

#endif
