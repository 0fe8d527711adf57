/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A proposal of moves as tiptrue.plan/1, and as CSV for other controllers. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/utf8.h"
#include "base/number.h"
#include "output/json/json_write.h"
#include "output/output.h"
#include "output/text/sentences.h"

#define PLAIN_DECIMALS 8
/* ---- JSON ---- */

/* An id of digits is a number. */
static void write_id(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const char *id = ((const struct tt_move *)from)->id;
    double value = 0;

    tt_json_key(json, key->key);
    if (tt_number_read(id, strlen(id), '.', &value, NULL) == TT_NUMBER_OK) {
        tt_json_number(json, value);
    } else {
        tt_json_text(json, id);
    }
}

static void write_setup(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const char *name;
    memcpy(&name, (const char *)from + key->at, sizeof name);
    tt_json_key_text(json, key->key, name);
}

/* Of touches that are planned as pairs: those whose feed is stated. */
static void write_stage(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tt_move *move = from;
    if (move->feed_mm_s > 0) {
        tt_json_key_text(json, key->key, tt_stage_words[move->is_find ? 0 : 1]);
    }
}

static void write_log_units(struct tt_json *json, const struct tt_key *key, const void *from)
{
    double unit = ((const struct tiptrue_proposal *)from)->plan.log_mm_per_unit;
    if (unit > 0 && unit != 1) {
        tt_json_key_text(json, key->key, unit == TT_MM_PER_INCH ? "inch" : "um");
    }
}

static void write_met(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_proposal *p = from;

    if (tt_json_key_if(json, key->key, p->has_target || p->target_view_mm > 0)) {
        tt_json_bool(json, p->met && p->view_met);
    }
}

static void write_tips(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_proposal *p = from;

    tt_json_key_open(json, key->key, '[');
    for (size_t i = 0; p->expected != NULL && i < p->expected->n_tips; i++) {
        tt_json_open(json, '{');
        tt_json_keys(json, &tt_planned_tip_keys, &p->expected->tips[i]);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

/* Nothing where no views were asked for. */
static void write_camera(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_proposal *p = from;

    if (p->views == 0) {
        return;
    }
    const struct tt_camera_result *camera = &p->expected->camera;
    bool told = p->corner_mm < HUGE_VAL;
    tt_json_key_open(json, key->key, '{');
    tt_json_key_count(json, "views", p->views);
    tt_json_key_both_if(json, "expected_u_scale_mm_per_px", told, camera->u_scale_x_mm,
                        camera->u_scale_y_mm);
    tt_json_key_fixed_if(json, "expected_u_turn_deg", told, tt_deg_from_rad(camera->u_turn_rad));
    tt_json_key_fixed_if(json, "expected_u_shear_deg", told, tt_deg_from_rad(camera->u_shear_rad));
    tt_json_key_fixed_if(json, "expected_corner_expanded_mm", told, p->corner_mm);
    tt_json_close(json, '}');
}

static void write_notes(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_proposal *p = from;

    tt_json_key_open(json, key->key, '[');
    for (size_t i = 0; i < p->n_notes; i++) {
        struct tt_buffer text = {0};
        tt_sentence_note(&text, p, &p->notes[i]);
        tt_json_text(json, text.failed ? NULL : text.text);
        json->buffer->failed = json->buffer->failed || text.failed;
        tt_buffer_clear(&text);
    }
    tt_json_close(json, ']');
}

static tt_member_writer *const writers[TT_PLAN_HOOKS] = {
    [TT_PLAN_ID] = write_id,         [TT_PLAN_SETUP] = write_setup,
    [TT_PLAN_STAGE] = write_stage,   [TT_PLAN_LOG_UNITS] = write_log_units,
    [TT_PLAN_MET] = write_met,       [TT_PLAN_TIPS] = write_tips,
    [TT_PLAN_CAMERA] = write_camera, [TT_PLAN_NOTES] = write_notes,
};

void tt_output_proposal_json(const struct tiptrue_proposal *p, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.plan/1");

    json.hooks = writers;
    tt_json_keys(&json, &tt_plan_keys, p);
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
        tt_buffer_printf(out, ",%s,%s%s,",
                         tt_fixed(units->per_mm * p->head[i].x_mm, units->decimals, false).text,
                         tt_fixed(units->per_mm * p->head[i].y_mm, units->decimals, false).text,
                         !touch || !p->plan.states_stage ? ","
                         : move->is_find                 ? ",find"
                                                         : ",measure");
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
