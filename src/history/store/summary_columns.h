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

/* Two of a point, mm, from column @at on. */
struct tt_machine_xy tt_xy_columns(sqlite3_stmt *from, int at);

/* A verdict; what is none is "repeat". */
enum tiptrue_verdict tt_verdict_column(sqlite3_stmt *from, int column);

/* A tip's columns, and how many. */
#define TT_TIP_COLUMNS                                                                             \
    "name, verdict, has, x_mm, y_mm, cov_xx_mm2, cov_xy_mm2, cov_yy_mm2, same_plate_xx_mm2, "      \
    "same_plate_xy_mm2, same_plate_yy_mm2, common_u_x_mm, common_u_y_mm, runout_x_mm, "            \
    "runout_y_mm, runout_xx_mm2, runout_xy_mm2, runout_yy_mm2, radius_mm, u_radius_mm, "           \
    "present_x_mm, present_y_mm, full_x_mm, full_y_mm, height_mm, u_height_mm, "                   \
    "full_u_height_mm, common_u_height_mm, present_height_mm, permitted_height_mm, height_pads, "  \
    "u_rivals_x_mm, u_rivals_y_mm"
enum { TT_TIP_AFTER = 33 };

/* A tip's columns, to be bound; they borrow what the tip has. */
void tt_tip_values(const char *name, const struct tt_series_tip *tip,
                   struct tt_sql_value to[TT_TIP_AFTER]);
/* Read them back; false: no memory. */
bool tt_tip_columns(struct tt_series *series, sqlite3_stmt *from, struct tt_series_tip *tip);

#endif
