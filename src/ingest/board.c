/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board as a table: remarks, a header that names the columns, a row for each part. The dialects
 * are those of a run log; lengths become millimetres and rotations counter-clockwise at the end. */
#include "config.h"

#include <stdlib.h>
#include <string.h>

#include "base/digest.h"
#include "ingest/board_metadata.h"
#include "ingest/bytes.h"
#include "ingest/cells.h"
#include "ingest/ingest.h"
#include "ingest/names.h"
#include "ingest/repeats.h"
#include "model/board.h"

enum column { PART, TIP, ROTATION, X, Y, FOUND_X, FOUND_Y, FOUND_ROTATION, COLUMNS };
static const char *const columns[COLUMNS] = {
    [PART] = "part",
    [TIP] = "tip",
    [ROTATION] = "rotation",
    [X] = "x",
    [Y] = "y",
    [FOUND_X] = "found_x",
    [FOUND_Y] = "found_y",
    [FOUND_ROTATION] = "found_rotation",
};
/* All but the part's name and the rotation it was found at. */
#define REQUIRED_HINT "the columns tip, rotation, x, y, found_x and found_y are required"
#define HEADER_HINT                                                                                \
    "a line such as part,tip,rotation,x,y,found_x,found_y,found_rotation stands before the rows"

struct reader {
    struct tt_diagnose *diagnose;
    const struct tiptrue_machine *machine;
    struct tiptrue_board *board;
    struct tt_arena scratch;
    struct tt_table table;
    struct tt_signs signs;
    struct tt_names tips;
    struct tt_cell cells[COLUMNS + 1]; /* the last one is for columns that are not used */
    struct tt_head head;
    struct tt_board_metadata metadata;
    size_t line;
    bool out_of_memory;
};

static struct tt_place place(struct reader *reader, const struct tt_cell *cell)
{
    return tt_place_at(reader->diagnose, cell->at);
}

static void read_remark(void *context, const struct tt_cell *remark)
{
    struct reader *reader = context;
    tt_board_remark(&reader->metadata, remark, false);
}

/* Up to behind the header. */
static bool read_head(struct reader *reader)
{
    struct tt_head *head = &reader->head;
    size_t faults = reader->diagnose->faults, known = 0;
    *head = (struct tt_head){.table = &reader->table,
                             .names = columns,
                             .n = COLUMNS,
                             .hint = HEADER_HINT,
                             .remark = read_remark,
                             .context = reader};
    if (!tt_head_read(head)) {
        return false;
    }
    for (size_t i = 0; i < head->count && i < TT_MOST_COLUMNS; i++) {
        known += tt_head_find(head, &head->cells[i]) < COLUMNS;
    }
    if (known < 2 || head->count > TT_MOST_COLUMNS) {
        tt_fault(reader->diagnose, place(reader, &head->cells[0]), HEADER_HINT,
                 "a header that names the columns is expected");
        return false;
    }
    tt_head_columns(head, reader->cells);
    for (size_t column = TIP; column <= FOUND_Y; column++) {
        if (reader->cells[column].at == NULL) {
            tt_fault(reader->diagnose, place(reader, &head->cells[0]), REQUIRED_HINT,
                     "the header names no column '%s'", columns[column]);
        }
    }
    reader->signs.comma_allowed = reader->table.separator != ',';
    return reader->diagnose->faults == faults;
}

/* The number of a cell that may be empty; false: empty or wrong. */
static bool read_number(struct reader *reader, enum column column, double *value)
{
    struct tt_bounds bounds = tt_any_position_mm;
    bool angle = column == ROTATION || column == FOUND_ROTATION;
    bounds.lowest /= reader->metadata.mm_per_unit;
    bounds.highest /= reader->metadata.mm_per_unit;
    const struct tt_number_column of = {columns[column],
                                        angle ? "degrees, as the machine counts them"
                                              : "mm, or inch where the file says 'units: inch'",
                                        angle ? &tt_rotation_deg : &bounds};
    return tt_cell_number(reader->diagnose, &reader->signs, &reader->cells[column], &of, value,
                          NULL);
}

static void tell_missing(struct reader *reader, enum column column)
{
    tt_fault(reader->diagnose, place(reader, &reader->cells[column]), NULL,
             "'%s' is missing, and a part needs one", columns[column]);
}

static size_t read_tip(struct reader *reader)
{
    const struct tt_cell *cell = &reader->cells[TIP];
    size_t index = tt_names_find(&reader->tips, cell->text, cell->length);
    if (index != TT_NONE || cell->length == 0) {
        if (cell->length == 0) {
            tell_missing(reader, TIP);
        }
        return index;
    }
    if (reader->machine != NULL && reader->machine->n_tips > 0) {
        char hint[TT_HINT_SIZE];
        tt_names_hint(reader->tips.texts, reader->tips.count, "tips", cell->text, cell->length,
                      hint);
        tt_fault(reader->diagnose, place(reader, cell), hint, "unknown tip '%s'",
                 tt_shown(cell->text, cell->length).text);
        return TT_NONE;
    }
    const char *name = tt_cell_keep(&reader->board->arena, cell, &reader->out_of_memory);
    if (name == NULL || !tt_names_add(&reader->tips, name)) {
        reader->out_of_memory = true;
        return TT_NONE;
    }
    return reader->tips.count - 1;
}

/* What was found, if the part was: both cells, or neither. */
static bool read_found(struct reader *reader, struct tt_part *part)
{
    double rotation_deg = 0.0;
    bool x = read_number(reader, FOUND_X, &part->found.x_mm);
    bool y = read_number(reader, FOUND_Y, &part->found.y_mm);
    bool empty_x = reader->cells[FOUND_X].length == 0, empty_y = reader->cells[FOUND_Y].length == 0;
    if (empty_x != empty_y) {
        tt_fault(reader->diagnose, place(reader, &reader->cells[empty_x ? FOUND_X : FOUND_Y]),
                 "both are empty where a part was not found", "'%s' is missing, and '%s' is there",
                 columns[empty_x ? FOUND_X : FOUND_Y], columns[empty_x ? FOUND_Y : FOUND_X]);
    }
    part->has_found_rotation = read_number(reader, FOUND_ROTATION, &rotation_deg);
    part->found_rotation_rad = tt_rad_from_deg(rotation_deg);
    return x && y;
}

static void append(struct reader *reader, const struct tt_part *part)
{
    struct tiptrue_board *board = reader->board;
    struct tt_part *to = tt_arena_more(&board->arena, &board->parts, &board->n_parts, sizeof *to);

    if (to == NULL) {
        reader->out_of_memory = true;
        return;
    }
    *to = *part;
}

static void read_part(struct reader *reader)
{
    static const enum column needed[] = {ROTATION, X, Y};
    size_t faults = reader->diagnose->faults;
    struct tt_part part = {.line = reader->line};
    double rotation_deg = 0.0;
    double *const values[] = {&rotation_deg, &part.wanted.x_mm, &part.wanted.y_mm};
    const struct tt_cell *name = &reader->cells[PART];
    part.tip = read_tip(reader);
    for (size_t i = 0; i < sizeof(needed) / sizeof(needed[0]); i++) {
        if (reader->cells[needed[i]].length == 0) {
            tell_missing(reader, needed[i]);
        } else {
            (void)read_number(reader, needed[i], values[i]);
        }
    }
    part.rotation_rad = tt_rad_from_deg(rotation_deg);
    bool found = read_found(reader, &part);
    if (reader->diagnose->faults > faults || reader->out_of_memory) {
        return;
    }
    if (!found) {
        reader->board->n_not_found++;
        return;
    }
    part.name =
        name->length > 0 ? tt_cell_keep(&reader->board->arena, name, &reader->out_of_memory) : NULL;
    append(reader, &part);
}

static void read_rows(struct reader *reader)
{
    size_t count = 0;
    while (!tt_diagnose_is_full(reader->diagnose) && !reader->out_of_memory) {
        switch (tt_table_next(&reader->table, reader->head.place, reader->head.count, reader->cells,
                              &count, &reader->line)) {
        case TT_TABLE_END:
            return;
        case TT_TABLE_REMARK:
            tt_board_remark(&reader->metadata, &reader->cells[0], true);
            break;
        case TT_TABLE_ROW:
            if (count != reader->head.count) {
                tt_head_tell_count(&reader->head,
                                   (struct tt_place){reader->diagnose->file, reader->line, 1},
                                   count);
            } else {
                read_part(reader);
            }
            break;
        case TT_TABLE_FAULT:
            break;
        }
    }
}

/* Only tips with parts stay, in their order; their names are the board's own. */
static void keep_tips(struct reader *reader)
{
    struct tiptrue_board *board = reader->board;
    size_t *to = TT_ARENA_NEW(&reader->scratch, reader->tips.count, size_t);
    board->tips = TT_ARENA_NEW(&board->arena, reader->tips.count, const char *);
    reader->out_of_memory = reader->out_of_memory || to == NULL || board->tips == NULL;
    for (size_t i = 0; i < board->n_parts && !reader->out_of_memory; i++) {
        to[board->parts[i].tip]++;
    }
    for (size_t i = 0; i < reader->tips.count && !reader->out_of_memory; i++) {
        const struct tt_cell name = {reader->tips.texts[i], reader->tips.lengths[i], NULL};
        if (to[i] > 0) {
            to[i] = board->n_tips;
            board->tips[board->n_tips++] =
                tt_cell_keep(&reader->board->arena, &name, &reader->out_of_memory);
        }
    }
    for (size_t i = 0; i < board->n_parts && !reader->out_of_memory; i++) {
        board->parts[i].tip = to[board->parts[i].tip];
    }
}

/* From the file's unit to mm, from the machine's sense to counter-clockwise. */
static void convert(struct reader *reader)
{
    struct tiptrue_board *board = reader->board;
    double unit = reader->metadata.mm_per_unit;
    board->clockwise = reader->machine != NULL && reader->machine->clockwise;
    board->u_board_mm *= unit;
    board->u_device_mm *= unit;
    for (size_t i = 0; i < board->n_parts; i++) {
        struct tt_part *part = &board->parts[i];
        part->wanted.x_mm *= unit;
        part->wanted.y_mm *= unit;
        part->found.x_mm *= unit;
        part->found.y_mm *= unit;
        if (board->clockwise) {
            part->rotation_rad = -part->rotation_rad;
            part->found_rotation_rad = -part->found_rotation_rad;
        }
    }
}

static void check_whole(struct reader *reader)
{
    const struct tiptrue_board *board = reader->board;
    if (board->n_parts == 0 && reader->diagnose->faults == 0) {
        tt_fault(reader->diagnose, tt_place_file(reader->diagnose), NULL,
                 board->n_not_found > 0 ? "no part has a place where it was found"
                                        : "the header is there, but no rows follow");
    }
    if (board->n_tips > TT_MOST_BOARD_TIPS) {
        tt_fault(reader->diagnose, tt_place_file(reader->diagnose), "is another thing in 'tip'?",
                 "parts of %zu tips, and at most %d are looked at", board->n_tips,
                 TT_MOST_BOARD_TIPS);
    }
    if (reader->machine != NULL && board->machine != NULL &&
        strcmp(board->machine, reader->machine->name) != 0) {
        tt_warn(reader->diagnose, tt_place_file(reader->diagnose),
                "is it the machine file that was meant?",
                "the board was made on machine '%s', and the machine file is of '%s'",
                tt_shown_text(board->machine).text, tt_shown_text(reader->machine->name).text);
    }
}

/* ---- parts that the file holds twice ---- */

/* Parts may be placed at one place again and again; four in a row that were found alike in every
 * digit were pasted. */
#define LEAST_BLOCK 4
#define NUMBERS 8

static void numbers_of(const void *parts, size_t i, double numbers[])
{
    const struct tt_part *p = (const struct tt_part *)parts + i;
    const double all[NUMBERS] = {p->wanted.x_mm,        p->wanted.y_mm,  p->found.x_mm,
                                 p->found.y_mm,         p->rotation_rad, p->found_rotation_rad,
                                 p->has_found_rotation, (double)p->tip};
    memcpy(numbers, all, sizeof(all));
}

/* They count once, and that is told. */
static void drop_repeats(struct reader *reader)
{
    struct tiptrue_board *board = reader->board;
    const struct tt_repeatable rows = {board->parts, board->n_parts, NUMBERS, numbers_of};
    bool *again = TT_ARENA_NEW(&reader->scratch, board->n_parts, bool);
    size_t count, kept = 0, first = 0;
    if (again == NULL || !tt_repeats_find(&rows, LEAST_BLOCK, again, &count, &reader->scratch)) {
        reader->out_of_memory = true;
        return;
    }
    for (size_t i = 0; i < board->n_parts && count > 0; i++) {
        first = again[i] && first == 0 ? board->parts[i].line : first;
        board->parts[kept] = board->parts[i];
        kept += !again[i];
    }
    if (count > 0) {
        board->n_parts = kept;
        tt_warn(reader->diagnose, (struct tt_place){reader->diagnose->file, first, 1},
                "was the file pasted or written twice? Remove the rows",
                "%zu rows are equal to earlier ones in every digit; they count once", count);
    }
}

static void read_text(struct reader *reader)
{
    const struct tiptrue_machine *machine = reader->machine;
    reader->tips.arena = &reader->scratch;
    for (size_t i = 0; machine != NULL && i < machine->n_tips; i++) {
        reader->out_of_memory =
            reader->out_of_memory || !tt_names_add(&reader->tips, machine->tips[i].name);
    }
    tt_table_init(&reader->table, reader->diagnose, &reader->scratch, reader->diagnose->text,
                  reader->diagnose->end);
    if (!reader->out_of_memory && read_head(reader)) {
        read_rows(reader);
    }
    reader->out_of_memory = reader->out_of_memory || reader->table.out_of_memory;
    if (!reader->out_of_memory && reader->diagnose->faults == 0) {
        drop_repeats(reader);
        keep_tips(reader);
        convert(reader);
        check_whole(reader);
    }
}

static enum tiptrue_status read_bytes(const char *name, const struct tt_bytes *bytes,
                                      const struct tiptrue_machine *machine,
                                      const struct tiptrue_sink *sink, struct tiptrue_board **board,
                                      struct tiptrue_error *error)
{
    struct tt_diagnose diagnose;
    struct tiptrue_board *made = calloc(1, sizeof(*made));
    if (made == NULL || (made->file = tt_arena_copy(&made->arena, name)) == NULL) {
        tiptrue_board_free(made);
        return tt_fail_memory(error);
    }
    struct reader reader = {.diagnose = &diagnose,
                            .machine = machine,
                            .board = made,
                            .metadata = {&diagnose, made, 1.0, {0}, false}};
    tt_digest(bytes->text, bytes->length, made->id);
    tt_diagnose_bytes(&diagnose, sink, error, made->file, bytes);
    if (tt_text_check(&diagnose) && tt_text_is_there(&diagnose)) {
        read_text(&reader);
    }
    enum tiptrue_status status =
        reader.out_of_memory ? tt_fail_memory(error) : tt_diagnose_status(&diagnose);
    tt_arena_clear(&reader.scratch);
    if (status == TIPTRUE_OK) {
        *board = made;
    } else {
        tiptrue_board_free(made);
    }
    return status;
}

enum tiptrue_status tiptrue_board_read(const char *path, const struct tiptrue_machine *machine,
                                       const struct tiptrue_sink *sink,
                                       struct tiptrue_board **board, struct tiptrue_error *error)
{
    struct tt_bytes bytes;
    enum tiptrue_status status = tt_bytes_read(path, &bytes, error);
    if (status == TIPTRUE_OK) {
        status = read_bytes(tt_bytes_name(path), &bytes, machine, sink, board, error);
        if (status == TIPTRUE_OK) {
            (*board)->source = bytes;
        } else {
            tt_bytes_clear(&bytes);
        }
    }
    return status;
}
