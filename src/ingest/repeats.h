/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Rows that a log holds twice, as when a file was pasted or appended once too often: counted once.
 */
#ifndef TT_INGEST_REPEATS_H
#define TT_INGEST_REPEATS_H

#include <stdbool.h>

#include "model/run.h"

/* Take out of run->observations each block of eight rows or more (or the second half of the log, if
 * it is shorter) that equals earlier ones, in all fields and in their order, and name its lines in
 * run->repeated. @scratch: memory. false: out of memory. Cost: linear in the rows. */
bool tt_repeats_drop(struct tiptrue_run *run, struct tt_arena *scratch);

#endif
