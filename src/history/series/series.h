/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Runs gathered into a series. Starts as {.arena = &arena}; add runs in any order, then sort. */
#ifndef TT_HISTORY_SERIES_SERIES_H
#define TT_HISTORY_SERIES_SERIES_H

#include "base/status.h"
#include "model/series.h"

/* Enter the run that @solution is of. @entered_s: when it was entered, used where the log states no
 * time. Texts are copied. */
TT_MUST_USE enum tiptrue_status tt_series_add(struct tt_series *series,
                                              const struct tiptrue_solution *solution,
                                              double entered_s, struct tiptrue_error *error);

/* A run of @n_tips tips and @n_edges edges that the caller fills in (id, plate, setup are his to
 * copy into the arena); NULL: out of memory. */
struct tt_series_run *tt_series_new_run(struct tt_series *series, size_t n_tips, size_t n_edges);
/* The index of a tip's name, entered if it is new; TT_NONE: out of memory. */
size_t tt_series_tip_index(struct tt_series *series, const char *name);

/* Likewise of an edge's. */
size_t tt_series_edge_index(struct tt_series *series, const char *name);

/* By time, then by id. */
void tt_series_sort(struct tt_series *series);

/* Whether two heights hold at the same place, so that they can be compared: where the plate's slope
 * was not known, at the middle of the same pads. */
bool tt_series_same_place(const struct tt_series_tip *a, const struct tt_series_tip *b);

#endif
