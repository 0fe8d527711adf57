/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Boards of a history: among the events of a trend, before a job, in lists and exports. */
#ifndef TT_APP_BOARDS_H
#define TT_APP_BOARDS_H

#include "history/store/boards.h"
#include "model/ready.h"
#include "model/trend.h"
#include "tiptrue.h"

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
