/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Residuals against rotation as strips of characters, one for each edge and tip: two lines high, in
 * Braille patterns (Unicode block U+2800, two by four dots to the character), or on a page of ASCII
 * in three heights of a character.
 */
#include "config.h"

#include "output/text/text_parts.h"

#include <math.h>
#include <string.h>

#include "output/report/pictures.h"

#define LINES 2
#define MOST_CELLS 48 /* 7.5 degrees to a character: as fine as people step a rotation */
#define LEAST_CELLS 12
#define NUMBER_WIDTH 6

/* Bits of the dots of a cell, row by row. */
static const unsigned char DOTS[4][2] = {{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}};
/* A point in the upper, middle or lower third of a cell; several thirds become ':'. */
static const char HEIGHTS[] = {'\'', '-', '.'};

struct strip {
    size_t cells;
    double reach_um;
    unsigned char bits[LINES][MOST_CELLS]; /* Braille: dots; ASCII: thirds */
};

static void enter(struct strip *strip, bool utf8, double turn_deg, double um)
{
    size_t per_line = utf8 ? 4 : sizeof HEIGHTS, across = utf8 ? 2 : 1;
    size_t levels = LINES * per_line,
           column = (size_t)(turn_deg / 360 * (double)(strip->cells * across));
    double height = (1 - um / strip->reach_um) / 2 * (double)levels;
    size_t level = height <= 0 ? 0 : height >= (double)levels ? levels - 1 : (size_t)height;
    unsigned char *cell = &strip->bits[level / per_line][column / across % strip->cells];

    unsigned bit = utf8 ? DOTS[level % 4][column % 2] : 1U << level % per_line;

    *cell = (unsigned char)(*cell | bit);
}

static void put_braille(struct tt_page *page, unsigned char bits)
{
    const char text[] = {(char)0xe2, (char)(0xa0 | bits >> 6), (char)(0x80 | (bits & 0x3f)), '\0'};

    tt_page_puts(page, text);
}

static void put_thirds(struct tt_page *page, unsigned char bits)
{
    const char text[] = {bits == 0   ? ' '
                         : bits == 1 ? HEIGHTS[0]
                         : bits == 2 ? HEIGHTS[1]
                         : bits == 4 ? HEIGHTS[2]
                                     : ':',
                         '\0'};

    tt_page_puts(page, text);
}

/* Two lines: names and upper end of the scale, then the lower end. */
static void put_strip(struct tt_page *page, const struct strip *strip, const char *edge,
                      const char *tip, size_t edge_width, size_t tip_width)
{
    for (size_t line = 0; line < LINES; line++) {
        tt_page_puts(page, line == 0 ? edge : "");
        tt_page_at(page, edge_width + 1, line == 0 ? tip : "");
        tt_page_go(page, edge_width + 1 + tip_width);
        tt_page_cell_small(page, NUMBER_WIDTH,
                           (line == 0 ? strip->reach_um : -strip->reach_um) / 1000, 0, true);
        tt_page_puts(page, " |");
        for (size_t i = 0; i < strip->cells; i++) {
            if (page->utf8) {
                put_braille(page, strip->bits[line][i]);
            } else {
                put_thirds(page, strip->bits[line][i]);
            }
        }
        tt_page_line(page, "|");
    }
}

/* The touches of @edge with @tip into the strip; returns how many there are. */
static size_t gather(struct strip *strip, bool utf8, const struct tiptrue_solution *s,
                     const char *edge, const char *tip)
{
    size_t n = 0;

    for (size_t i = 0; i < s->n_rows; i++) {
        const struct tt_row_result *row = &s->rows[i];
        if (row->kind == TT_TOUCH && row->use == TT_USE && strcmp(row->target, edge) == 0 &&
            strcmp(row->tip, tip) == 0) {
            enter(strip, utf8, tt_turn_deg(row->rotation_rad), 1000 * row->residual_mm);
            n++;
        }
    }
    return n;
}

void tt_text_strips(struct tt_page *page, const struct tiptrue_solution *s)
{
    size_t edge_width = 0, tip_width = 0, cells;

    for (size_t i = 0; i < s->n_edges; i++) {
        edge_width = tt_page_wider(page, edge_width, s->edges[i].name, 0);
    }
    for (size_t t = 0; t < s->n_tips; t++) {
        tip_width = tt_page_wider(page, tip_width, s->tips[t].name, 0);
    }
    size_t taken = edge_width + 1 + tip_width + NUMBER_WIDTH + 3;
    cells = taken + LEAST_CELLS > page->columns ? LEAST_CELLS : page->columns - taken;
    cells = cells > MOST_CELLS ? MOST_CELLS : cells;
    tt_buffer_printf(&page->words,
                     "Residuals, %s, against rotation from 0 to 360" TT_DEGREE " (late below):",
                     tt_page_units(page)->small);
    tt_page_say(page, 2);
    for (size_t i = 0; i < s->n_edges; i++) {
        for (size_t t = 0; t < s->n_tips; t++) {
            struct strip strip = {.cells = cells, .reach_um = ceil(tt_residual_reach_um(s, false))};
            if (gather(&strip, page->utf8, s, s->edges[i].name, s->tips[t].name) > 0) {
                put_strip(page, &strip, s->edges[i].name, s->tips[t].name, edge_width, tip_width);
            }
        }
    }
    tt_page_line_end(page);
}
