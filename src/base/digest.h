/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The digest that a text is known by. */
#ifndef TT_BASE_DIGEST_H
#define TT_BASE_DIGEST_H

#include <stddef.h>

/* XXH64 with seed 0, in 16 hexadecimal digits: tells texts apart, and does not guard against
 * forgery. */
void tt_digest(const char *text, size_t length, char digest[17]);

#endif
