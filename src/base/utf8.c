/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "base/utf8.h"

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
