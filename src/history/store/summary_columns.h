/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Groups of columns of a summary: covariances, points, and the machine itself: picture, axes,
 * marks. */
#ifndef TT_HISTORY_STORE_SUMMARY_COLUMNS_H
#define TT_HISTORY_STORE_SUMMARY_COLUMNS_H

#include "base/buffer.h"
#include "history/store/sql.h"
#include "model/series.h"

/* The text of the column machine_numbers: the numbers of @run and their u in the order of enum
 * tt_series_number, and the marks, with blanks between; into @to, empty where all are 0. */
void tt_run_numbers_write(const struct tt_series_run *run, struct tt_buffer *to);
/* The way back. @text may be NULL: all 0. */
void tt_run_numbers_read(const char *text, struct tt_series_run *run);

/* Three of a covariance, mm^2, from parameter or column @at on; two of a point, mm. */
void tt_cov_bind(sqlite3_stmt *to, int at, const struct tt_cov2 *cov, int *code);
struct tt_cov2 tt_cov_columns(sqlite3_stmt *from, int at);
struct tt_machine_xy tt_xy_columns(sqlite3_stmt *from, int at);

#endif
