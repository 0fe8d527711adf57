/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board says as tiptrue.placement/1: the keys of docs/formats.md and nothing else. */
#include "config.h"

#include "output/output.h"

#include "output/json/json_result.h"
#include "output/json/json_write.h"
#include "output/verdict.h"

#define PPM 1e6
#define PER_M 1e3

static void key_pair(struct tt_json *json, const char *key, bool known, struct tt_pair pair)
{
    if (tt_json_key_open_if(json, key, known, '{')) {
        tt_json_key_fixed(json, "x", pair.x);
        tt_json_key_fixed(json, "y", pair.y);
        tt_json_close(json, '}');
    }
}

static void key_deg(struct tt_json *json, const char *key, bool known, double rad)
{
    tt_json_key_fixed_if(json, key, known, tt_deg_from_rad(rad));
}

static void write_tip(struct tt_json *json, const struct tt_placed_tip *t)
{
    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", t->name);
    tt_json_key_count(json, "parts", t->parts);
    tt_json_key_count(json, "used", t->used);
    key_pair(json, "offset_correction_mm", t->has_offset, t->offset_mm);
    key_pair(json, "u_offset_correction_mm", t->has_offset, t->u_offset_mm);
    key_pair(json, "expanded_offset_correction_mm", t->has_offset && t->dof >= 1.0,
             t->expanded_offset_mm);
    tt_json_key_number_if(json, "covariance_mm2", t->has_offset, t->offset_cov_mm2);
    tt_json_key_number(json, "dof", t->dof);
    tt_json_key_number(json, "offset_probability", t->p_offset);
    key_pair(json, "turning_mm", t->turning_shown, t->turning_mm);
    key_pair(json, "u_turning_mm", t->turning_shown, t->u_turning_mm);
    key_pair(json, "expanded_turning_mm", t->turning_shown && t->dof >= 1.0,
             t->expanded_turning_mm);
    tt_json_key_number(json, "turning_probability", t->p_turning);
    tt_json_key_bool(json, "offset_apart_from_turning", t->offset_apart);
    key_deg(json, "angle_error_deg", t->angle_shown, t->angle_rad);
    key_deg(json, "u_angle_error_deg", t->angle_shown, t->u_angle_rad);
    key_deg(json, "expanded_angle_error_deg", t->angle_shown, t->expanded_angle_rad);
    tt_json_key_number_if(json, "angle_probability", t->has_angle, t->p_angle);
    tt_json_key_fixed(json, "repeatability_mm", t->repeatability_mm);
    tt_json_close(json, '}');
}

static void write_grid(struct tt_json *json, const struct tt_board_grid *g)
{
    if (tt_json_key_open_if(json, "grid", g->shown, '{')) {
        tt_json_key_fixed(json, "scale_x_ppm", PPM * g->scale_x);
        tt_json_key_fixed(json, "u_scale_x_ppm", PPM * g->u_scale_x);
        tt_json_key_fixed(json, "scale_y_ppm", PPM * g->scale_y);
        tt_json_key_fixed(json, "u_scale_y_ppm", PPM * g->u_scale_y);
        tt_json_key_fixed(json, "shear_mm_per_m", PER_M * g->shear);
        tt_json_key_fixed(json, "u_shear_mm_per_m", PER_M * g->u_shear);
        tt_json_key_fixed_if(json, "turn_mm_per_m", g->turn_known, PER_M * g->turn);
        tt_json_key_fixed_if(json, "u_turn_mm_per_m", g->turn_known, PER_M * g->u_turn);
        tt_json_close(json, '}');
    }
    tt_json_key_number(json, "grid_probability", g->p);
}

static void write_explanations(struct tt_json *json, const struct tiptrue_placement *p)
{
    tt_json_key_open(json, "explanations", '[');
    for (size_t i = 0; i < p->n_explanations; i++) {
        const struct tt_board_explanation *e = &p->explanations[i];
        tt_json_open(json, '{');
        tt_json_key_number(json, "probability", e->probability);
        tt_json_key_open(json, "terms", '[');
        for (size_t k = 0; k < e->n_terms; k++) {
            size_t tip = e->terms[k].tip;
            tt_json_open(json, '{');
            tt_json_key_text(json, "term", tt_term_word(e->terms[k].kind));
            tt_json_key_text(json, "tip", tip != TT_NONE ? p->tip_names[tip] : NULL);
            tt_json_close(json, '}');
        }
        tt_json_close(json, ']');
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

/* @scale: from what the axis is kept in to mm or degrees. */
static void write_axis(struct tt_json *json, const char *key, bool known,
                       const struct tt_capability_axis *a, double scale)
{
    if (!tt_json_key_open_if(json, key, known, '{')) {
        return;
    }
    tt_json_key_count(json, "parts", a->parts);
    tt_json_key_fixed(json, "mean", scale * a->mean);
    tt_json_key_fixed(json, "standard_deviation", scale * a->standard_deviation);
    tt_json_key_number(json, "p_normal", a->p_normal);
    tt_json_key_number_if(json, "cp", a->normal, a->cp);
    tt_json_key_number_if(json, "cp_low", a->normal, a->cp_low);
    tt_json_key_number_if(json, "cp_high", a->normal, a->cp_high);
    tt_json_key_number_if(json, "cpk", a->normal, a->cpk);
    tt_json_key_number_if(json, "cpk_low", a->normal, a->cpk_low);
    tt_json_key_number_if(json, "cpk_high", a->normal, a->cpk_high);
    tt_json_key_number_if(json, "share_normal", a->normal, a->share_normal);
    tt_json_key_number(json, "share_within", (double)a->within / (double)a->parts);
    tt_json_key_number(json, "share_low", a->share_low);
    tt_json_key_number(json, "share_high", a->share_high);
    tt_json_close(json, '}');
}

static void write_axes(struct tt_json *json, const struct tt_capability *c)
{
    write_axis(json, "x", c->has_place, &c->x, 1.0);
    write_axis(json, "y", c->has_place, &c->y, 1.0);
    write_axis(json, "rotation", c->has_rotation, &c->rotation, tt_deg_from_rad(1.0));
}

static void write_capability(struct tt_json *json, const struct tiptrue_placement *p)
{
    if (!tt_json_key_open_if(json, "capability", p->n_capability > 0, '{')) {
        return;
    }
    tt_json_key_fixed_if(json, "permitted_mm", p->has_limit_mm, p->limit_mm);
    key_deg(json, "permitted_deg", p->has_limit_rad, p->limit_rad);
    write_axes(json, &p->capability[0]);
    tt_json_key_open(json, "tips", '[');
    for (size_t k = 1; k < p->n_capability; k++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "tip", p->tip_names[p->capability[k].tip]);
        write_axes(json, &p->capability[k]);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
    tt_json_close(json, '}');
}

void tt_json_part(struct tt_json *json, const char *tip, const struct tt_wanted_part *part)
{
    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", tip);
    key_deg(json, "rotation_deg", true, part->rotation_rad);
    tt_json_key_fixed(json, "x_mm", part->at.x_mm);
    tt_json_key_fixed(json, "y_mm", part->at.y_mm);
    tt_json_close(json, '}');
}

static void write_wanted(struct tt_json *json, const struct tiptrue_placement *p)
{
    tt_json_key_open(json, "parts_wanted", '[');
    for (size_t i = 0; i < p->n_wanted; i++) {
        tt_json_part(json, p->tip_names[p->wanted[i].tip], &p->wanted[i]);
    }
    tt_json_close(json, ']');
}

static void write_since(struct tt_json *json, const struct tt_board_since *since)
{
    if (since == NULL) {
        return;
    }
    tt_json_key_open(json, "since", '{');
    tt_json_key_text(json, "file", since->file);
    tt_json_key_text(json, "started", since->started);
    tt_json_key_open(json, "changes", '[');
    for (size_t i = 0; i < since->n_changes; i++) {
        const struct tt_board_change *c = &since->changes[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "tip", c->tip);
        tt_json_key_text(json, "over", c->over);
        key_pair(json, "offset_change_mm", true, c->offset_mm);
        key_pair(json, "u_offset_change_mm", true, c->u_offset_mm);
        key_pair(json, "expanded_offset_change_mm", true, c->expanded_offset_mm);
        tt_json_key_number(json, "dof", c->dof);
        tt_json_key_number(json, "p_unchanged", c->p_chance);
        key_deg(json, "angle_change_deg", c->has_angle, c->angle_rad);
        key_deg(json, "u_angle_change_deg", c->has_angle, c->u_angle_rad);
        key_deg(json, "expanded_angle_change_deg", c->has_angle, c->expanded_angle_rad);
        tt_json_key_number_if(json, "angle_p_unchanged", c->has_angle, c->p_angle_chance);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
    tt_json_close(json, '}');
}

static void write_parts(struct tt_json *json, const struct tiptrue_placement *p)
{
    tt_json_key_open(json, "parts", '{');
    tt_json_key_count(json, "read", p->parts_read);
    tt_json_key_count(json, "used", p->parts_used);
    tt_json_key_count(json, "set_aside", p->n_set_aside);
    tt_json_key_count(json, "not_found", p->parts_not_found);
    tt_json_close(json, '}');
}

static void write_whole(struct tt_json *json, const struct tiptrue_placement *p)
{
    key_pair(json, "common_mm", p->common_shown, p->common_mm);
    key_pair(json, "u_common_mm", p->common_shown, p->u_common_mm);
    tt_json_key_number_if(json, "common_probability", p->has_common, p->p_common);
    write_grid(json, &p->grid);
    tt_json_key_xy(json, "middle_mm", p->middle.x_mm, p->middle.y_mm);
    tt_json_key_fixed(json, "repeatability_mm", p->repeatability_mm);
    tt_json_key_number(json, "repeatability_dof", p->repeatability_dof);
    key_deg(json, "repeatability_deg", p->has_repeatability_angle, p->repeatability_rad);
    tt_json_key_fixed(json, "largest_systematic_mm", p->systematic_mm);
    tt_json_key_open(json, "set_aside", '[');
    for (size_t i = 0; i < p->n_set_aside; i++) {
        tt_json_count(json, p->set_aside[i]);
    }
    tt_json_close(json, ']');
}

/* ---- the key "joined" of tiptrue.placement/1 ---- */

static void write_joined_tip(struct tt_json *json, const struct tiptrue_placement *p,
                             const struct tt_joined_tip *t)
{
    bool known = p->joined->agrees;
    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", p->tip_names[t->tip]);
    tt_json_key_xy(json, "in_use_mm", t->in_use_mm.x, t->in_use_mm.y);
    tt_json_key_xy(json, "touched_mm", t->touched_mm.x, t->touched_mm.y);
    tt_json_key_xy(json, "u_touched_mm", t->u_touched_mm.x, t->u_touched_mm.y);
    tt_json_key_xy(json, "expanded_touched_mm", t->expanded_touched_mm.x, t->expanded_touched_mm.y);
    tt_json_key_both_if(json, "offset_mm", known, t->offset_mm.x, t->offset_mm.y);
    tt_json_key_both_if(json, "u_offset_mm", known, t->u_mm.x, t->u_mm.y);
    tt_json_key_both_if(json, "expanded_offset_mm", known, t->expanded_mm.x, t->expanded_mm.y);
    tt_json_key_number_if(json, "covariance_mm2", known, t->cov_mm2);
    tt_json_key_number_if(json, "dof", known && t->dof <= TT_MOST_DOF, t->dof);
    tt_json_close(json, '}');
}

static void write_joined_group(struct tt_json *json, const struct tt_joined_group *group)
{
    tt_json_open(json, '{');
    tt_json_key_text(json, "group", group->name);
    tt_json_key_fixed(json, "stated_u_mm", group->u_stated_mm);
    tt_json_key_xy(json, "shift_mm", group->shift_mm.x, group->shift_mm.y);
    tt_json_key_xy(json, "u_shift_mm", group->u_mm.x, group->u_mm.y);
    tt_json_close(json, '}');
}

static void write_agreement(struct tt_json *json, const struct tt_joined *j)
{
    if (!tt_json_key_open_if(json, "agreement", j->equations != 0.0, '{')) {
        return;
    }
    tt_json_key_number(json, "t2", j->t2);
    tt_json_key_number(json, "equations", j->equations);
    tt_json_key_number_if(json, "dof", j->dof <= TT_MOST_DOF, j->dof);
    tt_json_key_number(json, "p", j->p);
    tt_json_key_bool(json, "agrees", j->agrees);
    tt_json_close(json, '}');
}

static void write_joined(struct tt_json *json, const struct tiptrue_placement *p)
{
    const struct tt_joined *j = p->joined;
    if (!tt_json_key_open_if(json, "joined", j != NULL, '{')) {
        return;
    }
    tt_json_key_text(json, "run", j->run);
    tt_json_key_text(json, "plate", j->plate);
    tt_json_key_text(json, "plate_serial", j->serial);
    tt_json_key_text(json, "started", j->started);
    tt_json_key_text(json, "in_use", j->in_use_from_run ? "run" : "machine");
    tt_json_key_bool(json, "seat_known", j->seat_known);
    write_agreement(json, j);
    tt_json_key_open(json, "tips", '[');
    for (size_t i = 0; i < j->n_tips; i++) {
        write_joined_tip(json, p, &j->tips[i]);
    }
    tt_json_close(json, ']');
    tt_json_key_open(json, "groups", '[');
    for (size_t i = 0; i < j->n_groups; i++) {
        write_joined_group(json, &j->groups[i]);
    }
    tt_json_close(json, ']');
    tt_json_close(json, '}');
}

void tt_output_placement_json(const struct tiptrue_placement *p, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.placement/1");
    struct tiptrue_solution names = tt_placement_names(p);

    tt_json_key_text(&json, "file", p->file);
    tt_json_key_text(&json, "id", p->id);
    tt_json_key_text(&json, "machine", p->machine);
    tt_json_key_text(&json, "started", p->started);
    tt_json_key_text(&json, "frame", p->own_frame ? "board" : "machine");
    tt_json_key_bool(&json, "relative_to_mean_of_tips", p->relative);
    tt_json_key_text(&json, "verdict", tt_verdict_word(p->verdict));
    write_parts(&json, p);
    tt_json_key_open(&json, "tips", '[');
    for (size_t i = 0; i < p->n_tips; i++) {
        write_tip(&json, &p->tips[i]);
    }
    tt_json_close(&json, ']');
    write_whole(&json, p);
    write_explanations(&json, p);
    write_capability(&json, p);
    write_joined(&json, p);
    write_since(&json, p->since);
    write_wanted(&json, p);
    tt_json_result_list(&json, offsetof(struct tiptrue_solution, findings), &names);
    tt_json_close(&json, '}');
}
