/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "ingest/cells.h"

#include <string.h>

#include "base/number.h"

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
