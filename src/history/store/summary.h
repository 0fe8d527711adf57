/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the newest result of each run says, as numbers in tables, so that weeks are read without
 * reading results. */
#ifndef TT_HISTORY_STORE_SUMMARY_H
#define TT_HISTORY_STORE_SUMMARY_H

#include "history/store/sql.h"
#include "model/series.h"
#include "model/solution.h"

/* Write the rows of the run number @run in place of those that were there: @solution is what its
 * result number @result says. Within a transaction. */
TT_MUST_USE enum tiptrue_status tt_summary_write(struct tiptrue_history *store, sqlite3_int64 run,
                                                 sqlite3_int64 result,
                                                 const struct tiptrue_solution *solution,
                                                 struct tiptrue_error *error);

/* Add the runs of @machine from @since_s on (-HUGE_VAL = all) to *series, in order of time and id;
 * only the latest @most_runs of them (0 = all). Cost: linear in the runs that are read. */
TT_MUST_USE enum tiptrue_status tt_store_series(struct tiptrue_history *store, const char *machine,
                                                double since_s, size_t most_runs,
                                                struct tt_series *series,
                                                struct tiptrue_error *error);

/* How many runs of @machine there are. */
TT_MUST_USE enum tiptrue_status tt_store_count_machine(struct tiptrue_history *store,
                                                       const char *machine, size_t *runs,
                                                       struct tiptrue_error *error);

/* Hand over the name of each machine, in order of the alphabet. @each as tt_store_list. */
TT_MUST_USE enum tiptrue_status tt_store_machines(struct tiptrue_history *store,
                                                  enum tiptrue_status (*each)(void *context,
                                                                              const char *machine),
                                                  void *context, struct tiptrue_error *error);

#endif
