/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A PLACE: where in a configuration a value stands, to the byte. Nothing is written here, and no
 * other file is opened.
 *
 *   ~REGEX         any text: PCRE2, one group, which is the value
 *   JSON Pointer   (RFC 6901) when the text is JSON (RFC 8259)
 *   XPath 1.0      (W3C) when it is XML 1.0
 *   section.key    when it is lines of key = value below [section]
 *
 * A place is exactly one value. A value is what a number's digits are: without blanks and quotation
 * marks around it.
 */
#ifndef TT_EXPORT_PLACE_H
#define TT_EXPORT_PLACE_H

#include <stddef.h>

#include "base/status.h"

/* Bytes of the text. */
struct tt_span {
    size_t at, length;
};

struct tt_config;

/* A configuration's text, @text[0..length] with a NUL behind it; both borrowed for the life of
 * *config. What it is, is told from what is in it. TIPTRUE_E_CONFIG: it holds NUL bytes (so UTF-16
 * too). */
TT_MUST_USE enum tiptrue_status tt_config_new(const char *name, const char *text, size_t length,
                                              struct tt_config **config,
                                              struct tiptrue_error *error);
void tt_config_free(struct tt_config *config);

/* The value at @place. The text is parsed at the first call that needs it. TIPTRUE_E_CONFIG: the
 * text is not as it should be, or the place is nothing or more than one thing; the message shows
 * what is there. TIPTRUE_E_USAGE: @place cannot be read. */
TT_MUST_USE enum tiptrue_status tt_config_find(struct tt_config *config, const char *place,
                                               struct tt_span *span, struct tiptrue_error *error);

/* The same, and the number that stands there. TIPTRUE_E_CONFIG: it is none. */
TT_MUST_USE enum tiptrue_status tt_config_number(struct tt_config *config, const char *place,
                                                 struct tt_span *span, double *value,
                                                 struct tiptrue_error *error);

/* Its name, and the line of a byte, 1-based: for messages. */
const char *tt_config_name(const struct tt_config *config);
size_t tt_config_line(const struct tt_config *config, size_t at);

#endif
