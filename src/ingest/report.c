/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A line at a time: the pattern cannot see beyond it. A line with two reports shows that the
 * pattern takes in too little. */
#include "config.h"

#include "ingest/report.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "ingest/fields.h"
#include "model/machine.h"

static void tell_group(struct tt_diagnose *diagnose, const struct tt_cell *cell, const char *group,
                       const char *expected)
{
    struct tt_place place = tt_place_at(diagnose, cell->at);
    if (cell->length == 0) {
        tt_fault(diagnose, place, "let the pattern match only lines that have it",
                 "the report's '%s' is empty", group);
    } else {
        tt_fault(diagnose, place, "let the pattern match just that",
                 "the report's %s '%s' is not %s", group, tt_shown(cell->text, cell->length).text,
                 expected);
    }
}

static bool read_coordinate(struct tt_diagnose *diagnose, const struct tt_cell *cell,
                            const char *group, double largest, double *value, int *decimals)
{
    if (tt_number_read(cell->text, cell->length, '.', value, decimals) != TT_NUMBER_OK) {
        tell_group(diagnose, cell, group, "a number");
        return false;
    }
    if (fabs(*value) > largest) {
        tell_group(diagnose, cell, group, "within 100 m");
        return false;
    }
    return true;
}

/* A number that a report may have; *has: it does. False: it is wrong (told). */
static bool read_extra(struct tt_diagnose *diagnose, const struct tt_cell *cell, const char *group,
                       const struct tt_bounds *bounds, bool *has, double *value)
{
    *has = cell->length > 0;
    if (!*has) {
        return true;
    }
    if (tt_number_read(cell->text, cell->length, '.', value, NULL) != TT_NUMBER_OK) {
        tell_group(diagnose, cell, group, "a number");
        return false;
    }
    if (!(*value >= bounds->lowest && *value <= bounds->highest)) {
        tell_group(diagnose, cell, group, bounds->hint);
        return false;
    }
    return true;
}

/* What a report may have besides: rotation, feed, temperature, time. */
static bool read_extras(struct tt_diagnose *diagnose, const struct tt_cell groups[TT_GROUPS],
                        struct tt_report *report)
{
    static const struct tt_bounds degrees = {-36000.0, 36000.0, false, "degrees within 100 turns"};
    static const struct tt_bounds feeds = {0.0, 1e6, false, "a feed per minute, 0 to 1000000"};
    static const struct tt_bounds celsius = {-100.0, 300.0, false, "degrees Celsius, -100 to 300"};
    bool good = read_extra(diagnose, &groups[TT_GROUP_ROTATION], "rotation", &degrees,
                           &report->has_rotation, &report->rotation_deg);

    good = read_extra(diagnose, &groups[TT_GROUP_FEED], "feed", &feeds, &report->has_feed,
                      &report->feed) &&
           good;
    good = read_extra(diagnose, &groups[TT_GROUP_TEMPERATURE], "temperature", &celsius,
                      &report->has_temperature, &report->temperature_C) &&
           good;
    report->time = groups[TT_GROUP_TIME];
    return good;
}

/* Where the mark is in the picture: both or neither. */
static bool read_pixels(struct tt_diagnose *diagnose, const struct tt_cell groups[TT_GROUPS],
                        struct tt_report *report)
{
    const struct tt_cell *px = &groups[TT_GROUP_PX], *py = &groups[TT_GROUP_PY];
    int decimals_y = 0;

    report->has_pixels = px->length > 0 || py->length > 0;
    if (!report->has_pixels) {
        return true;
    }
    bool good =
        read_coordinate(diagnose, px, "px", TT_MOST_PIXELS, &report->px, &report->pixel_decimals);
    good = read_coordinate(diagnose, py, "py", TT_MOST_PIXELS, &report->py, &decimals_y) && good;
    report->pixel_decimals =
        decimals_y > report->pixel_decimals ? decimals_y : report->pixel_decimals;
    return good;
}

/* The groups as a report; false if one is wrong (told). */
static bool read_report(const struct tt_pattern *pattern, struct tt_diagnose *diagnose,
                        const struct tt_cell groups[TT_GROUPS], double largest,
                        struct tt_report *report)
{
    int decimals_y = 0;
    bool good =
        read_coordinate(diagnose, &groups[TT_GROUP_X], "x", largest, &report->x, &report->decimals);
    good = read_coordinate(diagnose, &groups[TT_GROUP_Y], "y", largest, &report->y, &decimals_y) &&
           good;
    report->decimals = decimals_y > report->decimals ? decimals_y : report->decimals;
    report->has_z = groups[TT_GROUP_Z].length > 0;
    if (report->has_z) {
        good = read_coordinate(diagnose, &groups[TT_GROUP_Z], "z", largest, &report->z,
                               &report->decimals_z) &&
               good;
    }
    good = read_pixels(diagnose, groups, report) && good;
    report->contact = true;
    if (tt_pattern_has(pattern, TT_GROUP_OK)) {
        char expected[TT_OK_WORDS_SIZE];
        if (!tt_pattern_ok(pattern, &groups[TT_GROUP_OK], &report->contact, expected)) {
            tell_group(diagnose, &groups[TT_GROUP_OK], "ok", expected);
            good = false;
        }
    }
    good = read_extras(diagnose, groups, report) && good;
    if (tt_pattern_has(pattern, TT_GROUP_ID) && groups[TT_GROUP_ID].length == 0) {
        tell_group(diagnose, &groups[TT_GROUP_ID], "id", "");
        good = false;
    }
    return good;
}

static bool append(struct tt_reports *reports, struct tt_arena *arena,
                   const struct tt_report *report)
{
    struct tt_report *made = tt_arena_more(arena, &reports->items, &reports->count, sizeof *made);

    if (made != NULL) {
        *made = *report;
    }
    return made != NULL;
}

/* The report's id as a text of its own. */
static bool keep_id(const struct tt_pattern *pattern, const struct tt_cell *cell,
                    struct tt_arena *arena, struct tt_report *report)
{
    if (!tt_pattern_has(pattern, TT_GROUP_ID)) {
        return true;
    }
    report->id = tt_arena_copy_text(arena, cell->text, cell->length);
    return report->id != NULL;
}

static enum tiptrue_status read_line(struct tt_pattern *pattern, struct tt_diagnose *diagnose,
                                     const char *line, size_t length, double largest,
                                     struct tt_arena *arena, struct tt_reports *reports,
                                     struct tiptrue_error *error)
{
    struct tt_cell groups[TT_GROUPS], again[TT_GROUPS];
    struct tt_report report = {0};
    size_t behind = 0, behind_again = 0;
    bool found = false, second = false;
    enum tiptrue_status status =
        tt_pattern_find(pattern, line, length, 0, &found, groups, &behind, error);
    if (status != TIPTRUE_OK || !found) {
        return status;
    }
    struct tt_place place = tt_place_at(diagnose, groups[TT_GROUP_X].at);
    report.at = groups[TT_GROUP_X].at;
    report.line = place.line;
    if (behind > 0 && behind < length) {
        status =
            tt_pattern_find(pattern, line, length, behind, &second, again, &behind_again, error);
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    if (second && behind_again > behind) {
        tt_fault(diagnose, tt_place_at(diagnose, again[TT_GROUP_X].at),
                 "let the pattern take in all of a report", "a second report on one line");
        return TIPTRUE_OK;
    }
    if (!read_report(pattern, diagnose, groups, largest, &report)) {
        return TIPTRUE_OK;
    }
    if (reports->count > 0) {
        const struct tt_report *before = &reports->items[reports->count - 1];
        report.repeats = before->x == report.x && before->y == report.y && before->z == report.z;
    }
    bool kept =
        keep_id(pattern, &groups[TT_GROUP_ID], arena, &report) && append(reports, arena, &report);
    return kept ? TIPTRUE_OK : tt_fail_memory(error);
}

enum tiptrue_status tt_reports_read(struct tt_pattern *pattern, struct tt_diagnose *diagnose,
                                    double largest, struct tt_arena *arena,
                                    struct tt_reports *reports, struct tiptrue_error *error)
{
    const char *line = diagnose->text;
    while (line < diagnose->end && !tt_diagnose_is_full(diagnose)) {
        const char *feed = memchr(line, '\n', (size_t)(diagnose->end - line));
        const char *end = feed != NULL ? feed : diagnose->end;
        size_t length = (size_t)(end - line);
        length -= length > 0 && line[length - 1] == '\r';
        enum tiptrue_status status =
            read_line(pattern, diagnose, line, length, largest, arena, reports, error);
        if (status != TIPTRUE_OK) {
            return status;
        }
        line = end + 1;
    }
    return TIPTRUE_OK;
}
