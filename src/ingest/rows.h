/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The columns of a run log, and what their cells may hold. The same for CSV and JSON: a row is a
 * cell of text per column. */
#ifndef TT_INGEST_ROWS_H
#define TT_INGEST_ROWS_H

#include "ingest/builder.h"
#include "ingest/cells.h"
#include "ingest/table.h"

enum tt_column {
    TT_KIND,
    TT_TARGET,
    TT_TIP,
    TT_X,
    TT_Y,
    TT_ROTATION,
    TT_Z,
    TT_FEED,
    TT_TEMPERATURE,
    TT_TIME,
    TT_SETUP,
    TT_CONTACT,
    TT_STAGE,
    TT_APPROACH,
    TT_PX,
    TT_PY,
    TT_COLUMNS /* how many */
};
extern const char *const tt_column_names[TT_COLUMNS];

struct tt_rows {
    struct tt_builder *builder;
    struct tt_cell cells[TT_COLUMNS + 1]; /* of the row; an empty cell has length 0 and its place;
                                             at NULL: the table has no such column; the last one is
                                             for columns that are not used */
    const char *header;                   /* where the header of a table stands */
    bool told_absent[TT_COLUMNS];         /* that a column is not there is told once */
    size_t line;                          /* of the row */
    struct tt_signs signs;                /* of the file's numbers */
};

/* Check the row in rows->cells and append it to the run. Its faults are told, each at its cell. */
void tt_rows_add(struct tt_rows *rows);

#endif
