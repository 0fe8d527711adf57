/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Each cell is checked even where another one of its row is wrong, so that one reading tells all
 * faults. */
#include "config.h"

#include "ingest/rows.h"

#include "ingest/units.h"

const char *const tt_column_names[TT_COLUMNS] = {
    [TT_KIND] = "kind",
    [TT_TARGET] = "target",
    [TT_TIP] = "tip",
    [TT_X] = "x",
    [TT_Y] = "y",
    [TT_ROTATION] = "rotation",
    [TT_Z] = "z",
    [TT_FEED] = "feed",
    [TT_TEMPERATURE] = "temperature",
    [TT_TIME] = "time",
    [TT_SETUP] = "setup",
    [TT_CONTACT] = "contact",
    [TT_STAGE] = "stage",
    [TT_APPROACH] = "approach",
    [TT_PX] = "px",
    [TT_PY] = "py",
};

/* What the numbers of a column are. */
static const char *const number_hints[TT_COLUMNS] = {
    [TT_X] = "mm, or inch where the file says 'units: inch'",
    [TT_Y] = "mm, or inch where the file says 'units: inch'",
    [TT_Z] = "mm, or inch where the file says 'units: inch'",
    [TT_ROTATION] = "degrees, counter-clockwise seen from above",
    [TT_FEED] = "mm/min, or inch/min where the file says 'units: inch'",
    [TT_TEMPERATURE] = "degrees Celsius",
    [TT_PX] = "pixels to the right from the picture's upper left corner",
    [TT_PY] = "pixels down from the picture's upper left corner",
};

/* What a number column may hold, in the file's own units. */
static const struct tt_bounds temperature_C = {-100.0, 300.0, false,
                                               "degrees Celsius, -100 to 300"};
static const struct tt_bounds feed_per_min = {0.0, 1e6, false, "mm/min or inch/min, 0 to 1000000"};

static struct tt_place place_of(const struct tt_rows *rows, enum tt_column column)
{
    return tt_place_at(rows->builder->diagnose, rows->cells[column].at);
}

/* Told once for a column that is not there, else for each cell. */
static void tell_missing(struct tt_rows *rows, enum tt_column column, const char *of)
{
    struct tt_diagnose *diagnose = rows->builder->diagnose;
    if (rows->cells[column].at != NULL) {
        tt_fault(diagnose, place_of(rows, column), NULL, "'%s' is missing, and %s needs one",
                 tt_column_names[column], of);
    } else if (!rows->told_absent[column]) {
        rows->told_absent[column] = true;
        tt_fault(diagnose, tt_place_at(diagnose, rows->header), NULL,
                 "the header names no column '%s', and %s needs one (line %zu)",
                 tt_column_names[column], of, rows->line);
    }
}

/* The number in the column's cell; false if the cell is empty or wrong (told). */
static bool read_number(struct tt_rows *rows, enum tt_column column, const struct tt_bounds *bounds,
                        double *value, int *decimals)
{
    const struct tt_number_column of = {tt_column_names[column], number_hints[column], bounds};

    return tt_cell_number(rows->builder->diagnose, &rows->signs, &rows->cells[column], &of, value,
                          decimals);
}

/* Index of the cell's word, or @n (told). */
static size_t read_word(const struct tt_rows *rows, enum tt_column column,
                        const char *const words[], size_t n, const char *many)
{
    const struct tt_cell *cell = &rows->cells[column];
    size_t i = tt_cell_find(cell, words, n);
    if (i == n) {
        char hint[TT_HINT_SIZE];
        tt_names_hint(words, n, many, cell->text, cell->length, hint);
        tt_fault(rows->builder->diagnose, place_of(rows, column), hint, "unknown %s '%s'",
                 tt_column_names[column], tt_shown(cell->text, cell->length).text);
    }
    return i;
}

static bool read_kind(struct tt_rows *rows, enum tt_kind *kind)
{
    const struct tt_cell *cell = &rows->cells[TT_KIND];
    if (cell->length == 0) {
        tell_missing(rows, TT_KIND, "a row");
        return false;
    }
    if (tt_cell_is(cell, "touch")) {
        *kind = TT_TOUCH;
        return true;
    }
    size_t word = read_word(rows, TT_KIND, tt_kind_words, TT_KINDS, "kinds");
    *kind = word < TT_KINDS ? (enum tt_kind)word : TT_SIGHT;
    return word < TT_KINDS;
}

/* "a touch", for messages. */
static const char *with_article(enum tt_kind kind)
{
    switch (kind) {
    case TT_SIGHT:
        return "a sight";
    case TT_TOUCH:
        return "a touch";
    case TT_HEIGHT:
        return "a height";
    case TT_WARMUP:
        return "a warmup";
    case TT_VIEW:
        return "a view";
    }
    return "a row";
}

static void read_names(struct tt_rows *rows, struct tt_observation *row)
{
    struct tt_builder *builder = rows->builder;
    const struct tt_cell *target = &rows->cells[TT_TARGET], *tip = &rows->cells[TT_TIP],
                         *setup = &rows->cells[TT_SETUP];
    row->target = row->tip = TT_NONE;
    if (target->length > 0) {
        row->target = tt_builder_target(builder, row->kind, target->text, target->length,
                                        (struct tt_origin){target->at, NULL});
    } else {
        tell_missing(rows, TT_TARGET, with_article(row->kind));
    }
    if (!tt_is_sighting(row->kind) && tip->length > 0) {
        row->tip =
            tt_builder_tip(builder, tip->text, tip->length, (struct tt_origin){tip->at, NULL});
    } else if (row->kind == TT_TOUCH || row->kind == TT_WARMUP) {
        tell_missing(rows, TT_TIP, with_article(row->kind));
    }
    row->setup = setup->length > 0
                     ? tt_builder_setup(builder, setup->text, setup->length,
                                        (struct tt_origin){setup->at, NULL})
                     : tt_builder_setup(builder, "1", 1, (struct tt_origin){setup->at, NULL});
}

static void read_position(struct tt_rows *rows, struct tt_observation *row, int *decimals)
{
    struct tt_bounds bounds = tt_any_position_mm;
    bounds.lowest /= rows->builder->mm_per_unit;
    bounds.highest /= rows->builder->mm_per_unit;
    int decimals_y = 0;
    if (!read_number(rows, TT_X, &bounds, &row->h.x_mm, decimals) &&
        rows->cells[TT_X].length == 0) {
        tell_missing(rows, TT_X, with_article(row->kind));
    }
    if (!read_number(rows, TT_Y, &bounds, &row->h.y_mm, &decimals_y) &&
        rows->cells[TT_Y].length == 0) {
        tell_missing(rows, TT_Y, with_article(row->kind));
    }
    *decimals = decimals_y > *decimals ? decimals_y : *decimals;
    row->has_z = read_number(rows, TT_Z, &bounds, &row->z_mm, &decimals_y);
    if (row->kind == TT_HEIGHT) { /* its z is what was measured */
        *decimals = decimals_y;
        if (rows->cells[TT_Z].length == 0) {
            tell_missing(rows, TT_Z, with_article(row->kind));
        }
    }
}

static void read_motion(struct tt_rows *rows, struct tt_observation *row)
{
    double rotation_deg = 0.0, feed = 0.0;
    const struct tt_cell *approach = &rows->cells[TT_APPROACH];
    if (!read_number(rows, TT_ROTATION, &tt_rotation_deg, &rotation_deg, NULL) &&
        row->kind == TT_TOUCH && rows->cells[TT_ROTATION].length == 0) {
        tell_missing(rows, TT_ROTATION, with_article(row->kind));
    }
    row->rotation_rad = tt_rad_from_deg(rotation_deg);
    if (read_number(rows, TT_FEED, &feed_per_min, &feed, NULL)) {
        row->feed_mm_s = feed / 60.0;
        if (feed == 0.0 && row->kind == TT_TOUCH) {
            tt_fault(rows->builder->diagnose, place_of(rows, TT_FEED),
                     "leave the cell empty where the feed is not known",
                     "feed 0 of a touch: nothing would have moved");
        }
    }
    if (approach->length > 0 &&
        !tt_approach_read(approach->text, approach->length, &row->approach_x, &row->approach_y)) {
        tt_fault(rows->builder->diagnose, place_of(rows, TT_APPROACH), TT_APPROACH_HINT,
                 "approach cannot be '%s'", tt_shown(approach->text, approach->length).text);
    }
}

/* How the row may be used: contact and stage. */
static void read_use(struct tt_rows *rows, struct tt_observation *row)
{
    const struct tt_cell *contact = &rows->cells[TT_CONTACT];
    row->use = row->kind == TT_WARMUP ? TT_USE_OTHER : TT_USE;
    if (rows->cells[TT_STAGE].length > 0) {
        size_t stage = read_word(rows, TT_STAGE, tt_stage_words, TT_STAGES, "stages");
        row->use = stage == 0 && (row->kind == TT_TOUCH || row->kind == TT_HEIGHT) ? TT_USE_FIND
                                                                                   : row->use;
    }
    if (tt_cell_is(contact, "0")) {
        row->use = row->kind == TT_WARMUP ? TT_USE_OTHER : TT_USE_NO_CONTACT;
    } else if (contact->length > 0 && !tt_cell_is(contact, "1")) {
        tt_fault(rows->builder->diagnose, place_of(rows, TT_CONTACT),
                 "1: the tip made contact; 0: the move ended without", "contact cannot be '%s'",
                 tt_shown(contact->text, contact->length).text);
    }
}

static void read_surroundings(struct tt_rows *rows, struct tt_observation *row)
{
    const struct tt_cell *time = &rows->cells[TT_TIME];
    row->has_temperature =
        read_number(rows, TT_TEMPERATURE, &temperature_C, &row->temperature_C, NULL);
    if (time->length > 0) {
        row->has_time = tt_builder_time(rows->builder, time, &row->time_s);
    }
}

/* Where a view has its mark in the picture. */
static void read_pixels(struct tt_rows *rows, struct tt_observation *row)
{
    static const struct tt_bounds any = {-TT_MOST_PIXELS, TT_MOST_PIXELS, false, "pixels"};
    double *pixel[2] = {&row->px, &row->py};
    int decimals = 0, most = 0;
    bool both = row->kind == TT_VIEW;

    for (int k = 0; k < 2 && row->kind == TT_VIEW; k++) {
        enum tt_column column = k == 0 ? TT_PX : TT_PY;
        if (rows->cells[column].length == 0) {
            tell_missing(rows, column, "a view");
        }
        both = read_number(rows, column, &any, pixel[k], &decimals) && both;
        most = decimals > most ? decimals : most;
    }
    if (both) {
        tt_builder_view(rows->builder, place_of(rows, TT_PX), row, most);
    }
}

void tt_rows_add(struct tt_rows *rows)
{
    struct tt_observation row = {.line = rows->line};
    size_t faults = rows->builder->diagnose->faults;
    int decimals = 0;
    if (read_kind(rows, &row.kind)) {
        read_names(rows, &row);
    }
    read_position(rows, &row, &decimals);
    read_pixels(rows, &row);
    read_motion(rows, &row);
    read_use(rows, &row);
    read_surroundings(rows, &row);
    if (rows->builder->diagnose->faults == faults) {
        tt_builder_add(rows->builder, &row, decimals);
    }
}
