/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* XXH64 compiled from xxHash's header: a library to load would cost each start of the program more
 * than the digest of a log. */
#include "config.h"

#include "base/digest.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

void tt_digest(const char *text, size_t length, char digest[17])
{
    XXH64_hash_t hash = XXH64(text, length, 0);

    for (int i = 15; i >= 0; i--) {
        digest[i] = "0123456789abcdef"[hash & 15];
        hash >>= 4;
    }
    digest[16] = '\0';
}
