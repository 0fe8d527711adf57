/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of a board: as arrows from where they were wanted to where they were found; the same
 * arrows around a dial of rotations, where an offset is arrows that are alike and what turns with
 * the part is arrows that turn with the dial; and what is left of them against the distance from
 * the parts' middle, where scale, shear and turn are slopes. Arrows of one board are enlarged
 * alike in all its pictures.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>
#include <stdio.h>

#include "output/page.h"
#include "output/report/markup.h"

#define TOP 14.0
#define MOST_HEIGHT 330.0
#define ARROW 34.0      /* of the part that is used and furthest off */
#define MOST_ARROW 44.0 /* of one that is left out */
#define HEAD 4.0
#define LEAST_UM 1.0
#define KEY_TIPS 3 /* tips with a mark of their own */

/* Marks and strokes of the first tips; further ones share the last. */
static const struct {
    enum tt_shape shape;
    const char *stroke;
} LOOKS[KEY_TIPS + 1] = {
    {TT_MARK_USED, "k"}, {TT_MARK_NO_CONTACT, "n"}, {TT_MARK_SIGHT, "s"}, {TT_MARK_WEAK, "k"}};

struct sheet {
    const struct tiptrue_placement *placement;
    struct tt_picture *picture;
    size_t tip; /* TT_NONE: all */
    double pixels_per_um;
    size_t n, aside;
};

static size_t look_of(size_t tip)
{
    return tip < KEY_TIPS ? tip : KEY_TIPS;
}

static bool is_shown(const struct sheet *sheet, size_t part)
{
    return sheet->tip == TT_NONE || sheet->placement->parts[part].tip == sheet->tip;
}

static double length_um(const struct tt_placed_part *part)
{
    return 1000 * hypot(part->off_mm.x, part->off_mm.y);
}

static double pixels_per_um(const struct tiptrue_placement *p)
{
    double most = LEAST_UM;

    for (size_t i = 0; i < p->parts_read; i++) {
        most = p->parts[i].used ? fmax(most, length_um(&p->parts[i])) : most;
    }
    return ARROW / most;
}

/* The rotation as the machine counts, 0 to below 360. */
static double rotation_deg(const struct tiptrue_placement *p, double rotation_rad)
{
    return tt_turn_deg(p->clockwise ? -rotation_rad : rotation_rad);
}

/* ---- arrows ---- */

/* @off_um from (@x, @y), y upwards, with a head where there is room for one. */
static void draw_arrow(struct tt_picture *picture, const char *class, double x, double y,
                       const double off[2])
{
    double length = hypot(off[0], off[1]);
    double along = length > 0 ? HEAD / length : 0, dx = along * off[0], dy = along * off[1];

    tt_buffer_printf(&picture->svg, "<path class=\"%s\" ", class);
    tt_markup(&picture->svg, "d=\"M@ @l@ @", TT_AT(x, y, off[0], -off[1]));
    if (length > HEAD) {
        tt_markup(&picture->svg, "m@ @l@ @l@ @",
                  TT_AT(-dx - 0.6 * dy, dy - 0.6 * dx, dx + 0.6 * dy, -dy + 0.6 * dx,
                        -dx + 0.6 * dy, dy + 0.6 * dx));
    }
    tt_buffer_puts(&picture->svg, "\"/>\n");
}

/* The part's arrow from (@x, @y), one that is left out no longer than MOST_ARROW, with its mark,
 * at its start or @at_end. */
static void draw_part(struct sheet *sheet, size_t i, double x, double y, bool at_end)
{
    const struct tiptrue_placement *p = sheet->placement;
    const struct tt_placed_part *part = &p->parts[i];
    size_t look = look_of(sheet->tip == TT_NONE ? part->tip : 0);
    enum tt_shape shape = part->used ? LOOKS[look].shape : TT_MARK_ASIDE;
    double length = length_um(part) * sheet->pixels_per_um,
           shorter = length > MOST_ARROW ? MOST_ARROW / length : 1,
           by = 1000 * sheet->pixels_per_um * shorter,
           off[] = {by * part->off_mm.x, by * part->off_mm.y};
    struct tt_buffer *svg = &sheet->picture->svg;

    if (!at_end) {
        draw_arrow(sheet->picture, part->used ? LOOKS[look].stroke : "kx", x, y, off);
    }
    tt_picture_mark(sheet->picture, shape, at_end ? x + off[0] : x, at_end ? y - off[1] : y);
    tt_buffer_printf(svg, "line %zu, tip ", part->line);
    tt_markup_short(svg, p->tip_names[part->tip], TT_NAME_MOST);
    tt_picture_say(sheet->picture, svg,
                   ", %s" TT_DEGREE ", off by x %s " TT_UM ", y %s " TT_UM "%s%s",
                   tt_signed(rotation_deg(p, part->rotation_rad), 1, false).text,
                   tt_signed_small(sheet->picture->units, part->off_mm.x, 1, true).text,
                   tt_signed_small(sheet->picture->units, part->off_mm.y, 1, true).text,
                   part->used ? "" : ", left out", shorter < 1 ? ", longer than drawn" : "");
    tt_picture_mark_end(sheet->picture, shape);
    sheet->n++;
    sheet->aside += !part->used;
}

static void write_row(const struct sheet *sheet, size_t i, bool dial)
{
    const struct tiptrue_placement *p = sheet->placement;
    const struct tt_placed_part *part = &p->parts[i];
    struct tt_picture *picture = sheet->picture;

    tt_picture_row(picture);
    tt_picture_cell_count(picture, part->line);
    if (dial) {
        tt_picture_cell_fixed(picture, rotation_deg(p, part->rotation_rad), 1, false);
        tt_picture_cell_fixed(picture, part->has_turned ? tt_deg_from_rad(part->turned_rad) : NAN,
                              2, true);
    } else {
        tt_picture_cell(picture, p->tip_names[part->tip]);
        tt_picture_cell_length(picture, part->wanted.x_mm, 2, false);
        tt_picture_cell_length(picture, part->wanted.y_mm, 2, false);
    }
    tt_picture_cell_small(picture, part->off_mm.x, 1, true);
    tt_picture_cell_small(picture, part->off_mm.y, 1, true);
    tt_picture_row_end(picture);
}

static void write_columns(struct tt_picture *picture, bool dial)
{
    tt_picture_columns(picture, dial ? "line|rotation|turned, " TT_DEGREE : "line|tip|x, mm|y, mm");
    tt_picture_columns(picture, "off x, " TT_UM "|off y, " TT_UM);
}

/* An arrow of a round length, with what it stands for; where the permitted error is stated, one of
 * that length too. Returns where the next line stands. */
static double draw_keys(const struct sheet *sheet, double times, double y)
{
    struct tt_picture *p = sheet->picture;
    double per = tt_picture_per_um(p), um = tt_scale_round_shown(ARROW / sheet->pixels_per_um, per);
    double limit = 1000 * sheet->placement->limit_mm * sheet->pixels_per_um;
    const char *text =
        times >= 1 ? tt_picture_words(p, "%g " TT_UM ", enlarged %.0f times", per * um, times)
                   : tt_picture_words(p, "%g " TT_UM, per * um);

    tt_buffer_puts(&p->svg, "<g class=\"key\">");
    draw_arrow(p, "f", TT_KEYS_LEFT, y - 4, (double[]){um * sheet->pixels_per_um, 0});
    tt_buffer_puts(&p->svg, "</g>");
    tt_picture_text(p, "m", TT_KEYS_LEFT + um * sheet->pixels_per_um + 6, y, "start", text, 40);
    if (sheet->placement->has_limit_mm && limit < 190) {
        text = tt_picture_words(p, "permitted: %g " TT_UM " on each axis",
                                per * 1000 * sheet->placement->limit_mm);
        tt_buffer_puts(&p->svg, "<g class=\"key\">");
        tt_picture_line(p, "l", TT_KEYS_LEFT, y + 12, TT_KEYS_LEFT + limit, y + 12);
        tt_buffer_puts(&p->svg, "</g>");
        tt_picture_text(p, "m", TT_KEYS_LEFT + limit + 6, y + 16, "start", text, 40);
        y += 16;
    }
    return y + 16;
}

/* Which tip has which mark, if there are several, and what a cross is. */
static double draw_marks(const struct sheet *sheet, double y)
{
    const struct tiptrue_placement *p = sheet->placement;
    double x = TT_KEYS_LEFT;
    bool several = sheet->tip == TT_NONE && p->n_tips > 1;

    for (size_t t = 0; several && t < p->n_tips && t <= KEY_TIPS; t++) {
        const char *name = t < KEY_TIPS || p->n_tips == KEY_TIPS + 1 ? p->tip_names[t] : "others";
        if (x + 24 + 6.8 * TT_NAME_MOST > TT_PICTURE_WIDTH && x > TT_KEYS_LEFT) {
            x = TT_KEYS_LEFT;
            y += 16;
        }
        x = fmin(tt_picture_key(sheet->picture, LOOKS[t].shape, x, y, name), TT_PICTURE_WIDTH);
    }
    if (sheet->aside > 0) {
        y += x > TT_KEYS_LEFT ? 16 : 0;
        x = tt_picture_key(sheet->picture, TT_MARK_ASIDE, TT_KEYS_LEFT, y, "left out");
    }
    return x > TT_KEYS_LEFT ? y + 8 : y - 8;
}

static void write_title(const struct sheet *sheet, const char *what)
{
    struct tt_buffer *title = &sheet->picture->title;

    if (sheet->tip == TT_NONE) {
        tt_buffer_printf(title, "Parts, %s", what);
    } else {
        tt_markup_named(title, "Tip ", sheet->placement->tip_names[sheet->tip], "");
        tt_buffer_printf(title, ", parts %s", what);
    }
}

/* ---- the board ---- */

void tt_draw_board(const struct tiptrue_placement *placement, size_t tip,
                   struct tt_picture *picture)
{
    struct sheet sheet = {.placement = placement,
                          .picture = picture,
                          .tip = tip,
                          .pixels_per_um = pixels_per_um(placement)};
    struct tt_extent x = {0}, y = {0};

    for (size_t i = 0; i < placement->parts_read; i++) {
        tt_extent_add(&x, placement->parts[i].wanted.x_mm);
        tt_extent_add(&y, placement->parts[i].wanted.y_mm);
    }
    double width = TT_PLOT_RIGHT - TT_PLOT_LEFT - 2 * ARROW;
    double per_mm =
        fmin(width / fmax(x.high - x.low, 1), (MOST_HEIGHT - 2 * ARROW) / fmax(y.high - y.low, 1));
    double bottom = TOP + per_mm * (y.high - y.low) + 2 * ARROW, margin = ARROW / per_mm;
    double left = 0.5 * (TT_PLOT_LEFT + TT_PLOT_RIGHT - per_mm * (x.high - x.low)) - ARROW;
    struct tt_scale at_x = tt_scale_make((struct tt_span){x.low - margin, x.high + margin, 1e-3,
                                                          left, TT_PLOT_LEFT + TT_PLOT_RIGHT - left,
                                                          5, false, tt_picture_per_mm(picture)}),
                    at_y = tt_scale_make((struct tt_span){y.low - margin, y.high + margin, 1e-3,
                                                          bottom, TOP, 5, false,
                                                          tt_picture_per_mm(picture)});
    tt_picture_axis_x(picture, &at_x, TOP, bottom, true);
    tt_picture_axis_y(picture, &at_y, left, TT_PLOT_LEFT + TT_PLOT_RIGHT - left);
    tt_picture_text(picture, "m", TT_PLOT_RIGHT, bottom + 27, "end",
                    tt_picture_words(picture, "x, y in %s", tt_units_or_mm(picture->units)->word),
                    20);
    write_columns(picture, false);
    for (size_t i = 0; i < placement->parts_read; i++) {
        if (is_shown(&sheet, i)) {
            draw_part(&sheet, i, tt_scale_place(&at_x, placement->parts[i].wanted.x_mm),
                      tt_scale_place(&at_y, placement->parts[i].wanted.y_mm), false);
            write_row(&sheet, i, false);
        }
    }
    double next = draw_keys(&sheet, 1000 * sheet.pixels_per_um / per_mm, bottom + 43);
    picture->height = draw_marks(&sheet, next);
    write_title(&sheet, "from where they were wanted to where they were found");
    tt_buffer_printf(&picture->desc,
                     "The board from above with %zu parts, %zu of them left out, each with an "
                     "enlarged arrow from where it was wanted to where it was found%s.",
                     sheet.n, sheet.aside,
                     placement->relative ? ", less the mean of the tips" : "");
}

/* ---- the dial ---- */

#define CENTRE_X 170.0
#define CENTRE_Y 136.0
#define DIAL 88.0
#define SECTORS 72 /* rotations within so many parts of a turn are one mean */

static void draw_dial(const struct sheet *sheet)
{
    double sense = sheet->placement->clockwise ? -1 : 1;

    tt_buffer_puts(&sheet->picture->svg, "<circle class=\"g\" ");
    tt_markup(&sheet->picture->svg, "cx=\"@\" cy=\"@\" r=\"@\"/>\n",
              TT_AT(CENTRE_X, CENTRE_Y, DIAL));
    for (size_t i = 0; i < 4; i++) {
        char text[16];
        double angle = sense * TT_PI * (double)i / 2, c = cos(angle), s = sin(angle);
        tt_picture_line(sheet->picture, "g", CENTRE_X + 0.5 * DIAL * c, CENTRE_Y - 0.5 * DIAL * s,
                        CENTRE_X + DIAL * c, CENTRE_Y - DIAL * s);
        snprintf(text, sizeof text, "%zu" TT_DEGREE, 90 * i);
        tt_picture_text(sheet->picture, "m", CENTRE_X + 0.3 * DIAL * c,
                        CENTRE_Y - 0.3 * DIAL * s + 4, "middle", text, 8);
    }
}

/* The mean of the parts used at each rotation, as an arrow from its place on the dial. */
static void draw_means(const struct sheet *sheet)
{
    const struct tiptrue_placement *p = sheet->placement;
    struct {
        double x, y, turn_x, turn_y, n;
    } sums[SECTORS] = {0};

    for (size_t i = 0; i < p->parts_read; i++) {
        const struct tt_placed_part *part = &p->parts[i];
        size_t k = (size_t)(tt_turn_deg(part->rotation_rad) / 360 * SECTORS + 0.5) % SECTORS;
        if (part->used && is_shown(sheet, i)) {
            sums[k].x += part->off_mm.x;
            sums[k].y += part->off_mm.y;
            sums[k].turn_x += cos(part->rotation_rad);
            sums[k].turn_y += sin(part->rotation_rad);
            sums[k].n++;
        }
    }
    for (size_t k = 0; k < SECTORS; k++) {
        double turn = hypot(sums[k].turn_x, sums[k].turn_y);
        if (sums[k].n > 0 && turn > 0) {
            double by = 1000 * sheet->pixels_per_um / sums[k].n;
            draw_arrow(sheet->picture, "e", CENTRE_X + DIAL * sums[k].turn_x / turn,
                       CENTRE_Y - DIAL * sums[k].turn_y / turn,
                       (double[]){by * sums[k].x, by * sums[k].y});
        }
    }
}

void tt_draw_board_dial(const struct tiptrue_placement *placement, size_t tip,
                        struct tt_picture *picture)
{
    struct sheet sheet = {.placement = placement,
                          .picture = picture,
                          .tip = tip,
                          .pixels_per_um = pixels_per_um(placement)};
    double y = CENTRE_Y + DIAL + MOST_ARROW + 16;

    draw_dial(&sheet);
    write_columns(picture, true);
    for (size_t i = 0; i < placement->parts_read; i++) {
        if (is_shown(&sheet, i)) {
            double turn = placement->parts[i].rotation_rad;
            draw_part(&sheet, i, CENTRE_X + DIAL * cos(turn), CENTRE_Y - DIAL * sin(turn), true);
            write_row(&sheet, i, true);
        }
    }
    draw_means(&sheet);
    y = draw_keys(&sheet, 0, y);
    tt_picture_key_line(picture, "e", TT_KEYS_LEFT, y, "mean at one rotation; all alike: offset;");
    tt_picture_text(picture, "m", TT_KEYS_LEFT + 20, y + 15, "start",
                    "turning with the dial: runout, rotation centre", 60);
    picture->height = draw_marks(&sheet, y + 31);
    write_title(&sheet, "by their rotation");
    tt_buffer_printf(&picture->desc,
                     "A dial of rotations with %zu parts, %zu of them left out, each as far from "
                     "its place on the dial as it is off; an arrow to the mean of each rotation.",
                     sheet.n, sheet.aside);
}

/* ---- against the distance ---- */

#define PANEL_WIDTH 134.0
#define PANEL_HEIGHT 96.0
#define PANEL_GAP 24.0

/* The slope of one panel, mm per mm; @along, @off: 0 is x, 1 is y. */
static double slope_of(const struct tt_board_grid *g, size_t along, size_t off)
{
    return along == 0 ? (off == 0 ? g->scale_x : g->turn)
                      : (off == 0 ? g->shear - g->turn : g->scale_y);
}

static void draw_panel(const struct sheet *sheet, size_t along, size_t off, double reach_mm,
                       double reach_um)
{
    static const char *const NAMES[2][2] = {{"off in x along x", "off in y along x"},
                                            {"off in x along y", "off in y along y"}};
    const struct tiptrue_placement *p = sheet->placement;
    struct tt_picture *picture = sheet->picture;
    double left = TT_PLOT_LEFT + (PANEL_WIDTH + 16) * (double)along,
           top = TOP + 6 + (PANEL_HEIGHT + PANEL_GAP) * (double)off, bottom = top + PANEL_HEIGHT;
    struct tt_scale x = tt_scale_make((struct tt_span){
        -reach_mm, reach_mm, 1e-3, left, left + PANEL_WIDTH, 6, false, tt_picture_per_mm(picture)});
    struct tt_scale y = tt_scale_make((struct tt_span){-reach_um, reach_um, 1e-3, bottom, top, 6,
                                                       false, tt_picture_per_um(picture)});

    tt_picture_axis_x(picture, &x, top, bottom, off == 1);
    if (along == 0) {
        tt_picture_axis_y(picture, &y, left, left + PANEL_WIDTH);
    } else {
        tt_picture_line(picture, "f", left, top, left, bottom);
    }
    tt_picture_line(picture, "z", left, tt_scale_place(&y, 0), left + PANEL_WIDTH,
                    tt_scale_place(&y, 0));
    tt_picture_text(picture, "m", left, top - 5, "start", NAMES[along][off], 24);
    tt_buffer_puts(&picture->svg, "<path class=\"pt\" d=\"");
    for (size_t i = 0; i < p->parts_read; i++) {
        const struct tt_placed_part *part = &p->parts[i];
        double far =
            along == 0 ? part->wanted.x_mm - p->middle.x_mm : part->wanted.y_mm - p->middle.y_mm;
        if (part->used) {
            tt_markup(
                &picture->svg, "M@ @h0",
                TT_AT(tt_scale_place(&x, far),
                      tt_scale_place(&y, 1000 * (off == 0 ? part->apart_mm.x : part->apart_mm.y))));
        }
    }
    tt_buffer_puts(&picture->svg, "\"/>\n");
    if (p->grid.shown) {
        double end = 1000 * reach_mm * slope_of(&p->grid, along, off);
        tt_picture_line(picture, "c", x.first, tt_scale_clip(&y, -end), x.last,
                        tt_scale_clip(&y, end));
    }
}

void tt_draw_board_distance(const struct tiptrue_placement *placement, struct tt_picture *picture)
{
    struct sheet sheet = {.placement = placement, .picture = picture, .tip = TT_NONE};
    double reach_mm = 0.5, reach_um = LEAST_UM;

    tt_picture_columns(picture,
                       "line|x from middle, mm|y from middle, mm|off x, " TT_UM "|off y, " TT_UM);
    for (size_t i = 0; i < placement->parts_read; i++) {
        const struct tt_placed_part *part = &placement->parts[i];
        double x = part->wanted.x_mm - placement->middle.x_mm,
               y = part->wanted.y_mm - placement->middle.y_mm;
        if (part->used) {
            reach_mm = fmax(reach_mm, 1.04 * fmax(fabs(x), fabs(y)));
            reach_um = fmax(reach_um, 1040 * fmax(fabs(part->apart_mm.x), fabs(part->apart_mm.y)));
            tt_picture_row(picture);
            tt_picture_cell_count(picture, part->line);
            tt_picture_cell_length(picture, x, 3, true);
            tt_picture_cell_length(picture, y, 3, true);
            tt_picture_cell_small(picture, part->apart_mm.x, 1, true);
            tt_picture_cell_small(picture, part->apart_mm.y, 1, true);
            tt_picture_row_end(picture);
        }
    }
    for (size_t k = 0; k < 4; k++) {
        draw_panel(&sheet, k % 2, k / 2, reach_mm, reach_um);
    }
    double y = TOP + 6 + 2 * PANEL_HEIGHT + PANEL_GAP + 28;
    tt_picture_text(picture, "m", TT_PLOT_RIGHT, y, "end",
                    tt_picture_words(picture, TT_UM " off, over %s from the parts' middle",
                                     tt_units_or_mm(picture->units)->word),
                    60);
    picture->height = y + 8;
    if (placement->grid.shown) {
        tt_picture_key_line(picture, "c", TT_KEYS_LEFT, y + 18, "scale, shear and turn found");
        picture->height += 18;
    }
    tt_buffer_puts(&picture->title, "How far parts are off, by the distance from their middle");
    tt_buffer_printf(&picture->desc,
                     "Four panels on common scales: how far %zu parts are off in x and in y along "
                     "x and along y, less the offset and the turning of their tip%s.",
                     placement->parts_used,
                     placement->grid.shown ? ", with the slopes found" : "; no slope is shown");
}
