/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Numbers as text, exact, in any locale: the only place where text becomes a double or a double
 * text.
 *
 * Reading: the grammar of RFC 8259 plus a leading '+' and digits missing on one side of the point
 * ("5." ".5"), checked first; never nan, inf or hex. Up to 2^53 * 10^±22 by one correctly rounded
 * operation (W. D. Clinger, PLDI 1990), the rest by strtod of a text without decimal sign.
 */
#ifndef TT_BASE_NUMBER_H
#define TT_BASE_NUMBER_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buffer.h"

enum tt_number_status { TT_NUMBER_OK, TT_NUMBER_EMPTY, TT_NUMBER_MALFORMED, TT_NUMBER_RANGE };

/* The number that fills text[0..length) wholly. @point is the decimal sign, '.' or ','.
 * *decimals (may be NULL) receives the place of the last printed digit: 4 for "80.2497", 0 for
 * "17", -2 for "12e2". TT_NUMBER_RANGE: beyond the range of double. *value and *decimals are
 * unchanged unless TT_NUMBER_OK. */
enum tt_number_status tt_number_read(const char *text, size_t length, char point, double *value,
                                     int *decimals);

/* The shortest text (15, 16 or 17 significant digits) that reads back as exactly @value; @value is
 * finite. */
void tt_number_write(struct tt_buffer *buffer, double value);

/* @value with exactly @decimals (0..12) digits behind the point, rounded half away from zero; never
 * "-0.000".
 * @plus: a '+' before what is not negative. @value finite, any size (huge values fall back to
 * printf in the "C" locale). */
void tt_number_write_fixed(struct tt_buffer *buffer, double value, int decimals, bool plus);

/* The same as a text that lasts to the end of the expression, for tt_buffer_printf:
 * tt_fixed(1.5, 2, false).text. */
#define TT_FIXED_SIZE 400 /* the largest double has 309 digits before the point */
struct tt_fixed {
    char text[TT_FIXED_SIZE];
};
struct tt_fixed tt_fixed(double value, int decimals, bool plus);

/* As tt_number_write_fixed, trailing zeros (and a trailing point) left out: the compact form for
 * JSON. The decimal that is written reads back as the double nearest to it. */
void tt_number_write_rounded(struct tt_buffer *buffer, double value, int decimals);

#endif
