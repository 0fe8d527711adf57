/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A table of cells in a text (RFC 4180, and the ways in which real files differ), read in place, a
 * row at a time. Knows no column.
 */
#ifndef TT_INGEST_TABLE_H
#define TT_INGEST_TABLE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "ingest/diagnose.h"

/* A piece of text and where it stands in the file. */
struct tt_cell {
    const char *text; /* in the file itself, or decoded from it */
    size_t length;
    const char *at; /* in the file */
};

struct tt_table {
    struct tt_diagnose *diagnose;
    struct tt_arena *arena; /* for cells that hold a quotation mark */
    const char *at, *end;   /* what is not read yet; *end is '\0' */
    size_t line;            /* of @at */
    char separator;
    bool out_of_memory;
    unsigned char stops[256]; /* 1: a bare cell ends before this byte */
};

enum tt_table_row {
    TT_TABLE_END,    /* no further row */
    TT_TABLE_ROW,    /* a row; cells and count are set */
    TT_TABLE_REMARK, /* a line that begins with '#' (also as a quoted cell); cells[0] is the whole
                        line, without line end */
    TT_TABLE_FAULT   /* a wrong quotation mark: told, the line is passed; or out of memory */
};

/* @text is free of NUL and ends with one at @end. */
void tt_table_init(struct tt_table *table, struct tt_diagnose *diagnose, struct tt_arena *arena,
                   const char *text, const char *end);

/* Pass blank lines, and choose the separator by the line that comes next: whichever of ';', ',' and
 * tab is most frequent in it. */
void tt_table_choose_separator(struct tt_table *table);

/* The next row that is not blank (a row of empty cells is blank). Cell i goes to cells[place[i]],
 * for i < @n_places; cells beyond are counted, not stored. *line is the line of the row's
 * beginning. A cell has no blanks around it, and no quotation marks. */
enum tt_table_row tt_table_next(struct tt_table *table, const unsigned char place[],
                                size_t n_places, struct tt_cell cells[], size_t *count,
                                size_t *line);

#endif
