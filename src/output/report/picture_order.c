/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Residuals in the order of the log, a lane for each edge and for the sightings above each other on
 * one axis: what shows in one lane is that edge's, what shows in all of them from one line on is
 * the plate, the camera or the machine. Where the fit took a movement or a drift out, the lanes
 * show the residuals with it, and the line that the fit found.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>

#include "output/report/markup.h"
#include "output/page.h"
#include "output/text/text_parts.h"

#define TOP 34.0
#define LANE 58.0
#define LEAST_LANE 34.0
#define MOST_HEIGHT 620.0 /* a sheet of A4 holds it in one column of two */
#define GAP 16.0          /* above each lane, for its name */

struct lanes {
    const struct tt_scene *scene;
    struct tt_picture *picture;
    struct tt_scale line, residual; /* the latter of the first lane */
    double lane_height;
    bool moved; /* a movement or drift is drawn in */
    bool sights;
    size_t n; /* edges, then x and y of the sightings */
    struct tt_shapes shapes;
};

/* The lane of a row's residual, 1 in x or y of a sighting; TT_NONE = none. */
static size_t lane_of(const struct lanes *lanes, size_t index)
{
    const struct tt_row_result *row = &lanes->scene->solution->rows[index];
    size_t track = lanes->scene->sketch->spots[index].track;

    if (!tt_row_is_seen(row)) {
        return TT_NONE;
    }
    if (tt_is_sighting(row->kind)) {
        return lanes->scene->solution->n_edges;
    }
    return track != TT_NONE ? lanes->scene->sketch->tracks[track].edge : TT_NONE;
}

static struct tt_scale scale_of(const struct lanes *lanes, size_t lane)
{
    struct tt_scale scale = lanes->residual;

    scale.first += (double)lane * (lanes->lane_height + GAP);
    scale.last += (double)lane * (lanes->lane_height + GAP);
    return scale;
}

/* @axis 1: y of a sighting. */
static double value_um(const struct tt_row_result *row, size_t axis)
{
    return 1000 *
           (axis == 0 ? row->residual_mm + row->moved_mm : row->residual_y_mm + row->moved_y_mm);
}

static void mark_row(struct lanes *lanes, size_t index)
{
    const struct tt_row_result *row = &lanes->scene->solution->rows[index];
    size_t lane = lane_of(lanes, index);

    if (lane != TT_NONE) {
        tt_shapes_add(&lanes->shapes, row);
    }
    for (size_t axis = 0; lane != TT_NONE && axis < (tt_is_sighting(row->kind) ? 2 : 1); axis++) {
        struct tt_scale scale = scale_of(lanes, lane + axis);
        tt_row_mark(lanes->picture, row, &scale, tt_scale_place(&lanes->line, (double)row->line),
                    value_um(row, axis), axis == 0 ? row->residual_mm : row->residual_y_mm);
    }
}

/* The line from which the plate is found to have moved, as a place between two lines; NAN: none. */
static double moment_of(const struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_findings; i++) {
        if (s->findings[i].code == TT_FINDING_MOVED_PLATE && s->findings[i].n_lines > 0) {
            return (double)s->findings[i].lines[0] - 0.5;
        }
    }
    return NAN;
}

/* The movement or drift found, in each lane, from row to row; a plate that moved did so at once. */
static void draw_movement(const struct lanes *lanes, size_t lane)
{
    const struct tiptrue_solution *s = lanes->scene->solution;
    struct tt_scale scale = scale_of(lanes, lane);
    bool sights = lane >= s->n_edges, pen_down = false;
    size_t axis = lane > s->n_edges ? 1 : 0;
    double moment = moment_of(s), line_before = NAN, y_before = 0;

    tt_buffer_puts(&lanes->picture->svg, "<path class=\"c\" d=\"");
    for (size_t i = 0; i < s->n_rows; i++) {
        const struct tt_row_result *row = &s->rows[i];
        if (lane_of(lanes, i) == (sights ? s->n_edges : lane)) {
            double um = 1000 * (axis == 0 ? row->moved_mm : row->moved_y_mm);
            double y = tt_scale_clip(&scale, um);
            if (line_before < moment && (double)row->line > moment) {
                double x = tt_scale_clip(&lanes->line, moment);
                tt_markup(&lanes->picture->svg, "L@ @L@ @", TT_AT(x, y_before, x, y));
            }
            tt_buffer_putc(&lanes->picture->svg, pen_down ? 'L' : 'M');
            tt_markup(&lanes->picture->svg, "@ @",
                      TT_AT(tt_scale_place(&lanes->line, (double)row->line), y));
            pen_down = true;
            line_before = (double)row->line;
            y_before = y;
        }
    }
    tt_buffer_puts(&lanes->picture->svg, "\"/>\n");
}

static void draw_lane(const struct lanes *lanes, size_t lane)
{
    const struct tiptrue_solution *s = lanes->scene->solution;
    struct tt_scale scale = scale_of(lanes, lane);
    const char *name = lane < s->n_edges    ? s->edges[lane].name
                       : lane == s->n_edges ? "sightings, x"
                                            : "sightings, y";

    tt_picture_text(lanes->picture, "", TT_PLOT_LEFT, scale.last - 4, "start",
                    name != NULL ? name : "", 40);
    tt_picture_axis_y(lanes->picture, &scale, TT_PLOT_LEFT, TT_PLOT_RIGHT);
    tt_picture_axis_x(lanes->picture, &lanes->line, scale.last, scale.first, lane + 1 == lanes->n);
    tt_picture_line(lanes->picture, "z", TT_PLOT_LEFT, tt_scale_place(&scale, 0), TT_PLOT_RIGHT,
                    tt_scale_place(&scale, 0));
    if (lanes->moved) {
        draw_movement(lanes, lane);
    }
}

/* The line from which the plate is found to have moved, through all lanes. */
static void draw_moment(const struct lanes *lanes, double bottom)
{
    double moment = moment_of(lanes->scene->solution);

    if (!isnan(moment)) {
        double x = tt_scale_clip(&lanes->line, moment);
        tt_picture_line(lanes->picture, "v", x, TOP - 4, x, bottom);
    }
}

static bool any_movement(const struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_rows; i++) {
        if (s->rows[i].moved_mm != 0 || s->rows[i].moved_y_mm != 0) {
            return true;
        }
    }
    return false;
}

/* A finding's text in the words of the picture. */
static void put_in_units(const struct lanes *lanes, const char *text)
{
    struct tt_own_names own[2];
    struct tt_buffer shown = {0}, *desc = &lanes->picture->desc;

    tt_text_own_names(lanes->scene->solution, own);
    tt_units_shown(lanes->picture->units, own, text, &shown);
    tt_markup_text(desc, shown.failed || shown.text == NULL ? "" : shown.text);
    desc->failed = desc->failed || shown.failed;
    tt_buffer_clear(&shown);
}

static void write_words(const struct lanes *lanes)
{
    const struct tiptrue_solution *s = lanes->scene->solution;
    struct tt_buffer *desc = &lanes->picture->desc;

    tt_buffer_puts(&lanes->picture->title, "Residuals in the order of the log");
    tt_buffer_printf(desc, "A lane for each of %zu edges%s, on one axis of lines of the log.",
                     s->n_edges, lanes->sights ? " and for the sightings" : "");
    for (size_t i = 0; i < s->n_findings; i++) {
        if (s->findings[i].code == TT_FINDING_MOVED_PLATE ||
            s->findings[i].code == TT_FINDING_DRIFT_IN_RUN) {
            tt_buffer_puts(desc, " Drawn in: ");
            put_in_units(lanes, s->findings[i].text);
            tt_buffer_putc(desc, '.');
        }
    }
}

static void write_table(const struct lanes *lanes)
{
    const struct tiptrue_solution *s = lanes->scene->solution;
    struct tt_picture *p = lanes->picture;

    tt_picture_columns(p, "line|target|residual, " TT_UM);
    if (lanes->moved) {
        tt_picture_columns(p, "movement, " TT_UM);
    }
    tt_picture_columns(p, "weight");
    for (size_t i = 0; i < s->n_rows; i++) {
        const struct tt_row_result *row = &s->rows[i];
        size_t lane = lane_of(lanes, i);
        for (size_t axis = 0; lane != TT_NONE && axis < (tt_is_sighting(row->kind) ? 2 : 1);
             axis++) {
            tt_picture_row(p);
            tt_picture_cell_count(p, row->line);
            tt_picture_cell_named(p, row->target != NULL ? row->target : "",
                                  !tt_is_sighting(row->kind) ? ""
                                  : axis == 0                ? " x"
                                                             : " y");
            tt_picture_cell_small(p, axis == 0 ? row->residual_mm : row->residual_y_mm, 1, true);
            if (lanes->moved) {
                tt_picture_cell_small(p, axis == 0 ? row->moved_mm : row->moved_y_mm, 1, true);
            }
            tt_picture_cell_fixed(p, row->weight, 2, false);
            tt_picture_row_end(p);
        }
    }
}

bool tt_can_draw_order(const struct tt_scene *scene, size_t only)
{
    (void)only;
    for (size_t i = 0; i < scene->solution->n_rows; i++) {
        const struct tt_row_result *row = &scene->solution->rows[i];
        if (tt_row_is_seen(row) &&
            (tt_is_sighting(row->kind) || scene->sketch->spots[i].track != TT_NONE)) {
            return true;
        }
    }
    return false;
}

void tt_draw_order(const struct tt_scene *scene, size_t only, struct tt_picture *picture)
{
    const struct tiptrue_solution *s = scene->solution;
    struct lanes lanes = {.scene = scene, .picture = picture, .moved = any_movement(s)};
    double reach_um = tt_residual_reach_um(s, true);
    struct tt_extent lines = {0};

    (void)only;
    for (size_t i = 0; i < s->n_rows; i++) {
        if (tt_row_is_seen(&s->rows[i])) {
            tt_extent_add(&lines, (double)s->rows[i].line);
            lanes.sights = lanes.sights || tt_is_sighting(s->rows[i].kind);
        }
    }
    lanes.n = s->n_edges + (lanes.sights ? 2 : 0);
    lanes.lane_height = fmax(fmin(LANE, MOST_HEIGHT / (double)lanes.n - GAP), LEAST_LANE);
    lanes.line = tt_scale_make((struct tt_span){lines.low - 1, lines.high + 1, 1, TT_PLOT_LEFT,
                                                TT_PLOT_RIGHT, 5, false, 1});
    if (lanes.line.step < 1) {
        lanes.line.step = 1;
        lanes.line.decimals = 0;
    }
    lanes.residual = tt_scale_make((struct tt_span){-reach_um, reach_um, 1, TOP + lanes.lane_height,
                                                    TOP, 2, true, tt_picture_per_um(picture)});
    tt_picture_text(picture, "m", 2, 12, "start",
                    tt_picture_words(picture, "residual%s, " TT_UM " (late below 0)",
                                     lanes.moved ? " with the movement" : ""),
                    60);
    for (size_t lane = 0; lane < lanes.n; lane++) {
        draw_lane(&lanes, lane);
    }
    double bottom = scale_of(&lanes, lanes.n - 1).first;
    draw_moment(&lanes, bottom);
    for (size_t i = 0; i < s->n_rows; i++) {
        mark_row(&lanes, i);
    }
    tt_picture_text(picture, "m", TT_PLOT_RIGHT, bottom + 27, "end", "line of the log", 40);
    picture->height = tt_shapes_legend(picture, &lanes.shapes, bottom + 44);
    if (lanes.moved) {
        tt_picture_key_line(picture, "c", TT_KEYS_LEFT, picture->height + 10,
                            "movement found by the fit");
        picture->height += 16;
    }
    write_words(&lanes);
    write_table(&lanes);
}
