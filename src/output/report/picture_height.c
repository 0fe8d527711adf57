/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Contact from above against rotation, for one tip: a face that is not square to its axis is a
 * wave, film on a pad a hole.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>
#include <string.h>

#include "output/page.h"

#define TOP 30.0
#define BOTTOM 160.0
#define STEPS 73 /* of the curve over a turn: every 5 degrees */
#define LEAST_UM 5.0
#define ASIDE_REACH 4 /* what was set aside is to scale up to so many times the rest */

struct sheet {
    const struct tt_scene *scene;
    const struct tt_tip_result *tip;
    struct tt_picture *picture;
    struct tt_scale turn, height;
    struct tt_shapes shapes;
    bool has_curve;
    size_t touches, aside, no_contact;
};

static bool is_of(const struct tt_row_result *row, const struct tt_tip_result *tip)
{
    return row->kind == TT_HEIGHT && (row->use == TT_USE || row->use == TT_USE_NO_CONTACT) &&
           row->tip != NULL && strcmp(row->tip, tip->name) == 0;
}

/* What the end's tilt adds at the logged @rotation_rad, in micrometres. */
static double wave_um(const struct sheet *sheet, double rotation_rad)
{
    const struct tt_height_result *h = sheet->tip->height;
    double theta = sheet->scene->machine != NULL && sheet->scene->machine->clockwise ? -rotation_rad
                                                                                     : rotation_rad;

    return sheet->has_curve
               ? 1000 * (h->face_runout.x_mm * cos(theta) + h->face_runout.y_mm * sin(theta))
               : 0;
}

static double height_um(const struct sheet *sheet, const struct tt_row_result *row)
{
    return wave_um(sheet, row->rotation_rad) + 1000 * row->residual_mm;
}

static struct tt_scale scale_of(const struct sheet *sheet)
{
    const struct tiptrue_solution *s = sheet->scene->solution;
    double used_um = sheet->has_curve ? fmax(1000 * sheet->tip->height->face_amplitude_mm, LEAST_UM)
                                      : LEAST_UM,
           low = 0, high = 0;

    for (size_t i = 0; i < s->n_rows; i++) {
        const struct tt_row_result *row = &s->rows[i];
        if (is_of(row, sheet->tip) && row->use == TT_USE && !row->set_aside) {
            used_um = fmax(used_um, fabs(height_um(sheet, row)));
        }
    }
    for (size_t i = 0; i < s->n_rows; i++) {
        const struct tt_row_result *row = &s->rows[i];
        if (is_of(row, sheet->tip) && row->use == TT_USE && row->set_aside) {
            low = fmin(low, height_um(sheet, row));
            high = fmax(high, height_um(sheet, row));
        }
    }
    return tt_scale_make((struct tt_span){fmax(low, -ASIDE_REACH * used_um) - used_um,
                                          fmin(high, ASIDE_REACH * used_um) + used_um, 1, BOTTOM,
                                          TOP, 5, true, tt_picture_per_um(sheet->picture)});
}

static void draw_curve(const struct sheet *sheet)
{
    double turn_deg[STEPS], um[STEPS];

    for (size_t i = 0; i < STEPS; i++) {
        turn_deg[i] = 360.0 * (double)i / (STEPS - 1);
        um[i] = wave_um(sheet, turn_deg[i] * TT_PI / 180);
    }
    tt_picture_curve(sheet->picture, "c", &sheet->turn, &sheet->height, turn_deg, um, STEPS);
    tt_picture_key_line(sheet->picture, "c", 290, 12, "fit");
}

static void draw_row(struct sheet *sheet, const struct tt_row_result *row)
{
    double x = tt_scale_place(&sheet->turn, tt_turn_deg(row->rotation_rad));

    tt_shapes_add(&sheet->shapes, row);
    sheet->touches++;
    sheet->aside += row->set_aside;
    if (row->use == TT_USE) {
        tt_row_mark(sheet->picture, row, &sheet->height, x, height_um(sheet, row),
                    row->residual_mm);
        return;
    }
    sheet->no_contact++;
    tt_picture_mark(sheet->picture, TT_MARK_NO_CONTACT, x, sheet->height.first - 4);
    tt_row_tell(sheet->picture, row, 0);
    tt_picture_mark_end(sheet->picture, TT_MARK_NO_CONTACT);
}

static void write_row(const struct sheet *sheet, const struct tt_row_result *row)
{
    struct tt_picture *p = sheet->picture;
    bool used = row->use == TT_USE;

    tt_picture_row(p);
    tt_picture_cell_count(p, row->line);
    tt_picture_cell(p, row->target);
    tt_picture_cell_fixed(p, row->rotation_rad * 180 / TT_PI, 1, false);
    tt_picture_cell_small(p, used ? 1e-3 * height_um(sheet, row) : NAN, 1, true);
    tt_picture_cell_small(p, used ? row->residual_mm : NAN, 1, true);
    tt_picture_cell(p, tt_row_remark(row));
    tt_picture_row_end(p);
}

static void write_words(const struct sheet *sheet)
{
    struct tt_buffer *title = &sheet->picture->title, *desc = &sheet->picture->desc;

    tt_markup_named(title, "Tip ", sheet->tip->name, " on the pads");
    tt_buffer_printf(desc,
                     "Contact from above against rotation, beside the tip's height, for %zu "
                     "touches, %zu of them left out, %zu without contact.",
                     sheet->touches, sheet->aside, sheet->no_contact);
    if (sheet->has_curve) {
        tt_picture_say(
            sheet->picture, desc, " The wave is the face runout, %s " TT_UM ".",
            tt_signed_small(sheet->picture->units, sheet->tip->height->face_amplitude_mm, 1, false)
                .text);
    }
}

bool tt_can_draw_height(const struct tt_scene *scene, size_t tip)
{
    const struct tiptrue_solution *s = scene->solution;

    for (size_t i = 0; s->tips[tip].height != NULL && i < s->n_rows; i++) {
        if (is_of(&s->rows[i], &s->tips[tip])) {
            return true;
        }
    }
    return false;
}

void tt_draw_height(const struct tt_scene *scene, size_t tip, struct tt_picture *picture)
{
    const struct tiptrue_solution *s = scene->solution;
    struct sheet sheet = {.scene = scene, .tip = &s->tips[tip], .picture = picture};

    sheet.has_curve = scene->machine != NULL && sheet.tip->height->has_face_runout;
    sheet.turn =
        tt_scale_make((struct tt_span){0, 360, 1, TT_PLOT_LEFT, TT_PLOT_RIGHT, 4, false, 1});
    sheet.turn.step = 90;
    sheet.height = scale_of(&sheet);
    tt_picture_text(
        picture, "m", 2, 12, "start",
        tt_picture_words(picture, "height beside the tip's, " TT_UM " (too deep below 0)"), 60);
    tt_picture_axis_y(picture, &sheet.height, TT_PLOT_LEFT, TT_PLOT_RIGHT);
    tt_picture_axis_x(picture, &sheet.turn, TOP, BOTTOM, true);
    tt_picture_line(picture, "z", TT_PLOT_LEFT, tt_scale_place(&sheet.height, 0), TT_PLOT_RIGHT,
                    tt_scale_place(&sheet.height, 0));
    if (sheet.has_curve) {
        draw_curve(&sheet);
    }
    tt_picture_columns(picture, "line|pad|rotation, " TT_DEGREE "|height beside the tip's, " TT_UM
                                "|residual, " TT_UM "|remark");
    for (size_t i = 0; i < s->n_rows; i++) {
        if (is_of(&s->rows[i], sheet.tip)) {
            draw_row(&sheet, &s->rows[i]);
            write_row(&sheet, &s->rows[i]);
        }
    }
    tt_picture_text(picture, "m", TT_PLOT_RIGHT, BOTTOM + 28, "end", "rotation, " TT_DEGREE, 40);
    picture->height = tt_shapes_legend(picture, &sheet.shapes, BOTTOM + 28);
    write_words(&sheet);
}
