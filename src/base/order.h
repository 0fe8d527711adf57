/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Orders for qsort. */
#ifndef TT_BASE_ORDER_H
#define TT_BASE_ORDER_H

/* Doubles, none of them NaN, and numbers of type size_t, the smallest first. */
int tt_by_value(const void *a, const void *b);
int tt_by_count(const void *a, const void *b);

#endif
