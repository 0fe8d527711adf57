/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words for units of length in our files. */
#ifndef TT_INGEST_UNITS_H
#define TT_INGEST_UNITS_H

#include <stdbool.h>
#include <stddef.h>

#include "ingest/fields.h"
#include "model/run.h"
#include "model/words.h"

#define TT_UNITS_HINT "units are 'mm', 'inch' or 'um'"

/* Millimetres in the unit of length that is called @text. */
bool tt_units_read(const char *text, size_t length, double *mm_per_unit);

/* The words that run logs and plans have in common. */

/* "+-": the signs of the last X and Y motion; '0' for an axis that did not move. */
bool tt_approach_read(const char *text, size_t length, signed char *x, signed char *y);
#define TT_APPROACH_HINT                                                                           \
    "two characters of '+', '-' and '0', the signs of the last X and Y motion, such as '+-'"

#endif
