/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See markup.h. */
#include "config.h"

#include "output/report/markup.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "base/time.h"
#include "base/utf8.h"

/* The code point of the well-formed character of @length bytes at @s. */
static unsigned long code_point(const char *s, size_t length)
{
    static const unsigned char FIRST[] = {0, 0x7f, 0x1f, 0x0f, 0x07};
    unsigned long code = (unsigned char)s[0] & FIRST[length];

    for (size_t i = 1; i < length; i++) {
        code = code << 6 | ((unsigned char)s[i] & 0x3fU);
    }
    return code;
}

/* Characters that show nothing and steer what stands around them, and those that XML does not
 * allow. */
static bool is_spelled(unsigned long code)
{
    return code < 0x20 || (code >= 0x7f && code < 0xa0) || code == 0xad || code == 0x61c ||
           code == 0x180e || code == 0x200b || code == 0x200e || code == 0x200f ||
           (code >= 0x2028 && code <= 0x202e) || (code >= 0x2060 && code <= 0x206f) ||
           code == 0xfeff || (code >= 0xfff9 && code <= 0xfffb) || (code & 0xfffe) == 0xfffe ||
           (code >= 0xe0000 && code <= 0xe0fff);
}

size_t tt_markup_width(const char *text, size_t *length)
{
    size_t bytes = tt_utf8_length(text);
    unsigned long code = bytes > 0 ? code_point(text, bytes) : 0xfffd;

    *length = bytes > 0 ? bytes : 1;
    return !is_spelled(code) ? 1 : code > 0xffff ? strlen("[U+10FFFF]") : strlen("[U+FFFF]");
}

static void put_character(struct tt_buffer *buffer, const char *s, size_t length)
{
    unsigned long code = code_point(s, length);

    if (is_spelled(code)) {
        tt_buffer_printf(buffer, "[U+%04lX]", code);
        return;
    }
    switch (s[0]) {
    case '&':
        tt_buffer_puts(buffer, "&amp;");
        break;
    case '<':
        tt_buffer_puts(buffer, "&lt;");
        break;
    case '>':
        tt_buffer_puts(buffer, "&gt;");
        break;
    case '"':
        tt_buffer_puts(buffer, "&quot;");
        break;
    case '\'':
        tt_buffer_puts(buffer, "&#39;");
        break;
    default:
        tt_buffer_add(buffer, s, length);
    }
}

/* The character at @s, of which @left bytes are there; returns how many it has. */
static size_t put_next(struct tt_buffer *buffer, const char *s, size_t left)
{
    size_t length = tt_utf8_length(s);

    if (length == 0 || length > left) {
        tt_buffer_puts(buffer, "\xef\xbf\xbd");
        return 1;
    }
    put_character(buffer, s, length);
    return length;
}

void tt_markup_bytes(struct tt_buffer *buffer, const char *text, size_t length)
{
    for (size_t at = 0; at < length;) {
        at += put_next(buffer, text + at, length - at);
    }
}

void tt_markup_text(struct tt_buffer *buffer, const char *text)
{
    tt_markup_bytes(buffer, text, strlen(text));
}

void tt_markup_short(struct tt_buffer *buffer, const char *text, size_t most)
{
    size_t length = strlen(text), at = 0, cut = 0, n = 0;

    while (at < length && n <= most) {
        size_t step = tt_utf8_length(text + at);
        n++;
        cut = n < most ? at + (step > 0 ? step : 1) : cut; /* where the ellipsis would stand */
        at += step > 0 ? step : 1;
    }
    if (n <= most) {
        tt_markup_bytes(buffer, text, length);
        return;
    }
    tt_markup_bytes(buffer, text, cut);
    tt_buffer_puts(buffer, "\xe2\x80\xa6");
}

/* A coordinate of a picture: to a tenth, as short as may be; one that is not finite becomes 0. */
static void markup_number(struct tt_buffer *buffer, double value)
{
    tt_number_write_rounded(buffer, isfinite(value) ? value : 0, 1);
}

void tt_markup(struct tt_buffer *buffer, const char *format, size_t n, const double values[])
{
    size_t next = 0;

    while (*format != '\0') {
        size_t plain = strcspn(format, "@");
        tt_buffer_add(buffer, format, plain);
        format += plain;
        if (*format == '@') {
            markup_number(buffer, next < n ? values[next] : 0);
            next++;
            format++;
        }
    }
}

void tt_markup_time(struct tt_buffer *buffer, const struct tiptrue_zone *zone, double utc_s)
{
    struct tt_local_time local = tt_local_time(zone, utc_s);

    tt_buffer_printf(buffer, "%s %s (", local.text, local.ahead);
    tt_markup_text(buffer, local.zone);
    tt_buffer_putc(buffer, ')');
}

const char *tt_markup_file(const char *file)
{
    const char *slash = file != NULL ? strrchr(file, '/') : NULL;

    return slash != NULL ? slash + 1 : file;
}
