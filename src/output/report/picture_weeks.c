/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* One quantity over the weeks, a lane for each tip above each other on one axis of time, so that
 * what all tips share is seen as shared: values with their 95 % bars, centre line and control
 * limits, moving average, signals, changes as brackets between two runs, drift with its forecast,
 * exports on the axis.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>
#include <stdio.h>

#include "output/report/markup.h"
#include "output/page.h"

#define TOP 20.0
#define LANE 96.0
#define LEAST_LANE 46.0
#define MOST_HEIGHT 760.0 /* a sheet of A4 holds it in one column of two */
#define GAP 17.0          /* above each lane, for its name */
#define DAY_S 86400.0

static const struct {
    const char *title, *name;
} QUANTITIES[] = {[TT_WEEKS_OFFSET_X] = {"Offset x over the weeks", "offset-x"},
                  [TT_WEEKS_OFFSET_Y] = {"Offset y over the weeks", "offset-y"},
                  [TT_WEEKS_RUNOUT] = {"Eccentricity over the weeks", "runout"},
                  [TT_WEEKS_RADIUS] = {"Contact radius over the weeks", "radius"},
                  [TT_WEEKS_HEIGHT] = {"Height over the weeks", "height"}};

struct sheet {
    const struct tt_weeks *weeks;
    const struct tiptrue_zone *zone;
    struct tt_picture *picture;
    struct tt_scale time; /* seconds */
    enum tt_weeks_quantity quantity;
    double low_um, high_um; /* of every lane, from its origin: lanes are compared by eye */
    double lane_height;
    size_t n_lanes;
    double top; /* of the current lane */
};

/* ---- a lane ---- */

/* Micrometres from the middle of the lane's values, so that a lane shows its changes and not its
 * level. */
static double origin_of(const struct sheet *sheet, const struct tt_weeks_series *series)
{
    const struct tt_units *units = tt_units_or_mm(sheet->picture->units);
    struct tt_extent range = {0};

    for (size_t i = 0; i < series->n_points; i++) {
        tt_extent_add(&range, series->points[i].value_mm);
    }
    double digits = pow(10, units->decimals) * units->per_mm; /* as it is shown */
    return round(digits * 0.5 * (range.low + range.high)) / digits;
}

/* Adds what a lane is to show, mm from its origin: of what is permitted the nearer end, where the
 * values lie beyond it. */
static void add_range(const struct sheet *sheet, struct tt_extent *range,
                      const struct tt_weeks_series *series)
{
    double origin_mm = origin_of(sheet, series);
    struct tt_extent values = {0};

    for (size_t i = 0; i < series->n_points; i++) {
        const struct tt_weeks_point *point = &series->points[i];
        tt_extent_add(&values, point->value_mm - point->expanded_mm - origin_mm);
        tt_extent_add(&values, point->value_mm + point->expanded_mm - origin_mm);
        if (point->has_limits) {
            tt_extent_span(&values, point->low_mm - origin_mm, point->high_mm - origin_mm);
        }
    }
    for (size_t i = 0; i < series->n_drift; i++) {
        tt_extent_add(&values, series->drift[i].low_mm - origin_mm);
        tt_extent_add(&values, series->drift[i].high_mm - origin_mm);
    }
    if (values.any) {
        double low = values.low, high = values.high;
        if (series->has_permitted) {
            high = fmax(high, fmin(series->permitted_low_mm - origin_mm, high + (high - low)));
            low = fmin(low, fmax(series->permitted_high_mm - origin_mm, low - (high - low)));
        }
        tt_extent_span(range, low, high);
    }
}

/* x and y of the offset are the same kind of thing, and have one scale. */
static bool is_like(enum tt_weeks_quantity one, enum tt_weeks_quantity other)
{
    return one == other || (one <= TT_WEEKS_OFFSET_Y && other <= TT_WEEKS_OFFSET_Y);
}

static void set_range(struct sheet *sheet)
{
    struct tt_extent range = {0};

    for (size_t s = 0; s < sheet->weeks->n_series; s++) {
        if (is_like(sheet->weeks->series[s].quantity, sheet->quantity)) {
            add_range(sheet, &range, &sheet->weeks->series[s]);
        }
    }
    sheet->low_um = 1000 * range.low;
    sheet->high_um = 1000 * range.high;
}

/* A line through one value of each point; points without it break it. */
enum course { CENTRE, LOW, HIGH, EWMA };

static void draw_course(const struct sheet *sheet, const struct tt_scale *scale,
                        const struct tt_weeks_series *series, double origin_mm, enum course what,
                        const char *class)
{
    struct tt_buffer *svg = &sheet->picture->svg;
    bool pen_down = false;

    tt_buffer_printf(svg, "<path class=\"%s\" d=\"", class);
    for (size_t i = 0; i < series->n_points; i++) {
        const struct tt_weeks_point *point = &series->points[i];
        bool there = what == EWMA     ? point->has_ewma
                     : what == CENTRE ? point->has_centre
                                      : point->has_limits;
        double mm = what == EWMA     ? point->ewma_mm
                    : what == CENTRE ? point->centre_mm
                    : what == LOW    ? point->low_mm
                                     : point->high_mm;
        if (there) {
            tt_buffer_putc(svg, pen_down ? 'L' : 'M');
            tt_markup(svg, "@ @",
                      TT_AT(tt_scale_place(&sheet->time, point->time_s),
                            tt_scale_clip(scale, 1000 * (mm - origin_mm))));
        }
        pen_down = there;
    }
    tt_buffer_puts(svg, "\"/>\n");
}

static void draw_drift(const struct sheet *sheet, const struct tt_scale *scale,
                       const struct tt_weeks_series *series, double origin_mm)
{
    struct tt_buffer *svg = &sheet->picture->svg;

    if (series->n_drift < 2) {
        return;
    }
    tt_buffer_puts(svg, "<path class=\"o\" d=\"");
    for (size_t i = 0; i < 2 * series->n_drift;
         i++) { /* along the upper end, back along the lower */
        size_t k = i < series->n_drift ? i : 2 * series->n_drift - 1 - i;
        double mm = i < series->n_drift ? series->drift[k].high_mm : series->drift[k].low_mm;
        tt_buffer_putc(svg, i == 0 ? 'M' : 'L');
        tt_markup(svg, "@ @",
                  TT_AT(tt_scale_place(&sheet->time, series->drift[k].time_s),
                        tt_scale_clip(scale, 1000 * (mm - origin_mm))));
    }
    tt_buffer_puts(svg, "z\"/>\n<path class=\"d\" d=\"");
    for (size_t i = 0; i < series->n_drift; i++) {
        tt_buffer_putc(svg, i == 0 ? 'M' : 'L');
        tt_markup(svg, "@ @",
                  TT_AT(tt_scale_place(&sheet->time, series->drift[i].time_s),
                        tt_scale_clip(scale, 1000 * (series->drift[i].mean_mm - origin_mm))));
    }
    tt_buffer_puts(svg, "\"/>\n");
}

/* What is permitted about the value in use, as far as the lane shows it. */
static void draw_permitted(const struct sheet *sheet, const struct tt_scale *scale,
                           const struct tt_weeks_series *series, double origin_mm)
{
    double low = tt_scale_clip(scale, 1000 * (series->permitted_low_mm - origin_mm)),
           high = tt_scale_clip(scale, 1000 * (series->permitted_high_mm - origin_mm));

    if (series->has_permitted && low > high) {
        tt_markup(&sheet->picture->svg, "<path class=\"pm\" d=\"M@ @H@V@H@z\"/>\n",
                  TT_AT(TT_PLOT_LEFT, low, TT_PLOT_RIGHT, high, TT_PLOT_LEFT));
    }
}

static bool shows_change(const struct sheet *sheet, const struct tt_weeks_change *change,
                         size_t tip)
{
    return (change->tip == TT_NONE || change->tip == tip) &&
           (sheet->quantity == TT_WEEKS_HEIGHT ? change->in_height : change->in_others);
}

/* The time between two runs in which a change came about, as a band with a bracket above. */
static void draw_changes(const struct sheet *sheet, size_t tip)
{
    double top = sheet->top, bottom = sheet->top + sheet->lane_height;

    for (size_t i = 0; i < sheet->weeks->n_changes; i++) {
        const struct tt_weeks_change *change = &sheet->weeks->changes[i];
        if (shows_change(sheet, change, tip)) {
            double left = tt_scale_clip(&sheet->time, change->after_s),
                   right = tt_scale_clip(&sheet->time, change->before_s);
            tt_buffer_puts(&sheet->picture->svg, "<g class=\"change\">");
            tt_markup(&sheet->picture->svg, "<path class=\"B\" d=\"M@ @H@V@H@z\"/>",
                      TT_AT(left, top, right, bottom, left));
            tt_markup(&sheet->picture->svg, "<path class=\"v\" d=\"M@ @V@H@V@\"><title>",
                      TT_AT(left, bottom, top + 1, right, bottom));
            tt_markup_short(&sheet->picture->svg, change->text, 300);
            tt_buffer_puts(&sheet->picture->svg, "</title></path></g>\n");
        }
    }
}

/* The numbers that the changes have in the text, at the end of the lane that the runs after them
 * leave free; those that would meet stand beneath each other. */
static void number_changes(const struct sheet *sheet, const struct tt_scale *scale,
                           const struct tt_weeks_series *series, double origin_mm)
{
    double middle = sheet->top + 0.5 * sheet->lane_height, last = -TT_PICTURE_WIDTH, row = 0;

    for (size_t i = 0, k = 0; i < sheet->weeks->n_changes; i++) {
        const struct tt_weeks_change *change = &sheet->weeks->changes[i];
        char number[24];
        if (!shows_change(sheet, change, series->tip)) {
            continue;
        }
        while (k + 1 < series->n_points && series->points[k].time_s < change->before_s) {
            k++;
        }
        bool above =
            tt_scale_place(scale, 1000 * (series->points[k].value_mm - origin_mm)) < middle;
        snprintf(number, sizeof number, "%zu", i + 1);
        double x = fmin(tt_scale_clip(&sheet->time, change->before_s) + 3,
                        TT_PLOT_RIGHT - tt_picture_text_width(number));
        row = x < last ? fmod(row + 1, fmax(floor(0.5 * sheet->lane_height / 12), 1)) : 0;
        last = x + tt_picture_text_width(number) + 2;
        tt_picture_text(sheet->picture, "no", x,
                        above ? sheet->top + sheet->lane_height - 4 - 12 * row
                              : sheet->top + 11 + 12 * row,
                        "start", number, 8);
    }
}

static void tell_point(struct tt_buffer *out, const struct sheet *sheet,
                       const struct tt_weeks_point *point)
{
    const struct tt_units *units = sheet->picture->units;

    tt_markup_time(out, sheet->zone, point->time_s);
    tt_picture_say(sheet->picture, out, ", %s mm " TT_PLUS_MINUS " %s " TT_UM,
                   tt_signed_length(units, point->value_mm, 4, true).text,
                   tt_signed_small(units, point->expanded_mm, 1, false).text);
    if (point->run_id != NULL) {
        tt_buffer_puts(out, ", run ");
        tt_markup_short(out, point->run_id, 20);
    }
}

static void draw_points(const struct sheet *sheet, const struct tt_scale *scale,
                        const struct tt_weeks_series *series, double origin_mm)
{
    struct tt_buffer *svg = &sheet->picture->svg;

    tt_buffer_puts(svg, "<path class=\"k\" d=\"");
    for (size_t i = 0; i < series->n_points; i++) {
        const struct tt_weeks_point *point = &series->points[i];
        double um = 1000 * (point->value_mm - origin_mm), u_um = 1000 * point->expanded_mm;
        tt_markup(svg, "M@ @V@",
                  TT_AT(tt_scale_place(&sheet->time, point->time_s),
                        tt_scale_clip(scale, um - u_um), tt_scale_clip(scale, um + u_um)));
    }
    tt_buffer_puts(svg, "\"/>\n");
    for (size_t i = 0; i < series->n_points; i++) {
        const struct tt_weeks_point *point = &series->points[i];
        double x = tt_scale_place(&sheet->time, point->time_s),
               y = tt_scale_place(scale, 1000 * (point->value_mm - origin_mm));
        tt_picture_mark(sheet->picture, TT_MARK_USED, x, y);
        tell_point(svg, sheet, point);
        tt_picture_mark_end(sheet->picture, TT_MARK_USED);
        if (point->signal) {
            tt_picture_mark(sheet->picture, TT_MARK_SIGNAL, x, y);
            tt_buffer_puts(svg, "signal: ");
            tell_point(svg, sheet, point);
            tt_picture_mark_end(sheet->picture, TT_MARK_SIGNAL);
        }
    }
}

static void name_lane(const struct sheet *sheet, const char *tip, double origin_mm)
{

    tt_picture_text(sheet->picture, "", TT_PLOT_LEFT, sheet->top - 4, "start", tip, TT_NAME_MOST);
    tt_picture_text(
        sheet->picture, "m", TT_PLOT_RIGHT, sheet->top - 4, "end",
        tt_picture_words(sheet->picture, TT_UM " from %s mm",
                         tt_signed_length(sheet->picture->units, origin_mm, 4, true).text),
        24);
}

static void write_rows(const struct sheet *sheet, const struct tt_weeks_series *series,
                       const char *tip)
{
    struct tt_picture *p = sheet->picture;

    for (size_t i = 0; i < series->n_points; i++) {
        const struct tt_weeks_point *point = &series->points[i];
        tt_picture_row(p);
        tt_picture_cell_named(p, tip, "");
        tt_buffer_puts(&p->rows, "<td class=\"t\">");
        tt_markup_time(&p->rows, sheet->zone, point->time_s);
        tt_buffer_puts(&p->rows, "</td>");
        tt_picture_cell_length(p, point->value_mm, 4, true);
        tt_picture_cell_small(p, point->expanded_mm, 1, false);
        tt_picture_cell(p, point->signal ? "signal" : "");
        tt_picture_row_end(p);
    }
}

static void draw_lane(const struct sheet *sheet, const struct tt_weeks_series *series, bool last)
{
    double origin_mm = origin_of(sheet, series), bottom = sheet->top + sheet->lane_height;
    struct tt_scale scale = tt_scale_make(
        (struct tt_span){sheet->low_um, sheet->high_um, 2, bottom, sheet->top,
                         sheet->lane_height > 70 ? 4 : 2, true, tt_picture_per_um(sheet->picture)});
    const char *tip = sheet->weeks->tips[series->tip];

    draw_permitted(sheet, &scale, series, origin_mm);
    draw_changes(sheet, series->tip);
    tt_picture_axis_y(sheet->picture, &scale, TT_PLOT_LEFT, TT_PLOT_RIGHT);
    tt_draw_days(sheet->picture, &sheet->time, sheet->zone, sheet->top, bottom, last);
    name_lane(sheet, tip, origin_mm);
    draw_drift(sheet, &scale, series, origin_mm);
    draw_course(sheet, &scale, series, origin_mm, CENTRE, "z");
    draw_course(sheet, &scale, series, origin_mm, LOW, "l");
    draw_course(sheet, &scale, series, origin_mm, HIGH, "l");
    draw_course(sheet, &scale, series, origin_mm, EWMA, "c");
    draw_points(sheet, &scale, series, origin_mm);
    number_changes(sheet, &scale, series, origin_mm);
    write_rows(sheet, series, tip);
}

/* ---- the whole ---- */

static void draw_exports(const struct sheet *sheet, double bottom)
{
    for (size_t i = 0; i < sheet->weeks->n_exports; i++) {
        const struct tt_weeks_export *export = &sheet->weeks->exports[i];
        tt_picture_mark(sheet->picture, TT_MARK_EXPORT, tt_scale_clip(&sheet->time, export->time_s),
                        bottom - 8);
        tt_buffer_puts(&sheet->picture->svg, "written into a configuration, ");
        tt_markup_time(&sheet->picture->svg, sheet->zone, export->time_s);
        tt_buffer_puts(&sheet->picture->svg, ": ");
        tt_markup_short(&sheet->picture->svg, export->text, 80);
        tt_picture_mark_end(sheet->picture, TT_MARK_EXPORT);
    }
}

/* Which of the lines of the legend there are. */
struct seen {
    bool limits, ewma, signal, drift, change, permitted;
};

static struct seen look(const struct tt_weeks *weeks, enum tt_weeks_quantity quantity)
{
    struct seen seen = {0};

    for (size_t i = 0; i < weeks->n_changes; i++) {
        seen.change = seen.change || (quantity == TT_WEEKS_HEIGHT ? weeks->changes[i].in_height
                                                                  : weeks->changes[i].in_others);
    }
    for (size_t s = 0; s < weeks->n_series; s++) {
        const struct tt_weeks_series *series = &weeks->series[s];
        for (size_t i = 0; series->quantity == quantity && i < series->n_points; i++) {
            seen.limits = seen.limits || series->points[i].has_limits;
            seen.ewma = seen.ewma || series->points[i].has_ewma;
            seen.signal = seen.signal || series->points[i].signal;
        }
        seen.permitted = seen.permitted || (series->quantity == quantity && series->has_permitted);
        seen.drift = seen.drift || (series->quantity == quantity && series->n_drift >= 2);
    }
    return seen;
}

static double draw_legend(const struct sheet *sheet, const struct seen *seen, double y)
{
    struct tt_picture *p = sheet->picture;
    double x = tt_picture_key(p, TT_MARK_USED, TT_KEYS_LEFT, y, "run, 95 %");

    x = seen->ewma ? tt_picture_key_line(p, "c", x, y, "moving average") : x;
    if (seen->limits) {
        tt_picture_key_line(p, "l", x, y, "limits");
    }
    y += 16;
    x = TT_KEYS_LEFT;
    x = seen->signal ? tt_picture_key(p, TT_MARK_SIGNAL, x, y, "signal") : x;
    x = seen->change ? tt_picture_key_line(p, "v", x, y, "change, as numbered") : x;
    x = seen->drift ? tt_picture_key_line(p, "d", x, y, "drift") : x;
    if (sheet->weeks->n_exports > 0) {
        x = tt_picture_key(p, TT_MARK_EXPORT, x, y, "written");
    }
    if (seen->permitted) {
        y += x > TT_KEYS_LEFT ? 16 : 0;
        tt_markup(&p->svg, "<g class=\"key\"><path class=\"pm\" d=\"M@ @h16v9h-16z\"/></g>",
                  TT_AT(TT_KEYS_LEFT, y - 8));
        tt_picture_text(p, "m", TT_KEYS_LEFT + 20, y, "start", "permitted around the value in use",
                        60);
        x = TT_PICTURE_WIDTH;
    }
    return x > TT_KEYS_LEFT ? y + 8 : y - 8;
}

/* All times that the pictures show; the same for every quantity. */
static struct tt_extent times_of(const struct tt_weeks *weeks)
{
    struct tt_extent times = {0};

    for (size_t s = 0; s < weeks->n_series; s++) {
        const struct tt_weeks_series *series = &weeks->series[s];
        for (size_t i = 0; i < series->n_points; i++) {
            tt_extent_add(&times, series->points[i].time_s);
        }
        for (size_t i = 0; i < series->n_drift; i++) {
            tt_extent_add(&times, series->drift[i].time_s);
        }
    }
    for (size_t i = 0; i < weeks->n_exports && times.any; i++) {
        tt_extent_add(&times, weeks->exports[i].time_s);
    }
    return times;
}

bool tt_can_draw_weeks(const struct tt_weeks *weeks, enum tt_weeks_quantity quantity)
{
    for (size_t s = 0; s < weeks->n_series; s++) {
        if (weeks->series[s].quantity == quantity && weeks->series[s].n_points > 0) {
            return true;
        }
    }
    return false;
}

const char *tt_weeks_name(enum tt_weeks_quantity quantity)
{
    return QUANTITIES[quantity].name;
}

void tt_draw_weeks(const struct tt_weeks *weeks, enum tt_weeks_quantity quantity,
                   const struct tiptrue_zone *zone, struct tt_picture *picture)
{
    struct sheet sheet = {
        .weeks = weeks, .zone = zone, .picture = picture, .quantity = quantity, .top = TOP};
    struct tt_extent times = times_of(weeks);
    struct seen seen = look(weeks, quantity);
    size_t lane = 0, n_points = 0;

    for (size_t s = 0; s < weeks->n_series; s++) {
        if (weeks->series[s].quantity == quantity && weeks->series[s].n_points > 0) {
            sheet.n_lanes++;
            n_points += weeks->series[s].n_points;
        }
    }
    tt_picture_columns(picture, "tip|time|value, mm|95 %, \xc2\xb1 " TT_UM "|remark");
    double margin_s = fmax(0.03 * (times.high - times.low), 3600);
    sheet.time = tt_scale_make((struct tt_span){times.low - margin_s, times.high + margin_s, DAY_S,
                                                TT_PLOT_LEFT, TT_PLOT_RIGHT, 5, false, 1});
    set_range(&sheet);
    sheet.lane_height = fmax(fmin(LANE, MOST_HEIGHT / (double)sheet.n_lanes - GAP), LEAST_LANE);
    for (size_t s = 0; s < weeks->n_series; s++) {
        if (weeks->series[s].quantity == quantity && weeks->series[s].n_points > 0) {
            draw_lane(&sheet, &weeks->series[s], ++lane == sheet.n_lanes);
            sheet.top += sheet.lane_height + GAP;
        }
    }
    double bottom = sheet.top - GAP;
    draw_exports(&sheet, bottom);
    tt_name_days(picture, &times, zone, bottom + 28);
    picture->height = draw_legend(&sheet, &seen, bottom + 46);
    tt_buffer_puts(&picture->title, QUANTITIES[quantity].title);
    tt_buffer_printf(&picture->desc,
                     "A lane for each of %zu tip%s on one axis of time, %zu runs in all, with 95 "
                     "%% bars%s%s%s%s%s.",
                     sheet.n_lanes, sheet.n_lanes == 1 ? "" : "s", n_points,
                     seen.limits ? ", control limits" : "", seen.ewma ? ", a moving average" : "",
                     seen.change ? ", changes as brackets with their numbers" : "",
                     seen.permitted ? ", what is permitted as a band" : "",
                     seen.drift ? ", drift with its forecast" : "");
}
