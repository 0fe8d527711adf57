/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A solution as tiptrue.result/1, an error as tiptrue.error/1: the keys of docs/formats.md and
 * nothing else.
 *
 * One pass, straight into the buffer: a batch has microseconds for this. Every key is always there;
 * what the run does not determine, what was not stated, and infinitely many degrees of freedom (all
 * uncertainty stated, none estimated) are null.
 */
#include "config.h"

#include "output/output.h"

#include <math.h>
#include <stdio.h>

#include "output/json/json_camera.h"
#include "output/json/json_finding.h"
#include "output/json/json_tip.h"
#include "output/json/json_write.h"
#include "output/verdict.h"

static void write_run(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "run");
    tt_json_open(json, '{');
    tt_json_key_text(json, "id", s->run_id);
    tt_json_key_text(json, "file", s->file);
    tt_json_key_text(json, "machine", s->machine);
    tt_json_key_text(json, "plate", s->plate);
    tt_json_key_text(json, "plate_serial", s->plate_serial);
    tt_json_key_text(json, "started", s->started);
    if (s->has_temperature) {
        tt_json_key_fixed(json, "temperature_C", s->temperature_C);
    }
    tt_json_key_text(json, "rotation_sense", s->rotation_sense);
    tt_json_key(json, "touches");
    tt_json_open(json, '{');
    tt_json_key_count(json, "read", s->touches_read);
    tt_json_key_count(json, "used", s->touches_used);
    tt_json_key_count(json, "set_aside", s->touches_set_aside);
    tt_json_key_count(json, "no_contact", s->touches_no_contact);
    tt_json_key_count(json, "find", s->touches_find);
    tt_json_key_count(json, "warmup", s->warmups);
    tt_json_close(json, '}');
    tt_json_key_count(json, "sightings", s->sightings);
    tt_json_key_count(json, "heights", s->heights);
    tt_json_close(json, '}');
}

static void write_poses(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "poses");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_poses; i++) {
        const struct tt_pose_result *p = &s->poses[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "setup", p->setup);
        tt_json_key_xy_if(json, "mark_mm", p->mark_determined, p->mark.x_mm, p->mark_determined,
                          p->mark.y_mm);
        tt_json_key_xy_if(json, "u_mark_mm", p->mark_determined, p->u_mark_x_mm, p->mark_determined,
                          p->u_mark_y_mm);
        tt_json_key_fixed_if(json, "yaw_deg", p->yaw_determined, tt_deg_from_rad(p->yaw_rad));
        tt_json_key_fixed_if(json, "u_yaw_deg", p->yaw_determined, tt_deg_from_rad(p->u_yaw_rad));
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

/* {"u": ..., "dof": ..., "stated_dof": ...} of a repeatability, null where there is none. */
static void write_repeatability(struct tt_json *json, const char *key, bool known, double u_mm,
                                double dof, double stated_dof)
{
    tt_json_key(json, key);
    if (!known) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_fixed(json, "u", u_mm);
    tt_json_key_number(json, "dof", dof);
    tt_json_key_number_if(json, "stated_dof", stated_dof > 0, stated_dof);
    tt_json_close(json, '}');
}

/* What the tips' plate_effect counts in. */
static void write_features(struct tt_json *json, const struct tiptrue_solution *s)
{
    static const char *const KINDS[] = {
        [TT_FEATURE_EDGE] = "edge", [TT_FEATURE_GROUP] = "group", [TT_FEATURE_MARK] = "mark"};

    tt_json_key(json, "plate_features");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_features; i++) {
        const struct tt_plate_feature *feature = &s->features[i];
        const char axis[2] = {(char)feature->axis, '\0'};
        tt_json_open(json, '{');
        tt_json_key_text(json, "kind", KINDS[feature->kind]);
        tt_json_key_text(json, "name", feature->name);
        tt_json_key_text(json, "axis", feature->axis != 0 ? axis : NULL);
        tt_json_key_number(json, "u_mm", feature->u_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void write_between_tips(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "between_tips");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_between_tips; i++) {
        tt_json_tip_difference(json, &s->between_tips[i]);
    }
    tt_json_close(json, ']');
}

static void write_surface(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "surface");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_surface; i++) {
        const struct tt_surface_result *f = &s->surface[i];
        bool known = f->slope_determined;
        tt_json_open(json, '{');
        tt_json_key_text(json, "setup", f->setup);
        tt_json_key_xy_if(json, "slope_mm_per_m", known, 1e3 * f->slope_x, known, 1e3 * f->slope_y);
        tt_json_key_xy_if(json, "u_slope_mm_per_m", known, 1e3 * f->u_slope_x, known,
                          1e3 * f->u_slope_y);
        tt_json_key(json, "pads");
        tt_json_open(json, '[');
        for (size_t k = 0; k < f->n_pads; k++) {
            const struct tt_pad_result *pad = &f->pads[k];
            tt_json_open(json, '{');
            tt_json_key_text(json, "pad", pad->name);
            tt_json_key_count(json, "touches", pad->touches);
            tt_json_key_count(json, "used", pad->used);
            tt_json_key_fixed_if(json, "mean_residual_mm", pad->used > 0, pad->mean_residual_mm);
            tt_json_key_fixed(json, "shift_mm", pad->shift_mm);
            tt_json_key_fixed(json, "u_shift_mm", pad->u_shift_mm);
            tt_json_close(json, '}');
        }
        tt_json_close(json, ']');
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void write_effect(struct tt_json *json, const char *key, bool known, const char *value_key,
                         double value, const char *u_key, double u)
{
    tt_json_key(json, key);
    if (!known) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_fixed(json, value_key, value);
    tt_json_key_fixed(json, u_key, u);
    tt_json_close(json, '}');
}

static void write_edges(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "edges");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_edges; i++) {
        const struct tt_edge_result *e = &s->edges[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "edge", e->name);
        tt_json_key_count(json, "touches", e->touches);
        tt_json_key_count(json, "used", e->used);
        tt_json_key_fixed_if(json, "mean_residual_mm", e->used > 0, e->mean_residual_mm);
        tt_json_key_fixed_if(json, "rms_residual_mm", e->used > 0, e->rms_residual_mm);
        tt_json_key_fixed_if(json, "straightness_mm", isfinite(e->straightness_mm),
                             e->straightness_mm);
        tt_json_key_fixed(json, "shift_mm", e->shift_mm);
        tt_json_key_fixed(json, "u_shift_mm", e->u_shift_mm);
        tt_json_unseen(json, e->unseen_shift_mm, e->unseen_effect_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

void tt_json_unseen(struct tt_json *json, double shift_mm, double effect_mm)
{
    tt_json_key_fixed_if(json, "unseen_shift_mm", isfinite(shift_mm), shift_mm);
    tt_json_key_fixed_if(json, "unseen_effect_mm", isfinite(effect_mm), effect_mm);
}

void tt_json_marks(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "marks");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_marks; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "mark", s->marks[i].name);
        tt_json_unseen(json, s->marks[i].unseen_shift_mm, s->marks[i].unseen_effect_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void write_observation(struct tt_json *json, const struct tt_row_result *row)
{
    bool sighting = tt_is_sighting(row->kind), used = row->use == TT_USE;

    tt_json_open(json, '{');
    tt_json_key_count(json, "line", row->line);
    tt_json_key_text(json, "kind", tt_kind_words[row->kind]);
    tt_json_key_text(json, "target", row->target);
    tt_json_key_text(json, "tip", row->tip);
    tt_json_key_fixed_if(json, "rotation_deg", !sighting && row->tip != NULL,
                         tt_deg_from_rad(row->rotation_rad));
    if (sighting && used) {
        tt_json_key_xy(json, "residual_mm", row->residual_mm, row->residual_y_mm);
    } else {
        tt_json_key_fixed_if(json, "residual_mm", used, row->residual_mm);
    }
    if (sighting && used && (row->moved_mm != 0 || row->moved_y_mm != 0)) {
        tt_json_key_xy(json, "moved_mm", row->moved_mm, row->moved_y_mm);
    } else if (used && row->moved_mm != 0) {
        tt_json_key_fixed(json, "moved_mm", row->moved_mm);
    }
    tt_json_key_text(json, "setup", row->setup);
    tt_json_key_fixed(json, "weight", used ? row->weight : 0);
    tt_json_key(json, "set_aside");
    tt_json_bool(json, used && row->set_aside);
    tt_json_key_text(json, "use", tt_use_words[row->use]);
    tt_json_close(json, '}');
}

static void write_observations(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "observations");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_rows; i++) {
        write_observation(json, &s->rows[i]);
    }
    tt_json_close(json, ']');
}

/* The tips that were asked for, or null: all. */
static void write_wanted(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "tips_wanted");
    if (s->n_wanted == 0) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_wanted; i++) {
        tt_json_text(json, s->wanted[i]);
    }
    tt_json_close(json, ']');
}

void tt_output_json(const struct tiptrue_solution *s, const struct tiptrue_text_options *options,
                    struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.result/1");
    tt_json_key(&json, "program");
    tt_json_open(&json, '{');
    tt_json_key_text(&json, "name", "tiptrue");
    tt_json_key_text(&json, "version", PACKAGE_VERSION);
    tt_json_close(&json, '}');
    write_run(&json, s);
    write_poses(&json, s);
    tt_json_key(&json, "tips");
    tt_json_open(&json, '[');
    for (size_t i = 0; i < s->n_tips; i++) {
        tt_json_tip(&json, s, &s->tips[i]);
    }
    tt_json_close(&json, ']');
    write_between_tips(&json, s);
    write_features(&json, s);
    write_repeatability(&json, "touch_repeatability_mm", s->has_u_touch, s->u_touch_mm,
                        s->dof_touch, s->stated_dof_touch);
    write_repeatability(&json, "sighting_repeatability_mm", s->has_u_sighting, s->u_sighting_mm,
                        s->dof_sighting, s->stated_dof_sighting);
    write_repeatability(&json, "height_repeatability_mm", s->has_u_height, s->u_height_mm,
                        s->dof_height, s->stated_dof_height);
    write_effect(&json, "lost_motion", s->has_lost_motion, "value_mm", s->lost_motion_mm, "u_mm",
                 s->u_lost_motion_mm);
    write_effect(&json, "latency", s->has_latency, "value_s", s->latency_s, "u_s", s->u_latency_s);
    tt_json_camera(&json, &s->camera);
    tt_json_axes(&json, &s->axes);
    write_edges(&json, s);
    write_surface(&json, s);
    tt_json_marks(&json, s);
    tt_json_findings(&json, s);
    if (options != NULL && options->observations) {
        write_observations(&json, s);
    }
    tt_json_key(&json, "least_squares");
    tt_json_bool(&json, s->least_squares);
    write_wanted(&json, s);
    tt_json_key(&json, "change_accepted");
    tt_json_bool(&json, s->change_accepted);
    tt_json_key_text(&json, "verdict", s->least_squares ? NULL : tt_verdict_word(s->verdict));
    tt_json_close(&json, '}');
}

/* A line or column: 0 = none. */
static void write_place(struct tt_json *json, const char *key, size_t place)
{
    tt_json_key(json, key);
    if (place > 0) {
        tt_json_count(json, place);
    } else {
        tt_json_null(json);
    }
}

static void write_file_and_place(struct tt_json *json, const struct tiptrue_error *error)
{
    tt_json_key_text(json, "file", error->file[0] != '\0' ? error->file : NULL);
    write_place(json, "line", error->line);
    write_place(json, "column", error->column);
}

static void write_text_and_hint(struct tt_json *json, const struct tiptrue_error *error)
{
    tt_json_key_text(json, "text", error->text);
    tt_json_key_text(json, "hint", error->hint[0] != '\0' ? error->hint : NULL);
}

void tt_output_error_json(const struct tiptrue_error *error, const struct tiptrue_error faults[],
                          size_t n, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.error/1");
    write_file_and_place(&json, error);
    tt_json_key_text(&json, "code", tt_status_word(error->status));
    write_text_and_hint(&json, error);
    tt_json_key(&json, "faults");
    tt_json_open(&json, '[');
    for (size_t i = 0; i < n; i++) {
        tt_json_open(&json, '{');
        write_file_and_place(&json, &faults[i]);
        write_text_and_hint(&json, &faults[i]);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    tt_json_close(&json, '}');
}
