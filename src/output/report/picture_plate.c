/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The plate to scale, seen from above in its own frame: marks, edges with their conductor hatched,
 * each touch where it fell, and its residual as a stroke along the edge's normal, magnified: a late
 * one goes into the conductor.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>

#include "output/report/markup.h"
#include "output/page.h"

#define SIDE 300.0 /* of the square that holds the plate */
#define LEFT 20.0
#define TOP 10.0
#define BORDER 34.0 /* inside it, for strokes and names */
#define STROKE 24.0 /* of the longest residual drawn to scale */
#define HATCH 6.0   /* of the conductor's side: length and distance of its lines */
#define LETTER 6.8
#define LINE 12.0
#define MOST_TAKEN 2000 /* places: nobody reads names among more */
#define PLACES 24       /* tried for a name around its edge */
#define FAR 34.0 /* of the first of them from the edge; each further one is a little further */

/* Where a name stands, so that no other is put upon it. */
struct box {
    double left, top, right, bottom;
};

struct map {
    const struct tt_scene *scene;
    struct tt_picture *picture;
    size_t setup;
    bool bare;    /* without touches, with pads */
    double scale; /* pixels to the mm */
    struct tt_plate_xy middle;
    struct tt_scale stroke; /* um to pixels along the normal */
    struct tt_shapes shapes;
    struct box *boxes;
    size_t n_boxes;
    struct tt_buffer unplaced; /* names that found no place, as one line */
    struct tt_arena arena;
};

static double map_x(const struct map *map, double x_mm)
{
    return LEFT + 0.5 * SIDE + map->scale * (x_mm - map->middle.x_mm);
}

static double map_y(const struct map *map, double y_mm)
{
    return TOP + 0.5 * SIDE - map->scale * (y_mm - map->middle.y_mm);
}

void tt_plate_extent(const struct tiptrue_plate *plate, bool pads, struct tt_extent *x,
                     struct tt_extent *y)
{
    for (size_t i = 0; i < plate->n_marks; i++) {
        tt_extent_add(x, plate->marks[i].at.x_mm);
        tt_extent_add(y, plate->marks[i].at.y_mm);
    }
    for (size_t i = 0; i < plate->n_edges; i++) {
        tt_extent_span(x, plate->edges[i].from.x_mm, plate->edges[i].to.x_mm);
        tt_extent_span(y, plate->edges[i].from.y_mm, plate->edges[i].to.y_mm);
    }
    for (size_t i = 0; pads && i < plate->n_pads; i++) {
        if (plate->pads[i].has_at) {
            tt_extent_add(x, plate->pads[i].at.x_mm);
            tt_extent_add(y, plate->pads[i].at.y_mm);
        }
    }
}

static void fit_map(struct map *map)
{
    const struct tiptrue_plate *plate = map->scene->plate;
    struct tt_extent x = {0}, y = {0};

    tt_plate_extent(plate, map->bare, &x, &y);
    double size_mm = fmax(fmax(x.high - x.low, y.high - y.low), 1e-3);
    map->scale = (SIDE - 2 * BORDER) / size_mm;
    map->middle = (struct tt_plate_xy){0.5 * (x.low + x.high), 0.5 * (y.low + y.high)};
}

/* A name whose nearer end is at (@x, @y); false: another stands there already. */
static bool put_name(struct map *map, const char *class, double x, double y, const char *anchor,
                     const char *name)
{
    double width = fmin(tt_picture_text_width(name), TT_NAME_MOST * LETTER);
    double left = anchor[0] == 's' ? x : anchor[0] == 'e' ? x - width : x - 0.5 * width;
    left = fmin(fmax(left, 2), TT_PICTURE_WIDTH - 2 - width);
    struct box box = {left, y - 9, left + width, y + LINE - 9};

    if (map->n_boxes > MOST_TAKEN) {
        return false;
    }
    for (size_t i = 0; i < map->n_boxes; i++) {
        const struct box *other = &map->boxes[i];
        if (box.left < other->right && other->left < box.right && box.top < other->bottom &&
            other->top < box.bottom) {
            return false;
        }
    }
    map->boxes[map->n_boxes++] = box;
    tt_picture_text(map->picture, class, left, y, "start", name, TT_NAME_MOST);
    return true;
}

/* A name that found no place goes beneath the picture. */
static void keep_name(struct map *map, const char *name)
{
    tt_buffer_puts(&map->unplaced, map->unplaced.length > 0 ? ", " : "not named above: ");
    tt_buffer_puts(&map->unplaced, name);
}

static void draw_edge(struct map *map, const struct tt_edge *edge)
{
    struct tt_buffer *svg = &map->picture->svg;
    double x1 = map_x(map, edge->from.x_mm), y1 = map_y(map, edge->from.y_mm);
    double x2 = map_x(map, edge->to.x_mm), y2 = map_y(map, edge->to.y_mm);
    double length = hypot(x2 - x1, y2 - y1);
    size_t n = (size_t)fmin(fmax(length / HATCH, 1), 200);

    tt_buffer_puts(svg, "<path class=\"h\" d=\"");
    for (size_t i = 0; i <= n; i++) {
        double share = (double)i / (double)n;
        double x = x1 + share * (x2 - x1), y = y1 + share * (y2 - y1);
        /* into the conductor, slanting along the edge */
        double d_x = HATCH * (-edge->n_x + (x2 - x1) / length * 0.6),
               d_y = HATCH * (edge->n_y + (y2 - y1) / length * 0.6);
        tt_markup(svg, "M@ @l@ @", TT_AT(x, y, d_x, d_y));
    }
    tt_buffer_puts(svg, "\"/>\n");
    tt_picture_line(map->picture, map->bare && edge->unused ? "h" : "e", x1, y1, x2, y2);
}

static void name_edge(struct map *map, const struct tt_edge *edge)
{
    double x = map_x(map, 0.5 * (edge->from.x_mm + edge->to.x_mm)) - (STROKE + 8) * edge->n_x;
    double y = map_y(map, 0.5 * (edge->from.y_mm + edge->to.y_mm)) + (STROKE + 8) * edge->n_y + 4;
    const char *anchor = edge->n_x > 0.7 ? "end" : edge->n_x < -0.7 ? "start" : "middle";
    double edge_x = map_x(map, 0.5 * (edge->from.x_mm + edge->to.x_mm));
    double edge_y = map_y(map, 0.5 * (edge->from.y_mm + edge->to.y_mm));

    if (put_name(map, "", x, y, anchor, edge->name)) {
        return;
    }
    /* further into the conductor, then aside, with a line that leads there */
    for (size_t k = 0; k < PLACES; k++) {
        double turn = (double)((k % 2 == 0 ? k : PLACES - k) / 2) / PLACES * 4 * TT_PI;
        double reach = FAR + 1.5 * (double)k;
        double far_x = edge_x - reach * (edge->n_x * cos(turn) - edge->n_y * sin(turn));
        double far_y = edge_y + reach * (edge->n_y * cos(turn) + edge->n_x * sin(turn));
        bool inside =
            far_x > LEFT && far_x < LEFT + SIDE && far_y > TOP + LINE && far_y < TOP + SIDE - LINE;
        if (inside && put_name(map, "", far_x, far_y + (far_y > edge_y ? 10 : -2),
                               far_x > edge_x ? "start" : "end", edge->name)) {
            tt_picture_line(map->picture, "h", edge_x, edge_y, far_x, far_y);
            return;
        }
    }
    keep_name(map, edge->name);
}

static void draw_mark(struct map *map, const struct tt_mark *mark, bool reference)
{
    static const struct {
        double x, y;
        const char *anchor;
    } AT[] = {{8, -6, "start"}, {8, 14, "start"}, {-8, -6, "end"}, {-8, 14, "end"}};
    struct tt_buffer name = {0};
    double x = map_x(map, mark->at.x_mm), y = map_y(map, mark->at.y_mm);

    tt_markup(&map->picture->svg, "<path class=\"f\" d=\"M@ @h12M@ @v12\"/>",
              TT_AT(x - 6, y, x, y - 6));
    tt_markup(&map->picture->svg, "<circle class=\"f\" cx=\"@\" cy=\"@\" r=\"3.5\"/>\n",
              TT_AT(x, y));
    tt_buffer_printf(&name, reference && !map->bare ? "%s, reference" : "%s", mark->name);
    bool placed = name.failed;
    for (size_t i = 0; !placed && i < sizeof AT / sizeof AT[0]; i++) {
        placed = put_name(map, "m", x + AT[i].x, y + AT[i].y, AT[i].anchor, name.text);
    }
    if (!placed) {
        keep_name(map, name.text);
    }
    map->picture->svg.failed = map->picture->svg.failed || name.failed;
    tt_buffer_clear(&name);
}

/* The plate's axes, in a corner that is then taken. */
static void draw_axes(struct map *map)
{
    double x = LEFT, y = TOP + SIDE - 4;

    tt_markup(&map->picture->svg,
              "<path class=\"f\" d=\"M@ @h24m-5-3l5 3l-5 3M@ @v-24m-3 5l3-5l3 5\"/>\n",
              TT_AT(x, y, x, y));
    tt_picture_text(map->picture, "m", x + 28, y + 4, "start", "x", 2);
    tt_picture_text(map->picture, "m", x - 3, y - 28, "start", "y", 2);
    map->boxes[map->n_boxes++] = (struct box){x - 6, y - 40, x + 38, y + 8};
}

/* Where the stroke of a touch begins, on the edge, and ends. */
struct stroke {
    double x, y, end_x, end_y, um;
};

static struct stroke stroke_of(const struct map *map, size_t index)
{
    const struct tt_sketch *sketch = map->scene->sketch;
    const struct tt_spot *spot = &sketch->spots[index];
    const struct tt_row_result *row = &map->scene->solution->rows[index];
    const struct tt_edge *edge =
        &map->scene->plate->edges[sketch->edge_of[sketch->tracks[spot->track].edge]];
    struct stroke stroke = {.x = map_x(map, spot->at.x_mm), .y = map_y(map, spot->at.y_mm)};
    double reach;

    stroke.um = row->use == TT_USE ? 1000 * (row->residual_mm + row->moved_mm) : 0;
    reach = tt_scale_clip(&map->stroke, stroke.um);
    stroke.end_x = stroke.x + reach * edge->n_x;
    stroke.end_y = stroke.y - reach * edge->n_y;
    return stroke;
}

static bool is_on(const struct tt_scene *scene, size_t setup, size_t index)
{
    const struct tt_spot *spot = &scene->sketch->spots[index];

    return spot->has_place && spot->track != TT_NONE &&
           scene->sketch->tracks[spot->track].setup == setup;
}

/* All strokes of one kind as one path, beneath the marks. */
static void draw_strokes(const struct map *map, bool set_aside, const char *class)
{
    struct tt_buffer *svg = &map->picture->svg;

    tt_buffer_printf(svg, "<path class=\"%s\" d=\"", class);
    for (size_t i = 0; i < map->scene->sketch->n_spots; i++) {
        const struct tt_row_result *row = &map->scene->solution->rows[i];
        if (is_on(map->scene, map->setup, i) && row->use == TT_USE && row->set_aside == set_aside) {
            struct stroke stroke = stroke_of(map, i);
            tt_markup(svg, "M@ @L@ @", TT_AT(stroke.x, stroke.y, stroke.end_x, stroke.end_y));
        }
    }
    tt_buffer_puts(svg, "\"/>\n");
}

/* The mark of a touch, at its stroke's end. */
static void draw_touch(struct map *map, size_t index)
{
    const struct tt_row_result *row = &map->scene->solution->rows[index];
    struct stroke stroke = stroke_of(map, index);
    enum tt_shape shape = tt_row_shape(row);

    tt_shapes_add(&map->shapes, row);
    tt_picture_mark(map->picture, shape, stroke.end_x, stroke.end_y);
    tt_row_tell(map->picture, row, row->residual_mm);
    if (fabs(stroke.um) > map->stroke.high) {
        tt_buffer_puts(&map->picture->svg, ", longer than drawn");
    }
    tt_picture_mark_end(map->picture, shape);
}

/* A bar with the plate's scale. */
static void draw_plate_scale(const struct map *map, double y)
{
    const double per_mm = tt_picture_per_mm(map->picture);
    double plate_mm = tt_scale_round_shown(90 / map->scale, per_mm), plate = plate_mm * map->scale;

    tt_markup(&map->picture->svg, "<path class=\"f\" d=\"M@ @v6m0-3h@m0-3v6\"/>",
              TT_AT(LEFT, y - 7, plate));
    tt_picture_text(
        map->picture, "m", LEFT + plate + 6, y, "start",
        tt_picture_words(
            map->picture, "%s mm",
            tt_signed(per_mm * plate_mm, per_mm * plate_mm < 0.999 ? 3 : 0, false).text),
        20);
}

/* And one with that of the strokes. */
static void draw_stroke_scale(const struct map *map, double y)
{
    const double per_um = tt_picture_per_um(map->picture), x = 175;
    double stroke_um = tt_scale_round_shown(map->stroke.high, per_um),
           stroke = tt_scale_place(&map->stroke, stroke_um);

    tt_markup(&map->picture->svg, "<path class=\"k\" d=\"M@ @v6m0-3h@m0-3v6\"/>",
              TT_AT(x, y - 7, stroke));
    tt_picture_text(map->picture, "m", x + stroke + 6, y, "start",
                    tt_picture_words(map->picture, "%s " TT_UM " of residual",
                                     tt_signed(per_um * stroke_um, 0, false).text),
                    30);
}

static void write_words(const struct map *map, size_t n, size_t aside)
{
    const struct tiptrue_solution *s = map->scene->solution;
    struct tt_buffer *title = &map->picture->title;

    tt_buffer_puts(title, "The plate from above, touches and their residuals");
    if (s->n_poses > 1) {
        tt_markup_named(title, ", setup ",
                        s->poses[map->setup].setup != NULL ? s->poses[map->setup].setup : "", "");
    }
    tt_buffer_printf(&map->picture->desc,
                     "The plate to scale with %zu edges and %zu marks; %zu touches where they "
                     "fell, %zu of them left out, each with its "
                     "residual as a magnified stroke, into the hatched conductor where it is late.",
                     map->scene->plate->n_edges, map->scene->plate->n_marks, n, aside);
}

static void write_row(struct map *map, size_t index)
{
    const struct tt_row_result *row = &map->scene->solution->rows[index];
    const struct tt_spot *spot = &map->scene->sketch->spots[index];
    struct tt_picture *p = map->picture;

    tt_picture_row(p);
    tt_picture_cell_count(p, row->line);
    tt_picture_cell_named(p, row->target, "");
    tt_picture_cell_length(p, spot->at.x_mm, 2, false);
    tt_picture_cell_length(p, spot->at.y_mm, 2, false);
    tt_picture_cell_small(p, row->use == TT_USE ? row->residual_mm : NAN, 1, true);
    tt_picture_row_end(p);
}

/* No name is to stand upon what is from (@x1, @y1) to (@x2, @y2). */
static void take_room(struct map *map, double x1, double y1, double x2, double y2)
{
    const double around = 5;

    map->boxes[map->n_boxes++] = (struct box){fmin(x1, x2) - around, fmin(y1, y2) - around,
                                              fmax(x1, x2) + around, fmax(y1, y2) + around};
}

static void draw_pad(struct map *map, const struct tt_pad *pad)
{
    double x = map_x(map, pad->at.x_mm), y = map_y(map, pad->at.y_mm);

    tt_markup(&map->picture->svg, "<circle class=\"B f\" cx=\"@\" cy=\"@\" r=\"7\"/>\n",
              TT_AT(x, y));
    take_room(map, x - 3, y - 3, x + 3, y + 3);
    if (!put_name(map, "", x + 12, y + 4, "start", pad->name) &&
        !put_name(map, "", x - 12, y + 4, "end", pad->name)) {
        keep_name(map, pad->name);
    }
}

/* Edges, marks and their names, beneath the touches. */
static void draw_plate(struct map *map, const struct tiptrue_plate *plate)
{
    draw_axes(map);
    for (size_t i = 0; i < plate->n_edges; i++) {
        const struct tt_edge *edge = &plate->edges[i];
        draw_edge(map, edge);
        take_room(map, map_x(map, edge->from.x_mm), map_y(map, edge->from.y_mm),
                  map_x(map, edge->to.x_mm), map_y(map, edge->to.y_mm));
    }
    for (size_t i = 0; i < plate->n_marks; i++) {
        double x = map_x(map, plate->marks[i].at.x_mm), y = map_y(map, plate->marks[i].at.y_mm);
        take_room(map, x, y, x, y);
    }
    for (size_t i = 0; map->bare && i < plate->n_pads; i++) {
        if (plate->pads[i].has_at) {
            draw_pad(map, &plate->pads[i]);
        }
    }
    for (size_t i = 0; i < plate->n_marks; i++) {
        draw_mark(map, &plate->marks[i], i == plate->reference);
    }
    for (size_t i = 0; i < plate->n_edges; i++) {
        name_edge(map, &plate->edges[i]);
    }
}

/* Room for names, and the scale; false: out of memory. */
static bool begin_map(struct map *map)
{
    const struct tiptrue_plate *plate = map->scene->plate;
    size_t most = 2 * (plate->n_edges + plate->n_marks + plate->n_pads) + 1;

    map->boxes = TT_ARENA_NEW(&map->arena, most, struct box);
    map->picture->svg.failed = map->picture->svg.failed || map->boxes == NULL;
    fit_map(map);
    return map->boxes != NULL;
}

/* Names that found no place go beneath. */
static void end_map(struct map *map)
{
    if (map->unplaced.length > 0 && !map->unplaced.failed) {
        tt_picture_text(map->picture, "m", LEFT, map->picture->height + 10, "start",
                        map->unplaced.text, 48);
        map->picture->height += 16;
    }
    tt_buffer_clear(&map->unplaced);
    tt_arena_clear(&map->arena);
}

bool tt_can_draw_plate(const struct tt_scene *scene, size_t setup)
{
    for (size_t i = 0; scene->plate != NULL && i < scene->sketch->n_spots; i++) {
        if (is_on(scene, setup, i)) {
            return true;
        }
    }
    return false;
}

void tt_draw_plate(const struct tt_scene *scene, size_t setup, struct tt_picture *picture)
{
    const struct tiptrue_plate *plate = scene->plate;
    struct map map = {.scene = scene, .picture = picture, .setup = setup};
    double reach_um = tt_residual_reach_um(scene->solution, true);
    size_t n = 0, aside = 0;

    if (!begin_map(&map)) {
        return;
    }
    map.stroke = tt_scale_make((struct tt_span){-reach_um, reach_um, 1, -STROKE, STROKE, 4, false,
                                                tt_picture_per_um(picture)});
    draw_plate(&map, plate);
    tt_picture_columns(picture, "line|edge|x, mm|y, mm|residual, " TT_UM);
    draw_strokes(&map, false, "k");
    draw_strokes(&map, true, "kx");
    for (size_t i = 0; i < scene->sketch->n_spots; i++) {
        if (is_on(scene, setup, i)) {
            draw_touch(&map, i);
            write_row(&map, i);
            n++;
            aside += scene->solution->rows[i].set_aside;
        }
    }
    draw_plate_scale(&map, TOP + SIDE + 16);
    draw_stroke_scale(&map, TOP + SIDE + 16);
    picture->height = tt_shapes_legend(picture, &map.shapes, TOP + SIDE + 36);
    end_map(&map);
    write_words(&map, n, aside);
}

/* The way of a tip: an arrow from the free side to the edge. */
static void draw_way(const struct map *map, const struct tt_edge *edge)
{
    double x = map_x(map, 0.5 * (edge->from.x_mm + edge->to.x_mm)) + 4 * edge->n_x,
           y = map_y(map, 0.5 * (edge->from.y_mm + edge->to.y_mm)) - 4 * edge->n_y;
    double n_x = edge->n_x, n_y = -edge->n_y;

    tt_markup(&map->picture->svg, "<path class=\"k\" d=\"M@ @L@ @l@ @M@ @l@ @\"/>\n",
              TT_AT(x + 20 * n_x, y + 20 * n_y, x, y, 6 * n_x - 4 * n_y, 6 * n_y + 4 * n_x, x, y,
                    6 * n_x + 4 * n_y, 6 * n_y - 4 * n_x));
}

void tt_draw_bare_plate(const struct tiptrue_plate *plate, struct tt_picture *picture)
{
    const struct tt_scene scene = {.plate = plate};
    struct map map = {.scene = &scene, .picture = picture, .bare = true};

    if (!begin_map(&map)) {
        return;
    }
    draw_plate(&map, plate);
    for (size_t i = 0; i < plate->n_edges; i++) {
        draw_way(&map, &plate->edges[i]);
    }
    draw_plate_scale(&map, TOP + SIDE + 16);
    tt_picture_text(picture, "m", 175, TOP + SIDE + 16, "start", "reference:", 12);
    tt_picture_text(picture, "m", 237, TOP + SIDE + 16, "start",
                    plate->marks[plate->reference].name, 14);
    picture->height = TOP + SIDE + 24;
    end_map(&map);
    tt_markup_text(&picture->title, plate->name);
    tt_buffer_printf(&picture->desc,
                     "The plate to scale, x to the right and y up, seen from above: %zu edges with "
                     "their conductor hatched and the way of a tip as an arrow, %zu marks, %zu "
                     "pads.",
                     plate->n_edges, plate->n_marks, plate->n_pads);
}
