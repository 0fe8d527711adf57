/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The difference of two texts of equally many lines, as a unified diff (POSIX diff -u) that patch
 * takes. */
#ifndef TT_EXPORT_DIFF_H
#define TT_EXPORT_DIFF_H

#include <stddef.h>

#include "base/buffer.h"

/* Nothing is written if they are equal. */
void tt_diff_write(const char *name, const char *old, size_t old_length, const char *new,
                   size_t new_length, struct tt_buffer *to);

#endif
