/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sentences of findings: numbers in the units people think in, directions in words. UTF-8. */
#ifndef TT_OUTPUT_TEXT_WORDS_H
#define TT_OUTPUT_TEXT_WORDS_H

#include <stdbool.h>

#include "base/buffer.h"

/* @value_mm as micrometres, "12 µm", "3.4 µm" below ten. */
void tt_words_um(struct tt_buffer *buffer, double value_mm);
/* That below a millimetre, else "59.135 mm". */
void tt_words_length(struct tt_buffer *buffer, double value_mm);
/* Micrometres of a value over @limit_mm, with as many decimals, three at most, as show that it
 * is. */
void tt_words_um_over(struct tt_buffer *buffer, double value_mm, double limit_mm);
void tt_words_deg(struct tt_buffer *buffer, double angle_rad, int decimals);
/* Milliseconds, percent, a bare factor: three significant digits or so. */
void tt_words_ms(struct tt_buffer *buffer, double value_ms);
void tt_words_percent(struct tt_buffer *buffer, double share);
/* Whether two shares read the same by tt_words_percent. */
bool tt_words_same_percent(double a, double b);
void tt_words_factor(struct tt_buffer *buffer, double factor);
/* The machine direction closest to (@x, @y): "+x", "-y", or "at 27°" where none is within 15
 * degrees. */
void tt_words_direction(struct tt_buffer *buffer, double x, double y);
/* The axis line of (@x, @y): "x", "y" or "the line at 27°". */
void tt_words_line(struct tt_buffer *buffer, double x, double y);
/* "line 17", "lines 17, 31 and 40", at most eight, then "and 12 more". */
void tt_words_lines(struct tt_buffer *buffer, const size_t lines[], size_t n);

/* "+11.4": two significant digits of @u_mm (JCGM 100:2008, 7.2.6), one decimal at most. */
void tt_words_um_pm(struct tt_buffer *buffer, double value_mm, double u_mm);
/* "(+21.7, -15.6) um". */
void tt_words_shift(struct tt_buffer *buffer, double x_mm, double y_mm, double u_x_mm,
                    double u_y_mm);

#endif
