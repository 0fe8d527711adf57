/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See json_write.h. */
#include "config.h"

#include "output/json/json_write.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "base/utf8.h"

/* Decimals of mm and degrees: see tt_json_fixed. */
#define DECIMALS 10

/* A comma where one is due; whatever is written next is no longer the first. */
static void separate(struct tt_json *json)
{
    if (!json->first) {
        tt_buffer_putc(json->buffer, ',');
    }
    json->first = false;
}

void tt_json_open(struct tt_json *json, char bracket)
{
    separate(json);
    tt_buffer_putc(json->buffer, bracket);
    json->first = true;
}

void tt_json_close(struct tt_json *json, char bracket)
{
    tt_buffer_putc(json->buffer, bracket);
    json->first = false;
}

void tt_json_key(struct tt_json *json, const char *key)
{
    size_t length = strlen(key);
    char *at = tt_buffer_room(json->buffer, length + 4);

    if (at != NULL) {
        *at = ',';
        at += !json->first;
        *at++ = '"';
        memcpy(at, key, length);
        at += length;
        *at++ = '"';
        *at++ = ':';
        tt_buffer_end(json->buffer, at);
    }
    json->first = true;
}

void tt_json_null(struct tt_json *json)
{
    separate(json);
    tt_buffer_add(json->buffer, "null", 4);
}

void tt_json_bool(struct tt_json *json, bool value)
{
    separate(json);
    tt_buffer_puts(json->buffer, value ? "true" : "false");
}

void tt_json_count(struct tt_json *json, size_t value)
{
    char digits[3 * sizeof value + 1];
    size_t at = sizeof digits;

    separate(json);
    do {
        digits[--at] = (char)('0' + value % 10);
        value /= 10;
    } while (value > 0);
    tt_buffer_add(json->buffer, digits + at, sizeof digits - at);
}

/* What must not stand in a string as it is, or steers what shows it: the character that @text
 * begins with. Returns its bytes. */
static size_t put_escaped(struct tt_buffer *buffer, const char *text)
{
    char shown[TT_ESCAPE_SIZE];
    size_t length = 1;

    switch (text[0]) {
    case '"':
        tt_buffer_add(buffer, "\\\"", 2);
        break;
    case '\\':
        tt_buffer_add(buffer, "\\\\", 2);
        break;
    case '\n':
        tt_buffer_add(buffer, "\\n", 2);
        break;
    case '\t':
        tt_buffer_add(buffer, "\\t", 2);
        break;
    default:
        length = tt_escape(text, shown);
        if (shown[1] == 'u') {
            tt_buffer_puts(buffer, shown);
        } else {
            tt_buffer_add(buffer, "\xef\xbf\xbd", 3); /* U+FFFD: no UTF-8 */
        }
    }
    return length;
}

/* Bytes from @text on that stand in a string as they are. */
static size_t plain_length(const char *text)
{
    char shown[TT_ESCAPE_SIZE];
    size_t length = 0;

    for (;;) {
        unsigned char c = (unsigned char)text[length];
        if (c >= 0x20 && c < 0x80 && c != '"' && c != '\\') {
            length++;
        } else if (c >= 0x80 && tt_escape(text + length, shown) == 0) {
            length += tt_utf8_length(text + length);
        } else {
            return length;
        }
    }
}

void tt_json_text(struct tt_json *json, const char *text)
{
    if (text == NULL) {
        tt_json_null(json);
        return;
    }
    separate(json);
    tt_buffer_putc(json->buffer, '"');
    for (;;) {
        size_t plain = plain_length(text);
        tt_buffer_add(json->buffer, text, plain);
        if (text[plain] == '\0') {
            break;
        }
        text += plain;
        text += put_escaped(json->buffer, text);
    }
    tt_buffer_putc(json->buffer, '"');
}

void tt_json_number(struct tt_json *json, double value)
{
    if (!isfinite(value)) {
        tt_json_null(json);
        return;
    }
    separate(json);
    tt_number_write(json->buffer, value);
}

void tt_json_fixed(struct tt_json *json, double value)
{
    if (!isfinite(value)) {
        tt_json_null(json);
        return;
    }
    separate(json);
    tt_number_write_rounded(json->buffer, value, DECIMALS);
}

void tt_json_key_open(struct tt_json *json, const char *key, char bracket)
{
    tt_json_key(json, key);
    tt_json_open(json, bracket);
}

bool tt_json_key_if(struct tt_json *json, const char *key, bool determined)
{
    tt_json_key(json, key);
    if (!determined) {
        tt_json_null(json);
    }
    return determined;
}

bool tt_json_key_open_if(struct tt_json *json, const char *key, bool determined, char bracket)
{
    if (tt_json_key_if(json, key, determined)) {
        tt_json_open(json, bracket);
    }
    return determined;
}

void tt_json_key_bool(struct tt_json *json, const char *key, bool value)
{
    tt_json_key(json, key);
    tt_json_bool(json, value);
}

void tt_json_key_text(struct tt_json *json, const char *key, const char *text)
{
    tt_json_key(json, key);
    tt_json_text(json, text);
}

void tt_json_key_count(struct tt_json *json, const char *key, size_t value)
{
    tt_json_key(json, key);
    tt_json_count(json, value);
}

void tt_json_key_number(struct tt_json *json, const char *key, double value)
{
    tt_json_key(json, key);
    tt_json_number(json, value);
}

void tt_json_key_number_if(struct tt_json *json, const char *key, bool determined, double value)
{
    tt_json_key_number(json, key, determined ? value : NAN);
}

void tt_json_key_fixed(struct tt_json *json, const char *key, double value)
{
    tt_json_key(json, key);
    tt_json_fixed(json, value);
}

void tt_json_key_fixed_if(struct tt_json *json, const char *key, bool determined, double value)
{
    tt_json_key_fixed(json, key, determined ? value : NAN);
}

void tt_json_key_xy_if(struct tt_json *json, const char *key, bool determined_x, double x,
                       bool determined_y, double y)
{
    tt_json_key(json, key);
    tt_json_open(json, '{');
    tt_json_key_fixed_if(json, "x", determined_x, x);
    tt_json_key_fixed_if(json, "y", determined_y, y);
    tt_json_close(json, '}');
}

void tt_json_key_both_if(struct tt_json *json, const char *key, bool determined, double x, double y)
{
    tt_json_key_xy_if(json, key, determined, x, determined, y);
}

void tt_json_key_xy(struct tt_json *json, const char *key, double x, double y)
{
    tt_json_key_xy_if(json, key, true, x, true, y);
}

struct tt_json tt_json_begin(struct tt_buffer *buffer, const char *schema)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", schema);
    return json;
}

void tt_json_key_words(struct tt_json *json, const char *key, struct tt_buffer *words)
{
    tt_json_key_text(json, key, words->text != NULL ? words->text : "");
    json->buffer->failed = json->buffer->failed || words->failed;
    tt_buffer_reset(words);
}
