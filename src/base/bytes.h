/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A block of bytes with an owner. */
#ifndef TT_BASE_BYTES_H
#define TT_BASE_BYTES_H

#include <stddef.h>

struct tt_bytes {
    char *text; /* malloc'ed; a NUL follows the last byte */
    size_t length;
};

#endif
