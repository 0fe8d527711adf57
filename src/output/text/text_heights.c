/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How far down each tip reaches, and how the plate lies: a row to each tip, a row to each pad. */
#include "config.h"

#include "output/text/text_parts.h"

#include "base/number.h"
#include "output/verdict.h"

static void heights_head(struct tt_page *page, size_t at)
{
    tt_page_heads(page, "tip", at - 1,
                  "8 verdict|14 height|10 change|10 " TT_PLUS_MINUS " total|10 " TT_PLUS_MINUS
                  " change|19 face runout");
    tt_page_heads(page, "", at + 7,
                  "14 {length}|10 {small}|10 {small}|10 {small}|11 {small}|8 " TT_DEGREE);
}

static void heights_row(struct tt_page *page, size_t at, const struct tt_tip_result *t)
{
    const struct tt_height_result *h = t->height;
    size_t end = at + 7 + 14 + 10;

    tt_page_puts(page, t->name);
    tt_page_at(page, at, h->has_verdict ? tt_verdict_word(h->verdict) : "");
    tt_page_go(page, at + 7);
    tt_cell_mm(page, 14, h->determined, h->value_mm);
    if (h->determined) {
        if (h->has_present) {
            tt_cell_um(page, 10, h->change_mm, h->expanded_mm, true);
        }
        tt_page_go(page, end);
        tt_cell_expanded(page, 10, true, h->expanded_mm);
        tt_cell_expanded(page, 10, true, h->same_plate_expanded_mm);
    }
    if (h->has_face_runout) {
        tt_page_go(page, end + 20);
        tt_cell_um(page, 11, h->face_amplitude_mm, h->u_face_amplitude_mm, false);
        tt_page_cell_fixed(page, 8, tt_deg_from_rad(h->face_angle_rad), 0, true);
    }
    tt_page_line_end(page);
}

/* "0.87" with the digits that u has. */
static void add_slope(struct tt_buffer *words, double slope, double u)
{
    int decimals = 1e3 * u < 0.095 ? 3 : 1e3 * u < 0.95 ? 2 : 1;

    tt_buffer_printf(words, "%s " TT_PLUS_MINUS " %s", tt_fixed(1e3 * slope, decimals, true).text,
                     tt_fixed(2e3 * u, decimals, false).text);
}

static void tell_surface(struct tt_page *page, const struct tiptrue_solution *s,
                         const struct tt_surface_result *f)
{
    struct tt_buffer *words = &page->words;

    if (s->n_surface > 1) {
        tt_buffer_printf(words, "setup %s: ", f->setup);
    }
    if (f->slope_determined) {
        tt_buffer_puts(words, "the plate rises by ");
        add_slope(words, f->slope_x, f->u_slope_x);
        tt_buffer_puts(words, " mm/m along x, ");
        add_slope(words, f->slope_y, f->u_slope_y);
        tt_buffer_puts(words, " mm/m along y; ");
    }
    tt_buffer_puts(words, "pads found above their stated heights by ");
    for (size_t k = 0; k < f->n_pads; k++) {
        const struct tt_pad_result *pad = &f->pads[k];
        tt_buffer_printf(words, "%s%s ", k > 0 ? ", " : "", pad->name);
        tt_number_write_fixed(words, 1e3 * pad->shift_mm, 1, true);
    }
    tt_buffer_puts(words, " " TT_UM);
    tt_page_say(page, 2);
}

void tt_text_heights(struct tt_page *page, const struct tiptrue_solution *s)
{
    size_t at = 3, tips = 0;

    for (size_t i = 0; i < s->n_tips; i++) {
        tips += s->tips[i].height != NULL;
        at = tt_page_wider(page, at, s->tips[i].name, 0);
    }
    if (tips == 0) {
        return;
    }
    heights_head(page, at + 2);
    for (size_t i = 0; i < s->n_tips; i++) {
        if (s->tips[i].height != NULL) {
            heights_row(page, at + 2, &s->tips[i]);
        }
    }
    for (size_t i = 0; i < s->n_surface; i++) {
        tell_surface(page, s, &s->surface[i]);
    }
    tt_page_line_end(page);
}
