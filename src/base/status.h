/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How a function says that it could not do its work: a status, and the reason in the caller's
 * storage. */
#ifndef TT_BASE_STATUS_H
#define TT_BASE_STATUS_H

#include "tiptrue.h"

#define TT_MUST_USE TIPTRUE_MUST_USE
#if defined(__GNUC__)
#define TT_PRINTF(text_at, first_at) __attribute__((format(printf, text_at, first_at)))
#else
#define TT_PRINTF(text_at, first_at)
#endif

/* Enter @status and a formatted text into *error unless it is NULL or holds an error already (the
 * first one stays).
 * @file may be NULL, @line and @column 0. Returns @status, so that a caller can `return
 * tt_fail(...)`. */
enum tiptrue_status tt_fail(struct tiptrue_error *error, enum tiptrue_status status,
                            const char *file, size_t line, size_t column, const char *hint,
                            const char *format, ...) TT_PRINTF(7, 8);

/* Out of memory, told without needing any. */
enum tiptrue_status tt_fail_memory(struct tiptrue_error *error);

#endif
