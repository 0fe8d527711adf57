/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The key "joined" of tiptrue.placement/1. */
#include "config.h"

#include "output/json/json_result.h"

static void write_tip(struct tt_json *json, const struct tiptrue_placement *p,
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

static void write_group(struct tt_json *json, const struct tt_joined_group *group)
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

void tt_json_joined(struct tt_json *json, const struct tiptrue_placement *p)
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
        write_tip(json, p, &j->tips[i]);
    }
    tt_json_close(json, ']');
    tt_json_key_open(json, "groups", '[');
    for (size_t i = 0; i < j->n_groups; i++) {
        write_group(json, &j->groups[i]);
    }
    tt_json_close(json, ']');
    tt_json_close(json, '}');
}
