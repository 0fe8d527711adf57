/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a run can determine, before it is solved: for a person, and as tiptrue.check/1. */
#include "config.h"

#include <math.h>
#include <stdint.h>

#include "base/number.h"
#include "output/json/json_result.h"
#include "output/json/json_write.h"
#include "output/output.h"
#include "output/text/text_parts.h"

/* ---- for a person ---- */

static void say_tip(struct tt_page *page, const struct tt_tip_result *tip)
{
    tt_page_at(page, 2, tip->name);
    tt_page_tab(page, 16);
    tt_page_printf(page, "%zu%s", tip->touches, tip->touches == 1 ? " touch" : " touches");
    tt_page_tab(page, 30);
    if (!tip->offset_determined_x || !tip->offset_determined_y) {
        tt_page_line(page, "offset not determined");
        return;
    }
    tt_page_puts(page, "offset x, y to be expected within " TT_PLUS_MINUS " ");
    tt_page_small(page, tip->expanded_x_mm, tt_um_decimals(tip->expanded_x_mm), false);
    tt_page_puts(page, ", ");
    tt_page_small(page, tip->expanded_y_mm, tt_um_decimals(tip->expanded_y_mm), false);
    tt_page_printf(page, " %s", tt_page_units(page)->small);
    tt_page_line_end(page);
    tt_page_at(page, 30, "(on this plate, for changes:      " TT_PLUS_MINUS " ");
    double x_mm = tip->factor * sqrt(tip->same_plate_cov.xx_mm2),
           y_mm = tip->factor * sqrt(tip->same_plate_cov.yy_mm2);
    tt_page_small(page, x_mm, tt_um_decimals(x_mm), false);
    tt_page_puts(page, ", ");
    tt_page_small(page, y_mm, tt_um_decimals(y_mm), false);
    tt_page_printf(page, " %s)", tt_page_units(page)->small);
    tt_page_line_end(page);
}

static void say_height(struct tt_page *page, const struct tt_tip_result *tip)
{
    const struct tt_height_result *height = tip->height;

    if (height == NULL) {
        return;
    }
    tt_page_go(page, 16);
    tt_page_printf(page, "%zu%s", height->touches, height->touches == 1 ? " height" : " heights");
    tt_page_tab(page, 30);
    if (!height->determined) {
        tt_page_line(page, "height not determined");
        return;
    }
    tt_page_puts(page, "height to " TT_PLUS_MINUS " ");
    tt_page_small(page, height->expanded_mm, tt_um_decimals(height->expanded_mm), false);
    tt_page_printf(page, " %s (on this plate " TT_PLUS_MINUS " ", tt_page_units(page)->small);
    tt_page_small(page, height->same_plate_expanded_mm,
                  tt_um_decimals(height->same_plate_expanded_mm), false);
    tt_page_printf(page, " %s)", tt_page_units(page)->small);
    tt_page_line_end(page);
}

/* How well the plate's slope can be told, in each setup. */
static void say_slopes(struct tt_page *page, const struct tiptrue_solution *expected)
{
    for (size_t k = 0; k < expected->n_surface; k++) {
        const struct tt_surface_result *surface = &expected->surface[k];
        tt_page_go(page, 2);
        if (expected->n_surface > 1) {
            tt_page_printf(page, "setup %s: ", surface->setup);
        }
        if (!surface->slope_determined) {
            tt_page_puts(page, "slope of the plate not determined");
        } else {
            tt_page_puts(page, "slope of the plate: standard uncertainty ");
            tt_buffer_printf(&page->words, "%s mm/m along x, %s mm/m along y",
                             tt_fixed(1e3 * surface->u_slope_x, 2, false).text,
                             tt_fixed(1e3 * surface->u_slope_y, 2, false).text);
            tt_page_say(page, 4);
            continue;
        }
        tt_page_line_end(page);
    }
}

static void say_unseen(struct tt_page *page, const struct tiptrue_solution *expected)
{
    size_t at = 16;

    if (expected->n_edges == 0) {
        return;
    }
    for (size_t i = 0; i < expected->n_edges; i++) {
        at = tt_page_wider(page, at, expected->edges[i].name, 2);
    }
    tt_page_go(page, 2);
    tt_page_prose(
        page, 2,
        "The smallest fault that 9 of 10 such runs see, and how far it moves an offset unseen:");
    tt_page_go(page, 2);
    tt_page_heads(page, "edge", at, TT_UNSEEN_HEADS);
    for (size_t i = 0; i < expected->n_edges; i++) {
        tt_page_at(page, 2, expected->edges[i].name);
        tt_page_go(page, at);
        tt_text_unseen_cells(page, expected->edges[i].unseen_shift_mm,
                             expected->edges[i].unseen_effect_mm);
    }
    tt_text_marks(page, expected, 2, at);
}

void tt_output_check_text(const struct tiptrue_solution *expected,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);

    tt_page_go(&page, 2);
    tt_page_printf(&page, "%zu touches, %zu of them without contact, %zu sightings",
                   expected->touches_read, expected->touches_no_contact,
                   expected->sightings - expected->camera.views);
    if (expected->camera.views > 0) {
        tt_page_printf(&page, ", %zu views", expected->camera.views);
    }
    tt_page_line_end(&page);
    tt_text_picture_expected(&page, &expected->camera);
    for (size_t i = 0; i < expected->n_tips; i++) {
        say_tip(&page, &expected->tips[i]);
        say_height(&page, &expected->tips[i]);
    }
    say_slopes(&page, expected);
    say_unseen(&page, expected);
    for (size_t i = 0; i < expected->n_findings; i++) {
        const struct tt_finding *finding = &expected->findings[i];
        tt_page_go(&page, 2);
        tt_page_printf(&page, "%s: ", tt_finding_name(finding->code));
        tt_page_prose(&page, 4, finding->text);
    }
    tt_page_end(&page);
}

/* ---- JSON ---- */

static void write_height(struct tt_json *json, const struct tt_height_result *height)
{
    if (!tt_json_key_open_if(json, "height", height != NULL, '{')) {
        return;
    }
    tt_json_key_count(json, "touches", height->touches);
    tt_json_key_bool(json, "determined", height->determined);
    tt_json_key_number_if(json, "expected_u_mm", height->determined, height->u_mm);
    tt_json_key_number_if(json, "expected_same_plate_u_mm", height->determined,
                          height->same_plate_u_mm);
    tt_json_close(json, '}');
}

static void write_tip(struct tt_json *json, const struct tt_tip_result *tip)
{
    bool x = tip->offset_determined_x, y = tip->offset_determined_y;

    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", tip->name);
    tt_json_key_count(json, "touches", tip->touches);
    tt_json_key_open(json, "determined", '{');
    tt_json_key_bool(json, "offset_x", x);
    tt_json_key_bool(json, "offset_y", y);
    tt_json_key_bool(json, "runout", tip->runout_determined);
    tt_json_key_bool(json, "contact_radius", tip->radius_determined);
    tt_json_close(json, '}');
    tt_json_key_xy_if(json, "expected_u_offset_mm", x, sqrt(tip->cov.xx_mm2), y,
                      sqrt(tip->cov.yy_mm2));
    tt_json_key_xy_if(json, "expected_same_plate_u_offset_mm", x, sqrt(tip->same_plate_cov.xx_mm2),
                      y, sqrt(tip->same_plate_cov.yy_mm2));
    tt_json_key_number_if(json, "prior_share", x && y, tip->prior_share);
    write_height(json, tip->height);
    tt_json_close(json, '}');
}

/* {"views", "determined", "expected_u_..."}, or null: no views. */
static void write_camera(struct tt_json *json, const struct tt_camera_result *camera)
{
    if (!tt_json_key_open_if(json, "camera", camera->views > 0, '{')) {
        return;
    }
    tt_json_key_count(json, "views", camera->views);
    tt_json_key_bool(json, "determined", camera->determined);
    tt_json_key_both_if(json, "expected_u_scale_mm_per_px", camera->determined,
                        camera->u_scale_x_mm, camera->u_scale_y_mm);
    tt_json_key_number_if(json, "expected_u_turn_deg", camera->determined,
                          tt_deg_from_rad(camera->u_turn_rad));
    tt_json_close(json, '}');
}

static void write_surface(struct tt_json *json, const struct tiptrue_solution *expected)
{
    tt_json_key_open(json, "surface", '[');
    for (size_t k = 0; k < expected->n_surface; k++) {
        const struct tt_surface_result *surface = &expected->surface[k];
        bool known = surface->slope_determined;
        tt_json_open(json, '{');
        tt_json_key_text(json, "setup", surface->setup);
        tt_json_key_bool(json, "slope_determined", known);
        tt_json_key_both_if(json, "expected_u_slope_mm_per_m", known, 1e3 * surface->u_slope_x,
                            1e3 * surface->u_slope_y);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

void tt_output_check_json(const struct tiptrue_solution *expected, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.check/1");

    tt_json_key_text(&json, "file", expected->file);
    tt_json_key_count(&json, "touches", expected->touches_read);
    tt_json_key_count(&json, "no_contact", expected->touches_no_contact);
    tt_json_key_count(&json, "sightings", expected->sightings);
    write_camera(&json, &expected->camera);
    tt_json_key_open(&json, "tips", '[');
    for (size_t i = 0; i < expected->n_tips; i++) {
        write_tip(&json, &expected->tips[i]);
    }
    tt_json_close(&json, ']');
    write_surface(&json, expected);
    tt_json_key_open(&json, "edges", '[');
    for (size_t i = 0; i < expected->n_edges; i++) {
        tt_json_checked_edge(&json, &expected->edges[i]);
    }
    tt_json_close(&json, ']');
    tt_json_result_list(&json, offsetof(struct tiptrue_solution, marks), expected);
    tt_json_key_open(&json, "findings", '[');
    for (size_t i = 0; i < expected->n_findings; i++) {
        tt_json_open(&json, '{');
        tt_json_key_text(&json, "code", tt_finding_name(expected->findings[i].code));
        tt_json_key_text(&json, "text", expected->findings[i].text);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    tt_json_close(&json, '}');
}
