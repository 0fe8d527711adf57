/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Three words, taken literally: a unit is nothing to guess at. */
#include "config.h"

#include "ingest/units.h"

#include <string.h>

#include "model/frames.h"

bool tt_units_read(const char *text, size_t length, double *mm_per_unit)
{
    if (length == 2 && memcmp(text, "mm", 2) == 0) {
        *mm_per_unit = 1.0;
        return true;
    }
    if (length == 4 && memcmp(text, "inch", 4) == 0) {
        *mm_per_unit = TT_MM_PER_INCH;
        return true;
    }
    if (length == 2 && memcmp(text, "um", 2) == 0) {
        *mm_per_unit = TT_MM_PER_UM;
        return true;
    }
    return false;
}

bool tt_approach_read(const char *text, size_t length, signed char *x, signed char *y)
{
    static const char signs[] = "-0+";
    const char *sign_x = length == 2 && text[0] != '\0' ? strchr(signs, text[0]) : NULL;
    const char *sign_y = length == 2 && text[1] != '\0' ? strchr(signs, text[1]) : NULL;
    if (sign_x == NULL || sign_y == NULL) {
        return false;
    }
    *x = (signed char)(sign_x - signs - 1);
    *y = (signed char)(sign_y - signs - 1);
    return true;
}
