/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Tables of a run's report about touches from above: heights of tips, pads with residuals. */
#include "config.h"

#include "output/report/markup.h"
#include "output/report/report.h"
#include "output/text/text_parts.h"
#include "output/verdict.h"

static void put_cell(struct tt_buffer *body, bool there, double value, int decimals, bool plus)
{
    tt_buffer_puts(body, "<td>");
    if (there) {
        tt_buffer_puts(body, tt_signed(value, decimals, plus).text);
    }
    tt_buffer_puts(body, "</td>");
}

static void put_name(struct tt_buffer *body, const char *name)
{
    tt_markup_named(body, "<tr><th scope=\"row\">", name, "</th>");
}

static void put_tip(struct tt_buffer *body, const struct tt_tip_result *tip)
{
    const struct tt_height_result *h = tip->height;
    int digits = tt_um_decimals(h->same_plate_expanded_mm);

    put_name(body, tip->name);
    tt_buffer_printf(body, "<td class=\"t\">%s</td>",
                     h->has_verdict ? tt_verdict_word(h->verdict) : "");
    put_cell(body, h->determined, h->value_mm, TT_MM_DECIMALS, true);
    put_cell(body, h->determined, 1e3 * h->expanded_mm, tt_um_decimals(h->expanded_mm), false);
    put_cell(body, h->determined, 1e3 * h->same_plate_expanded_mm, digits, false);
    put_cell(body, h->determined && h->has_present, 1e3 * h->change_mm, digits, true);
    put_cell(body, h->has_conformity, 1e3 * h->permitted_error_mm, 0, false);
    put_cell(body, h->has_face_runout, 1e3 * h->face_amplitude_mm, 1, false);
    tt_buffer_puts(body, "</tr>\n");
}

static void put_pad(struct tt_buffer *body, const struct tt_pad_result *pad)
{
    put_name(body, pad->name);
    tt_buffer_printf(body, "<td>%zu of %zu</td>", pad->used, pad->touches);
    put_cell(body, true, 1e3 * pad->mean_residual_mm, 1, true);
    put_cell(body, true, 1e3 * pad->shift_mm, 1, true);
    put_cell(body, true, 1e3 * pad->u_shift_mm, 1, false);
    tt_buffer_puts(body, "</tr>\n");
}

static void put_surface(struct tt_buffer *body, const struct tiptrue_solution *s,
                        const struct tt_surface_result *surface)
{
    if (s->n_surface > 1) {
        tt_markup_named(body, "<p>Setup ", surface->setup, "</p>\n");
    }
    tt_buffer_puts(body, "<table><thead><tr><th scope=\"col\">pad</th><th "
                         "scope=\"col\">touches used</th><th scope=\"col\">mean residual, " TT_UM
                         "</th><th scope=\"col\">above its stated height, " TT_UM
                         "</th><th scope=\"col\">u, " TT_UM "</th></tr></thead><tbody>\n");
    for (size_t k = 0; k < surface->n_pads; k++) {
        put_pad(body, &surface->pads[k]);
    }
    tt_buffer_puts(body, "</tbody></table>\n");
    if (surface->slope_determined) {
        tt_buffer_printf(body,
                         "<p>The plate rises by %s mm/m along machine x (u %s) and %s mm/m along y "
                         "(u %s).</p>\n",
                         tt_signed(1e3 * surface->slope_x, 2, true).text,
                         tt_signed(1e3 * surface->u_slope_x, 2, false).text,
                         tt_signed(1e3 * surface->slope_y, 2, true).text,
                         tt_signed(1e3 * surface->u_slope_y, 2, false).text);
    }
}

void tt_report_heights(struct tt_buffer *body, const struct tiptrue_solution *s)
{
    if (s->n_surface == 0) {
        return;
    }
    tt_buffer_puts(
        body, "<h3>Heights</h3>\n<table><thead><tr><th scope=\"col\">tip</th><th "
              "scope=\"col\" class=\"t\">verdict</th><th scope=\"col\">height, mm</th><th "
              "scope=\"col\">" TT_PLUS_MINUS " total, " TT_UM
              "</th><th scope=\"col\">" TT_PLUS_MINUS " change, " TT_UM
              "</th><th scope=\"col\">change, " TT_UM "</th><th scope=\"col\">permitted, " TT_UM
              "</th><th scope=\"col\">face runout, " TT_UM "</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < s->n_tips; i++) {
        if (s->tips[i].height != NULL) {
            put_tip(body, &s->tips[i]);
        }
    }
    tt_buffer_puts(body, "</tbody></table>\n");
    for (size_t k = 0; k < s->n_surface; k++) {
        put_surface(body, s, &s->surface[k]);
    }
}
