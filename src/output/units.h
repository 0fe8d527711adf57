/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The units in which lengths are printed. Documents (JSON) stay in millimetres whatever is chosen.
 */
#ifndef TT_OUTPUT_UNITS_H
#define TT_OUTPUT_UNITS_H

#include <stddef.h>

#include "base/buffer.h"
#include "tiptrue.h"

struct tt_units {
    const char *length, *small; /* of coordinates; of uncertainties and changes */
    const char *word;           /* as a log's header and the option have it */
    double per_mm, small_per_mm;
    int decimals;      /* of coordinates where millimetres have four (0.1 um) */
    int small_drop;    /* so many decimals fewer than micrometres, down to none */
    const char *slope; /* of a ratio of lengths, where millimetres have mm/m */
    double slope_per_mm_m;
    int slope_drop;
    const char *few; /* what is small on a plate, in words */
    const char *per; /* "per millimetre", of steps */
};

/* The units that @chosen stands for; TIPTRUE_UNITS_DEFAULT: millimetres and micrometres. */
const struct tt_units *tt_units_of(enum tiptrue_units chosen);

/* @units, or millimetres where that is NULL. */
const struct tt_units *tt_units_or_mm(const struct tt_units *units);
/* Decimals of a length or a small length that has @decimals in mm or in um. */
int tt_units_length_decimals(const struct tt_units *units, int decimals);
int tt_units_small_decimals(const struct tt_units *units, int decimals);
/* @text, a heading of our own with bare names of units ("offset x, mm"), onto @out with those of
 * @units in their place. */
void tt_units_heading(const struct tt_units *units, const char *text, struct tt_buffer *out);

/* Names of the user's that may stand in a sentence without quotation marks, so that a tip called
 * "0.5 mm" stays what it is called. */
struct tt_own_names {
    const char *const *names; /* the first one; the next one is stride bytes behind it */
    size_t n, stride;
};

/* @text, a sentence with lengths in mm and um (or the micro sign), onto @out with each number that
 * has such a unit behind it in @units: "27 to 63 um", "(+21.7, -15.6) um" and "4.1 +- 0.9 um" are
 * numbers with one unit, and so is a slope ("0.37 mm/m"). Names in single quotes and the n_own
 * lists @own are left as they are. */
void tt_units_sentence(const struct tt_units *units, const struct tt_own_names own[], size_t n_own,
                       const char *text, struct tt_buffer *out);
/* The same, and @text as it is where @units are mm (or NULL). */
void tt_units_shown(const struct tt_units *units, const struct tt_own_names own[2],
                    const char *text, struct tt_buffer *out);

#endif
