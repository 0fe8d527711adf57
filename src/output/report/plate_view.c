/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See plate_view.h. */
#include "config.h"

#include "output/report/plate_view.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "output/page.h"
#include "output/report/markup.h"
#include "output/text/text_parts.h"

/* The drawing of characters: a character is about twice as high as wide. */
#define COLUMNS 64
#define MOST_ROWS 28
#define ASPECT 2.0
/* The picture, in its own units. */
#define WIDTH 640.0
#define BORDER 60.0
#define HATCH 9.0 /* length of a stroke on the conductor's side, and the distance of two */

/* The rectangle that holds all marks, edges and pads. */
struct box {
    double x_low, x_high, y_low, y_high;
};

static void take_in(struct box *box, struct tt_plate_xy at)
{
    box->x_low = fmin(box->x_low, at.x_mm);
    box->x_high = fmax(box->x_high, at.x_mm);
    box->y_low = fmin(box->y_low, at.y_mm);
    box->y_high = fmax(box->y_high, at.y_mm);
}

static struct box box_of(const struct tiptrue_plate *plate)
{
    struct box box = {HUGE_VAL, -HUGE_VAL, HUGE_VAL, -HUGE_VAL};

    for (size_t i = 0; i < plate->n_marks; i++) {
        take_in(&box, plate->marks[i].at);
    }
    for (size_t i = 0; i < plate->n_edges; i++) {
        take_in(&box, plate->edges[i].from);
        take_in(&box, plate->edges[i].to);
    }
    for (size_t i = 0; i < plate->n_pads; i++) {
        if (plate->pads[i].has_at) {
            take_in(&box, plate->pads[i].at);
        }
    }
    return box;
}

/* The width of the box, or its height if that is more; never 0. */
static double span_of(const struct box *box)
{
    double span = fmax(box->x_high - box->x_low, box->y_high - box->y_low);

    return span > 0 ? span : 1;
}

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
    struct box box;
    double per_column; /* mm */
};

static void put(struct canvas *canvas, double x_mm, double y_mm, char c)
{
    long column = lround((x_mm - canvas->box.x_low) / canvas->per_column) + 2;
    long row = lround((canvas->box.y_high - y_mm) / (ASPECT * canvas->per_column)) + 1;

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
    struct canvas canvas = {.box = box_of(plate)};
    double width = canvas.box.x_high - canvas.box.x_low,
           height = canvas.box.y_high - canvas.box.y_low;

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

/* ---- the picture ---- */

struct map {
    struct box box;
    double scale; /* to the mm */
};

static double at_x(const struct map *map, double x_mm)
{
    return BORDER + map->scale * (x_mm - map->box.x_low);
}

static double at_y(const struct map *map, double y_mm)
{
    return BORDER + map->scale * (map->box.y_high - y_mm);
}

static void put_line(struct tt_buffer *svg, const char *stroke, const double at[4])
{
    tt_buffer_printf(svg, "<path stroke=\"%s\" ", stroke);
    tt_markup(svg, "d=\"M@ @L@ @\"/>\n", 4, at);
}

static void put_text(struct tt_buffer *svg, double x, double y, const char *anchor,
                     const char *text)
{
    tt_markup(svg, "<text stroke=\"none\" fill=\"#222\" x=\"@\" y=\"@\"", TT_AT(x, y));
    tt_buffer_printf(svg, " text-anchor=\"%s\">", anchor);
    tt_markup_text(svg, text);
    tt_buffer_puts(svg, "</text>\n");
}

static void picture_edge(struct tt_buffer *svg, const struct map *map, const struct tt_edge *edge)
{
    double x1 = at_x(map, edge->from.x_mm), y1 = at_y(map, edge->from.y_mm),
           x2 = at_x(map, edge->to.x_mm), y2 = at_y(map, edge->to.y_mm);
    double length = hypot(x2 - x1, y2 - y1), tx = (x2 - x1) / length, ty = (y2 - y1) / length;
    double nx = edge->n_x, ny = -edge->n_y, mx = 0.5 * (x1 + x2), my = 0.5 * (y1 + y2);
    size_t strokes = (size_t)(length / HATCH) + 1;

    for (size_t i = 0; i <= strokes; i++) {
        double along = length * (double)i / (double)strokes;
        double x = x1 + along * tx, y = y1 + along * ty;
        put_line(svg, "#999",
                 (double[]){x, y, x - HATCH * (nx + 0.6 * tx), y - HATCH * (ny + 0.6 * ty)});
    }
    put_line(svg, edge->unused ? "#999" : "#111", (double[]){x1, y1, x2, y2});
    /* the way of a tip: from the free side to the edge */
    put_line(svg, "#0a58ca", (double[]){mx + 26 * nx, my + 26 * ny, mx + 4 * nx, my + 4 * ny});
    for (int side = -1; side <= 1; side += 2) {
        put_line(svg, "#0a58ca",
                 (double[]){mx + 4 * nx, my + 4 * ny, mx + 10 * nx + side * 4 * tx,
                            my + 10 * ny + side * 4 * ty});
    }
    put_text(svg, mx + 34 * nx, my + 34 * ny + 4,
             nx > 0.5    ? "start"
             : nx < -0.5 ? "end"
                         : "middle",
             edge->name);
}

static void picture_mark(struct tt_buffer *svg, const struct map *map,
                         const struct tiptrue_plate *plate, size_t i)
{
    double x = at_x(map, plate->marks[i].at.x_mm), y = at_y(map, plate->marks[i].at.y_mm);

    tt_markup(svg, "<circle cx=\"@\" cy=\"@\" r=\"@\" fill=\"none\" stroke=\"#b02a37\"/>\n",
              TT_AT(x, y, i == plate->reference ? 8 : 5));
    put_line(svg, "#b02a37", (double[]){x - 11, y, x + 11, y});
    put_line(svg, "#b02a37", (double[]){x, y - 11, x, y + 11});
    put_text(svg, x + 10, y - 10, "start", plate->marks[i].name);
}

static void picture_pad(struct tt_buffer *svg, const struct map *map, const struct tt_pad *pad)
{
    double x = at_x(map, pad->at.x_mm), y = at_y(map, pad->at.y_mm);

    tt_markup(svg, "<circle cx=\"@\" cy=\"@\" r=\"@\" fill=\"#ddd\"", TT_AT(x, y, 7));
    tt_buffer_printf(svg, " stroke=\"%s\"/>\n", pad->unused ? "#999" : "#111");
    put_text(svg, x + 10, y + 4, "start", pad->name);
}

/* A bar of a round length, that of a fifth of the plate or less. */
static void picture_bar(struct tt_buffer *svg, const struct map *map, const struct tt_units *units,
                        double y)
{
    double fifth = 0.2 * span_of(&map->box) * units->per_mm, ten = pow(10, floor(log10(fifth)));
    double round_length = fifth >= 5 * ten ? 5 * ten : fifth >= 2 * ten ? 2 * ten : ten;
    double end = BORDER + map->scale * round_length / units->per_mm;
    struct tt_buffer text = {0};

    put_line(svg, "#111", (double[]){BORDER, y, end, y});
    tt_number_write_rounded(&text, round_length, 6);
    tt_buffer_printf(&text, " %s; x to the right, y up, from above; hatched: conductor",
                     units->length);
    put_text(svg, end + 8, y + 4, "start", text.text != NULL ? text.text : "");
    svg->failed = svg->failed || text.failed;
    tt_buffer_clear(&text);
}

void tt_output_plate_svg(const struct tiptrue_plate *plate, const struct tt_units *units,
                         struct tt_buffer *buffer)
{
    struct map map = {.box = box_of(plate)};
    double span = fmax(map.box.x_high - map.box.x_low, 0.2 * span_of(&map.box));

    map.scale = (WIDTH - 2 * BORDER) / span;
    double height = 2 * BORDER + map.scale * (map.box.y_high - map.box.y_low) + 30;
    tt_markup(buffer,
              "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 @ @\" fill=\"none\" "
              "stroke-width=\"1.5\" font-family=\"sans-serif\" font-size=\"12\">\n",
              TT_AT(WIDTH, height));
    tt_buffer_puts(buffer, "<title>");
    tt_markup_text(buffer, plate->name);
    tt_buffer_puts(buffer, "</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n");
    for (size_t i = 0; i < plate->n_edges; i++) {
        picture_edge(buffer, &map, &plate->edges[i]);
    }
    for (size_t i = 0; i < plate->n_marks; i++) {
        picture_mark(buffer, &map, plate, i);
    }
    for (size_t i = 0; i < plate->n_pads; i++) {
        if (plate->pads[i].has_at) {
            picture_pad(buffer, &map, &plate->pads[i]);
        }
    }
    picture_bar(buffer, &map, units, height - 18);
    tt_buffer_puts(buffer, "</svg>\n");
}
