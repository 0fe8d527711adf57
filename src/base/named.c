/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See named.h. */
#include "config.h"

#include "base/named.h"

#include <string.h>

size_t tt_named(const char *const *first, size_t n, size_t size, const char *text, size_t length)
{
    for (size_t i = 0; i < n; i++) {
        const char *const *name = (const void *)((const char *)first + i * size);
        if (*name != NULL && strlen(*name) == length && memcmp(*name, text, length) == 0) {
            return i;
        }
    }
    return n;
}

size_t tt_called(const char *const *first, size_t n, size_t size, const char *text)
{
    return text != NULL ? tt_named(first, n, size, text, strlen(text)) : n;
}
