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

/* A copy of @cell in @arena; NULL, and *out_of_memory set: no memory. */
const char *tt_cell_keep(struct tt_arena *arena, const struct tt_cell *cell, bool *out_of_memory);

/* Whether @cell is @word; the index of the one of @n words that it is, or @n. */
bool tt_cell_is(const struct tt_cell *cell, const char *word);
size_t tt_cell_find(const struct tt_cell *cell, const char *const words[], size_t n);

/* Columns of a table; one with more has another separator, or is no table. */
#define TT_MOST_COLUMNS 200

/* What stands before the rows of a table, and which of our columns its header names. */
struct tt_head {
    struct tt_table *table;
    const char *const *names; /* of our columns, @n of them */
    size_t n;
    const char *hint; /* what a header looks like */
    void (*remark)(void *context, const struct tt_cell *remark);
    void *context;
    struct tt_cell cells[TT_MOST_COLUMNS]; /* of the header */
    size_t count;                          /* of the file's columns */
    unsigned char place[TT_MOST_COLUMNS];  /* of the file's columns among ours; n: of none */
};

/* Hand over remarks up to the header, and read that; false: there is none (told). A row "sep=;",
 * which some spreadsheets write above the table, is passed: what separates is seen there anyway. */
bool tt_head_read(struct tt_head *head);
/* The column that a cell of the header names, whatever its case, as spreadsheets begin a cell with
 * a capital; head->n if it is none of ours. */
size_t tt_head_find(const struct tt_head *head, const struct tt_cell *cell);
/* Find the place of each column, and where it is named: columns[i].at. Unknown ones are warned of,
 * of two of one name the second is told. */
void tt_head_columns(struct tt_head *head, struct tt_cell columns[]);
/* Tell that a row has @count cells, at @place. */
void tt_head_tell_count(const struct tt_head *head, struct tt_place place, size_t count);

#endif
