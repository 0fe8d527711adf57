/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Several tips in two tables, a row to each tip: what is written into the machine, and the shape of
 * its motion. */
#include "config.h"

#include "output/text/text_parts.h"

#include <math.h>

#include "output/verdict.h"

/* Widths of the columns behind the tip's name and its verdict: 80 in all with names of up to 7
 * characters. */
#define OFFSET_WIDTH 15
#define CHANGE_WIDTH 8
#define EXPANDED_WIDTH 9

/* Where the columns behind the names start. */
static size_t names_end(const struct tt_page *page, const struct tiptrue_solution *s)
{
    size_t end = 3;

    for (size_t i = 0; i < s->n_tips; i++) {
        end = tt_page_wider(page, end, s->tips[i].name, 0);
    }
    return end + 2;
}

static void offsets_head(struct tt_page *page, size_t at)
{
    tt_page_heads(page, "tip", at - 1,
                  "8 verdict|15 offset x|15 offset y|16 change x, y|9 " TT_PLUS_MINUS
                  " total|9 " TT_PLUS_MINUS " change");
    tt_page_heads(page, "", at + 7, "15 {length}|15 {length}|16 {small}|9 {small}|9 {small}");
}

static void cell_change(struct tt_page *page, bool known, double change_mm, double expanded_mm)
{
    size_t end = page->column + CHANGE_WIDTH;

    if (known) {
        tt_cell_um(page, CHANGE_WIDTH, change_mm, expanded_mm, true);
    }
    tt_page_go(page, end);
}

/* The larger one of the axes that are determined. */
static double worse_axis(const struct tt_tip_result *t, double x_mm, double y_mm)
{
    return fmax(t->offset_determined_x ? x_mm : 0, t->offset_determined_y ? y_mm : 0);
}

static void offsets_row(struct tt_page *page, size_t at, const struct tiptrue_solution *s,
                        const struct tt_tip_result *t)
{
    double full_mm = worse_axis(t, t->expanded_x_mm, t->expanded_y_mm);
    double plate_mm = worse_axis(t, t->same_plate_expanded_x_mm, t->same_plate_expanded_y_mm);
    double change_mm = t->change_on_same_plate ? plate_mm : full_mm;

    tt_page_puts(page, t->name);
    tt_page_at(page, at, tt_verdict_shown(s, t->offset_verdict));
    tt_page_go(page, at + 7);
    tt_cell_mm(page, OFFSET_WIDTH, t->offset_determined_x, t->offset.x_mm);
    tt_cell_mm(page, OFFSET_WIDTH, t->offset_determined_y, t->offset.y_mm);
    cell_change(page, t->has_present && t->offset_determined_x, t->change.x_mm, change_mm);
    cell_change(page, t->has_present && t->offset_determined_y, t->change.y_mm, change_mm);
    if (t->offset_determined_x || t->offset_determined_y) {
        tt_cell_expanded(page, EXPANDED_WIDTH, true, full_mm);
        tt_cell_expanded(page, EXPANDED_WIDTH, true, plate_mm);
    }
    tt_page_line_end(page);
}

static void motion_head(struct tt_page *page, size_t at)
{
    tt_page_heads(page, "tip", at,
                  "22 eccentricity|10 direction|18 full indicator|20 contact radius");
    tt_page_heads(page, "", at,
                  "22 {small}|10 " TT_DEGREE "|18 movement, {small}|12 {length}|8 {small}");
}

static void motion_row(struct tt_page *page, size_t at, const struct tt_tip_result *t)
{
    double u_mm = t->runout_factor * t->u_eccentricity_mm,
           u_radius_mm = t->radius_factor * t->u_contact_radius_mm;

    tt_page_puts(page, t->name);
    tt_page_go(page, at);
    if (t->runout_determined) {
        tt_cell_um(page, 14, t->eccentricity_mm, u_mm, false);
        tt_cell_expanded(page, 8, true, u_mm);
        tt_page_cell_fixed(page, 10, tt_deg_from_rad(t->runout_angle_rad), 1, true);
        tt_cell_um(page, 18, 2 * t->eccentricity_mm, 2 * u_mm, false);
    } else {
        tt_page_cell(page, 22, "not determined");
    }
    tt_page_go(page, at + 50);
    if (t->radius_determined) {
        tt_page_cell_length(page, 12, t->contact_radius_mm, false);
        tt_cell_expanded(page, 8, true, u_radius_mm);
    } else {
        tt_page_cell(page, 20, "not determined");
    }
    tt_page_line_end(page);
}

void tt_text_tip_tables(struct tt_page *page, const struct tiptrue_solution *s)
{
    size_t at = names_end(page, s);

    offsets_head(page, at);
    for (size_t i = 0; i < s->n_tips; i++) {
        offsets_row(page, at, s, &s->tips[i]);
    }
    tt_page_line_end(page);
    motion_head(page, at);
    for (size_t i = 0; i < s->n_tips; i++) {
        motion_row(page, at, &s->tips[i]);
    }
    tt_page_line_end(page);
    tt_page_prose(
        page, 0,
        "Every " TT_PLUS_MINUS
        " is an expanded uncertainty (95 %), of offsets the larger one of x and y. Total: plate "
        "errors included; change: for comparing runs or tips on this plate.");
    tt_page_line_end(page);
}

static void budget(struct tt_page *page, const struct tt_tip_result *t)
{
    tt_page_printf(page, "sources of %s", t->name);
    tt_page_heads(page, "", 40, "8 type|14 u(x)/{small}|14 u(y)/{small}");
    for (size_t i = 0; i < t->n_budget; i++) {
        const struct tt_budget_line *line = &t->budget[i];
        const char type[] = {line->type, '\0'};
        tt_page_go(page, 2);
        tt_page_printf(page, "%s%s", line->source, line->of_plate ? " (plate)" : "");
        tt_page_tab(page, 40);
        tt_page_cell(page, 8, type);
        tt_page_cell_small(page, 14, line->u_x_mm, 2, false);
        tt_page_cell_small(page, 14, line->u_y_mm, 2, false);
        tt_page_line_end(page);
    }
    tt_page_line_end(page);
}

void tt_text_budgets(struct tt_page *page, const struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_tips; i++) {
        if (s->tips[i].n_budget > 0) {
            budget(page, &s->tips[i]);
        }
    }
}
