/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See plate_view.h. */
#include "config.h"

#include "output/output.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "output/page.h"
#include "output/report/pictures.h"

/* The drawing of characters: a character is about twice as high as wide. */
#define COLUMNS 64
#define MOST_ROWS 28
#define ASPECT 2.0

/* Where the free side is, seen from the edge: "right", "up and left". */
static const char *side_word(const struct tt_edge *edge)
{
    static const char *const WORDS[] = {"right", "up and right",  "up",   "up and left",
                                        "left",  "down and left", "down", "down and right"};
    long eighth = lround(atan2(edge->n_y, edge->n_x) / (TT_PI / 4));

    return WORDS[(eighth + 8) % 8];
}

/* ---- words ---- */

static void add_place(struct tt_buffer *words, const struct tt_units *units, struct tt_plate_xy at)
{
    tt_buffer_putc(words, '(');
    tt_number_write_rounded(words, units->per_mm * at.x_mm, units->decimals);
    tt_buffer_puts(words, "," TT_TIED);
    tt_number_write_rounded(words, units->per_mm * at.y_mm, units->decimals);
    tt_buffer_putc(words, ')');
}

static void add_u(struct tt_buffer *words, const struct tt_units *units, double u_mm)
{
    if (u_mm > 0) {
        tt_buffer_puts(words, ", u ");
        tt_number_write_rounded(words, units->small_per_mm * u_mm, 1);
        tt_buffer_printf(words, TT_TIED "%s", units->small);
    }
}

static void say_mark(struct tt_page *page, const struct tt_units *units,
                     const struct tiptrue_plate *plate, size_t i)
{
    const struct tt_mark *mark = &plate->marks[i];

    tt_buffer_printf(&page->words, "mark %s at ", mark->name);
    add_place(&page->words, units, mark->at);
    tt_buffer_puts(&page->words, i == plate->reference ? ", the reference: the origin" : "");
    add_u(&page->words, units, i == plate->reference ? 0 : mark->u_mm);
    tt_buffer_puts(&page->words, mark->unused ? ", not in use" : "");
    tt_page_go(page, 2);
    tt_page_say(page, 4);
}

static void say_edge(struct tt_page *page, const struct tt_units *units,
                     const struct tiptrue_plate *plate, const struct tt_edge *edge)
{
    tt_buffer_printf(&page->words, "edge %s from ", edge->name);
    add_place(&page->words, units, edge->from);
    tt_buffer_puts(&page->words, " to ");
    add_place(&page->words, units, edge->to);
    tt_buffer_printf(&page->words, ", free side %s: the tip comes from there", side_word(edge));
    add_u(&page->words, units, edge->u_mm);
    if (edge->group != TT_NONE) {
        tt_buffer_printf(&page->words, ", group %s", plate->groups[edge->group].name);
        add_u(&page->words, units, plate->groups[edge->group].u_mm);
    }
    tt_buffer_puts(&page->words, edge->unused ? ", not in use" : "");
    tt_page_go(page, 2);
    tt_page_say(page, 4);
}

static void say_pad(struct tt_page *page, const struct tt_units *units, const struct tt_pad *pad)
{
    tt_buffer_printf(&page->words, "pad %s%s", pad->name, pad->has_at ? " at " : "");
    if (pad->has_at) {
        add_place(&page->words, units, pad->at);
    }
    tt_buffer_puts(&page->words, ", height ");
    tt_number_write_rounded(&page->words, units->per_mm * pad->height_mm, units->decimals);
    add_u(&page->words, units, pad->u_mm);
    tt_buffer_puts(&page->words, pad->unused ? ", not in use" : "");
    tt_page_go(page, 2);
    tt_page_say(page, 4);
}

/* ---- the drawing of characters ---- */

struct canvas {
    char cells[MOST_ROWS][COLUMNS];
    size_t rows;
    struct tt_extent x, y; /* of all marks, edges and pads, mm */
    double per_column;     /* mm */
};

static void put(struct canvas *canvas, double x_mm, double y_mm, char c)
{
    long column = lround((x_mm - canvas->x.low) / canvas->per_column) + 2;
    long row = lround((canvas->y.high - y_mm) / (ASPECT * canvas->per_column)) + 1;

    if (column >= 0 && column < COLUMNS && row >= 0 && row < (long)canvas->rows) {
        char *cell = &canvas->cells[row][column];
        *cell = c == '#' && *cell != ' ' ? *cell : c; /* a line stays visible on the hatching */
    }
}

static char line_char(const struct tt_edge *edge)
{
    double dx = fabs(edge->to.x_mm - edge->from.x_mm), dy = fabs(edge->to.y_mm - edge->from.y_mm);
    bool rising = (edge->to.x_mm - edge->from.x_mm) * (edge->to.y_mm - edge->from.y_mm) > 0;

    return dy < 0.4 * dx ? '-' : dx < 0.4 * dy ? '|' : rising ? '/' : '\\';
}

static void draw_edge(struct canvas *canvas, const struct tt_edge *edge, bool hatch)
{
    double away =
        fabs(edge->n_x) > 0.5 ? 1.2 * canvas->per_column : 1.2 * ASPECT * canvas->per_column;

    for (int i = 0; i <= 2 * COLUMNS; i++) {
        double share = (double)i / (2 * COLUMNS);
        double x = edge->from.x_mm + share * (edge->to.x_mm - edge->from.x_mm);
        double y = edge->from.y_mm + share * (edge->to.y_mm - edge->from.y_mm);
        if (hatch) {
            put(canvas, x - away * edge->n_x, y - away * edge->n_y, '#');
        } else {
            put(canvas, x, y, line_char(edge));
        }
    }
}

static void draw(struct tt_page *page, const struct tiptrue_plate *plate)
{
    struct canvas canvas = {0};
    tt_plate_extent(plate, true, &canvas.x, &canvas.y);
    double width = canvas.x.high - canvas.x.low, height = canvas.y.high - canvas.y.low;

    canvas.per_column = fmax(width / (COLUMNS - 5), height / (ASPECT * (MOST_ROWS - 4)));
    canvas.per_column = canvas.per_column > 0 ? canvas.per_column : 1;
    canvas.rows = (size_t)lround(height / (ASPECT * canvas.per_column)) + 3;
    canvas.rows = canvas.rows > MOST_ROWS ? MOST_ROWS : canvas.rows;
    memset(canvas.cells, ' ', sizeof canvas.cells);
    for (int hatch = 0; hatch < 2; hatch++) {
        for (size_t i = 0; i < plate->n_edges; i++) {
            draw_edge(&canvas, &plate->edges[i], hatch == 1);
        }
    }
    for (size_t i = 0; i < plate->n_marks; i++) {
        put(&canvas, plate->marks[i].at.x_mm, plate->marks[i].at.y_mm,
            i == plate->reference ? 'O' : '+');
    }
    for (size_t i = 0; i < plate->n_pads; i++) {
        if (plate->pads[i].has_at) {
            put(&canvas, plate->pads[i].at.x_mm, plate->pads[i].at.y_mm, 'P');
        }
    }
    for (size_t row = 0; row < canvas.rows; row++) {
        size_t length = COLUMNS;
        while (length > 0 && canvas.cells[row][length - 1] == ' ') {
            length--;
        }
        char line[COLUMNS + 1] = "";
        memcpy(line, canvas.cells[row], length);
        tt_page_line(page, line);
    }
}

void tt_output_plate_text(const struct tiptrue_plate *plate,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    const struct tt_units *units =
        tt_units_of(options != NULL ? options->units : TIPTRUE_UNITS_DEFAULT);
    struct tt_page page = tt_page_new(buffer, options, 1, 100);

    tt_buffer_printf(&page.words,
                     "plate '%s'%s%s, coordinates in %s: x to the right, y up, seen from above",
                     plate->name, plate->serial != NULL ? " serial " : "",
                     plate->serial != NULL ? plate->serial : "", units->length);
    tt_page_say(&page, 2);
    for (size_t i = 0; i < plate->n_marks; i++) {
        say_mark(&page, units, plate, i);
    }
    for (size_t i = 0; i < plate->n_edges; i++) {
        say_edge(&page, units, plate, &plate->edges[i]);
    }
    for (size_t i = 0; i < plate->n_pads; i++) {
        say_pad(&page, units, &plate->pads[i]);
    }
    draw(&page, plate);
    tt_page_prose(&page, 2,
                  plate->n_pads > 0 ? "O reference mark, + mark, P pad, # conductor behind an edge"
                                    : "O reference mark, + mark, # conductor behind an edge");
    tt_page_end(&page);
}

void tt_output_plate_svg(const struct tiptrue_plate *plate, const struct tt_units *units,
                         struct tt_buffer *buffer)
{
    struct tt_picture picture = {.units = units};

    tt_draw_bare_plate(plate, &picture);
    tt_picture_file(&picture, buffer);
    tt_picture_clear(&picture);
}
