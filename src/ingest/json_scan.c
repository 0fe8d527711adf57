/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Recursive descent, TT_JSON_DEPTH deep at most. The NUL behind the text ends every loop. */
#include "config.h"

#include "ingest/json.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "model/frames.h"

/* cJSON 1.7 takes a number from a buffer of 64 bytes. 17 significant digits are all that a double
 * can keep. */
#define LONGEST_NUMBER 63

const char *tt_json_blanks(const char *at)
{
    while (*at == ' ' || *at == '\n' || *at == '\r' || *at == '\t') {
        at++;
    }
    return at;
}

static const char *tell(struct tt_json *json, const char *at, const char *hint, const char *text)
{
    tt_fault(json->diagnose, tt_place_at(json->diagnose, at), hint, "%s", text);
    return NULL;
}

const char *tt_json_unexpected(struct tt_json *json, const char *at, const char *expected)
{
    struct tt_place place = tt_place_at(json->diagnose, at);
    if (*at == '\0') {
        tt_fault(json->diagnose, place, "the file looks cut short",
                 "the file ends where %s is expected", expected);
    } else {
        size_t length = strcspn(at, " \t\r\n,:;[]{}\"");
        const char *hint = strchr("/#", *at) != NULL
                               ? "JSON has no comments; a member \"note\" may be at the top level"
                           : strchr("'`", *at) != NULL
                               ? "write JSON strings in double quotation marks"
                           : strchr("+.NIni", *at) != NULL
                               ? "JSON numbers begin with a digit or '-', and are finite"
                               : NULL;
        tt_fault(json->diagnose, place, hint, "'%s' where %s is expected",
                 tt_shown(at, length > 0 ? length : 1).text, expected);
    }
    return NULL;
}

size_t tt_json_record(struct tt_json *json, const char *key, const char *value)
{
    if (json->n_where == json->capacity) {
        size_t capacity = json->capacity > 0 ? 2 * json->capacity : 64;
        struct tt_json_where *where = capacity < SIZE_MAX / sizeof(*where)
                                          ? realloc(json->where, capacity * sizeof(*where))
                                          : NULL;
        if (where == NULL) {
            json->out_of_memory = true;
            return TT_NONE;
        }
        json->where = where;
        json->capacity = capacity;
    }
    json->where[json->n_where] = (struct tt_json_where){key, value, value};
    return json->n_where++;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *scan_digits(struct tt_json *json, const char *at, const char *expected)
{
    if (!is_digit(*at)) {
        return tt_json_unexpected(json, at, expected);
    }
    while (is_digit(*at)) {
        at++;
    }
    return at;
}

static const char *scan_number(struct tt_json *json, const char *at)
{
    const char *first = at;
    double value;
    at += *at == '-';
    if (*at == '0' && is_digit(at[1])) {
        return tell(json, first, "write the number without leading zeros",
                    "a number begins with a needless zero");
    }
    at = scan_digits(json, at, "a digit");
    if (at != NULL && *at == '.') {
        at = scan_digits(json, at + 1, "a digit after the point");
    }
    if (at != NULL && (*at == 'e' || *at == 'E')) {
        at += at[1] == '+' || at[1] == '-' ? 2 : 1;
        at = scan_digits(json, at, "a digit of the exponent");
    }
    if (at != NULL && at - first > LONGEST_NUMBER) {
        return tell(json, first, "17 significant digits are enough",
                    "a number of more than 63 characters");
    }
    if (at != NULL &&
        tt_number_read(first, (size_t)(at - first), '.', &value, NULL) == TT_NUMBER_RANGE) {
        tt_fault(json->diagnose, tt_place_at(json->diagnose, first), NULL,
                 "the number '%s' is too large", tt_shown(first, (size_t)(at - first)).text);
        return NULL;
    }
    return at;
}

/* Four hexadecimal digits, or -1. */
static int hex4(const char *at)
{
    int value = 0;
    for (int i = 0; i < 4; i++) {
        const char *digit =
            at[i] != '\0' ? strchr("0123456789abcdef0123456789ABCDEF", at[i]) : NULL;
        if (digit == NULL) {
            return -1;
        }
        value = 16 * value + (int)(digit - strchr("0123456789abcdef0123456789ABCDEF", '0')) % 16;
    }
    return value;
}

/* From the backslash on. */
static const char *scan_escape(struct tt_json *json, const char *at)
{
    if (at[1] != 'u') {
        return at[1] != '\0' && strchr("\"\\/bfnrt", at[1]) != NULL
                   ? at + 2
                   : tell(json, at, "escapes are \\\" \\\\ \\/ \\b \\f \\n \\r \\t \\uXXXX",
                          "a backslash that begins no escape");
    }
    int unit = hex4(at + 2);
    if (unit < 0) {
        return tell(json, at, NULL, "'\\u' without four hexadecimal digits behind it");
    }
    if (unit == 0) {
        return tell(json, at, NULL, "'\\u0000' in a string");
    }
    if (unit < 0xD800 || unit > 0xDFFF) {
        return at + 6;
    }
    int second = unit <= 0xDBFF && at[6] == '\\' && at[7] == 'u' ? hex4(at + 8) : -1;
    if (second < 0xDC00 || second > 0xDFFF) {
        return tell(json, at, NULL, "half of a surrogate pair in a string");
    }
    return at + 12;
}

static const char *scan_string(struct tt_json *json, const char *at)
{
    const char *first = at++;
    while (at != NULL && *at != '"') {
        unsigned char c = (unsigned char)*at;
        if (c == '\\') {
            at = scan_escape(json, at);
        } else if (c == '\0') {
            return tell(json, first, "the file looks cut short",
                        "a string is not closed before the file ends");
        } else if (c < 0x20) {
            return tell(json, at,
                        "write \\n for a line end, \\t for a tab; or is a quotation mark missing?",
                        "a control character in a string");
        } else {
            at++;
        }
    }
    return at != NULL ? at + 1 : NULL;
}

const char *tt_json_pass_key(struct tt_json *json, const char *at)
{
    if (*at != '"') {
        return tt_json_unexpected(json, at, "a key in quotation marks");
    }
    at = scan_string(json, at);
    if (at == NULL) {
        return NULL;
    }
    at = tt_json_blanks(at);
    return *at == ':' ? tt_json_blanks(at + 1) : tt_json_unexpected(json, at, "':'");
}

const char *tt_json_between(struct tt_json *json, const char *at, char closing, bool *more)
{
    at = tt_json_blanks(at);
    *more = *at == ',';
    if (*at == closing) {
        return at + 1;
    }
    if (*at != ',') {
        return tt_json_unexpected(json, at, closing == ']' ? "',' or ']'" : "',' or '}'");
    }
    const char *next = tt_json_blanks(at + 1);
    return *next == closing ? tell(json, at, "take the comma out", "a comma after the last one")
                            : next;
}

/* The members or elements between the bracket at @at and its twin. */
static const char *scan_inside(struct tt_json *json, const char *at, size_t depth)
{
    char closing = *at == '[' ? ']' : '}';
    if (depth >= TT_JSON_DEPTH) {
        return tell(json, at, NULL, "arrays and objects are nested too deep");
    }
    at = tt_json_blanks(at + 1);
    bool more = *at != closing;
    if (!more) {
        return at + 1;
    }
    while (more) {
        const char *key = closing == '}' ? at : NULL;
        at = key != NULL ? tt_json_pass_key(json, at) : at;
        at = at != NULL ? tt_json_value(json, at, key, depth + 1) : NULL;
        at = at != NULL ? tt_json_between(json, at, closing, &more) : NULL;
        if (at == NULL) {
            return NULL;
        }
    }
    return at;
}

static const char *scan_word(struct tt_json *json, const char *at)
{
    static const char *const words[] = {"true", "false", "null"};
    for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++) {
        size_t length = strlen(words[i]);
        if (strncmp(at, words[i], length) == 0) {
            return at + length;
        }
    }
    return tt_json_unexpected(json, at, "a value");
}

const char *tt_json_value(struct tt_json *json, const char *at, const char *key, size_t depth)
{
    size_t index = tt_json_record(json, key, at);
    if (index == TT_NONE) {
        return NULL;
    }
    if (*at == '{' || *at == '[') {
        at = scan_inside(json, at, depth);
    } else if (*at == '"') {
        at = scan_string(json, at);
    } else if (*at == '-' || is_digit(*at)) {
        at = scan_number(json, at);
    } else {
        at = scan_word(json, at);
    }
    if (at != NULL) {
        json->where[index].end = at;
    }
    return at;
}
