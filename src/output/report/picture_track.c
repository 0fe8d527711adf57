/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Contact position against rotation, for one tip on one edge: a runout is a wave, an oval tip two
 * waves in a turn, film a hole in the wave; and the residuals beneath, where what the fit does not
 * explain stands out.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>

#include "output/report/markup.h"
#include "output/page.h"

#define UPPER_TOP 30.0
#define UPPER_BOTTOM 130.0
#define LOWER_TOP 160.0
#define LOWER_BOTTOM 222.0
#define STEPS (TT_SKETCH_STEPS + 1)

struct sheet {
    const struct tt_scene *scene;
    const struct tt_sketch_track *track;
    struct tt_picture *picture;
    struct tt_scale turn, position, residual;
    struct tt_shapes shapes;
};

static const struct tt_row_result *row_at(const struct sheet *sheet, size_t i)
{
    return &sheet->scene->solution->rows[sheet->track->rows[i]];
}

/* The same for all edges of a tip, so that their waves can be compared: what curves and used
 * touches need. */
static struct tt_scale position_scale(const struct sheet *sheet)
{
    const struct tt_scene *scene = sheet->scene;
    const size_t tip = sheet->track->tip;
    const struct tiptrue_solution *s = scene->solution;
    struct tt_extent used = {0}, all = {0};

    for (size_t t = 0; t < scene->sketch->n_tracks; t++) {
        const struct tt_sketch_track *track = &scene->sketch->tracks[t];
        for (size_t i = 0; track->tip == tip && track->has_curve && i < STEPS; i++) {
            tt_extent_add(&used, 1000 * track->curve_mm[i]);
            if (track->sense_contradicted) {
                tt_extent_add(&used, 1000 * track->stated_mm[i]);
            }
        }
        for (size_t i = 0; track->tip == tip && track->has_curve && i < track->n_rows; i++) {
            const struct tt_row_result *row = &s->rows[track->rows[i]];
            double at_um = 1000 * (scene->sketch->spots[track->rows[i]].swing_mm +
                                   row->residual_mm + row->moved_mm);
            if (row->use == TT_USE) {
                tt_extent_add(row->set_aside ? &all : &used, at_um);
            }
        }
    }
    double reach_um = fmax(fmax(fabs(used.low), fabs(used.high)), 5);
    double low = all.any ? fmin(used.low, fmax(all.low, -4 * reach_um)) : used.low;
    double high = all.any ? fmax(used.high, fmin(all.high, 4 * reach_um)) : used.high;
    return tt_scale_make((struct tt_span){low, high, 10, UPPER_BOTTOM, UPPER_TOP, 5, true,
                                          tt_picture_per_um(sheet->picture)});
}

static void draw_curves(const struct sheet *sheet)
{
    double turn_deg[STEPS], um[STEPS];
    double y = 12;

    for (size_t i = 0; i < STEPS; i++) {
        turn_deg[i] = 360.0 * (double)i / TT_SKETCH_STEPS;
        um[i] = 1000 * sheet->track->stated_mm[i];
    }
    if (sheet->track->sense_contradicted) {
        tt_picture_curve(sheet->picture, "d", &sheet->turn, &sheet->position, turn_deg, um, STEPS);
    }
    for (size_t i = 0; i < STEPS; i++) {
        um[i] = 1000 * sheet->track->curve_mm[i];
    }
    tt_picture_curve(sheet->picture, "c", &sheet->turn, &sheet->position, turn_deg, um, STEPS);
    if (sheet->track->sense_contradicted) {
        double x = tt_picture_key_line(sheet->picture, "c", 168, y, "fit");
        tt_picture_key_line(sheet->picture, "d", x, y, "sense as stated");
    } else {
        tt_picture_key_line(sheet->picture, "c", 290, y, "fit");
    }
}

/* A move that ended without contact has no position: it stands at the lower end. */
static void draw_no_contact(const struct sheet *sheet, const struct tt_row_result *row,
                            const struct tt_scale *scale)
{
    tt_picture_mark(sheet->picture, TT_MARK_NO_CONTACT,
                    tt_scale_place(&sheet->turn, tt_turn_deg(row->rotation_rad)), scale->first - 4);
    tt_row_tell(sheet->picture, row, 0);
    tt_picture_mark_end(sheet->picture, TT_MARK_NO_CONTACT);
}

static void draw_upper(const struct sheet *sheet)
{
    tt_picture_text(sheet->picture, "m", 2, 12, "start",
                    tt_picture_words(sheet->picture, "contact position, " TT_UM), 40);
    tt_picture_axis_y(sheet->picture, &sheet->position, TT_PLOT_LEFT, TT_PLOT_RIGHT);
    tt_picture_axis_x(sheet->picture, &sheet->turn, UPPER_TOP, UPPER_BOTTOM, false);
    draw_curves(sheet);
    for (size_t i = 0; i < sheet->track->n_rows; i++) {
        const struct tt_row_result *row = row_at(sheet, i);
        double at_um = 1000 * (sheet->scene->sketch->spots[sheet->track->rows[i]].swing_mm +
                               row->residual_mm + row->moved_mm);
        if (row->use == TT_USE) {
            tt_row_mark(sheet->picture, row, &sheet->position,
                        tt_scale_place(&sheet->turn, tt_turn_deg(row->rotation_rad)), at_um,
                        row->residual_mm);
        } else {
            draw_no_contact(sheet, row, &sheet->position);
        }
    }
}

static void draw_lower(struct sheet *sheet)
{
    tt_picture_text(sheet->picture, "m", 2, sheet->residual.last - 8, "start",
                    tt_picture_words(sheet->picture, "residual, " TT_UM " (late below 0)"), 40);
    tt_picture_axis_y(sheet->picture, &sheet->residual, TT_PLOT_LEFT, TT_PLOT_RIGHT);
    tt_picture_axis_x(sheet->picture, &sheet->turn, sheet->residual.last, sheet->residual.first,
                      true);
    tt_picture_line(sheet->picture, "z", TT_PLOT_LEFT, tt_scale_place(&sheet->residual, 0),
                    TT_PLOT_RIGHT, tt_scale_place(&sheet->residual, 0));
    for (size_t i = 0; i < sheet->track->n_rows; i++) {
        const struct tt_row_result *row = row_at(sheet, i);
        tt_shapes_add(&sheet->shapes, row);
        if (row->use == TT_USE) {
            tt_row_mark(sheet->picture, row, &sheet->residual,
                        tt_scale_place(&sheet->turn, tt_turn_deg(row->rotation_rad)),
                        1000 * row->residual_mm, row->residual_mm);
        } else if (!sheet->track->has_curve) {
            draw_no_contact(sheet, row, &sheet->residual);
        }
    }
}

static void write_table(const struct sheet *sheet)
{
    struct tt_picture *p = sheet->picture;

    tt_picture_columns(p, "line|rotation, " TT_DEGREE);
    if (sheet->track->has_curve) {
        tt_picture_columns(p, "position, " TT_UM);
    }
    tt_picture_columns(p, "residual, " TT_UM "|remark");
    for (size_t i = 0; i < sheet->track->n_rows; i++) {
        const struct tt_row_result *row = row_at(sheet, i);
        const struct tt_spot *spot = &sheet->scene->sketch->spots[sheet->track->rows[i]];
        bool used = row->use == TT_USE;
        tt_picture_row(p);
        tt_picture_cell_count(p, row->line);
        tt_picture_cell_fixed(p, tt_deg_from_rad(row->rotation_rad), 1, false);
        if (sheet->track->has_curve) {
            tt_picture_cell_small(p, used ? spot->swing_mm + row->residual_mm + row->moved_mm : NAN,
                                  1, true);
        }
        tt_picture_cell_small(p, used ? row->residual_mm : NAN, 1, true);
        tt_picture_cell(p, tt_row_remark(row));
        tt_picture_row_end(p);
    }
}

static void write_words(const struct sheet *sheet)
{
    const struct tiptrue_solution *s = sheet->scene->solution;
    const struct tt_sketch_track *track = sheet->track;
    struct tt_buffer *title = &sheet->picture->title, *desc = &sheet->picture->desc;
    size_t aside = 0, no_contact = 0;

    tt_markup_named(title, "Tip ", s->tips[track->tip].name, " on edge ");
    tt_markup_short(title, s->edges[track->edge].name, TT_NAME_MOST);
    if (s->n_poses > 1) {
        tt_markup_named(title, ", setup ",
                        s->poses[track->setup].setup != NULL ? s->poses[track->setup].setup : "",
                        "");
    }
    for (size_t i = 0; i < track->n_rows; i++) {
        aside += row_at(sheet, i)->set_aside;
        no_contact += row_at(sheet, i)->use == TT_USE_NO_CONTACT;
    }
    tt_buffer_printf(
        desc, "%s against rotation for %zu touches, %zu of them left out, %zu without contact.",
        track->has_curve ? "Contact position with the fitted curve, and residuals beneath,"
                         : "Residuals",
        track->n_rows, aside, no_contact);
}

void tt_draw_track(const struct tt_scene *scene, size_t track, struct tt_picture *picture)
{
    struct sheet sheet = {
        .scene = scene, .track = &scene->sketch->tracks[track], .picture = picture};
    double reach_um = tt_residual_reach_um(scene->solution, false);
    double up = sheet.track->has_curve ? 0 : UPPER_BOTTOM;

    sheet.turn =
        tt_scale_make((struct tt_span){0, 360, 1, TT_PLOT_LEFT, TT_PLOT_RIGHT, 4, false, 1});
    sheet.turn.step = 90;
    sheet.residual =
        tt_scale_make((struct tt_span){-reach_um, reach_um, 1, LOWER_BOTTOM - up, LOWER_TOP - up, 4,
                                       true, tt_picture_per_um(picture)});
    if (sheet.track->has_curve) {
        sheet.position = position_scale(&sheet);
        draw_upper(&sheet);
    }
    draw_lower(&sheet);
    tt_picture_text(picture, "m", TT_PLOT_RIGHT, LOWER_BOTTOM - up + 28, "end",
                    "rotation, " TT_DEGREE, 40);
    picture->height = tt_shapes_legend(picture, &sheet.shapes, LOWER_BOTTOM - up + 28);
    write_words(&sheet);
    write_table(&sheet);
}
