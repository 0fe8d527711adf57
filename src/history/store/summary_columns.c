/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See summary_columns.h. */
#include "config.h"

#include "history/store/summary_columns.h"

#include <string.h>

#include "base/number.h"

void tt_run_numbers_write(const struct tt_series_run *run, struct tt_buffer *to)
{
    bool any = run->marks > 0;

    for (int k = 0; k < TT_SERIES_NUMBERS; k++) {
        any = any || run->u_machine[k] > 0;
    }
    for (int k = 0; k < 2 * TT_SERIES_NUMBERS && any; k++) {
        tt_number_write(to, k < TT_SERIES_NUMBERS ? run->machine[k]
                                                  : run->u_machine[k - TT_SERIES_NUMBERS]);
        tt_buffer_putc(to, ' ');
    }
    if (any) {
        tt_buffer_printf(to, "%zu", run->marks);
    }
}

void tt_run_numbers_read(const char *text, struct tt_series_run *run)
{
    for (int k = 0; k <= 2 * TT_SERIES_NUMBERS && text != NULL; k++) {
        size_t length = strcspn(text, " ");
        double value = 0;
        if (tt_number_read(text, length, '.', &value, NULL) != TT_NUMBER_OK) {
            return;
        }
        if (k < TT_SERIES_NUMBERS) {
            run->machine[k] = value;
        } else if (k < 2 * TT_SERIES_NUMBERS) {
            run->u_machine[k - TT_SERIES_NUMBERS] = value;
        } else {
            run->marks = value > 0 && value < 1e6 ? (size_t)value : 0;
        }
        text = text[length] != '\0' ? text + length + 1 : NULL;
    }
}

void tt_cov_bind(sqlite3_stmt *to, int at, const struct tt_cov2 *cov, int *code)
{
    tt_sql_real(to, at, cov->xx_mm2, code);
    tt_sql_real(to, at + 1, cov->xy_mm2, code);
    tt_sql_real(to, at + 2, cov->yy_mm2, code);
}

struct tt_machine_xy tt_xy_columns(sqlite3_stmt *from, int column)
{
    return (struct tt_machine_xy){sqlite3_column_double(from, column),
                                  sqlite3_column_double(from, column + 1)};
}

struct tt_cov2 tt_cov_columns(sqlite3_stmt *from, int column)
{
    return (struct tt_cov2){sqlite3_column_double(from, column),
                            sqlite3_column_double(from, column + 1),
                            sqlite3_column_double(from, column + 2)};
}
