/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part of tiptrue.h about what is made beside results: logs in other units. */
#ifndef TT_TIPTRUE_TOOLS_H
#define TT_TIPTRUE_TOOLS_H

#include "tiptrue.h"

/* The log of a simulated run as CSV in @units, which its header then states; else as
 * tiptrue_run_log. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_run_csv(const struct tiptrue_run *run,
                                                     const struct tiptrue_plate *plate,
                                                     enum tiptrue_units units, char **text,
                                                     size_t *length, struct tiptrue_error *error);

#endif
