/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words for units of length in our files. */
#ifndef TT_INGEST_UNITS_H
#define TT_INGEST_UNITS_H

#include <stdbool.h>
#include <stddef.h>

#define TT_UNITS_HINT "units are 'mm', 'inch' or 'um'"

/* Millimetres in the unit of length that is called @text. */
bool tt_units_read(const char *text, size_t length, double *mm_per_unit);

#endif
