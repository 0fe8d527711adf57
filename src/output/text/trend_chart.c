/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A chart of characters: time to the right, offset upwards. In UTF-8 eight dots to a character
 * (braille patterns, U+2800 on), in ASCII one. A line of its own below marks when changes came.
 */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "output/trend_words.h"

/* "  +123.4 |": room for the scale at the left. */
#define MARGIN 11
#define LEAST_WIDTH 20

struct canvas {
    size_t columns, rows; /* characters */
    unsigned char *dots;  /* [row * columns + column]: braille bits, or 1 */
    bool braille;
};

static void set_dot(struct canvas *canvas, double x, double y)
{
    /* x to the right and y downwards, 0 to 1 */
    static const unsigned char BITS[4][2] = {
        {0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}};
    size_t across = canvas->braille ? 2 : 1, down = canvas->braille ? 4 : 1;
    size_t column = (size_t)(x * (double)(across * canvas->columns - 1) + 0.5);
    size_t row = (size_t)(y * (double)(down * canvas->rows - 1) + 0.5);
    unsigned char *cell = &canvas->dots[row / down * canvas->columns + column / across];

    *cell |= canvas->braille ? BITS[row % down][column % across] : 1;
}

static void put_row(struct tt_page *page, const struct canvas *canvas, size_t row)
{
    for (size_t i = 0; i < canvas->columns; i++) {
        unsigned bits = canvas->dots[row * canvas->columns + i];
        char braille[4] = {'\xe2', (char)(0xa0 | bits >> 6), (char)(0x80 | (bits & 0x3f)), '\0'};
        tt_page_puts(page, bits == 0 ? " " : canvas->braille ? braille : "*");
    }
}

/* The points of an axis: x, y or height. */
static size_t count(const struct tt_trend_tip *tip, int axis)
{
    return axis < 2 ? tip->n_points : tip->height.n_points;
}

static double value_of(const struct tt_trend_tip *tip, size_t i, int axis)
{
    return axis == 0   ? tip->points[i].offset.x_mm
           : axis == 1 ? tip->points[i].offset.y_mm
                       : tip->height.points[i].height_mm;
}

static double time_of(const struct tt_trend_tip *tip, size_t i, int axis)
{
    return axis < 2 ? tip->points[i].time_s : tip->height.points[i].time_s;
}

static double time_share(const struct tiptrue_trend *trend, double time_s)
{
    double span = trend->last_s - trend->first_s;
    return span > 0 ? fmin(fmax((time_s - trend->first_s) / span, 0), 1) : 0.5;
}

static void draw_axis(struct tt_page *page, const struct tiptrue_trend *trend,
                      const struct tt_trend_tip *tip, int axis, struct canvas *canvas)
{
    double low = value_of(tip, 0, axis), high = low;
    size_t n = canvas->rows * canvas->columns;

    for (size_t i = 1; i < count(tip, axis); i++) {
        low = fmin(low, value_of(tip, i, axis));
        high = fmax(high, value_of(tip, i, axis));
    }
    double middle = 0.5 * (low + high), half = fmax(0.5 * (high - low), 1e-4);
    memset(canvas->dots, 0, n);
    for (size_t i = 0; i < count(tip, axis); i++) {
        set_dot(canvas, time_share(trend, time_of(tip, i, axis)),
                0.5 - 0.5 * (value_of(tip, i, axis) - middle) / half);
    }
    for (size_t row = 0; row < canvas->rows; row++) {
        bool ends = row == 0 || row + 1 == canvas->rows;
        if (ends) {
            tt_page_cell_length(page, MARGIN - 2, row == 0 ? middle + half : middle - half, true);
        } else if (row == canvas->rows / 2) {
            tt_buffer_reset(&page->number);
            tt_buffer_printf(&page->number, "%c, %s", "xyz"[axis], tt_page_units(page) -> length);
            tt_page_cell(page, MARGIN - 2, page->number.failed ? "" : page->number.text);
        }
        tt_page_at(page, MARGIN - 2, " |");
        put_row(page, canvas, row);
        tt_page_line_end(page);
    }
}

/* Under the charts: when a change came that this tip took part in, and the dates of the first and
 * the last run. */
static void draw_times(struct tt_page *page, const struct tiptrue_trend *trend,
                       const struct tt_trend_tip *tip, const struct canvas *canvas)
{
    char text[TT_MINUTE_SIZE], *line = calloc(canvas->columns + 1, 1);

    if (line == NULL) {
        page->out->failed = true;
        return;
    }
    memset(line, '-', canvas->columns);
    for (size_t i = 0; i < trend->n_changes; i++) {
        const struct tt_trend_change *c = &trend->changes[i];
        if ((c->has_shift || c->has_height_shift) &&
            (c->tip >= trend->n_tips || &trend->tips[c->tip] == tip)) {
            double share = time_share(trend, 0.5 * (c->after_s + c->before_s));
            line[(size_t)(share * (double)(canvas->columns - 1) + 0.5)] = '^';
        }
    }
    tt_page_go(page, MARGIN - 2);
    tt_page_printf(page, " +%s", line);
    tt_page_line_end(page);
    free(line);
    tt_page_go(page, MARGIN);
    tt_minute_write(page->zone, trend->first_s, text);
    text[10] = '\0';
    tt_page_puts(page, text);
    tt_minute_write(page->zone, trend->last_s, text);
    text[10] = '\0';
    tt_page_at(page, MARGIN + canvas->columns - 10, text);
    tt_page_line_end(page);
}

void tt_trend_chart(struct tt_page *page, const struct tiptrue_trend *trend,
                    const struct tt_trend_tip *tip, size_t height)
{
    struct canvas canvas = {.rows = height, .braille = page->utf8};

    canvas.columns = page->columns > MARGIN + LEAST_WIDTH ? page->columns - MARGIN : LEAST_WIDTH;
    canvas.dots = calloc(canvas.rows, canvas.columns);
    if (canvas.dots == NULL) {
        page->out->failed = true;
        return;
    }
    draw_axis(page, trend, tip, 0, &canvas);
    draw_axis(page, trend, tip, 1, &canvas);
    if (tip->height.n_points > 1) {
        draw_axis(page, trend, tip, 2, &canvas);
    }
    draw_times(page, trend, tip, &canvas);
    free(canvas.dots);
}
