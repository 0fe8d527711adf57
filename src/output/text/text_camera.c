/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the views told of the picture, in running text. */
#include "config.h"

#include "output/text/text_parts.h"

#include <math.h>

#include "base/number.h"

/* Decimals that keep two significant digits of @u, 0 to 5. */
static int decimals_of(double u)
{
    int decimals = u > 0 ? 1 - (int)floor(log10(u)) : 5;
    return decimals < 0 ? 0 : decimals > 5 ? 5 : decimals;
}

/* "17.4134 um (u 0.0025 um)": of a pixel. */
static void add_scale(struct tt_buffer *words, double scale_mm, double u_mm)
{
    int decimals = decimals_of(1000 * u_mm);

    tt_buffer_printf(words, "%s" TT_TIED TT_UM " (u" TT_TIED "%s" TT_TIED TT_UM ")",
                     tt_fixed(1000 * scale_mm, decimals, false).text,
                     tt_fixed(1000 * u_mm, decimals, false).text);
}

void tt_text_camera(struct tt_page *page, const struct tiptrue_solution *s)
{
    const struct tt_camera_result *c = &s->camera;
    struct tt_buffer *words = &page->words;
    double turn_deg = tt_deg_from_rad(c->turn_rad), u_deg = tt_deg_from_rad(c->u_turn_rad);

    if (c->views == 0) {
        return;
    }
    if (!c->determined) {
        tt_buffer_puts(words, "picture: scale and turn are not determined; view one mark at three "
                              "places of the picture that are not in a line");
        tt_page_say(page, 2);
        return;
    }
    tt_buffer_puts(words, "picture: a pixel is ");
    add_scale(words, c->scale_x_mm, c->u_scale_x_mm);
    tt_buffer_puts(words, " wide and ");
    add_scale(words, c->scale_y_mm, c->u_scale_y_mm);
    tt_buffer_printf(words,
                     " high, turned by %s" TT_DEGREE " (u" TT_TIED "%s" TT_DEGREE
                     ")%s; views lie within %s" TT_TIED "pixels rms",
                     tt_fixed(turn_deg, decimals_of(u_deg), true).text,
                     tt_fixed(u_deg, decimals_of(u_deg), false).text,
                     c->mirrored ? ", and mirrored" : "", tt_fixed(c->rms_px, 2, false).text);
    tt_page_say(page, 2);
}

void tt_text_picture_expected(struct tt_page *page, const struct tt_camera_result *camera)
{
    if (camera->views == 0) {
        return;
    }
    tt_page_go(page, 2);
    if (camera->determined) {
        double u_deg = tt_deg_from_rad(camera->u_turn_rad),
               u_share = fmax(camera->u_scale_x_mm / camera->scale_x_mm,
                              camera->u_scale_y_mm / camera->scale_y_mm);
        tt_page_printf(
            page, "picture: standard uncertainty expected of scale %s %%, of turn %s" TT_DEGREE,
            tt_fixed(100 * u_share, 4, false).text, tt_fixed(u_deg, 4, false).text);
    } else {
        tt_page_puts(page, "picture: scale and turn not determined");
    }
    tt_page_line_end(page);
}
