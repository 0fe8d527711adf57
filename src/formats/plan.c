/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.plan/1: the moves, which are read, and what is expected of them, which is written for
 * people and scripts. One table of both: a plan is the first member of a proposal. */
#include "config.h"

#include "formats/keys.h"
#include "formats/rows.h"
#include "model/machine.h"
#include "model/proposal.h"
#include "model/words.h"

#define NOTE TT_KEY_BY_HAND("note")
_Static_assert(offsetof(struct tiptrue_proposal, plan) == 0, "a plan is read as a proposal's");

static const struct tt_bounds pixels = {0.0, TT_MOST_PIXELS, false,
                                        "pixels from the picture's upper left corner"};
static const struct tt_bounds turned_deg = {-360.0, 360.0, false,
                                            "degrees, counter-clockwise seen from above"};
static const struct tt_vocabulary kinds = {tt_kind_words, TT_KINDS};

/* What a kind of move must have is seen to by ingest (TT_PLAN_MOVE). */
#define T struct tt_move
static const struct tt_key move[] = {
    {"id", TT_HOOK_FORM, AT(id), .hook = TT_PLAN_ID},
    {"kind", TT_WORD_FORM, AT(kind), .need = TT_REQUIRED, .words = &kinds},
    {"target", TT_TEXT_FORM, AT(target), .need = TT_REQUIRED},
    {"px", TT_NUMBER_FORM, AT(px), .bounds = &pixels, SETS(has_pixel)},
    {"py", TT_NUMBER_FORM, AT(py), .bounds = &pixels, SETS(has_pixel)},
    {"tip", TT_TEXT_FORM, AT(tip), .pointer = TT_FLAG(T, tip)},
    {"rotation", TT_ANGLE_FORM, AT(rotation_rad), .bounds = &tt_rotation_deg, SETS(has_rotation)},
    {"at", TT_XY_FORM, AT(at), SETS(has_at)},
    {"stage", TT_HOOK_FORM, AT(is_find), .hook = TT_PLAN_STAGE},
    {"feed", TT_LENGTH_FORM, AT(feed_mm_s), .bounds = &tt_feed_mm_per_min,
     .above_0 = TT_FLAG(T, feed_mm_s), .per = 60},
    TT_KEY_BY_HAND("approach"),
    {"setup", TT_HOOK_FORM, AT(setup), .hook = TT_PLAN_SETUP},
    NOTE,
};
static const struct tt_keys move_keys = TT_KEYS_NAMED(move, "move");
#undef T

#define T struct tt_plan_setup
static const struct tt_key setup[] = {
    {"setup", TT_HOOK_FORM, AT(name), .hook = TT_PLAN_SETUP},
    {"turned_deg", TT_ANGLE_FORM, AT(turned_rad), .need = TT_REQUIRED, .bounds = &turned_deg},
    NOTE,
};
static const struct tt_keys setup_keys = TT_KEYS_NAMED(setup, "setup");
#undef T

#define T struct tt_left_out
static const struct tt_key left_out[] = {
    {"edge", TT_TEXT_FORM, AT(edge)},
    {"tip", TT_TEXT_FORM, AT(tip)},
    {"reason", TT_TEXT_FORM, AT(reason)},
};
static const struct tt_keys left_out_keys = TT_KEYS(left_out);
#undef T

#define T struct tt_tip_result
#define BY_AXIS(name, x, y, square)                                                                \
    {                                                                                              \
        name, TT_X_Y_FORM, XY(x, y), .when = TT_FLAG(T, offset_determined_x),                      \
                                     .when_y = TT_FLAG(T, offset_determined_y), .squared = square  \
    }
static const struct tt_key tip[] = {
    {"tip", TT_TEXT_FORM, AT(name)},
    {"touches", TT_COUNT_FORM, AT(touches)},
    BY_AXIS("expected_u_offset_mm", cov.xx_mm2, cov.yy_mm2, true),
    BY_AXIS("expected_expanded_mm", expanded_x_mm, expanded_y_mm, false),
    BY_AXIS("expected_same_plate_u_offset_mm", same_plate_cov.xx_mm2, same_plate_cov.yy_mm2, true),
    BY_AXIS("expected_same_plate_expanded_mm", same_plate_expanded_x_mm, same_plate_expanded_y_mm,
            false),
    {"expected_u_runout_mm", TT_NUMBER_FORM, AT(u_eccentricity_mm), WHEN(runout_determined)},
};
const struct tt_keys tt_planned_tip_keys = TT_ANSWER_KEYS(tip, NULL);
#undef T

#define T struct tt_planned_height
static const struct tt_key height[] = {
    {"tip", TT_TEXT_FORM, AT(tip)},
    {"touches", TT_COUNT_FORM, AT(touches)},
    {"expected_u_mm", TT_NUMBER_FORM, AT(u_mm)},
    {"expected_same_plate_u_mm", TT_NUMBER_FORM, AT(same_plate_u_mm)},
    {"expected_u_face_runout_mm", TT_NUMBER_FORM, AT(u_face_mm)},
};
static const struct tt_keys height_keys = TT_KEYS(height);
#undef T

#define T struct tiptrue_proposal
static const struct tt_key target[] = {
    {"same_plate_expanded_mm", TT_NUMBER_FORM, AT(target_mm), WHEN(has_target)},
    {"corner_expanded_mm", TT_NUMBER_FORM, AT(target_view_mm),
     .above_0 = TT_FLAG(T, target_view_mm), .omitted = true},
};
static const struct tt_keys target_keys = TT_ANSWER_KEYS(target, NULL);

static const struct tt_key plan[] = {
    TT_KEY_BY_HAND("schema"),
    TT_KEY_BY_HAND("units"),
    TT_KEY_BY_HAND("name"),
    {"machine", TT_TEXT_FORM, AT(machine), .pointer = TT_FLAG(T, machine), .made = true},
    {"plate", TT_TEXT_FORM, AT(plate), .pointer = TT_FLAG(T, plate), .made = true},
    {"log_units", TT_HOOK_FORM, AT(plan.log_mm_per_unit), .hook = TT_PLAN_LOG_UNITS},
    {"touches", TT_COUNT_FORM, AT(touches), .made = true},
    {"sightings", TT_COUNT_FORM, AT(sightings), .made = true},
    {"target", TT_OBJECT_FORM, .inner = &target_keys, .made = true},
    {"target_met", TT_HOOK_FORM, .hook = TT_PLAN_MET, .made = true},
    {"tips", TT_HOOK_FORM, .hook = TT_PLAN_TIPS, .made = true},
    {"heights", LIST(heights, n_heights), .size = sizeof(struct tt_planned_height),
     .inner = &height_keys, .count = TT_FLAG(T, n_heights), .omitted = true, .made = true},
    {"camera", TT_HOOK_FORM, .hook = TT_PLAN_CAMERA, .made = true},
    {"left_out", LIST(left_out, n_left_out), .size = sizeof(struct tt_left_out),
     .inner = &left_out_keys, .made = true},
    {"limited_by", TT_TEXT_FORM, AT(limited_by), .pointer = TT_FLAG(T, limited_by), .made = true},
    {"notes", TT_HOOK_FORM, .hook = TT_PLAN_NOTES, .made = true},
    {"setups", LIST(plan.setups, plan.n_setups), .size = sizeof(struct tt_plan_setup),
     .inner = &setup_keys, .hook = TT_PLAN_PLACEMENT},
    {"moves", LIST(plan.moves, plan.n_moves), .need = TT_REQUIRED, .size = sizeof(struct tt_move),
     .inner = &move_keys, .hook = TT_PLAN_MOVE, .numbered = true},
    NOTE,
};
const struct tt_keys tt_plan_keys = TT_ANSWER_KEYS(plan, "plan");
#undef T
