/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the runs of a machine found the edges of their plates, and the offsets of their tips. */
#ifndef TT_HISTORY_STORE_PAST_H
#define TT_HISTORY_STORE_PAST_H

#include "history/store/store.h"
#include "model/between.h"

/* Fill between->past with the latest @most runs of @machine that are not left out and of which some
 * tip may be used: where all are refused, an edge may lie anywhere. */
TT_MUST_USE enum tiptrue_status tt_store_past(struct tiptrue_history *store, const char *machine,
                                              size_t most, struct tiptrue_between *between,
                                              struct tiptrue_error *error);

#endif
