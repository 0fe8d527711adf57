/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Tables of a run's report about touches from above: heights of tips, pads with residuals. */
#include "config.h"

#include "output/report/report.h"
#include "output/text/text_parts.h"
#include "output/verdict.h"

static void put_name(struct tt_report *report, const char *name)
{
    tt_markup_named(&report->body, "<tr><th scope=\"row\">", name, "</th>");
}

static void put_tip(struct tt_report *report, const struct tt_tip_result *tip)
{
    const struct tt_height_result *h = tip->height;
    int digits = tt_um_decimals(h->same_plate_expanded_mm);

    put_name(report, tip->name);
    tt_buffer_printf(&report->body, "<td class=\"t\">%s</td>",
                     h->has_verdict ? tt_verdict_word(h->verdict) : "");
    tt_report_cell(report, h->determined,
                   tt_signed_length(report->units, h->value_mm, TT_MM_DECIMALS, true));
    tt_report_cell(
        report, h->determined,
        tt_signed_small(report->units, h->expanded_mm, tt_um_decimals(h->expanded_mm), false));
    tt_report_cell(report, h->determined,
                   tt_signed_small(report->units, h->same_plate_expanded_mm, digits, false));
    tt_report_cell(report, h->determined && h->has_present,
                   tt_signed_small(report->units, h->change_mm, digits, true));
    tt_report_cell(report, h->has_conformity,
                   tt_signed_small(report->units, h->permitted_error_mm, 0, false));
    tt_report_cell(report, h->has_face_runout,
                   tt_signed_small(report->units, h->face_amplitude_mm, 1, false));
    tt_buffer_puts(&report->body, "</tr>\n");
}

static void put_pad(struct tt_report *report, const struct tt_pad_result *pad)
{
    put_name(report, pad->name);
    tt_buffer_printf(&report->body, "<td>%zu of %zu</td>", pad->used, pad->touches);
    tt_report_cell(report, true, tt_signed_small(report->units, pad->mean_residual_mm, 1, true));
    tt_report_cell(report, true, tt_signed_small(report->units, pad->shift_mm, 1, true));
    tt_report_cell(report, true, tt_signed_small(report->units, pad->u_shift_mm, 1, false));
    tt_buffer_puts(&report->body, "</tr>\n");
}

/* A slope as the page has it, of two decimals in mm/m. */
static struct tt_fixed slope(const struct tt_report *report, double rise, bool plus)
{
    const struct tt_units *units = tt_units_or_mm(report->units);
    int decimals = units->slope_drop < 2 ? 2 - units->slope_drop : 0;

    return tt_signed(units->slope_per_mm_m * 1e3 * rise, decimals, plus);
}

static void put_surface(struct tt_report *report, const struct tiptrue_solution *s,
                        const struct tt_surface_result *surface)
{
    const char *unit = tt_units_or_mm(report->units)->slope;

    if (s->n_surface > 1) {
        tt_markup_named(&report->body, "<p>Setup ", surface->setup, "</p>\n");
    }
    tt_report_puts(report, "<table><thead><tr><th scope=\"col\">pad</th><th "
                           "scope=\"col\">touches used</th><th scope=\"col\">mean residual, " TT_UM
                           "</th><th scope=\"col\">above its stated height, " TT_UM
                           "</th><th scope=\"col\">u, " TT_UM "</th></tr></thead><tbody>\n");
    for (size_t k = 0; k < surface->n_pads; k++) {
        put_pad(report, &surface->pads[k]);
    }
    tt_buffer_puts(&report->body, "</tbody></table>\n");
    if (surface->slope_determined) {
        tt_buffer_printf(&report->body,
                         "<p>The plate rises by %s %s along machine x (u %s) and %s %s along y "
                         "(u %s).</p>\n",
                         slope(report, surface->slope_x, true).text, unit,
                         slope(report, surface->u_slope_x, false).text,
                         slope(report, surface->slope_y, true).text, unit,
                         slope(report, surface->u_slope_y, false).text);
    }
}

void tt_report_heights(struct tt_report *report, const struct tiptrue_solution *s)
{
    if (s->n_surface == 0) {
        return;
    }
    tt_report_puts(
        report, "<h3>Heights</h3>\n<table><thead><tr><th scope=\"col\">tip</th><th "
                "scope=\"col\" class=\"t\">verdict</th><th scope=\"col\">height, mm</th><th "
                "scope=\"col\">" TT_PLUS_MINUS " total, " TT_UM
                "</th><th scope=\"col\">" TT_PLUS_MINUS " change, " TT_UM
                "</th><th scope=\"col\">change, " TT_UM "</th><th scope=\"col\">permitted, " TT_UM
                "</th><th scope=\"col\">face runout, " TT_UM "</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < s->n_tips; i++) {
        if (s->tips[i].height != NULL) {
            put_tip(report, &s->tips[i]);
        }
    }
    tt_buffer_puts(&report->body, "</tbody></table>\n");
    for (size_t k = 0; k < s->n_surface; k++) {
        put_surface(report, s, &s->surface[k]);
    }
}
