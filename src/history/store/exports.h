/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What was written into the configurations of a machine. */
#ifndef TT_HISTORY_STORE_EXPORTS_H
#define TT_HISTORY_STORE_EXPORTS_H

#include <stdbool.h>

#include "base/status.h"
#include "model/record.h"

/* One export; texts live during the call. */
struct tt_store_exported {
    const char *run, *plate; /* id; serial of its plate, else the plate's name */
    const char *time, *file;
    struct tt_text old_values, new_values; /* JSON: FIELD to what stood, and stands, as text */
};

/* Hand every export of runs of @machine to @each, newest first, until it returns false. */
TT_MUST_USE enum tiptrue_status
tt_store_exports(struct tiptrue_history *store, const char *machine,
                 bool (*each)(void *context, const struct tt_store_exported *exported),
                 void *context, struct tiptrue_error *error);

#endif
