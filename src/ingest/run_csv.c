/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run log as a table: metadata lines, a header that names the columns, rows. Two passes over no
 * byte, nothing kept per row but its observation; cost linear in the file.
 */
#include "config.h"

#include <string.h>
#include <strings.h>

#include "ingest/cells.h"
#include "ingest/formats.h"
#include "ingest/metadata.h"
#include "ingest/rows.h"

/* Columns of a table. The names we know are 14; a log with more than this has another separator, or
 * is no table. */
#define MOST_COLUMNS 200

#define HEADER_HINT "a line such as kind,target,tip,x,y,rotation stands before the rows"

struct reader {
    struct tt_builder *builder;
    struct tt_diagnose *diagnose;
    struct tt_table table;
    struct tt_rows rows;
    unsigned char place[MOST_COLUMNS]; /* of the file's columns among ours */
    size_t n_columns;
};

/* Metadata stand before the header: the units of rows that are read already cannot be changed. */
static void read_late_remark(struct reader *reader, const struct tt_cell *remark)
{
    struct tt_cell key, value;
    if (tt_remark_split(remark, &key, &value) && tt_metadata_is_key(&key)) {
        tt_fault(reader->diagnose, tt_place_at(reader->diagnose, key.at),
                 "write it before the header", "'%s' is stated after the header line",
                 tt_shown(key.text, key.length).text);
    }
}

static size_t find_column(const struct tt_cell *cell)
{
    size_t column = 0;
    /* whatever its case: spreadsheets begin a cell with a capital */
    while (column < TT_COLUMNS &&
           !(strlen(tt_column_names[column]) == cell->length &&
             strncasecmp(tt_column_names[column], cell->text, cell->length) == 0)) {
        column++;
    }
    return column;
}

/* The column that a cell of the header names; TT_COLUMNS if it is not ours. */
static unsigned char read_column(struct reader *reader, const struct tt_cell *cell)
{
    size_t column = find_column(cell);
    struct tt_place place = tt_place_at(reader->diagnose, cell->at);
    if (column == TT_COLUMNS) {
        char hint[TT_HINT_SIZE];
        tt_names_hint(tt_column_names, TT_COLUMNS, "columns", cell->text, cell->length, hint);
        tt_warn(reader->diagnose, place, hint, "unknown column '%s' is not used",
                tt_shown(cell->text, cell->length).text);
    } else if (reader->rows.cells[column].at != NULL) {
        tt_fault(reader->diagnose, place, "leave one of them", "there are two columns '%s'",
                 tt_column_names[column]);
    } else {
        reader->rows.cells[column].at = cell->at;
    }
    return (unsigned char)column;
}

static const enum tt_column required[] = {TT_KIND, TT_TARGET, TT_X, TT_Y};
#define N_REQUIRED (sizeof(required) / sizeof(required[0]))

/* Whether a required column is among the cells: if none is, they are no header. */
static bool is_any_required(const struct tt_cell *cells, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        size_t column = find_column(&cells[i]);
        for (size_t j = 0; j < N_REQUIRED; j++) {
            if (column == (size_t)required[j]) {
                return true;
            }
        }
    }
    return false;
}

static void check_columns(struct reader *reader)
{
    for (size_t i = 0; i < N_REQUIRED; i++) {
        if (reader->rows.cells[required[i]].at == NULL) {
            tt_fault(reader->diagnose, tt_place_at(reader->diagnose, reader->rows.header),
                     "the columns kind, target, x and y are required",
                     "the header names no column '%s'", tt_column_names[required[i]]);
        }
    }
}

/* The header's cells into reader->place. */
static bool read_columns(struct reader *reader, const struct tt_cell *cells)
{
    struct tt_diagnose *diagnose = reader->diagnose;
    reader->rows.header = cells[0].at;
    if (reader->n_columns > MOST_COLUMNS) {
        tt_fault(diagnose, tt_place_at(diagnose, cells[0].at), NULL, "more than %d columns",
                 MOST_COLUMNS);
        return false;
    }
    if (!is_any_required(cells, reader->n_columns)) {
        tt_fault(diagnose, tt_place_at(diagnose, cells[0].at), HEADER_HINT,
                 "a header that names the columns is expected");
        return false;
    }
    size_t faults = diagnose->faults;
    for (size_t i = 0; i < reader->n_columns; i++) {
        reader->place[i] = read_column(reader, &cells[i]);
    }
    reader->builder->states_stage = reader->rows.cells[TT_STAGE].at != NULL;
    reader->rows.signs.comma_allowed = reader->table.separator != ',';
    check_columns(reader);
    return diagnose->faults == faults;
}

/* "sep=;", which some spreadsheets write above the table: what separates is seen there anyway. */
static bool is_separator_row(const struct tt_cell *cells, size_t n)
{
    size_t length = cells[0].length;

    return n <= 2 && (length == 4 || length == 5) && strncasecmp(cells[0].text, "sep=", 4) == 0 &&
           (n == 1 || cells[1].length == 0);
}

/* Up to behind the header. */
static bool read_head(struct reader *reader)
{
    struct tt_cell cells[MOST_COLUMNS], key, value;
    unsigned char in_order[MOST_COLUMNS];
    size_t line;
    for (size_t i = 0; i < MOST_COLUMNS; i++) {
        in_order[i] = (unsigned char)i;
    }
    for (;;) {
        tt_table_choose_separator(&reader->table);
        switch (tt_table_next(&reader->table, in_order, MOST_COLUMNS, cells, &reader->n_columns,
                              &line)) {
        case TT_TABLE_END:
            tt_fault(reader->diagnose, tt_place_file(reader->diagnose), HEADER_HINT,
                     "the file has no header and no rows");
            return false;
        case TT_TABLE_REMARK:
            if (tt_remark_split(&cells[0], &key, &value)) {
                tt_metadata_add(reader->builder, &key, &value);
            }
            break;
        case TT_TABLE_ROW:
            if (is_separator_row(cells, reader->n_columns)) {
                break;
            }
            return read_columns(reader, cells);
        case TT_TABLE_FAULT:
            return false;
        }
    }
}

/* Whether the row is the header once more: two logs in one file. */
static bool is_header(const struct reader *reader)
{
    const struct tt_cell *kind = &reader->rows.cells[TT_KIND],
                         *target = &reader->rows.cells[TT_TARGET];
    return kind->length == 4 && strncasecmp(kind->text, "kind", 4) == 0 && target->length == 6 &&
           strncasecmp(target->text, "target", 6) == 0;
}

static struct tt_place place_of_row(const struct reader *reader)
{
    return (struct tt_place){reader->diagnose->file, reader->rows.line, 1};
}

/* At the last cell of a row that is too short. */
static void tell_count(struct reader *reader, size_t count)
{
    bool last = reader->table.at >= reader->table.end;
    const char *hint = count < reader->n_columns && last
                           ? "the file looks cut short: copy it again, or take its last line out"
                       : count < reader->n_columns ? "the row looks cut short"
                       : reader->table.separator == ','
                           ? "a cell with a comma stands in quotation marks; decimal commas need "
                             "';' or tabs between the cells"
                           : "a cell that holds the separator stands in quotation marks";
    struct tt_place place =
        count < reader->n_columns
            ? tt_place_at(reader->diagnose, reader->rows.cells[reader->place[count - 1]].at)
            : place_of_row(reader);
    tt_fault(reader->diagnose, place, hint, "the row has %zu %s, and the header names %zu", count,
             count == 1 ? "cell" : "cells", reader->n_columns);
}

static void read_row(struct reader *reader, size_t count)
{
    if (count != reader->n_columns) {
        tell_count(reader, count);
    } else if (reader->rows.cells[TT_KIND].length == 4 && is_header(reader)) {
        size_t first = tt_place_at(reader->diagnose, reader->rows.header).line;
        tt_fault(reader->diagnose, place_of_row(reader), "are there two logs in one file?",
                 "the header stands here again, first in line %zu", first);
    } else {
        tt_rows_add(&reader->rows);
    }
}

static void read_rows(struct reader *reader)
{
    struct tt_table *table = &reader->table;
    size_t count = 0;
    bool any = false;
    while (!tt_diagnose_is_full(reader->diagnose) && !reader->builder->out_of_memory) {
        enum tt_table_row got = tt_table_next(table, reader->place, reader->n_columns,
                                              reader->rows.cells, &count, &reader->rows.line);
        if (got == TT_TABLE_ROW) {
            read_row(reader, count);
        } else if (got == TT_TABLE_REMARK) {
            read_late_remark(reader, &reader->rows.cells[0]);
        } else if (got == TT_TABLE_FAULT) {
            reader->builder->out_of_memory = reader->builder->out_of_memory || table->out_of_memory;
        } else {
            break;
        }
        any = any || got != TT_TABLE_REMARK;
    }
    if (!any && !reader->builder->out_of_memory) {
        tt_fault(reader->diagnose, tt_place_file(reader->diagnose), NULL,
                 "the header is there, but no rows follow");
    }
}

static void begin(struct reader *reader, struct tt_builder *builder)
{
    *reader = (struct reader){.builder = builder, .diagnose = builder->diagnose};
    reader->rows.builder = builder;
    tt_table_init(&reader->table, builder->diagnose, &builder->scratch, builder->diagnose->text,
                  builder->diagnose->end);
}

bool tt_run_read_csv_head(struct tt_builder *builder)
{
    struct reader reader;
    begin(&reader, builder);
    bool found = read_head(&reader);
    builder->out_of_memory = builder->out_of_memory || reader.table.out_of_memory;
    return found;
}

void tt_run_read_csv(struct tt_builder *builder)
{
    struct reader reader;
    begin(&reader, builder);
    if (read_head(&reader)) {
        read_rows(&reader);
    }
    builder->out_of_memory = builder->out_of_memory || reader.table.out_of_memory;
}
