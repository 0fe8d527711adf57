/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a result as text does not hold, kept beside it, since solving a stored log again before
 * every job costs time: what it makes of edges that shift (edge_response in model/solution.h), and
 * what the run itself shows of repeatability. */
#ifndef TT_HISTORY_STORE_RESPONSE_H
#define TT_HISTORY_STORE_RESPONSE_H

#include "history/store/sql.h"
#include "model/between.h"
#include "model/series.h"

/* Keep what @solution knows of it for its result number @result; nothing where it knows nothing.
 * Within a transaction. */
TT_MUST_USE enum tiptrue_status tt_response_write(struct tiptrue_history *store,
                                                  sqlite3_int64 result,
                                                  const struct tiptrue_solution *solution,
                                                  struct tiptrue_error *error);

/* The same for the newest result of the run @id. @solution NULL: it cannot be solved again, and
 * nobody is to try. Within a group. */
TT_MUST_USE enum tiptrue_status tt_store_keep_response(struct tiptrue_history *store,
                                                       const char *id,
                                                       const struct tiptrue_solution *solution,
                                                       struct tiptrue_error *error);

/* Fill series->response from @solution, that of @run, one of the series, with the digits that are
 * kept. It stays NULL where the solution does not know. */
TT_MUST_USE enum tiptrue_status tt_response_take(struct tt_series *series,
                                                 const struct tt_series_run *run,
                                                 const struct tiptrue_solution *solution,
                                                 struct tiptrue_error *error);

/* Fill series->response from what is kept for the newest result of @run, one of the series; it
 * stays NULL where nothing is. Tips that the run does not have answer as the mean of the others. */
TT_MUST_USE enum tiptrue_status tt_store_response(struct tiptrue_history *store,
                                                  struct tt_series *series,
                                                  const struct tt_series_run *run,
                                                  struct tiptrue_error *error);

/* Fill what the runs of @series show of repeatability, or can_tell of a run of which nothing is
 * kept. */
TT_MUST_USE enum tiptrue_status tt_store_repeatability(struct tiptrue_history *store,
                                                       struct tt_series *series,
                                                       struct tiptrue_error *error);
/* The tips of *between (zeroed) from the scatter between runs that is kept for the machine of
 * @series, where it was found from what has the digest @of; *known false: none is. */
TT_MUST_USE enum tiptrue_status tt_store_scatter(struct tiptrue_history *store,
                                                 const struct tt_series *series, const char of[17],
                                                 bool *known, struct tiptrue_between *between,
                                                 struct tiptrue_error *error);
/* Keep the scatter between runs that @trend found, for who asks with the same runs. */
TT_MUST_USE enum tiptrue_status tt_store_keep_scatter(struct tiptrue_history *store,
                                                      const struct tiptrue_trend *trend,
                                                      struct tiptrue_error *error);

/* The same of one run, from its solution. */
void tt_response_own(const struct tiptrue_solution *from, struct tt_series_run *run);

#endif
