/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The camera's picture with the marks where the views saw them, and their residuals enlarged: a
 * wrong blob is one long stroke, a lens that bends makes strokes along the radius, a picture that
 * is turned or scaled otherwise strokes that grow outwards.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>
#include <stdio.h>

#include "output/report/markup.h"

#define TOP 30.0
#define MOST_HEIGHT 330.0
#define STROKE 22.0      /* of the largest residual that is used */
#define MOST_STROKE 60.0 /* of one that is left out */
#define LEAST_PX 0.05

struct sheet {
    const struct tt_scene *scene;
    struct tt_picture *picture;
    struct tt_scale x, y;
    double times; /* how many times residuals are enlarged against the picture's pixels */
    bool aside;   /* a view is left out */
};

static bool is_shown(const struct tt_scene *scene, size_t row)
{
    return scene->sketch->spots[row].has_pixel && scene->solution->rows[row].use == TT_USE;
}

static double off_px(const struct tt_spot *spot)
{
    return hypot(spot->off_right_px, spot->off_down_px);
}

static void set_scales(struct sheet *sheet)
{
    const double *size = sheet->scene->machine->camera.size_px;
    double per_px = fmin((TT_PLOT_RIGHT - TT_PLOT_LEFT) / size[0], MOST_HEIGHT / size[1]),
           used_px = LEAST_PX;

    for (size_t i = 0; i < sheet->scene->solution->n_rows; i++) {
        if (is_shown(sheet->scene, i) && !sheet->scene->solution->rows[i].set_aside) {
            used_px = fmax(used_px, off_px(&sheet->scene->sketch->spots[i]));
        }
    }
    sheet->x = tt_scale_make((struct tt_span){0, size[0], 1, TT_PLOT_LEFT,
                                              TT_PLOT_LEFT + per_px * size[0], 5, false, 1});
    sheet->y =
        tt_scale_make((struct tt_span){0, size[1], 1, TOP, TOP + per_px * size[1], 5, false, 1});
    sheet->times = tt_scale_round_down(STROKE / (used_px * per_px));
}

static void draw_view(struct sheet *sheet, size_t i)
{
    const struct tt_row_result *row = &sheet->scene->solution->rows[i];
    const struct tt_spot *spot = &sheet->scene->sketch->spots[i];
    enum tt_shape shape = row->set_aside ? TT_MARK_ASIDE : TT_MARK_USED;
    double per_px = (sheet->x.last - sheet->x.first) / sheet->x.high,
           length = off_px(spot) * per_px * sheet->times,
           shorter = length > MOST_STROKE ? MOST_STROKE / length : 1,
           x = tt_scale_clip(&sheet->x, spot->px), y = tt_scale_clip(&sheet->y, spot->py);
    struct tt_buffer *svg = &sheet->picture->svg;

    tt_picture_line(sheet->picture, row->set_aside ? "kx" : "k", x, y,
                    x + shorter * spot->off_right_px * per_px * sheet->times,
                    y + shorter * spot->off_down_px * per_px * sheet->times);
    tt_picture_mark(sheet->picture, shape, x, y);
    tt_buffer_printf(svg, "line %zu, mark ", row->line);
    tt_markup_short(svg, row->target, TT_NAME_MOST);
    tt_buffer_printf(svg, ", off by %s px to the right and %s px down%s%s",
                     tt_signed(spot->off_right_px, 2, true).text,
                     tt_signed(spot->off_down_px, 2, true).text, row->set_aside ? ", left out" : "",
                     shorter < 1 ? ", longer than drawn" : "");
    tt_picture_mark_end(sheet->picture, shape);
    sheet->aside = sheet->aside || row->set_aside;
}

static void write_row(struct tt_picture *p, const struct tt_row_result *row,
                      const struct tt_spot *spot)
{
    tt_picture_row(p);
    tt_picture_cell_count(p, row->line);
    tt_picture_cell(p, row->target);
    tt_picture_cell_fixed(p, spot->px, 1, false);
    tt_picture_cell_fixed(p, spot->py, 1, false);
    tt_picture_cell_fixed(p, spot->off_right_px, 2, true);
    tt_picture_cell_fixed(p, spot->off_down_px, 2, true);
    tt_picture_cell(p, row->set_aside ? "left out" : "");
    tt_picture_row_end(p);
}

/* The centre, which the offset refers to, as a cross of lines. */
static void draw_centre(const struct sheet *sheet)
{
    const double *centre = sheet->scene->machine->camera.centre_px;
    double x = tt_scale_clip(&sheet->x, centre[0]), y = tt_scale_clip(&sheet->y, centre[1]);

    tt_picture_line(sheet->picture, "e", x - 7, y, x + 7, y);
    tt_picture_line(sheet->picture, "e", x, y - 7, x, y + 7);
}

static void draw_keys(struct sheet *sheet)
{
    struct tt_picture *p = sheet->picture;
    char text[64];
    double y = sheet->y.last + 46;
    double x = tt_picture_key_line(p, "e", TT_KEYS_LEFT, y, "centre: the offset refers to it");

    if (sheet->aside) {
        tt_picture_key(p, TT_MARK_ASIDE, x, y, "left out");
    }
    snprintf(text, sizeof text, "residual, %.0f times", sheet->times);
    x = tt_picture_key(p, TT_MARK_USED, TT_KEYS_LEFT, y + 16, "seen here");
    tt_picture_key_line(p, "k", x, y + 16, text);
    p->height = y + 24;
}

static void write_words(const struct sheet *sheet, size_t n, size_t aside)
{
    const struct tt_camera_result *camera = &sheet->scene->solution->camera;
    struct tt_buffer *title = &sheet->picture->title, *desc = &sheet->picture->desc;

    tt_buffer_puts(title, "Marks in the camera's picture");
    tt_buffer_printf(
        desc,
        "The camera's picture with %zu views of marks, %zu of them left out, each with a stroke "
        "from where the fit expects it towards where it was seen, enlarged %.0f times. ",
        n, aside, sheet->times);
    if (camera->has_distortion) {
        tt_buffer_printf(desc, "The lens moves the corner by %s px, which the fit takes out.",
                         tt_signed(camera->at_corner_px, 1, true).text);
    } else {
        tt_buffer_puts(desc, "No distortion of the lens is shown.");
    }
}

bool tt_can_draw_views(const struct tt_scene *scene, size_t only)
{
    (void)only;
    for (size_t i = 0; scene->machine != NULL && scene->machine->camera.present &&
                       scene->machine->camera.size_px[0] > 0 &&
                       scene->machine->camera.size_px[1] > 0 && i < scene->solution->n_rows;
         i++) {
        if (is_shown(scene, i)) {
            return true;
        }
    }
    return false;
}

void tt_draw_views(const struct tt_scene *scene, size_t only, struct tt_picture *picture)
{
    struct sheet sheet = {.scene = scene, .picture = picture};
    size_t n = 0, aside = 0;

    (void)only;
    set_scales(&sheet);
    tt_picture_axis_y(picture, &sheet.y, sheet.x.first, sheet.x.last);
    tt_picture_axis_x(picture, &sheet.x, sheet.y.first, sheet.y.last, true);
    tt_picture_text(picture, "m", 2, 12, "start", "py, pixels down", 40);
    tt_picture_text(picture, "m", TT_PLOT_RIGHT, sheet.y.last + 28, "end",
                    "px, pixels to the right", 40);
    draw_centre(&sheet);
    tt_picture_columns(picture, "line|mark|px|py|off to the right, px|off down, px|remark");
    for (size_t i = 0; i < scene->solution->n_rows; i++) {
        if (is_shown(scene, i)) {
            n++;
            aside += scene->solution->rows[i].set_aside;
            draw_view(&sheet, i);
            write_row(picture, &scene->solution->rows[i], &scene->sketch->spots[i]);
        }
    }
    draw_keys(&sheet);
    write_words(&sheet, n, aside);
}
