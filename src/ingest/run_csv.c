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
#include "ingest/rows.h"

#define HEADER_HINT "a line such as kind,target,tip,x,y,rotation stands before the rows"

struct reader {
    struct tt_builder *builder;
    struct tt_diagnose *diagnose;
    struct tt_table table;
    struct tt_rows rows;
    struct tt_head head;
};

static void read_remark(void *context, const struct tt_cell *remark)
{
    struct reader *reader = context;
    struct tt_cell key, value;
    if (tt_remark_split(remark, &key, &value)) {
        tt_metadata_add(reader->builder, &key, &value);
    }
}

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

static const enum tt_column required[] = {TT_KIND, TT_TARGET, TT_X, TT_Y};
#define N_REQUIRED (sizeof(required) / sizeof(required[0]))

/* Whether a required column is among the cells: if none is, they are no header. */
static bool is_any_required(const struct tt_head *head)
{
    for (size_t i = 0; i < head->count; i++) {
        size_t column = tt_head_find(head, &head->cells[i]);
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

/* Up to behind the header. */
static bool read_head(struct reader *reader)
{
    struct tt_diagnose *diagnose = reader->diagnose;
    struct tt_head *head = &reader->head;
    if (!tt_head_read(head)) {
        return false;
    }
    reader->rows.header = head->cells[0].at;
    if (head->count > TT_MOST_COLUMNS) {
        tt_fault(diagnose, tt_place_at(diagnose, head->cells[0].at), NULL, "more than %d columns",
                 TT_MOST_COLUMNS);
        return false;
    }
    if (!is_any_required(head)) {
        tt_fault(diagnose, tt_place_at(diagnose, head->cells[0].at), HEADER_HINT,
                 "a header that names the columns is expected");
        return false;
    }
    size_t faults = diagnose->faults;
    tt_head_columns(head, reader->rows.cells);
    reader->builder->states_stage = reader->rows.cells[TT_STAGE].at != NULL;
    reader->rows.signs.comma_allowed = reader->table.separator != ',';
    check_columns(reader);
    return diagnose->faults == faults;
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
    const struct tt_head *head = &reader->head;
    tt_head_tell_count(
        head,
        count < head->count
            ? tt_place_at(reader->diagnose, reader->rows.cells[head->place[count - 1]].at)
            : place_of_row(reader),
        count);
}

static void read_row(struct reader *reader, size_t count)
{
    if (count != reader->head.count) {
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
        enum tt_table_row got = tt_table_next(table, reader->head.place, reader->head.count,
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
    reader->head = (struct tt_head){.table = &reader->table,
                                    .names = tt_column_names,
                                    .n = TT_COLUMNS,
                                    .hint = HEADER_HINT,
                                    .remark = read_remark,
                                    .context = reader};
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
