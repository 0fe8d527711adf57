/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words that run logs and plans have in common. */
#ifndef TT_INGEST_KINDS_H
#define TT_INGEST_KINDS_H

#include <stdbool.h>
#include <stddef.h>

#include "ingest/fields.h"
#include "model/run.h"
#include "model/words.h"

/* "+-": the signs of the last X and Y motion; '0' for an axis that did not move. */
bool tt_approach_read(const char *text, size_t length, signed char *x, signed char *y);
#define TT_APPROACH_HINT                                                                           \
    "two characters of '+', '-' and '0', the signs of the last X and Y motion, such as '+-'"

#endif
