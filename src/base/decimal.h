/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The decimal digits of a double, by integer arithmetic: no locale, and a small part of the time
 * that printf and strtod take. */
#ifndef TT_BASE_DECIMAL_H
#define TT_BASE_DECIMAL_H

#include <float.h>
#include <stdbool.h>
#include <stdint.h>

/* What tt_decimal_shortest serves: below it doubles lose digits, and from 10^15 on the binary point
 * leaves the digits. */
#define TT_DECIMAL_LOWEST DBL_MIN
#define TT_DECIMAL_BEYOND 1e15

/* @size = *digits * 10^*exponent, when read back, by the fewest of 15, 16 and 17 significant digits
 * that do, rounded correctly and without zeros at the end. @size in [TT_DECIMAL_LOWEST,
 * TT_DECIMAL_BEYOND). False, and nothing written: the digits stand so close to a tie that this
 * cannot tell; printf can. */
bool tt_decimal_shortest(double size, uint64_t *digits, int *exponent);

#endif
