/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Text and numbers in HTML and SVG, written so that an XML parser reads them too. Knows no picture.
 *
 * Nothing out of a file may become markup or turn the line round: &, <, >, quotes are escaped
 * (XML 1.0, 2.4), a byte that is no UTF-8 becomes U+FFFD, and a character that shows nothing but
 * steers (controls, bidirectional formatting of UAX #9, zero-width ones) is spelled: [U+202E].
 */
#ifndef TT_OUTPUT_REPORT_MARKUP_H
#define TT_OUTPUT_REPORT_MARKUP_H

#include <stddef.h>

#include "base/buffer.h"
#include "tiptrue.h"

/* @text of any origin, for content and for attributes in double quotes. */
void tt_markup_text(struct tt_buffer *buffer, const char *text);
/* The same of @length bytes. */
void tt_markup_bytes(struct tt_buffer *buffer, const char *text, size_t length);
/* At most @most characters of it, the last one then an ellipsis. */
void tt_markup_short(struct tt_buffer *buffer, const char *text, size_t most);
/* Characters that the one at @text becomes, entities counted as one; *length receives its bytes. */
size_t tt_markup_width(const char *text, size_t *length);
/* Markup of our own, with coordinates for each '@': tt_markup(b, "<path d=\"M@ @\"/>", 2,
 * (double[]){x, y}). */
void tt_markup(struct tt_buffer *buffer, const char *format, size_t n, const double values[]);
/* "2026-03-02 08:41:12 +01:00 (CET)" */
void tt_markup_time(struct tt_buffer *buffer, const struct tiptrue_zone *zone, double utc_s);
/* A file by its name alone: where it lies is nobody's business who reads the page. */
const char *tt_markup_file(const char *file);

/* @count doubles behind each other, as an array literal for tt_markup. */
#define TT_AT(...)                                                                                 \
    (sizeof((double[]){__VA_ARGS__}) / sizeof(double)), (const double[])                           \
    {                                                                                              \
        __VA_ARGS__                                                                                \
    }

#endif
