/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* One pass over the bytes, nothing copied but cells with a doubled quotation mark. The NUL behind
 * the text ends every loop. */
#include "config.h"

#include "ingest/table.h"

#include <string.h>

void tt_table_init(struct tt_table *table, struct tt_diagnose *diagnose, struct tt_arena *arena,
                   const char *text, const char *end)
{
    *table =
        (struct tt_table){.diagnose = diagnose, .arena = arena, .at = text, .end = end, .line = 1};
    table->separator = ',';
    table->stops['\n'] = 1;
    table->stops['\0'] = 1;
    table->stops[','] = 1;
}

static bool is_blank(const struct tt_table *table, char c)
{
    return c == ' ' || c == '\r' || (c == '\t' && table->separator != '\t');
}

static void pass_line(struct tt_table *table)
{
    const char *feed = memchr(table->at, '\n', (size_t)(table->end - table->at));
    table->at = feed != NULL ? feed + 1 : table->end;
    table->line++;
}

static void pass_blank_lines(struct tt_table *table)
{
    const char *at = table->at;
    while (*at == ' ' || *at == '\t' || *at == '\r' || *at == '\n') {
        if (*at++ == '\n') {
            table->at = at;
            table->line++;
        }
    }
}

void tt_table_choose_separator(struct tt_table *table)
{
    static const char separators[] = ";,\t"; /* the first of those that are as many */
    size_t counts[3] = {0, 0, 0}, best = 0;
    pass_blank_lines(table);
    for (const char *at = table->at; *at != '\n' && *at != '\0'; at++) {
        for (size_t i = 0; i < 3; i++) {
            counts[i] += *at == separators[i];
        }
    }
    for (size_t i = 1; i < 3; i++) {
        best = counts[i] > counts[best] ? i : best;
    }
    table->stops[(unsigned char)table->separator] = 0;
    table->separator = counts[best] > 0 ? separators[best] : ',';
    table->stops[(unsigned char)table->separator] = 1;
}

/* From the byte behind the opening quotation mark, @inner bytes with doubled marks among them. */
static bool decode(struct tt_table *table, const char *first, size_t inner, struct tt_cell *cell)
{
    char *text = tt_arena_get(table->arena, inner + 1, 1);
    if (text == NULL) {
        table->out_of_memory = true;
        return false;
    }
    size_t n = 0;
    for (size_t i = 0; i < inner; i++) {
        text[n++] = first[i];
        i += first[i] == '"'; /* its twin */
    }
    cell->text = text;
    cell->length = n;
    return true;
}

/* The quoted cell whose mark is at table->at. Behind it table->at stands at a stop. */
static bool read_quoted(struct tt_table *table, struct tt_cell *cell)
{
    const char *mark = table->at, *at = mark + 1;
    bool doubled = false;
    for (; at < table->end && (*at != '"' || at[1] == '"'); at++) {
        if (*at == '"') {
            doubled = true;
            at++;
        } else if (*at == '\n') {
            table->line++;
        }
    }
    if (at >= table->end) {
        tt_fault(table->diagnose, tt_place_at(table->diagnose, mark),
                 "a cell that begins with '\"' ends with '\"'",
                 "a quoted cell is not closed before the file ends");
        table->at = table->end;
        return false;
    }
    cell->at = cell->text = mark + 1;
    cell->length = (size_t)(at - mark - 1);
    table->at = at + 1;
    while (is_blank(table, *table->at)) {
        table->at++;
    }
    if (!table->stops[(unsigned char)*table->at]) {
        tt_fault(table->diagnose, tt_place_at(table->diagnose, table->at),
                 "double a quotation mark that belongs to the cell", "text behind a quoted cell");
        pass_line(table);
        return false;
    }
    return !doubled || decode(table, mark + 1, cell->length, cell);
}

/* The bare cell that begins at @at: ends at a stop, blanks behind it left out. Returns the stop. */
static inline const char *read_bare(const struct tt_table *table, const char *at,
                                    struct tt_cell *cell)
{
    cell->at = cell->text = at;
    while (!table->stops[(unsigned char)*at]) {
        at++;
    }
    const char *last = at;
    while (last > cell->text && is_blank(table, last[-1])) {
        last--;
    }
    cell->length = (size_t)(last - cell->text);
    return at;
}

/* The whole line as one cell, without what quoting or a spreadsheet put around it. */
static enum tt_table_row read_remark(struct tt_table *table, struct tt_cell *cell)
{
    const char *first = table->at;
    size_t line = table->line;
    pass_line(table);
    table->line = line + 1;
    const char *last = table->at;
    while (last > first && (strchr("\n\r \t,;", last[-1]) != NULL)) {
        last--;
    }
    if (*first == '"') {
        first++;
        last -= last > first && last[-1] == '"';
    }
    *cell = (struct tt_cell){first, (size_t)(last - first), first};
    return TT_TABLE_REMARK;
}

/* One row from table->at on, up to behind its line end. *empty: no cell had text. */
static bool read_row(struct tt_table *table, const unsigned char place[], size_t n_places,
                     struct tt_cell cells[], size_t *count, bool *empty)
{
    struct tt_cell beyond;
    size_t n = 0;
    *empty = true;
    for (;; table->at++) {
        struct tt_cell *cell = n < n_places ? &cells[place[n]] : &beyond;
        while (is_blank(table, *table->at)) {
            table->at++;
        }
        if (*table->at == '"') {
            if (!read_quoted(table, cell)) {
                return false;
            }
        } else {
            table->at = read_bare(table, table->at, cell);
        }
        n++;
        *empty = *empty && cell->length == 0;
        if (*table->at != table->separator) {
            break;
        }
    }
    if (*table->at == '\n') {
        table->at++;
        table->line++;
    }
    *count = n;
    return true;
}

enum tt_table_row tt_table_next(struct tt_table *table, const unsigned char place[],
                                size_t n_places, struct tt_cell cells[], size_t *count,
                                size_t *line)
{
    bool empty = true;
    while (empty) {
        if (table->at >= table->end) {
            return TT_TABLE_END;
        }
        *line = table->line;
        if (*table->at == '#' || (*table->at == '"' && table->at[1] == '#')) {
            return read_remark(table, &cells[0]);
        }
        if (!read_row(table, place, n_places, cells, count, &empty)) {
            return TT_TABLE_FAULT;
        }
    }
    return TT_TABLE_ROW;
}
