/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words of docs/formats.md, in the order of the enumerations they stand for. */
#include "config.h"

#include "ingest/kinds.h"

#include <string.h>

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
