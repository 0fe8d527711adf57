/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See summary_columns.h. */
#include "config.h"

#include "history/store/summary_columns.h"

#include <string.h>

#include "base/number.h"
#include "history/series/series.h"

/* The flags in tip.has. */
enum { HAS_OFFSET = 1, HAS_RUNOUT = 2, HAS_RADIUS = 4, HAS_PRESENT = 8, IS_DOUBTED = 16 };

void tt_run_numbers_write(const struct tt_series_run *run, struct tt_buffer *to)
{
    bool any = run->marks > 0 || run->lost_motion_mm != 0;

    for (int k = 0; k < TT_SERIES_NUMBERS; k++) {
        any = any || run->u_machine[k] > 0;
    }
    for (int k = 0; k < 2 * TT_SERIES_NUMBERS && any; k++) {
        tt_number_write(to, k < TT_SERIES_NUMBERS ? run->machine[k]
                                                  : run->u_machine[k - TT_SERIES_NUMBERS]);
        tt_buffer_putc(to, ' ');
    }
    if (any) {
        tt_buffer_printf(to, "%zu ", run->marks);
        tt_number_write(to, run->lost_motion_mm);
    }
}

void tt_run_numbers_read(const char *text, struct tt_series_run *run)
{
    for (int k = 0; k <= 2 * TT_SERIES_NUMBERS + 1 && text != NULL; k++) {
        size_t length = strcspn(text, " ");
        double value = 0;
        if (tt_number_read(text, length, '.', &value, NULL) != TT_NUMBER_OK) {
            return;
        }
        if (k < TT_SERIES_NUMBERS) {
            run->machine[k] = value;
        } else if (k < 2 * TT_SERIES_NUMBERS) {
            run->u_machine[k - TT_SERIES_NUMBERS] = value;
        } else if (k > 2 * TT_SERIES_NUMBERS) {
            run->lost_motion_mm = value;
        } else {
            run->marks = value > 0 && value < 1e6 ? (size_t)value : 0;
        }
        text = text[length] != '\0' ? text + length + 1 : NULL;
    }
}

struct tt_machine_xy tt_xy_columns(sqlite3_stmt *from, int column)
{
    return (struct tt_machine_xy){sqlite3_column_double(from, column),
                                  sqlite3_column_double(from, column + 1)};
}

static struct tt_cov2 cov_columns(sqlite3_stmt *from, int column)
{
    return (struct tt_cov2){sqlite3_column_double(from, column),
                            sqlite3_column_double(from, column + 1),
                            sqlite3_column_double(from, column + 2)};
}

enum tiptrue_verdict tt_verdict_column(sqlite3_stmt *from, int column)
{
    int verdict = sqlite3_column_int(from, column);
    return verdict >= TIPTRUE_KEEP && verdict <= TIPTRUE_NOT_MEASURED
               ? (enum tiptrue_verdict)verdict
               : TIPTRUE_REPEAT;
}

void tt_tip_values(const char *name, const struct tt_series_tip *tip,
                   struct tt_sql_value to[TT_TIP_AFTER])
{
    int has = (tip->has_offset ? HAS_OFFSET : 0) | (tip->has_runout ? HAS_RUNOUT : 0) |
              (tip->has_radius ? HAS_RADIUS : 0) | (tip->has_present ? HAS_PRESENT : 0) |
              (tip->doubted ? IS_DOUBTED : 0);
    bool height = tip->has_height;
    const struct tt_sql_value values[TT_TIP_AFTER] = {
        TT_AS_TEXT(name),
        TT_AS_INTEGER(tip->verdict),
        TT_AS_INTEGER(has),
        TT_AS_XY(tip->offset),
        TT_AS_COV(tip->cov),
        TT_AS_COV(tip->same_plate_cov),
        TT_AS_REAL(tip->common_u_x_mm),
        TT_AS_REAL(tip->common_u_y_mm),
        TT_AS_XY(tip->runout),
        TT_AS_COV(tip->runout_cov),
        TT_AS_REAL(tip->radius_mm),
        TT_AS_REAL(tip->u_radius_mm),
        TT_AS_XY(tip->present),
        TT_AS_XY(tip->full),
        TT_AS_KNOWN(height, TT_AS_REAL(tip->height_mm)),
        TT_AS_KNOWN(height, TT_AS_REAL(tip->u_height_mm)),
        TT_AS_KNOWN(height, TT_AS_REAL(tip->full_u_height_mm)),
        TT_AS_KNOWN(height, TT_AS_REAL(tip->common_u_height_mm)),
        TT_AS_KNOWN(tip->has_present_height, TT_AS_REAL(tip->present_height_mm)),
        TT_AS_KNOWN(tip->has_permitted_height, TT_AS_REAL(tip->permitted_height_mm)),
        TT_AS_TEXT(tip->pads),
        TT_AS_REAL(tip->u_rivals_x_mm),
        TT_AS_REAL(tip->u_rivals_y_mm)};

    memcpy(to, values, sizeof values);
}

bool tt_tip_columns(struct tt_series *series, sqlite3_stmt *from, struct tt_series_tip *tip)
{
    const char *name = tt_sql_column(from, 0);
    bool good = true;
    int has = sqlite3_column_int(from, 2);

    tip->tip = name != NULL ? tt_series_tip_index(series, name) : TT_NONE;
    tip->verdict = tt_verdict_column(from, 1);
    tip->has_offset = (has & HAS_OFFSET) != 0;
    tip->has_runout = (has & HAS_RUNOUT) != 0;
    tip->has_radius = (has & HAS_RADIUS) != 0;
    tip->has_present = (has & HAS_PRESENT) != 0;
    tip->doubted = (has & IS_DOUBTED) != 0;
    tip->offset = tt_xy_columns(from, 3);
    tip->cov = cov_columns(from, 5);
    tip->same_plate_cov = cov_columns(from, 8);
    tip->common_u_x_mm = sqlite3_column_double(from, 11);
    tip->common_u_y_mm = sqlite3_column_double(from, 12);
    tip->runout =
        (struct tt_tip_xy){sqlite3_column_double(from, 13), sqlite3_column_double(from, 14)};
    tip->runout_cov = cov_columns(from, 15);
    tip->radius_mm = sqlite3_column_double(from, 18);
    tip->u_radius_mm = sqlite3_column_double(from, 19);
    tip->present = tt_xy_columns(from, 20);
    tip->full = tt_xy_columns(from, 22);
    tip->has_height = sqlite3_column_type(from, 24) != SQLITE_NULL;
    tip->height_mm = sqlite3_column_double(from, 24);
    tip->u_height_mm = sqlite3_column_double(from, 25);
    tip->full_u_height_mm = sqlite3_column_double(from, 26);
    tip->common_u_height_mm = sqlite3_column_double(from, 27);
    tip->has_present_height = sqlite3_column_type(from, 28) != SQLITE_NULL;
    tip->present_height_mm = sqlite3_column_double(from, 28);
    tip->has_permitted_height = sqlite3_column_type(from, 29) != SQLITE_NULL;
    tip->permitted_height_mm = sqlite3_column_double(from, 29);
    tip->pads = tt_arena_keep(series->arena, tt_sql_column(from, 30), &good);
    tip->u_rivals_x_mm = sqlite3_column_double(from, 31);
    tip->u_rivals_y_mm = sqlite3_column_double(from, 32);
    return tip->tip != TT_NONE && good;
}
