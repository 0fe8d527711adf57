/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "base/utf8.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* The second byte's bounds behind a first one that leaves it less than 0x80 to 0xbf. */
static void bound_second(unsigned char first, unsigned char *low, unsigned char *high)
{
    if (first == 0xe0) {
        *low = 0xa0; /* overlong below */
    } else if (first == 0xed) {
        *high = 0x9f; /* surrogates above */
    } else if (first == 0xf0) {
        *low = 0x90;
    } else if (first == 0xf4) {
        *high = 0x8f; /* beyond U+10FFFF above */
    }
}

size_t tt_utf8_within(const char *text, size_t room)
{
    const unsigned char *s = (const unsigned char *)text;
    unsigned char low = 0x80, high = 0xbf;
    size_t length;

    if (s[0] < 0x80) {
        return 1;
    }
    if (s[0] < 0xc2 || s[0] > 0xf4) {
        return 0;
    }
    length = s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3 : 4;
    bound_second(s[0], &low, &high);
    if (room < length || s[1] < low || s[1] > high) {
        return 0;
    }
    for (size_t i = 2; i < length; i++) {
        if (s[i] < 0x80 || s[i] > 0xbf) {
            return 0;
        }
    }
    return length;
}

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

size_t tt_byte_order_mark(const char *text, size_t length)
{
    return length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
}
