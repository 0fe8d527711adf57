/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What cells of a table hold, whatever the table is of: numbers with one decimal sign in the whole
 * file, and remarks "# key: value". */
#ifndef TT_INGEST_CELLS_H
#define TT_INGEST_CELLS_H

#include "ingest/fields.h"
#include "ingest/table.h"

/* The decimal signs of a file: "1.234" beside "1,5" could be a thousand. Starts as {0}. */
struct tt_signs {
    bool comma_allowed;              /* a decimal comma may stand in numbers */
    const char *comma_at, *point_at; /* where the first of each stood */
    bool told;                       /* that there are two is told once */
};

/* A column of numbers: its name, what they are (NULL = nothing more to say), their bounds in the
 * file's own unit. */
struct tt_number_column {
    const char *name, *hint;
    const struct tt_bounds *bounds;
};

/* The number in @cell, in the file's own unit; false if the cell is empty or wrong (told).
 * *decimals (may be NULL): as tt_number_read. */
bool tt_cell_number(struct tt_diagnose *diagnose, struct tt_signs *signs,
                    const struct tt_cell *cell, const struct tt_number_column *column,
                    double *value, int *decimals);

/* "# key: value" into its parts; false for a remark that has no such form: the key is one word. */
bool tt_remark_split(const struct tt_cell *remark, struct tt_cell *key, struct tt_cell *value);

#endif
