/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See escape.h. */
#include "config.h"

#include "base/escape.h"

#include <stdbool.h>
#include <stdio.h>

#include "base/utf8.h"

/* Of characters below U+10000: all that steer are. */
static unsigned code_of(const unsigned char *s, size_t length)
{
    return length == 1   ? s[0]
           : length == 2 ? (s[0] & 0x1fU) << 6 | (s[1] & 0x3fU)
           : length == 3 ? (s[0] & 0x0fU) << 12 | (s[1] & 0x3fU) << 6 | (s[2] & 0x3fU)
                         : 0x10000;
}

static bool steers(unsigned code)
{
    return code < 0x20 || (code >= 0x7f && code < 0xa0) || code == 0x61c || code == 0x200e ||
           code == 0x200f || (code >= 0x2028 && code <= 0x202e) ||
           (code >= 0x2066 && code <= 0x2069);
}

size_t tt_escape(const char *text, char shown[TT_ESCAPE_SIZE])
{
    const unsigned char *s = (const unsigned char *)text;

    if (s[0] == '\0' || (s[0] >= 0x20 && s[0] < 0x7f)) {
        return 0;
    }
    size_t length = tt_utf8_length(text);
    if (length == 0) {
        snprintf(shown, TT_ESCAPE_SIZE, "\\x%02x", (unsigned)s[0]);
        return 1;
    }
    unsigned code = code_of(s, length);
    if (!steers(code)) {
        return 0;
    }
    snprintf(shown, TT_ESCAPE_SIZE, "\\u%04x", code & 0xffff);
    return length;
}

void tt_buffer_put_escaped(struct tt_buffer *buffer, const char *text)
{
    char shown[TT_ESCAPE_SIZE];

    while (*text != '\0') {
        size_t length = tt_escape(text, shown);
        if (length > 0) {
            tt_buffer_puts(buffer, shown);
            text += length;
        } else {
            length = tt_utf8_length(text);
            tt_buffer_add(buffer, text, length);
            text += length;
        }
    }
}

void tt_buffer_put_quoted(struct tt_buffer *buffer, const char *text, size_t length)
{
    for (const char *end = text + length; text < end; text++) {
        unsigned char c = (unsigned char)*text;
        if (c < 0x20) {
            tt_buffer_printf(buffer, "\\u%04x", (unsigned)c);
        } else {
            tt_buffer_puts(buffer, c == '"' || c == '\\' ? "\\" : "");
            tt_buffer_putc(buffer, *text);
        }
    }
}
