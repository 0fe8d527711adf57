/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A file's bytes, read once into one block. */
#ifndef TT_INGEST_BYTES_H
#define TT_INGEST_BYTES_H

#include <stddef.h>

#include "base/buffer.h"
#include "base/status.h"

/* What standard input is called in messages. */
#define TT_STANDARD_INPUT "standard input"

/* All of the file @path ("-" = standard input), not interpreted. A pipe may be named.
 * TIPTRUE_E_NO_INPUT: not there, not readable, a directory; TIPTRUE_E_IO: reading failed half-way.
 */
TT_MUST_USE enum tiptrue_status tt_bytes_read(const char *path, struct tt_bytes *bytes,
                                              struct tiptrue_error *error);
/* A copy of @length bytes at @text. */
TT_MUST_USE enum tiptrue_status tt_bytes_copy(const char *text, size_t length,
                                              struct tt_bytes *bytes, struct tiptrue_error *error);
/* What messages call the file @path. */
const char *tt_bytes_name(const char *path);
void tt_bytes_clear(struct tt_bytes *bytes);

#endif
