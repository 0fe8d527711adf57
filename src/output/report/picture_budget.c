/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The budget of an offset as bars: what each source puts into its standard uncertainty, largest
 * first, x and y. */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>

#include "output/report/markup.h"
#include "output/page.h"

#define TOP 26.0
#define ROW 25.0
#define BAR 8.0
#define BARS_LEFT 166.0
#define BARS_RIGHT 304.0

struct bars {
    struct tt_picture *picture;
    struct tt_scale scale;
    double y;
};

static void draw_bar(const struct bars *bars, double y, double u_mm, const char *class)
{
    double end = tt_scale_place(&bars->scale, 1000 * u_mm);

    tt_buffer_printf(&bars->picture->svg, "<path class=\"%s\" ", class);
    tt_markup(&bars->picture->svg, "d=\"M@ @H@v@H@z\"/>", TT_AT(BARS_LEFT, y, end, BAR, BARS_LEFT));
    tt_picture_text(bars->picture, "m", end + 4, y + BAR, "start",
                    tt_signed_small(bars->picture->units, u_mm,
                                    u_mm >= 0.00995     ? 0
                                    : u_mm >= 0.0000995 ? 1
                                                        : 2,
                                    false)
                        .text,
                    12);
}

/* What the plate's own errors put in is drawn hollow: on the same plate it cancels. */
static void draw_source(struct bars *bars, const char *source, double u_x_mm, double u_y_mm,
                        bool of_plate)
{
    tt_picture_text(bars->picture, "", 4, bars->y + BAR + 4, "start", source, 33);
    draw_bar(bars, bars->y, u_x_mm, of_plate ? "px" : "bx");
    draw_bar(bars, bars->y + BAR + 2, u_y_mm, of_plate ? "py" : "by");
    bars->y += ROW;
}

static void tell_source(struct tt_picture *picture, const char *source, const char *type,
                        double u_x_mm, double u_y_mm)
{
    tt_picture_row(picture);
    tt_picture_cell(picture, source);
    tt_picture_cell(picture, type);
    tt_picture_cell_small(picture, u_x_mm, 2, false);
    tt_picture_cell_small(picture, u_y_mm, 2, false);
    tt_picture_row_end(picture);
}

bool tt_can_draw_budget(const struct tt_scene *scene, size_t index)
{
    const struct tt_tip_result *tip = &scene->solution->tips[index];

    return tip->n_budget > 0 && tip->offset_determined_x && tip->offset_determined_y;
}

void tt_draw_budget(const struct tt_scene *scene, size_t index, struct tt_picture *picture)
{
    const struct tt_tip_result *tip = &scene->solution->tips[index];
    double u_x_mm = sqrt(fmax(tip->cov.xx_mm2, 0)), u_y_mm = sqrt(fmax(tip->cov.yy_mm2, 0));
    double same_x_mm = sqrt(fmax(tip->same_plate_cov.xx_mm2, 0)),
           same_y_mm = sqrt(fmax(tip->same_plate_cov.yy_mm2, 0));
    struct bars bars = {.picture = picture, .y = TOP};

    bars.scale = tt_scale_make((struct tt_span){0, 1000 * fmax(u_x_mm, u_y_mm), 0.1, BARS_LEFT,
                                                BARS_RIGHT, 3, false, tt_picture_per_um(picture)});
    tt_picture_columns(picture, "source|type|u(x), " TT_UM "|u(y), " TT_UM);
    tt_picture_text(picture, "m", 4, 14, "start",
                    tt_picture_words(picture, "standard uncertainty, " TT_UM), 40);
    size_t drawn = tip->n_budget + 2;
    tt_picture_axis_x(picture, &bars.scale, TOP - 4, TOP + ROW * (double)drawn + 6, true);
    for (const struct tt_budget_line *line = tt_budget_next(tip, NULL); line != NULL;
         line = tt_budget_next(tip, line)) {
        draw_source(&bars, line->source, line->u_x_mm, line->u_y_mm, line->of_plate);
        tell_source(picture, line->source,
                    line->type == 'A' ? "A"
                    : line->of_plate  ? "B, plate"
                                      : "B",
                    line->u_x_mm, line->u_y_mm);
    }
    bars.y += 6;
    tt_picture_line(picture, "f", 4, bars.y - 6, BARS_RIGHT, bars.y - 6);
    draw_source(&bars, "all, change", same_x_mm, same_y_mm, false);
    draw_source(&bars, "all, total", u_x_mm, u_y_mm, false);
    tell_source(picture, "all, change", "", same_x_mm, same_y_mm);
    tell_source(picture, "all, total", "", u_x_mm, u_y_mm);
    double y = bars.y + 28, x = 4;
    tt_markup(&picture->svg, "<path class=\"bx\" d=\"M@ @h12v8h-12z\"/>", TT_AT(x, y - 8));
    tt_picture_text(picture, "m", x + 16, y, "start", "x", 4);
    tt_markup(&picture->svg, "<path class=\"by\" d=\"M@ @h12v8h-12z\"/>", TT_AT(x + 40, y - 8));
    tt_picture_text(picture, "m", x + 56, y, "start", "y", 4);
    tt_markup(&picture->svg, "<path class=\"px\" d=\"M@ @h12v8h-12z\"/>", TT_AT(x + 84, y - 8));
    tt_picture_text(picture, "m", x + 100, y, "start", "hollow: cancels on one plate", 40);
    picture->height = y + 8;
    tt_markup_named(&picture->title, "Tip ", tip->name, ": where the uncertainty comes from");
    tt_buffer_printf(&picture->desc,
                     "Standard uncertainties of the offset in x and y from %zu sources, largest "
                     "first, then all together change (on this plate) and total.",
                     tip->n_budget);
}
