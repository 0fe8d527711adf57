/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Reading and writing without the locale: strtod only sees digits and an exponent ("804e-1"), never
 * a decimal sign, and of what printf wrote only the digits are taken. So nothing here depends on,
 * or switches, the host's locale.
 */
#include "config.h"

#include "base/number.h"

#include <errno.h>
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/decimal.h"

/* Powers of ten that a double holds exactly: 10^22 = 2^22 * 5^22 and 5^22 < 2^53. */
#define EXACT_POWERS 22
static const double power_of_ten[EXACT_POWERS + 1] = {
    1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
    1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* Digits that decide how a decimal rounds to a double: 767 for IEEE 754 binary64; what comes after
 * them can only break a tie, and one more digit that is not 0 says so. */
#define DECISIVE_DIGITS 780

/* Exponents beyond this are far out of range whatever the digits are: also keeps sums of exponents
 * from overflowing. */
#define EXPONENT_CAP 1000000000L

/* What the grammar found: value = digits * 10^exponent. */
struct decimal {
    const char *first, *last; /* the digits, with the point among them */
    bool negative, empty;
    uint64_t digits; /* the value of the digits while they are fewer than 20 */
    size_t n_digits; /* significant ones, leading zeros left out */
    long fraction;   /* digits behind the point */
    long exponent;   /* as written */
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* "e-05" at @at; where it ends, or NULL when there is no digit. */
static const char *read_exponent(const char *at, const char *end, long *exponent)
{
    bool negative = false;
    if (at < end && (*at == '+' || *at == '-')) {
        negative = *at == '-';
        at++;
    }
    if (at == end || !is_digit(*at)) {
        return NULL;
    }
    long value = 0;
    for (; at < end && is_digit(*at); at++) {
        value = value < EXPONENT_CAP ? value * 10 + (*at - '0') : value;
    }
    *exponent = negative ? -value : value;
    return at;
}

/* The digits from @at on, the point among them; where they end. */
static const char *read_digits(const char *at, const char *end, char point, struct decimal *decimal)
{
    const char *behind_point = NULL;
    uint64_t digits = 0;
    size_t n = 0;
    decimal->first = at;
    for (; at < end; at++) {
        unsigned digit = (unsigned)(unsigned char)*at - '0';
        if (digit <= 9) {
            digits = digits * 10 + digit;
            n += n > 0 || digit > 0;
        } else if (*at == point && behind_point == NULL) {
            behind_point = at + 1;
        } else {
            break;
        }
    }
    decimal->last = at;
    decimal->digits = digits;
    decimal->n_digits = n;
    decimal->fraction = behind_point != NULL ? (long)(at - behind_point) : 0;
    decimal->empty = at - decimal->first == (behind_point != NULL);
    return at;
}

static bool read_grammar(const char *at, const char *end, char point, struct decimal *decimal)
{
    decimal->negative = false;
    decimal->exponent = 0;
    if (*at == '-' || *at == '+') {
        decimal->negative = *at == '-';
        at++;
    }
    at = read_digits(at, end, point, decimal);
    if (decimal->empty) {
        return false;
    }
    if (at < end && (*at == 'e' || *at == 'E')) {
        at = read_exponent(at + 1, end, &decimal->exponent);
    }
    return at == end; /* NULL, after an exponent without digits, is not the end */
}

/* By strtod, from a text of digits and exponent alone. */
static double slow_value(const struct decimal *decimal, char point)
{
    char text[DECISIVE_DIGITS + 32];
    size_t n = 0;
    long dropped = 0;
    bool sticky = false;
    for (const char *at = decimal->first; at < decimal->last; at++) {
        if (*at == point || (n == 0 && *at == '0')) {
            continue;
        }
        if (n < DECISIVE_DIGITS) {
            text[n++] = *at;
        } else {
            dropped++;
            sticky = sticky || *at != '0';
        }
    }
    if (sticky) {
        text[n++] = '1';
        dropped--;
    }
    snprintf(text + n, sizeof(text) - n, "e%ld", decimal->exponent - decimal->fraction + dropped);
    return strtod(text, NULL);
}

enum tt_number_status tt_number_read(const char *text, size_t length, char point, double *value,
                                     int *decimals)
{
    struct decimal decimal;
    if (length == 0) {
        return TT_NUMBER_EMPTY;
    }
    if (length > (size_t)EXPONENT_CAP || !read_grammar(text, text + length, point, &decimal)) {
        return TT_NUMBER_MALFORMED;
    }
    double size = 0.0;
    long exponent = decimal.exponent - decimal.fraction;
    if (decimal.n_digits <= 19 && decimal.digits <= (UINT64_C(1) << DBL_MANT_DIG) &&
        exponent >= -EXACT_POWERS && exponent <= EXACT_POWERS) {
        size = (double)decimal.digits;
        size = exponent < 0 ? size / power_of_ten[-exponent] : size * power_of_ten[exponent];
    } else if (decimal.n_digits > 0) {
        int saved = errno;
        size = slow_value(&decimal, point);
        errno = saved;
        if (!isfinite(size)) {
            return TT_NUMBER_RANGE;
        }
    }
    *value = decimal.negative ? -size : size;
    if (decimals != NULL) {
        *decimals = (int)-exponent;
    }
    return TT_NUMBER_OK;
}

/* Decimal digits of @n at the end of @room[20]; where they begin. */
static char *write_digits(char room[20], uint64_t n)
{
    char *at = room + 20;
    do {
        *--at = (char)('0' + n % 10);
        n /= 10;
    } while (n > 0);
    return at;
}

/* n * 10^-decimals, with all its decimals (0..22), the sign (one character or none) first. */
static void add_fixed(struct tt_buffer *buffer, const char *sign, uint64_t n, int decimals)
{
    char room[48], *end = room + sizeof(room), *at = end;
    for (int place = 0; place < decimals; place++) {
        *--at = (char)('0' + n % 10);
        n /= 10;
    }
    if (decimals > 0) {
        *--at = '.';
    }
    do {
        *--at = (char)('0' + n % 10);
        n /= 10;
    } while (n > 0);
    if (*sign != '\0') {
        *--at = *sign;
    }
    tt_buffer_add(buffer, at, (size_t)(end - at));
}

/* The longest is "-0.0000" and 17 digits, or a sign, 17 digits, a point and "e-324". */
#define LONGEST_GENERAL 32

static char *put(char *at, const char *text, int length)
{
    memcpy(at, text, (size_t)length);
    return at + length;
}

/* "e-90" */
static char *put_exponent(char *at, int exponent)
{
    char room[20];
    char *digits = write_digits(room, (uint64_t)(exponent < 0 ? -exponent : exponent));
    at = put(at, "e-", exponent < 0 ? 2 : 1);
    return put(at, digits, (int)(room + 20 - digits));
}

/* @digits with the point behind the first one, times 10^exponent, in the usual form: plain between
 * 1e-5 and 1e17, else with an exponent. */
static void add_general(struct tt_buffer *buffer, bool negative, const char *digits, int n_digits,
                        int exponent)
{
    char text[LONGEST_GENERAL], *at = put(text, "-", negative);
    if (exponent >= 0 && exponent < 17) {
        int before = exponent + 1, given = n_digits < before ? n_digits : before;
        at = put(put(at, digits, given), "0000000000000000", before - given);
        if (n_digits > before) {
            at = put(put(at, ".", 1), digits + before, n_digits - before);
        }
    } else if (exponent < 0 && exponent >= -5) {
        at = put(put(at, "0.0000", 1 - exponent), digits, n_digits);
    } else {
        at = put(at, digits, 1);
        if (n_digits > 1) {
            at = put(put(at, ".", 1), digits + 1, n_digits - 1);
        }
        at = put_exponent(at, exponent);
    }
    tt_buffer_add(buffer, text, (size_t)(at - text));
}

/* @value > 0 with @n significant digits: the digits (NUL-terminated) and the exponent of the first
 * one. Only digits are taken from what printf wrote, so that the locale's decimal sign does not
 * matter. */
static int significant_digits(double value, int n, char digits[32])
{
    char text[64];
    snprintf(text, sizeof(text), "%.*e", n - 1, value);
    const char *e = strrchr(text, 'e');
    digits[0] = text[0];
    memcpy(digits + 1, e - (n - 1), (size_t)(n - 1));
    digits[n] = '\0';
    return (int)strtol(e + 1, NULL, 10);
}

static double value_of_digits(const char *digits, int exponent)
{
    char text[64];
    int saved = errno;
    int n = (int)strlen(digits);
    snprintf(text, sizeof(text), "%se%d", digits, exponent - (n - 1));
    double value = strtod(text, NULL);
    errno = saved;
    return value;
}

/* By the C library: what base/decimal.h does not serve. */
static void write_slowly(struct tt_buffer *buffer, bool negative, double size)
{
    char digits[32];
    int exponent = 0;
    for (int count = DBL_DIG; count <= DBL_DECIMAL_DIG; count++) {
        exponent = significant_digits(size, count, digits);
        if (count == DBL_DECIMAL_DIG || value_of_digits(digits, exponent) == size) {
            break;
        }
    }
    int n_digits = (int)strlen(digits);
    while (n_digits > 1 && digits[n_digits - 1] == '0') {
        n_digits--;
    }
    add_general(buffer, negative, digits, n_digits, exponent);
}

void tt_number_write(struct tt_buffer *buffer, double value)
{
    double size = fabs(value);
    bool negative = signbit(value) != 0;
    uint64_t n = 0;
    int exponent = 0;
    if (size == 0.0) {
        tt_buffer_puts(buffer, negative ? "-0" : "0");
    } else if (size >= TT_DECIMAL_LOWEST && size < TT_DECIMAL_BEYOND &&
               tt_decimal_shortest(size, &n, &exponent)) {
        char room[20];
        char *digits = write_digits(room, n);
        int n_digits = (int)(room + 20 - digits);
        add_general(buffer, negative, digits, n_digits, exponent + n_digits - 1);
    } else {
        write_slowly(buffer, negative, size);
    }
}

/* @size * 10^decimals to the nearest whole number, halves up; false when it does not fit. The
 * product's rounding error is known exactly (fma), so the rounding is that of the exact product. */
static bool scale_to_whole(double size, int decimals, uint64_t *whole)
{
    double product = size * power_of_ten[decimals];
    if (!(product < 9e18)) {
        return false;
    }
    double below = floor(product);
    double error = fma(size, power_of_ten[decimals], -product);
    double rest = product - below; /* exact; 0 from 2^52 on, where the error may exceed 1/2 */
    uint64_t n = (uint64_t)below;
    if (fabs(error) >= 0.5) {
        double whole_error = floor(error);
        n += (uint64_t)(int64_t)whole_error;
        rest = error - whole_error;
        error = 0.0;
    }
    *whole = n + (rest - 0.5 >= -error);
    return true;
}

/* The digits of a value too large for 64 bits. printf rounds them correctly too, ties to even. */
static void add_huge(struct tt_buffer *buffer, const char *sign, double size, int decimals)
{
    char text[DBL_MAX_10_EXP + 32];
    int length = snprintf(text, sizeof(text), "%.*f", decimals, size);
    tt_buffer_puts(buffer, sign);
    const char *end = text;
    while (is_digit(*end)) {
        end++;
    }
    tt_buffer_add(buffer, text, (size_t)(end - text));
    if (decimals > 0) {
        tt_buffer_putc(buffer, '.');
        tt_buffer_add(buffer, text + length - decimals, (size_t)decimals);
    }
}

void tt_number_write_fixed(struct tt_buffer *buffer, double value, int decimals, bool plus)
{
    double size = fabs(value);
    uint64_t whole = 0;
    const char *sign = value < 0.0 ? "-" : plus ? "+" : "";
    if (!scale_to_whole(size, decimals, &whole)) {
        add_huge(buffer, sign, size, decimals);
        return;
    }
    if (whole == 0) {
        sign = plus ? "+" : "";
    }
    add_fixed(buffer, sign, whole, decimals);
}

struct tt_fixed tt_fixed(double value, int decimals, bool plus)
{
    struct tt_fixed fixed;
    struct tt_buffer buffer = {.text = fixed.text, .capacity = sizeof fixed.text}; /* never grows */

    tt_number_write_fixed(&buffer, value, decimals, plus);
    return fixed;
}

void tt_number_write_rounded(struct tt_buffer *buffer, double value, int decimals)
{
    double size = fabs(value);
    uint64_t whole = 0;
    if (!scale_to_whole(size, decimals, &whole)) {
        tt_number_write(buffer, value);
        return;
    }
    while (decimals > 0 && whole % 10 == 0) {
        whole /= 10;
        decimals--;
    }
    add_fixed(buffer, value < 0.0 && whole > 0 ? "-" : "", whole, decimals);
}
