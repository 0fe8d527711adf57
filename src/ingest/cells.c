/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "ingest/cells.h"

#include <string.h>
#include <strings.h>

#include "base/named.h"
#include "base/number.h"
#include "ingest/names.h"

/* Why the cell is not a number, in words. */
static void tell_number(struct tt_diagnose *diagnose, const struct tt_signs *signs,
                        const struct tt_cell *cell, const struct tt_number_column *column,
                        enum tt_number_status status)
{
    const char *hint = column->hint;
    const char *text = cell->text;
    size_t digits = cell->length > 0 && (*text == '+' || *text == '-') ? 1 : 0;
    const char *why = "is not a number";
    if (status == TT_NUMBER_RANGE) {
        why = "is too large for a number";
    } else if (cell->length > digits && (strchr("nNiI", text[digits]) != NULL)) {
        why = "is not a finite number";
    } else if (cell->length > digits + 1 && text[digits] == '0' &&
               (text[digits + 1] == 'x' || text[digits + 1] == 'X')) {
        why = "is hexadecimal, and a decimal number is expected";
    } else if (!signs->comma_allowed && memchr(text, ',', cell->length) != NULL) {
        why = "has a comma, and is not a number";
        hint = "write a decimal point, or separate the cells by ';' or tabs and use the comma in "
               "all numbers";
    }
    tt_fault(diagnose, tt_place_at(diagnose, cell->at), hint, "%s '%s' %s", column->name,
             tt_shown(text, cell->length).text, why);
}

/* One file has one decimal sign: "1.234" beside "1,5" could be a thousand. */
static void note_sign(struct tt_diagnose *diagnose, struct tt_signs *signs,
                      const struct tt_cell *cell, const char *name, bool comma)
{
    const char **first = comma ? &signs->comma_at : &signs->point_at;
    const char *other = comma ? signs->point_at : signs->comma_at;
    *first = *first != NULL ? *first : cell->at;
    if (other != NULL && !signs->told) {
        signs->told = true;
        size_t line = tt_place_at(diagnose, other).line;
        tt_fault(diagnose, tt_place_at(diagnose, cell->at),
                 "use one decimal sign in the whole file",
                 "%s '%s' has a decimal %s, and line %zu has a decimal %s", name,
                 tt_shown(cell->text, cell->length).text, comma ? "comma" : "point", line,
                 comma ? "point" : "comma");
    }
}

bool tt_cell_number(struct tt_diagnose *diagnose, struct tt_signs *signs,
                    const struct tt_cell *cell, const struct tt_number_column *column,
                    double *value, int *decimals)
{
    char point = '.';
    if (cell->length == 0) {
        return false;
    }
    if (signs->comma_allowed) {
        bool comma = memchr(cell->text, ',', cell->length) != NULL;
        bool dot = memchr(cell->text, '.', cell->length) != NULL;
        if (comma != dot) {
            note_sign(diagnose, signs, cell, column->name, comma);
        }
        point = comma ? ',' : '.';
    }
    double number = 0.0;
    enum tt_number_status status =
        tt_number_read(cell->text, cell->length, point, &number, decimals);
    if (status != TT_NUMBER_OK) {
        tell_number(diagnose, signs, cell, column, status);
        return false;
    }
    const struct tt_bounds *bounds = column->bounds;
    if (number < bounds->lowest || number > bounds->highest ||
        (bounds->above && number == bounds->lowest)) {
        tt_fault(diagnose, tt_place_at(diagnose, cell->at), bounds->hint, "%s cannot be '%s'",
                 column->name, tt_shown(cell->text, cell->length).text);
        return false;
    }
    *value = number;
    return true;
}

/* The first place from @at on that holds none of @these. */
static const char *behind(const char *at, const char *end, const char *these)
{
    while (at < end && strchr(these, *at) != NULL) {
        at++;
    }
    return at;
}

bool tt_remark_split(const struct tt_cell *remark, struct tt_cell *key, struct tt_cell *value)
{
    const char *end = remark->text + remark->length, *at = behind(remark->text, end, "# \t");
    *key = (struct tt_cell){at, 0, at};
    while (at < end && strchr(": \t", *at) == NULL) {
        at++;
    }
    key->length = (size_t)(at - key->text);
    at = behind(at, end, " \t");
    if (at == end || *at != ':' || key->length == 0) {
        return false;
    }
    at = behind(at + 1, end, " \t");
    *value = (struct tt_cell){at, (size_t)(end - at), at};
    return true;
}

const char *tt_cell_keep(struct tt_arena *arena, const struct tt_cell *cell, bool *out_of_memory)
{
    const char *text = tt_arena_copy_text(arena, cell->text, cell->length);

    *out_of_memory = *out_of_memory || text == NULL;
    return text;
}

bool tt_cell_is(const struct tt_cell *cell, const char *word)
{
    return strlen(word) == cell->length && memcmp(word, cell->text, cell->length) == 0;
}

size_t tt_cell_find(const struct tt_cell *cell, const char *const words[], size_t n)
{
    return tt_named(words, n, sizeof *words, cell->text, cell->length);
}

static bool is_separator_row(const struct tt_head *head)
{
    size_t length = head->cells[0].length;

    return head->count <= 2 && (length == 4 || length == 5) &&
           strncasecmp(head->cells[0].text, "sep=", 4) == 0 &&
           (head->count == 1 || head->cells[1].length == 0);
}

bool tt_head_read(struct tt_head *head)
{
    struct tt_diagnose *diagnose = head->table->diagnose;
    unsigned char in_order[TT_MOST_COLUMNS];
    size_t line;
    for (size_t i = 0; i < TT_MOST_COLUMNS; i++) {
        in_order[i] = (unsigned char)i;
    }
    for (;;) {
        tt_table_choose_separator(head->table);
        switch (tt_table_next(head->table, in_order, TT_MOST_COLUMNS, head->cells, &head->count,
                              &line)) {
        case TT_TABLE_END:
            tt_fault(diagnose, tt_place_file(diagnose), head->hint,
                     "the file has no header and no rows");
            return false;
        case TT_TABLE_REMARK:
            head->remark(head->context, &head->cells[0]);
            break;
        case TT_TABLE_ROW:
            if (!is_separator_row(head)) {
                return true;
            }
            break;
        case TT_TABLE_FAULT:
            return false;
        }
    }
}

size_t tt_head_find(const struct tt_head *head, const struct tt_cell *cell)
{
    size_t i = 0;
    while (i < head->n && !(strlen(head->names[i]) == cell->length &&
                            strncasecmp(head->names[i], cell->text, cell->length) == 0)) {
        i++;
    }
    return i;
}

void tt_head_columns(struct tt_head *head, struct tt_cell columns[])
{
    struct tt_diagnose *diagnose = head->table->diagnose;
    for (size_t i = 0; i < head->count; i++) {
        const struct tt_cell *cell = &head->cells[i];
        size_t column = tt_head_find(head, cell);
        head->place[i] = (unsigned char)column;
        if (column == head->n) {
            char hint[TT_HINT_SIZE];
            tt_names_hint(head->names, head->n, "columns", cell->text, cell->length, hint);
            tt_warn(diagnose, tt_place_at(diagnose, cell->at), hint,
                    "unknown column '%s' is not used", tt_shown(cell->text, cell->length).text);
        } else if (columns[column].at != NULL) {
            tt_fault(diagnose, tt_place_at(diagnose, cell->at), "leave one of them",
                     "there are two columns '%s'", head->names[column]);
        } else {
            columns[column].at = cell->at;
        }
    }
}

void tt_head_tell_count(const struct tt_head *head, struct tt_place place, size_t count)
{
    bool last = head->table->at >= head->table->end;
    const char *hint =
        count < head->count && last
            ? "the file looks cut short: copy it again, or take its last line out"
        : count < head->count ? "the row looks cut short"
        : head->table->separator == ','
            ? "a cell with a comma stands in quotation marks; decimal commas need ';' or tabs "
              "between the cells"
            : "a cell that holds the separator stands in quotation marks";
    tt_fault(head->table->diagnose, place, hint, "the row has %zu %s, and the header names %zu",
             count, count == 1 ? "cell" : "cells", head->count);
}
