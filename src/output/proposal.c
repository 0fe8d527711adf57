/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A proposal of moves as tiptrue.plan/1, and as CSV for other controllers. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/escape.h"
#include "base/number.h"
#include "output/json/json_write.h"
#include "output/output.h"
#include "output/text/sentences.h"

#define PLAIN_DECIMALS 8
/* ---- JSON ---- */

static void put_point(struct tt_json *json, const char *key, double x_mm, double y_mm)
{
    tt_json_key(json, key);
    tt_json_open(json, '[');
    tt_json_fixed(json, x_mm);
    tt_json_fixed(json, y_mm);
    tt_json_close(json, ']');
}

/* An id of digits is a number. */
static void put_id(struct tt_json *json, const char *id)
{
    double value = 0;

    tt_json_key(json, "id");
    if (tt_number_read(id, strlen(id), '.', &value, NULL) == TT_NUMBER_OK) {
        tt_json_number(json, value);
    } else {
        tt_json_text(json, id);
    }
}

static void put_move(struct tt_json *json, const struct tt_move *move, bool states_stage)
{
    tt_json_open(json, '{');
    put_id(json, move->id);
    tt_json_key_text(json, "kind", tt_kind_words[move->kind]);
    tt_json_key_text(json, "target", move->target);
    if (move->kind == TT_VIEW) {
        tt_json_key_fixed(json, "px", move->px);
        tt_json_key_fixed(json, "py", move->py);
    } else if (move->kind != TT_SIGHT) {
        tt_json_key_text(json, "tip", move->tip);
        tt_json_key_fixed(json, "rotation", tt_deg_from_rad(move->rotation_rad));
        put_point(json, "at", move->at.x_mm, move->at.y_mm);
        if (states_stage) {
            tt_json_key_text(json, "stage", move->is_find ? "find" : "measure");
        }
        if (move->feed_mm_s > 0) {
            tt_json_key_fixed(json, "feed", 60 * move->feed_mm_s);
        }
    }
    tt_json_key_text(json, "setup", move->setup);
    tt_json_close(json, '}');
}

static void put_tip(struct tt_json *json, const struct tt_tip_result *tip)
{
    bool x = tip->offset_determined_x, y = tip->offset_determined_y;

    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", tip->name);
    tt_json_key_count(json, "touches", tip->touches);
    tt_json_key_xy_if(json, "expected_u_offset_mm", x, sqrt(tip->cov.xx_mm2), y,
                      sqrt(tip->cov.yy_mm2));
    tt_json_key_xy_if(json, "expected_expanded_mm", x, tip->expanded_x_mm, y, tip->expanded_y_mm);
    tt_json_key_xy_if(json, "expected_same_plate_u_offset_mm", x, sqrt(tip->same_plate_cov.xx_mm2),
                      y, sqrt(tip->same_plate_cov.yy_mm2));
    tt_json_key_xy_if(json, "expected_same_plate_expanded_mm", x, tip->same_plate_expanded_x_mm, y,
                      tip->same_plate_expanded_y_mm);
    tt_json_key_fixed_if(json, "expected_u_runout_mm", tip->runout_determined,
                         tip->u_eccentricity_mm);
    tt_json_close(json, '}');
}

/* Nothing where no heights were asked for. */
static void put_heights(struct tt_json *json, const struct tiptrue_proposal *p)
{
    if (p->n_heights == 0) {
        return;
    }
    tt_json_key(json, "heights");
    tt_json_open(json, '[');
    for (size_t i = 0; i < p->n_heights; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "tip", p->heights[i].tip);
        tt_json_key_count(json, "touches", p->heights[i].touches);
        tt_json_key_fixed(json, "expected_u_mm", p->heights[i].u_mm);
        tt_json_key_fixed(json, "expected_same_plate_u_mm", p->heights[i].same_plate_u_mm);
        tt_json_key_fixed(json, "expected_u_face_runout_mm", p->heights[i].u_face_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

/* Nothing where no views were asked for. */
static void put_camera(struct tt_json *json, const struct tiptrue_proposal *p)
{
    if (p->views == 0) {
        return;
    }
    const struct tt_camera_result *camera = &p->expected->camera;
    bool told = p->corner_mm < HUGE_VAL;
    tt_json_key(json, "camera");
    tt_json_open(json, '{');
    tt_json_key_count(json, "views", p->views);
    tt_json_key_xy_if(json, "expected_u_scale_mm_per_px", told, camera->u_scale_x_mm, told,
                      camera->u_scale_y_mm);
    tt_json_key_fixed_if(json, "expected_u_turn_deg", told, tt_deg_from_rad(camera->u_turn_rad));
    tt_json_key_fixed_if(json, "expected_u_shear_deg", told, tt_deg_from_rad(camera->u_shear_rad));
    tt_json_key_fixed_if(json, "expected_corner_expanded_mm", told, p->corner_mm);
    tt_json_close(json, '}');
}

static void put_setups(struct tt_json *json, const struct tiptrue_plan *plan)
{
    tt_json_key(json, "setups");
    tt_json_open(json, '[');
    for (size_t i = 0; i < plan->n_setups; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "setup", plan->setups[i].name);
        tt_json_key_fixed(json, "turned_deg", tt_deg_from_rad(plan->setups[i].turned_rad));
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_reasons(struct tt_json *json, const struct tiptrue_proposal *p)
{
    tt_json_key(json, "left_out");
    tt_json_open(json, '[');
    for (size_t i = 0; i < p->n_left_out; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "edge", p->left_out[i].edge);
        tt_json_key_text(json, "tip", p->left_out[i].tip);
        tt_json_key_text(json, "reason", p->left_out[i].reason);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
    tt_json_key_text(json, "limited_by", p->limited_by);
    tt_json_key(json, "notes");
    tt_json_open(json, '[');
    for (size_t i = 0; i < p->n_notes; i++) {
        struct tt_buffer text = {0};
        tt_sentence_note(&text, p, &p->notes[i]);
        tt_json_text(json, text.failed ? NULL : text.text);
        json->buffer->failed = json->buffer->failed || text.failed;
        tt_buffer_clear(&text);
    }
    tt_json_close(json, ']');
}

void tt_output_proposal_json(const struct tiptrue_proposal *p, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.plan/1");
    tt_json_key_text(&json, "machine", p->machine);
    tt_json_key_text(&json, "plate", p->plate);
    if (p->plan.log_mm_per_unit > 0 && p->plan.log_mm_per_unit != 1) {
        tt_json_key_text(&json, "log_units",
                         p->plan.log_mm_per_unit == TT_MM_PER_INCH ? "inch" : "um");
    }
    tt_json_key_count(&json, "touches", p->touches);
    tt_json_key_count(&json, "sightings", p->sightings);
    tt_json_key(&json, "target");
    tt_json_open(&json, '{');
    tt_json_key_fixed_if(&json, "same_plate_expanded_mm", p->has_target, p->target_mm);
    if (p->target_view_mm > 0) {
        tt_json_key_fixed(&json, "corner_expanded_mm", p->target_view_mm);
    }
    tt_json_close(&json, '}');
    tt_json_key(&json, "target_met");
    if (p->has_target || p->target_view_mm > 0) {
        tt_json_bool(&json, p->met && p->view_met);
    } else {
        tt_json_null(&json);
    }
    tt_json_key(&json, "tips");
    tt_json_open(&json, '[');
    for (size_t i = 0; p->expected != NULL && i < p->expected->n_tips; i++) {
        put_tip(&json, &p->expected->tips[i]);
    }
    tt_json_close(&json, ']');
    put_heights(&json, p);
    put_camera(&json, p);
    put_reasons(&json, p);
    put_setups(&json, &p->plan);
    tt_json_key(&json, "moves");
    tt_json_open(&json, '[');
    for (size_t i = 0; i < p->plan.n_moves; i++) {
        put_move(&json, &p->plan.moves[i], p->plan.states_stage);
    }
    tt_json_close(&json, ']');
    tt_json_close(&json, '}');
}

/* ---- CSV ---- */

void tt_csv_name(struct tt_buffer *out, const char *name)
{
    struct tt_buffer cell = {0};

    if (name[0] != '\0' && strchr("=+-@", name[0]) != NULL) {
        tt_buffer_putc(&cell, '\'');
    }
    tt_buffer_put_escaped(&cell, name);
    tt_csv_text(out, cell.text != NULL ? cell.text : "");
    out->failed = out->failed || cell.failed;
    tt_buffer_clear(&cell);
}

void tt_output_proposal_csv(const struct tiptrue_proposal *p, const struct tt_units *units,
                            struct tt_buffer *out)
{
    tt_buffer_printf(out, "# units: %s\n", units->word);
    tt_buffer_puts(out, "id,kind,target,tip,setup,rotation,at_x,at_y,x,y,stage,feed");
    tt_buffer_puts(out, p->views > 0 ? ",px,py\n" : "\n");
    for (size_t i = 0; i < p->plan.n_moves; i++) {
        const struct tt_move *move = &p->plan.moves[i];
        bool touch = !tt_is_sighting(move->kind);
        tt_buffer_printf(out, "%s,%s,", move->id, tt_kind_words[move->kind]);
        tt_csv_name(out, move->target);
        tt_buffer_putc(out, ',');
        tt_csv_name(out, touch ? move->tip : "");
        tt_buffer_putc(out, ',');
        tt_csv_name(out, move->setup);
        tt_buffer_putc(out, ',');
        if (touch) {
            tt_number_write_rounded(out, tt_deg_from_rad(move->rotation_rad), PLAIN_DECIMALS);
            tt_buffer_putc(out, ',');
            tt_number_write_fixed(out, units->per_mm * move->at.x_mm, units->decimals, false);
            tt_buffer_putc(out, ',');
            tt_number_write_fixed(out, units->per_mm * move->at.y_mm, units->decimals, false);
        } else {
            tt_buffer_puts(out, ",,");
        }
        tt_buffer_putc(out, ',');
        tt_number_write_fixed(out, units->per_mm * p->head[i].x_mm, units->decimals, false);
        tt_buffer_putc(out, ',');
        tt_number_write_fixed(out, units->per_mm * p->head[i].y_mm, units->decimals, false);
        tt_buffer_puts(out, !touch || !p->plan.states_stage ? ","
                            : move->is_find                 ? ",find"
                                                            : ",measure");
        tt_buffer_putc(out, ',');
        if (move->feed_mm_s > 0) {
            tt_number_write_rounded(out, 60 * units->per_mm * move->feed_mm_s, PLAIN_DECIMALS);
        }
        if (move->kind == TT_VIEW) {
            tt_buffer_printf(out, ",%g,%g", move->px, move->py);
        } else if (p->views > 0) {
            tt_buffer_puts(out, ",,");
        }
        tt_buffer_putc(out, '\n');
    }
}
