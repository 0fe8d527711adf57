/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the calls on a history's weeks share. */
#ifndef TT_APP_WEEKS_H
#define TT_APP_WEEKS_H

#include "history/store/store.h"
#include "model/ready.h"
#include "model/series.h"
#include "model/solution.h"
#include "model/trend.h"
#include "tiptrue.h"

/* What is asked before every job looks at so many latest runs: the scatter between them, and how
 * the last one stands to the others. With twice as many a shift of 10 um is seen in 5 of 100
 * mornings more, and the time before every job doubles. */
#define TT_LATEST_RUNS 41

/* The latest @most_runs runs of @machine within @query (NULL: all), and what its solutions make of
 * an edge that shifts, from the latest run whose log is there: on its plate. */
TT_MUST_USE enum tiptrue_status tt_history_series(struct tiptrue_history *history,
                                                  const char *machine,
                                                  const struct tt_store_query *query,
                                                  size_t most_runs, struct tt_series *series,
                                                  struct tiptrue_error *error);

/* What @series shows, which tt_history_series read. TIPTRUE_E_NO_INPUT: it has no runs. */
TT_MUST_USE enum tiptrue_status
tt_history_trend_in(struct tiptrue_history *history, struct tt_series *series,
                    const struct tt_store_query *query, const struct tiptrue_trend_options *options,
                    struct tiptrue_trend **trend, struct tiptrue_error *error);

/* What the result @before was given with: solving anew is to show what else changed. The caller's:
 * tiptrue_between_free; names live in @before. */
TT_MUST_USE enum tiptrue_status tt_between_of_result(struct tiptrue_history *history,
                                                     const struct tiptrue_solution *before,
                                                     struct tiptrue_between **between,
                                                     struct tiptrue_error *error);

/* Boards of a history: among the events of a trend, before a job, in lists and exports. */

/* Boards of the trend's machine from its first run on, up to the end that @query (may be NULL)
 * has, among its events. */
TT_MUST_USE enum tiptrue_status tt_history_boards(struct tiptrue_history *history,
                                                  struct tiptrue_trend *trend,
                                                  const struct tt_store_query *query,
                                                  struct tiptrue_error *error);

/* The latest board of @machine before @now_s, and the latest one that confirms the calibration. */
TT_MUST_USE enum tiptrue_status tt_history_last_boards(struct tiptrue_history *history,
                                                       const char *machine, double now_s,
                                                       struct tt_last_board *latest,
                                                       struct tt_last_board *confirmed,
                                                       struct tiptrue_error *error);

#endif
