/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The marks at their places on the plate, each with a stroke to where its sightings and views have
 * it, enlarged: where axes have another scale or are not square, strokes grow with the distance,
 * and a second stroke shows what is left once that is taken out. One mark out of place is one long
 * stroke.
 */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>
#include <stdio.h>

#include "output/page.h"
#include "output/report/markup.h"

#define TOP 30.0
#define MOST_HEIGHT 300.0
#define BORDER 34.0 /* room for a stroke and a name */
#define STROKE 28.0 /* of the largest */
#define LEAST_MM 5e-4
#define LEAST_MARKS 3

struct sheet {
    const struct tt_scene *scene;
    struct tt_picture *picture;
    struct tt_scale x, y;
    double times, per_mm;
};

static bool is_shown(const struct tt_scene *scene, size_t mark)
{
    return scene->sketch->marks[mark].n > 0;
}

bool tt_can_draw_marks(const struct tt_scene *scene, size_t only)
{
    (void)only;
    size_t n = 0;

    for (size_t m = 0;
         scene->plate != NULL && scene->sketch->marks != NULL && m < scene->plate->n_marks; m++) {
        n += is_shown(scene, m);
    }
    return n >= LEAST_MARKS;
}

static void set_scales(struct sheet *sheet)
{
    const struct tiptrue_plate *plate = sheet->scene->plate;
    struct tt_extent x = {0}, y = {0};
    double most_mm = LEAST_MM, width = TT_PLOT_RIGHT - TT_PLOT_LEFT - 2 * BORDER;

    for (size_t m = 0; m < plate->n_marks; m++) {
        const struct tt_sketch_mark *mark = &sheet->scene->sketch->marks[m];
        if (is_shown(sheet->scene, m)) {
            tt_extent_add(&x, plate->marks[m].at.x_mm);
            tt_extent_add(&y, plate->marks[m].at.y_mm);
            most_mm = fmax(most_mm, fmax(hypot(mark->plain.x_mm, mark->plain.y_mm),
                                         hypot(mark->off.x_mm, mark->off.y_mm)));
        }
    }
    sheet->per_mm =
        fmin(width / fmax(x.high - x.low, 1), (MOST_HEIGHT - 2 * BORDER) / fmax(y.high - y.low, 1));
    double beside = BORDER / sheet->per_mm, left = 0.5 * (x.low + x.high),
           half = 0.5 * (TT_PLOT_RIGHT - TT_PLOT_LEFT) / sheet->per_mm;
    sheet->x =
        tt_scale_make((struct tt_span){left - half, left + half, 1, TT_PLOT_LEFT, TT_PLOT_RIGHT, 5,
                                       false, tt_picture_per_mm(sheet->picture)});
    sheet->y = tt_scale_make((struct tt_span){y.low - beside, y.high + beside, 1,
                                              TOP + sheet->per_mm * (y.high - y.low + 2 * beside),
                                              TOP, 5, false, tt_picture_per_mm(sheet->picture)});
    sheet->times = tt_scale_round_down(STROKE / (most_mm * sheet->per_mm));
}

static void draw_stroke(const struct sheet *sheet, const char *class, struct tt_plate_xy at,
                        struct tt_plate_xy off)
{
    double x = tt_scale_place(&sheet->x, at.x_mm), y = tt_scale_place(&sheet->y, at.y_mm),
           enlarged = sheet->times * sheet->per_mm;

    tt_picture_line(sheet->picture, class, x, y, x + enlarged * off.x_mm, y - enlarged * off.y_mm);
}

static void draw_mark(struct sheet *sheet, size_t m)
{
    const struct tt_mark *mark = &sheet->scene->plate->marks[m];
    const struct tt_sketch_mark *seen = &sheet->scene->sketch->marks[m];
    bool axes = sheet->scene->solution->axes.found;
    struct tt_picture *p = sheet->picture;
    double x = tt_scale_place(&sheet->x, mark->at.x_mm),
           y = tt_scale_place(&sheet->y, mark->at.y_mm);

    if (axes) {
        draw_stroke(sheet, "v", mark->at, seen->plain);
    }
    draw_stroke(sheet, "k", mark->at, seen->off);
    tt_picture_mark(p, TT_MARK_SIGHT, x, y);
    tt_buffer_puts(&p->svg, "mark ");
    tt_markup_short(&p->svg, mark->name, TT_NAME_MOST);
    tt_picture_say(p, &p->svg, ", seen %zu times, off by %s, %s " TT_UM, seen->n,
                   tt_signed_small(p->units, seen->off.x_mm, 1, true).text,
                   tt_signed_small(p->units, seen->off.y_mm, 1, true).text);
    tt_picture_mark_end(p, TT_MARK_SIGHT);
    tt_picture_text(p, "t", x + 7, y + 14, "start", mark->name, 8);
    tt_picture_row(p);
    tt_picture_cell(p, mark->name);
    tt_picture_cell_count(p, seen->n);
    tt_picture_cell_small(p, seen->off.x_mm, 1, true);
    tt_picture_cell_small(p, seen->off.y_mm, 1, true);
    if (axes) {
        tt_picture_cell_small(p, seen->plain.x_mm, 1, true);
        tt_picture_cell_small(p, seen->plain.y_mm, 1, true);
    }
    tt_picture_row_end(p);
}

static void write_words(struct sheet *sheet)
{
    struct tt_picture *p = sheet->picture;
    bool axes = sheet->scene->solution->axes.found;
    double y = sheet->y.first + 46;
    char text[64];

    snprintf(text, sizeof text, "where it was seen, %.0f times", sheet->times);
    tt_picture_key(p, TT_MARK_SIGHT, TT_KEYS_LEFT, y, "stated place");
    tt_picture_key_line(p, "k", TT_KEYS_LEFT + 110, y, text);
    if (axes) {
        tt_picture_key_line(p, "v", TT_KEYS_LEFT, y + 16,
                            "the same with the axes as the machine has them");
    }
    p->height = y + (axes ? 24 : 8);
    tt_buffer_puts(&p->title, "Marks on the plate");
    tt_buffer_printf(&p->desc,
                     "The plate's marks at their stated places, each with a stroke to where it was "
                     "seen with the plate put where all fit best, enlarged %.0f times. %s",
                     sheet->times,
                     axes ? "A broken stroke shows it with the axes as the machine has them: it "
                            "grows with the distance; the full one with scale and squareness taken "
                            "into account."
                          : "No error of the axes is shown.");
}

void tt_draw_marks(const struct tt_scene *scene, size_t only, struct tt_picture *picture)
{
    struct sheet sheet = {.scene = scene, .picture = picture};

    (void)only;
    set_scales(&sheet);
    tt_picture_axis_y(picture, &sheet.y, sheet.x.first, sheet.x.last);
    tt_picture_axis_x(picture, &sheet.x, sheet.y.last, sheet.y.first, true);
    tt_picture_text(picture, "m", 2, 12, "start", tt_picture_words(picture, "y on the plate, mm"),
                    40);
    tt_picture_text(picture, "m", TT_PLOT_RIGHT, sheet.y.first + 28, "end",
                    tt_picture_words(picture, "x on the plate, mm"), 40);
    tt_picture_columns(picture, scene->solution->axes.found
                                    ? "mark|seen|off x, " TT_UM "|off y, " TT_UM
                                      "|axes as they are, x|y"
                                    : "mark|seen|off x, " TT_UM "|off y, " TT_UM "");
    for (size_t m = 0; m < scene->plate->n_marks; m++) {
        if (is_shown(scene, m)) {
            draw_mark(&sheet, m);
        }
    }
    write_words(&sheet);
}
