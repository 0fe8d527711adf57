/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which run the text output speaks of: its file, what was in it, how well it repeats, where the
 * plate lay. */
#include "config.h"

#include "output/text/text_parts.h"

#include <math.h>

#include "base/number.h"

/* "(161.8012, 67.5496) mm" into @words, on one line. */
static void add_point(struct tt_buffer *words, double x_mm, double y_mm)
{
    tt_buffer_printf(words, "(%s," TT_TIED "%s)" TT_TIED "mm",
                     tt_fixed(x_mm, TT_MM_DECIMALS, false).text,
                     tt_fixed(y_mm, TT_MM_DECIMALS, false).text);
}

/* ", 3 warm-up touches" and the like; nothing for 0. */
static void add_count(struct tt_buffer *words, size_t n, const char *one, const char *several)
{
    if (n > 0) {
        tt_buffer_printf(words, ", %zu" TT_TIED "%s", n, n == 1 ? one : several);
    }
}

static void add_repeatability(struct tt_buffer *words, const char *of, bool known, double u_mm,
                              double dof)
{
    if (!known) {
        return;
    }
    tt_buffer_printf(words, "%s%s%s", of, tt_fixed(1000 * u_mm, tt_um_decimals(u_mm), false).text,
                     isfinite(dof) ? " " TT_UM " (from this run)" : " " TT_UM " (as stated)");
}

/* "lost motion ... +12.3 um (standard uncertainty 0.4 um)"; @unit is a thousandth of that of
 * @value. */
static void tell_effect(struct tt_page *page, const char *name, double value, double u,
                        const char *unit)
{
    struct tt_buffer *words = &page->words;

    tt_buffer_printf(words, "%s%s %s (standard uncertainty %s %s)", name,
                     tt_fixed(1000 * value, tt_um_decimals(u), true).text, unit,
                     tt_fixed(1000 * u, tt_um_decimals(u), false).text, unit);
    tt_page_say(page, 2);
}

/* Where the plate lies: a line to each setup. */
static void tell_poses(struct tt_page *page, const struct tiptrue_solution *s)
{
    struct tt_buffer *words = &page->words;

    for (size_t i = 0; i < s->n_poses; i++) {
        const struct tt_pose_result *p = &s->poses[i];
        if (s->n_poses > 1) {
            tt_buffer_printf(words, "setup %s: ", p->setup);
        }
        tt_buffer_puts(words, "mark at ");
        if (p->mark_determined) {
            add_point(words, p->mark.x_mm, p->mark.y_mm);
        } else {
            tt_buffer_puts(words, "a place not determined");
        }
        tt_buffer_puts(words, ", plate turned by ");
        if (p->yaw_determined) {
            tt_number_write_fixed(words, tt_deg_from_rad(p->yaw_rad), 3, true);
            tt_buffer_puts(words, TT_DEGREE);
        } else {
            tt_buffer_puts(words, "an angle not determined");
        }
        tt_page_say(page, 2);
    }
}

/* Whether the run begins with sightings and ends without: what moved after them is then not seen.
 * The rows are known where it was just solved. */
static bool lacks_last_sighting(const struct tiptrue_solution *s)
{
    const struct tt_row_result *last = NULL;

    for (size_t i = 0; i < s->n_rows; i++) {
        last = s->rows[i].kind == TT_TOUCH || tt_is_sighting(s->rows[i].kind) ? &s->rows[i] : last;
    }
    return last != NULL && tt_is_sighting(s->rows[0].kind) && last->kind == TT_TOUCH;
}

static size_t heights_set_aside(const struct tiptrue_solution *s)
{
    size_t n = 0;

    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_height_result *height = s->tips[i].height;
        n += height != NULL ? height->touches - height->used : 0;
    }
    return n;
}

/* Which run this is, what was in it, and how well it repeats. */
void tt_text_run(struct tt_page *page, const struct tiptrue_solution *s)
{
    struct tt_buffer *words = &page->words;

    tt_buffer_printf(words, "%s:", s->file != NULL ? s->file : "run");
    tt_buffer_printf(words, " machine '%s'", s->machine != NULL ? s->machine : "not named");
    tt_buffer_printf(words, ", plate '%s'", s->plate != NULL ? s->plate : "not named");
    if (s->plate_serial != NULL) {
        tt_buffer_printf(words, " serial %s", s->plate_serial);
    }
    if (s->started != NULL) {
        tt_buffer_printf(words, ", %s", s->started);
    }
    tt_page_say(page, 2);
    tt_buffer_printf(words, "%zu of %zu touches used", s->touches_used, s->touches_read);
    add_count(words, s->touches_set_aside, "left out", "left out");
    add_count(words, s->touches_no_contact, "without contact", "without contact");
    add_count(words, s->touches_find, "fast first touch", "fast first touches");
    add_count(words, s->warmups, "warm-up touch", "warm-up touches");
    add_count(words, s->heights, "height", "heights");
    if (heights_set_aside(s) > 0) {
        tt_buffer_printf(words, " (%zu left out)", heights_set_aside(s));
    }
    add_count(words, s->sightings - s->camera.views, "sighting", "sightings");
    add_count(words, s->camera.views, "view", "views");
    tt_buffer_puts(words, lacks_last_sighting(s) ? ", none at the end" : "");
    tt_buffer_puts(words, s->least_squares ? "; robust step off, every touch counts in full" : "");
    tt_page_say(page, 2);
    add_repeatability(words, "one touch repeats to ", s->has_u_touch, s->u_touch_mm, s->dof_touch);
    if (s->has_u_touch && s->has_u_sighting) {
        tt_buffer_puts(words, ", ");
    }
    add_repeatability(words, "one sighting to ", s->has_u_sighting, s->u_sighting_mm,
                      s->dof_sighting);
    if (words->length > 0) {
        tt_page_say(page, 2);
    }
    if (s->has_lost_motion) {
        tell_effect(page, "lost motion, contact radius on X less that on Y: ", s->lost_motion_mm,
                    s->u_lost_motion_mm, TT_UM);
    }
    if (s->has_latency) {
        tell_effect(page, "latch latency: ", s->latency_s, s->u_latency_s, "ms");
    }
    tt_text_camera(page, s);
    tell_poses(page, s);
    tt_page_line_end(page);
}

/* ---- the worked sentence ---- */

/* The setup and tip that the worked sentence is about: the first ones that are determined. */
static const struct tt_pose_result *worked_pose(const struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_poses; i++) {
        if (s->poses[i].mark_determined) {
            return &s->poses[i];
        }
    }
    return NULL;
}

static const struct tt_tip_result *worked_tip(const struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_tips; i++) {
        if (s->tips[i].offset_determined_x && s->tips[i].offset_determined_y) {
            return &s->tips[i];
        }
    }
    return NULL;
}

/* In the page's unit, to the last printed digit, so that the sentence's numbers add up as they
 * stand. */
static double as_printed(const struct tt_units *units, double value_mm)
{
    double digit = pow(10, units->decimals);

    return round(units->per_mm * value_mm * digit) / digit;
}

/* A signed number of running text, with the minus of running text. */
static void add_signed(struct tt_buffer *words, const struct tt_units *units, double value)
{
    tt_buffer_puts(words, value < 0 ? TT_MINUS : "");
    tt_number_write_fixed(words, fabs(value), units->decimals, !(value < 0));
}

static void add_place(struct tt_buffer *words, const struct tt_units *units, double x, double y)
{
    tt_buffer_printf(words, "(%s," TT_TIED "%s)" TT_TIED "%s",
                     tt_fixed(x, units->decimals, false).text,
                     tt_fixed(y, units->decimals, false).text, units->length);
}

/* The head's place that puts a tip's axis over the mark: mark less offset. */
void tt_text_worked_sentence(struct tt_page *page, const struct tiptrue_solution *s)
{
    const struct tt_pose_result *pose = worked_pose(s);
    const struct tt_tip_result *t = worked_tip(s);
    const struct tt_units *units = tt_page_units(page);
    struct tt_buffer *words = &page->words;

    if (pose == NULL || t == NULL) {
        return;
    }
    double mark_x = as_printed(units, pose->mark.x_mm), mark_y = as_printed(units, pose->mark.y_mm);
    double offset_x = as_printed(units, t->offset.x_mm),
           offset_y = as_printed(units, t->offset.y_mm);
    tt_buffer_puts(words, t->verdict == TIPTRUE_REPEAT ? "To check signs only, not for use: " : "");
    tt_buffer_puts(words, "Head at ");
    add_place(words, units, mark_x - offset_x, mark_y - offset_y);
    tt_buffer_printf(words, " puts the axis of %s over the mark at ", t->name);
    add_place(words, units, mark_x, mark_y);
    tt_buffer_puts(words, ": offset" TT_TIED "x" TT_TIED);
    add_signed(words, units, offset_x);
    tt_buffer_puts(words, ", y" TT_TIED);
    add_signed(words, units, offset_y);
    tt_buffer_printf(words, TT_TIED "%s.", units->length);
    if (s->camera.views > 0) {
        tt_buffer_puts(words, " Head at ");
        add_place(words, units, mark_x, mark_y);
        tt_buffer_puts(words, " has the mark in the centre of the picture.");
    }
    tt_page_say(page, 0);
}
