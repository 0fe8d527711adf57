/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the text output says of a tip in a block of its own, a line to each quantity, and how
 * lengths are rounded.
 *
 * Every +- here is an expanded uncertainty (95 %), in micrometres; only the list of sources has
 * standard ones, as a budget does.
 */
#include "config.h"

#include "output/text/text_parts.h"

#include <math.h>

#include "base/number.h"

/* Columns of the block: labels, then x, then y, then the unit and what is said of it. */
#define LABEL_AT 2
#define X_AT 16
#define VALUE_WIDTH 16
#define REMARK_AT (X_AT + 2 * VALUE_WIDTH + 2)

int tt_um_decimals(double u_mm)
{
    double u_um = 1000 * u_mm;

    if (!(u_um > 0)) {
        return 1;
    }
    return u_um >= 9.95 ? 0 : u_um >= 0.995 ? 1 : 2;
}

void tt_cell_um(struct tt_page *page, size_t width, double value_mm, double u_mm, bool plus)
{
    tt_page_cell_small(page, width, value_mm, tt_um_decimals(u_mm), plus);
}

void tt_cell_mm(struct tt_page *page, size_t width, bool determined, double value_mm)
{
    if (determined) {
        tt_page_cell_length(page, width, value_mm, true);
    } else {
        tt_page_cell(page, width, "not determined");
    }
}

void tt_cell_expanded(struct tt_page *page, size_t width, bool determined, double expanded_mm)
{
    const struct tt_units *units = tt_page_units(page);
    size_t end = page->column + width;

    if (determined) {
        int decimals = tt_units_small_decimals(units, tt_um_decimals(expanded_mm));
        tt_buffer_reset(&page->number);
        tt_buffer_puts(&page->number, TT_PLUS_MINUS " ");
        tt_number_write_fixed(&page->number, units->small_per_mm * expanded_mm, decimals, false);
        page->out->failed =
            page->out->failed || page->number.failed; /* the next number resets its buffer */
        tt_page_cell(page, width, page->number.failed ? "" : page->number.text);
    }
    tt_page_go(page, end);
}

static void label(struct tt_page *page, const char *text)
{
    tt_page_at(page, LABEL_AT, text);
    tt_page_go(page, X_AT);
}

static void remark(struct tt_page *page, const char *unit, const char *text)
{
    tt_page_go(page, REMARK_AT);
    tt_buffer_printf(&page->words, "%s%s", unit, text);
    tt_page_say(page, REMARK_AT);
}

/* A probability as percent; what rounds to certainty is said to be more, or less, than the last
 * place shows. */
static void add_percent(struct tt_buffer *words, double p)
{
    if (p > 0.9995) {
        tt_buffer_puts(words, "over 99.9 %");
    } else if (p < 0.0005) {
        tt_buffer_puts(words, "under 0.1 %");
    } else {
        tt_number_write_fixed(words, 100 * p, p > 0.095 && p < 0.905 ? 0 : 1, false);
        tt_buffer_puts(words, " %");
    }
}

static void tell_offset(struct tt_page *page, const struct tt_tip_result *t)
{
    label(page, "offset");
    tt_cell_mm(page, VALUE_WIDTH, t->offset_determined_x, t->offset.x_mm);
    tt_cell_mm(page, VALUE_WIDTH, t->offset_determined_y, t->offset.y_mm);
    remark(page, tt_page_units(page)->length, "");
    if (!t->offset_determined_x && !t->offset_determined_y) {
        return;
    }
    label(page, TT_PLUS_MINUS " total");
    tt_cell_expanded(page, VALUE_WIDTH, t->offset_determined_x, t->expanded_x_mm);
    tt_cell_expanded(page, VALUE_WIDTH, t->offset_determined_y, t->expanded_y_mm);
    remark(page, tt_page_units(page)->small, " (95 %)");
    label(page, TT_PLUS_MINUS " change");
    tt_cell_expanded(page, VALUE_WIDTH, t->offset_determined_x, t->same_plate_expanded_x_mm);
    tt_cell_expanded(page, VALUE_WIDTH, t->offset_determined_y, t->same_plate_expanded_y_mm);
    remark(page, tt_page_units(page)->small, " (95 %)");
}

static void tell_change(struct tt_page *page, const struct tt_tip_result *t)
{
    bool plate = t->change_on_same_plate;
    size_t end;

    label(page, "change");
    end = page->column + VALUE_WIDTH;
    if (t->offset_determined_x) {
        tt_cell_um(page, VALUE_WIDTH, t->change.x_mm, t->change_expanded_x_mm, true);
    }
    tt_page_go(page, end);
    if (t->offset_determined_y) {
        tt_cell_um(page, VALUE_WIDTH, t->change.y_mm, t->change_expanded_y_mm, true);
    }
    remark(page, tt_page_units(page)->small, plate ? ", same plate as before" : "");
}

static void tell_present(struct tt_page *page, const struct tiptrue_solution *s,
                         const struct tt_tip_result *t)
{
    struct tt_buffer *words = &page->words;

    label(page, "present");
    if (!t->has_present) {
        tt_page_line(page, "none stated in the machine file");
        return;
    }
    tt_cell_mm(page, VALUE_WIDTH, true, t->present.x_mm);
    tt_cell_mm(page, VALUE_WIDTH, true, t->present.y_mm);
    remark(page, tt_page_units(page)->length, "");
    if (!t->offset_determined_x && !t->offset_determined_y) {
        return;
    }
    tell_change(page, t);
    if (!t->offset_determined_x || !t->offset_determined_y) {
        return;
    }
    tt_page_go(page, X_AT + 2);
    if (t->has_conformity) {
        tt_buffer_puts(words, "within ");
        tt_number_write_rounded(words, 1000 * s->permitted_error_mm, 3);
        tt_buffer_puts(words, " " TT_UM " of the true offset with probability ");
        add_percent(words, t->p_conforming);
        tt_buffer_puts(words, "; ");
    }
    tt_buffer_puts(words, "chance alone changes it as much in ");
    add_percent(words, t->p_unchanged);
    tt_buffer_puts(words, " of runs");
    tt_page_say(page, X_AT + 2);
}

/* "35.8 +- 1.2 um" */
static void add_um(struct tt_buffer *words, double value_mm, double expanded_mm)
{
    int decimals = tt_um_decimals(expanded_mm);

    tt_buffer_printf(words, "%s " TT_PLUS_MINUS " %s " TT_UM,
                     tt_fixed(1000 * value_mm, decimals, false).text,
                     tt_fixed(1000 * expanded_mm, decimals, false).text);
}

static void tell_runout(struct tt_page *page, const struct tt_tip_result *t)
{
    struct tt_buffer *words = &page->words;
    double expanded_mm = t->runout_factor * t->u_eccentricity_mm;

    label(page, "runout");
    tt_page_go(page, X_AT + 2);
    if (!t->runout_determined) {
        tt_page_line(page, "not determined");
        return;
    }
    tt_buffer_puts(words, "eccentricity ");
    add_um(words, t->eccentricity_mm, expanded_mm);
    tt_buffer_printf(
        words, ", direction %s" TT_DEGREE " at rotation 0, full indicator movement %s " TT_UM,
        tt_fixed(tt_deg_from_rad(t->runout_angle_rad), 1, true).text,
        tt_fixed(2000 * t->eccentricity_mm, tt_um_decimals(2 * expanded_mm), false).text);
    tt_page_say(page, X_AT + 2);
}

static void tell_radius(struct tt_page *page, const struct tt_tip_result *t)
{
    struct tt_buffer *words = &page->words;

    label(page, "contact radius");
    tt_page_go(page, X_AT + 2);
    if (!t->radius_determined) {
        tt_page_line(page, "not determined");
        return;
    }
    tt_number_write_fixed(words, t->contact_radius_mm, TT_MM_DECIMALS, false);
    tt_buffer_puts(words, " mm " TT_PLUS_MINUS " ");
    tt_number_write_fixed(words, 1000 * t->factor * t->u_contact_radius_mm,
                          tt_um_decimals(t->factor * t->u_contact_radius_mm), false);
    tt_buffer_puts(words, " " TT_UM);
    tt_page_say(page, X_AT + 2);
}

/* "order 2: 4.1 +- 0.9 um, crest at 12 degrees" for every term of the shape. */
static void add_shape(struct tt_buffer *words, const struct tt_tip_result *t)
{
    for (size_t i = 0; i < t->n_shape; i++) {
        const struct tt_shape_term *term = &t->shape[i];
        tt_buffer_printf(words, "%sorder %zu: ", i > 0 ? "; " : "", term->order);
        add_um(words, term->amplitude_mm, t->runout_factor * term->u_amplitude_mm);
        tt_buffer_printf(words, ", crest at %s" TT_DEGREE,
                         tt_fixed(tt_deg_from_rad(term->angle_rad), 0, false).text);
    }
}

/* The three largest sources, largest first, but none under a tenth of the largest: it moves the
 * total by half a per cent. */
static void add_main_sources(struct tt_buffer *words, const struct tt_tip_result *t)
{
    const struct tt_budget_line *last = NULL;
    double largest_mm = 0;

    for (int told = 0; told < 3; told++) {
        const struct tt_budget_line *next = tt_budget_next(t, last);
        if (next == NULL || !(tt_budget_u_mm(next) > 0.1 * largest_mm)) {
            return;
        }
        largest_mm = fmax(largest_mm, tt_budget_u_mm(next));
        tt_buffer_printf(
            words, "%s%s %s " TT_UM, told > 0 ? ", " : "", next->source,
            tt_fixed(1000 * tt_budget_u_mm(next), tt_um_decimals(tt_budget_u_mm(next)), false)
                .text);
        last = next;
    }
}

/* "order 2: 4.1 +- 0.9 um, crest at 12 degrees"; nothing of a tip taken as round. */
static void tell_shape(struct tt_page *page, const struct tt_tip_result *t)
{
    if (t->n_shape == 0) {
        return;
    }
    label(page, "not round");
    tt_page_go(page, X_AT + 2);
    add_shape(&page->words, t);
    tt_page_say(page, X_AT + 2);
}

static void tell_main_sources(struct tt_page *page, const struct tt_tip_result *t)
{
    if (t->n_budget == 0 || (!t->offset_determined_x && !t->offset_determined_y)) {
        return;
    }
    label(page, "main sources");
    tt_page_go(page, X_AT + 2);
    add_main_sources(&page->words, t);
    tt_buffer_puts(&page->words, " (standard)");
    tt_page_say(page, X_AT + 2);
}

void tt_text_tip_block(struct tt_page *page, const struct tiptrue_solution *s,
                       const struct tt_tip_result *t)
{
    tt_page_colour(page, TT_BOLD);
    tt_page_puts(page, t->name);
    tt_page_colour(page, TT_PLAIN);
    tt_page_heads(page, "", X_AT, "16 x|16 y");
    tell_offset(page, t);
    tell_present(page, s, t);
    tell_runout(page, t);
    tell_radius(page, t);
    tell_shape(page, t);
    tell_main_sources(page, t);
    tt_page_line_end(page);
}
