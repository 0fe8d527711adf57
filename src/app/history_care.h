/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which runs of a history are meant, and what keeps it right: a log that is there already with
 * other line ends, runs that are to be forgotten. */
#ifndef TT_APP_HISTORY_CARE_H
#define TT_APP_HISTORY_CARE_H

#include "history/store/store.h"
#include "model/run.h"
#include "model/series.h"
#include "tiptrue.h"

/* The query as the store takes it. TIPTRUE_E_USAGE: since or until is no time and no run. */
TT_MUST_USE enum tiptrue_status tt_history_query(struct tiptrue_history *history,
                                                 const struct tiptrue_history_query *from,
                                                 struct tt_store_query *query,
                                                 struct tiptrue_error *error);

/* Whether @query (may be NULL) has an end; its start, if it has one, into *since_s. */
bool tt_history_bounds(const struct tt_store_query *query, double *since_s);
/* Only runs up to @until_s, and of these the latest @most_runs. */
void tt_history_cut(struct tt_series *series, double until_s, size_t most_runs);

/* TIPTRUE_E_NO_INPUT: there are no runs of @machine (NULL: of any, which is no fault). */
TT_MUST_USE enum tiptrue_status tt_history_known(struct tiptrue_history *history,
                                                 const char *machine, struct tiptrue_error *error);

/* tt_trend_make, its changes in words. */
TT_MUST_USE enum tiptrue_status tt_history_trend_of(const struct tt_series *series, size_t stored,
                                                    const struct tiptrue_trend_options *options,
                                                    struct tiptrue_trend **trend,
                                                    struct tiptrue_error *error);

/* Notes of the runs that @trend looked at, among its events. */
TT_MUST_USE enum tiptrue_status tt_history_notes(struct tiptrue_history *history,
                                                 struct tiptrue_trend *trend,
                                                 struct tiptrue_error *error);

/* The run that has the log of @run but for its line ends, if @run is not there itself: saved again
 * by an editor or sent by mail, it is no other run. @id empty: there is none. */
TT_MUST_USE enum tiptrue_status tt_history_twin(struct tiptrue_history *history,
                                                const struct tiptrue_run *run,
                                                char id[TT_RUN_ID_SIZE],
                                                struct tiptrue_error *error);

#endif
