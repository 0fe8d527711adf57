/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.result/1: all that is said of a run. The tips: result_tip.c. */
#include "config.h"

#include "formats/result.h"
#include "formats/rows.h"

#define PPM_OF(member) TT_NUMBER_FORM, AT(member), .need = TT_REQUIRED, .per = 1e6
#define MM_PER_M_OF(member) TT_NUMBER_FORM, AT(member), .need = TT_REQUIRED, .per = 1e3

static const char *const senses[] = {"ccw", "cw"};
static const char *const kinds[] = {
    [TT_FEATURE_EDGE] = "edge", [TT_FEATURE_GROUP] = "group", [TT_FEATURE_MARK] = "mark"};
static const char *const axis_letters[] = {"x", "y"};

static const struct tt_vocabulary rotation_senses = {senses, COUNT(senses)},
                                  feature_kinds = {kinds, COUNT(kinds)},
                                  axis_words = {axis_letters, COUNT(axis_letters)},
                                  severities = {tt_severity_words, TT_SEVERITIES},
                                  row_kinds = {tt_kind_words, TT_KINDS},
                                  row_uses = {tt_use_words, TT_USES};

#define T struct tiptrue_solution
static const struct tt_key run_touches[] = {
    {"read", TT_COUNT_FORM, AT(touches_read)},
    {"used", TT_COUNT_FORM, AT(touches_used)},
    {"set_aside", TT_COUNT_FORM, AT(touches_set_aside)},
    {"no_contact", TT_COUNT_FORM, AT(touches_no_contact)},
    {"find", TT_COUNT_FORM, AT(touches_find)},
    {"warmup", TT_COUNT_FORM, AT(warmups)},
};
static const struct tt_keys run_touches_keys = TT_ANSWER_KEYS(run_touches, NULL);

static const struct tt_key run[] = {
    {"id", TT_TEXT_FORM, AT(run_id), .need = TT_REQUIRED},
    {"file", TT_TEXT_FORM, AT(file)},
    {"machine", TT_TEXT_FORM, AT(machine)},
    {"plate", TT_TEXT_FORM, AT(plate)},
    {"plate_serial", TT_TEXT_FORM, AT(plate_serial)},
    {"started", TT_TEXT_FORM, AT(started)},
    {"temperature_C", TT_NUMBER_FORM, AT(temperature_C), SETS(has_temperature), .omitted = true},
    {"rotation_sense", TT_TEXT_FORM, AT(rotation_sense), .words = &rotation_senses},
    {"touches", TT_OBJECT_FORM, .inner = &run_touches_keys},
    {"sightings", TT_COUNT_FORM, AT(sightings)},
    {"heights", TT_COUNT_FORM, AT(heights)},
};
static const struct tt_keys run_keys = TT_ANSWER_KEYS(run, "run of the result");

/* dof: null where all of it is stated. */
#define REPEATABILITY(name, kind)                                                                  \
    static const struct tt_key name[] = {                                                          \
        {"u", TT_NUMBER_FORM, AT(u_##kind##_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative}, \
        {"dof", TT_SHORTEST_FORM, AT(dof_##kind), .absent = TT_IS_INFINITE,                        \
         .bounds = &tt_above_0},                                                                   \
        {"stated_dof", TT_SHORTEST_FORM, AT(stated_dof_##kind),                                    \
         .above_0 = TT_FLAG(T, stated_dof_##kind), .bounds = &tt_above_0},                         \
    };                                                                                             \
    static const struct tt_keys name##_keys = TT_ANSWER_KEYS(name, NULL)
REPEATABILITY(of_touches, touch);
REPEATABILITY(of_sightings, sighting);
REPEATABILITY(of_heights, height);

static const struct tt_key lost_motion[] = {
    {"value_mm", TT_NUMBER_FORM, AT(lost_motion_mm), .need = TT_REQUIRED},
    {"u_mm", TT_NUMBER_FORM, AT(u_lost_motion_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative},
};
static const struct tt_keys lost_motion_keys = TT_ANSWER_KEYS(lost_motion, NULL);

static const struct tt_key latency[] = {
    {"value_s", TT_NUMBER_FORM, AT(latency_s), .need = TT_REQUIRED},
    {"u_s", TT_NUMBER_FORM, AT(u_latency_s), .need = TT_REQUIRED, .bounds = &tt_not_negative},
};
static const struct tt_keys latency_keys = TT_ANSWER_KEYS(latency, NULL);
#undef T

#define T struct tt_pose_result
static const struct tt_key pose[] = {
    {"setup", TT_TEXT_FORM, AT(setup), .need = TT_REQUIRED},
    {"mark_mm", TT_X_Y_FORM, XY(mark.x_mm, mark.y_mm), SETS(mark_determined)},
    {"u_mark_mm", TT_X_Y_FORM, XY(u_mark_x_mm, u_mark_y_mm), WHEN(mark_determined),
     .bounds = &tt_not_negative},
    {"yaw_deg", TT_ANGLE_FORM, AT(yaw_rad), SETS(yaw_determined)},
    {"u_yaw_deg", TT_ANGLE_FORM, AT(u_yaw_rad), WHEN(yaw_determined), .bounds = &tt_not_negative},
};
static const struct tt_keys pose_keys = TT_ANSWER_KEYS(pose, "pose");
#undef T

#define T struct tt_plate_feature
static const struct tt_key feature[] = {
    {"kind", TT_WORD_FORM, AT(kind), .need = TT_REQUIRED, .words = &feature_kinds},
    {"name", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"axis", TT_LETTER_FORM, AT(axis), .words = &axis_words},
    {"u_mm", TT_SHORTEST_FORM, AT(u_mm), .bounds = &tt_not_negative},
};
static const struct tt_keys feature_keys = TT_ANSWER_KEYS(feature, "feature");
#undef T

#define T struct tt_camera_result
static const struct tt_key scale[] = {
    {"x", TT_SHORTEST_FORM, AT(scale_x_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative},
    {"y", TT_SHORTEST_FORM, AT(scale_y_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative},
};
static const struct tt_keys scale_keys = TT_ANSWER_KEYS(scale, NULL);
static const struct tt_key u_scale[] = {
    {"x", TT_SHORTEST_FORM, AT(u_scale_x_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative},
    {"y", TT_SHORTEST_FORM, AT(u_scale_y_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative},
};
static const struct tt_keys u_scale_keys = TT_ANSWER_KEYS(u_scale, NULL);

static const struct tt_key distortion[] = {
    {"kappa", TT_SHORTEST_FORM, AT(kappa), .need = TT_REQUIRED},
    {"u", TT_SHORTEST_FORM, AT(u_kappa), .bounds = &tt_not_negative},
    {"at_corner_px", TT_SHORTEST_FORM, AT(at_corner_px)},
};
static const struct tt_keys distortion_keys = TT_ANSWER_KEYS(distortion, NULL);

static const struct tt_key camera[] = {
    {"views", TT_COUNT_FORM, AT(views)},
    {"scale_mm_per_px", TT_OBJECT_FORM, WHOLE(determined), .inner = &scale_keys},
    {"u_scale_mm_per_px", TT_OBJECT_FORM, .whole = TT_FLAG(T, determined), .inner = &u_scale_keys},
    {"turn_deg", TT_ANGLE_FORM, AT(turn_rad), WHEN(determined)},
    {"u_turn_deg", TT_ANGLE_FORM, AT(u_turn_rad), WHEN(determined), .bounds = &tt_not_negative},
    {"shear_deg", TT_ANGLE_FORM, AT(shear_rad), WHEN(determined)},
    {"u_shear_deg", TT_ANGLE_FORM, AT(u_shear_rad), WHEN(determined), .bounds = &tt_not_negative},
    {"mirrored", TT_BOOL_FORM, AT(mirrored), WHEN(determined)},
    {"dof", TT_NUMBER_FORM, AT(dof), WHEN(determined), .bounds = &tt_not_negative,
     .absent = TT_IS_INFINITE},
    {"distortion", TT_OBJECT_FORM, WHOLE(has_distortion), .inner = &distortion_keys},
    {"rms_px", TT_NUMBER_FORM, AT(rms_px), WHEN(determined), .bounds = &tt_not_negative},
    {"off_at_corner_mm", TT_NUMBER_FORM, AT(off_at_corner_mm), SETS(has_off),
     .bounds = &tt_not_negative},
    {"u_off_at_corner_mm", TT_NUMBER_FORM, AT(u_off_at_corner_mm), WHEN(has_off),
     .bounds = &tt_not_negative},
};
static const struct tt_keys camera_keys = TT_ANSWER_KEYS(camera, NULL);
#undef T

#define T struct tt_axes_result
static const struct tt_key axes[] = {
    {"scale_x_ppm", PPM_OF(scale_x)},
    {"u_scale_x_ppm", PPM_OF(u_scale_x), .bounds = &tt_not_negative},
    {"scale_y_ppm", PPM_OF(scale_y)},
    {"u_scale_y_ppm", PPM_OF(u_scale_y), .bounds = &tt_not_negative},
    {"square_mm_per_m", MM_PER_M_OF(square_rad)},
    {"u_square_mm_per_m", MM_PER_M_OF(u_square_rad), .bounds = &tt_not_negative},
};
static const struct tt_keys axes_keys = TT_ANSWER_KEYS(axes, NULL);
#undef T

/* What results of earlier versions do not have: NaN, as where a shift is never seen. */
#define UNSEEN                                                                                     \
    {"unseen_shift_mm", TT_NUMBER_FORM, AT(unseen_shift_mm), .bounds = &tt_not_negative,           \
     .absent = TT_IS_NAN},                                                                         \
    {                                                                                              \
        "unseen_effect_mm", TT_NUMBER_FORM, AT(unseen_effect_mm), .bounds = &tt_not_negative,      \
                                                                  .absent = TT_IS_NAN              \
    }

#define T struct tt_offsets_earlier
static const struct tt_key offsets[] = {
    {"mean_mm", TT_NUMBER_FORM, AT(mean_mm), .need = TT_REQUIRED},
    {"u_mm", TT_NUMBER_FORM, AT(u_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative},
    {"runs", TT_COUNT_FORM, AT(runs), .need = TT_REQUIRED},
};
static const struct tt_keys offsets_keys = TT_ANSWER_KEYS(offsets, NULL);
#undef T

#define T struct tt_edge_earlier
static const struct tt_key earlier[] = {
    {"shift_mm", TT_NUMBER_FORM, AT(shift_mm), .need = TT_REQUIRED},
    {"u_mm", TT_NUMBER_FORM, AT(u_mm), .need = TT_REQUIRED, .bounds = &tt_not_negative},
    {"runs", TT_COUNT_FORM, AT(runs), .need = TT_REQUIRED},
    {"offsets", TT_OBJECT_FORM, AT(offsets), .count = TT_FLAG(T, offsets.runs), .omitted = true,
     .inner = &offsets_keys},
};
static const struct tt_keys earlier_keys = TT_ANSWER_KEYS(earlier, NULL);
#undef T

#define T struct tt_edge_result
static const struct tt_key edge[] = {
    {"edge", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"touches", TT_COUNT_FORM, AT(touches)},
    {"used", TT_COUNT_FORM, AT(used)},
    {"mean_residual_mm", TT_NUMBER_FORM, AT(mean_residual_mm), .count = TT_FLAG(T, used)},
    {"rms_residual_mm", TT_NUMBER_FORM, AT(rms_residual_mm), .count = TT_FLAG(T, used),
     .bounds = &tt_not_negative},
    {"straightness_mm", TT_NUMBER_FORM, AT(straightness_mm), .bounds = &tt_not_negative,
     .absent = TT_IS_NAN},
    {"shift_mm", TT_NUMBER_FORM, AT(shift_mm)},
    {"u_shift_mm", TT_NUMBER_FORM, AT(u_shift_mm), .bounds = &tt_not_negative},
    UNSEEN,
    {"earlier", TT_OBJECT_FORM, AT(earlier), .count = TT_FLAG(T, earlier.runs), .omitted = true,
     .inner = &earlier_keys},
};
static const struct tt_keys edge_keys = TT_ANSWER_KEYS(edge, "edge");

static const struct tt_key checked_edge[] = {
    {"edge", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"touches", TT_COUNT_FORM, AT(touches)},
    UNSEEN,
};
const struct tt_keys tt_checked_edge_keys = TT_ANSWER_KEYS(checked_edge, "edge");
#undef T

#define T struct tt_mark_result
static const struct tt_key mark[] = {
    {"mark", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    UNSEEN,
};
static const struct tt_keys mark_keys = TT_ANSWER_KEYS(mark, "mark");
#undef T

#define T struct tt_pad_result
static const struct tt_key pad[] = {
    {"pad", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"touches", TT_COUNT_FORM, AT(touches)},
    {"used", TT_COUNT_FORM, AT(used)},
    {"mean_residual_mm", TT_NUMBER_FORM, AT(mean_residual_mm), .count = TT_FLAG(T, used)},
    {"shift_mm", TT_NUMBER_FORM, AT(shift_mm)},
    {"u_shift_mm", TT_NUMBER_FORM, AT(u_shift_mm), .bounds = &tt_not_negative},
};
static const struct tt_keys pad_keys = TT_ANSWER_KEYS(pad, "pad");
#undef T

#define T struct tt_surface_result
static const struct tt_key surface[] = {
    {"setup", TT_TEXT_FORM, AT(setup), .need = TT_REQUIRED},
    {"slope_mm_per_m", TT_X_Y_FORM, XY(slope_x, slope_y), SETS(slope_determined), .per = 1e3},
    {"u_slope_mm_per_m", TT_X_Y_FORM, XY(u_slope_x, u_slope_y), WHEN(slope_determined), .per = 1e3,
     .bounds = &tt_not_negative},
    {"pads", LIST(pads, n_pads), .size = sizeof(struct tt_pad_result), .inner = &pad_keys},
};
static const struct tt_keys surface_keys = TT_ANSWER_KEYS(surface, "surface");
#undef T

#define T struct tt_finding
static const struct tt_key finding[] = {
    {"code", TT_HOOK_FORM, AT(code), .need = TT_REQUIRED, .hook = TT_HOOK_FINDING_CODE},
    {"severity", TT_WORD_FORM, AT(severity), .need = TT_REQUIRED, .words = &severities},
    {"text", TT_TEXT_FORM, AT(text), .need = TT_REQUIRED},
    {"edge", TT_HOOK_FORM, AT(edge), .hook = TT_HOOK_EDGE_NAME},
    {"tip", TT_HOOK_FORM, AT(tip), .hook = TT_HOOK_TIP_NAME},
    {"setup", TT_HOOK_FORM, AT(setup), .hook = TT_HOOK_SETUP_NAME},
    {"rows", TT_HOOK_FORM, AT(lines), .hook = TT_HOOK_LINES},
    {"values", TT_HOOK_FORM, AT(values), .hook = TT_HOOK_VALUES},
};
static const struct tt_keys finding_keys = TT_ANSWER_KEYS(finding, "finding");
#undef T

#define T struct tt_row_result
static const struct tt_key row[] = {
    {"line", TT_COUNT_FORM, AT(line)},
    {"kind", TT_WORD_FORM, AT(kind), .need = TT_REQUIRED, .words = &row_kinds, .first = true},
    {"target", TT_TEXT_FORM, AT(target)},
    {"tip", TT_TEXT_FORM, AT(tip)},
    {"rotation_deg", TT_ANGLE_FORM, AT(rotation_rad), .pointer = TT_FLAG(T, tip)},
    {"residual_mm", TT_HOOK_FORM, XY(residual_mm, residual_y_mm), .hook = TT_HOOK_RESIDUAL},
    {"moved_mm", TT_HOOK_FORM, XY(moved_mm, moved_y_mm), .hook = TT_HOOK_MOVED},
    {"setup", TT_TEXT_FORM, AT(setup)},
    {"weight", TT_NUMBER_FORM, AT(weight)},
    {"set_aside", TT_BOOL_FORM, AT(set_aside)},
    {"use", TT_WORD_FORM, AT(use), .need = TT_REQUIRED, .words = &row_uses},
};
static const struct tt_keys row_keys = TT_ANSWER_KEYS(row, "observation");
#undef T

/* In the order in which they are written. */
#define T struct tiptrue_solution
static const struct tt_key result[] = {
    {"schema", TT_HOOK_FORM, .hook = TT_HOOK_SCHEMA},
    {"program", TT_HOOK_FORM, .hook = TT_HOOK_PROGRAM},
    {"run", TT_OBJECT_FORM, .need = TT_REQUIRED, .inner = &run_keys, .hook = TT_HOOK_RUN},
    {"poses", LIST(poses, n_poses), .size = sizeof(struct tt_pose_result), .inner = &pose_keys},
    {"tips", LIST(tips, n_tips), .need = TT_REQUIRED, .size = sizeof(struct tt_tip_result),
     .inner = &tt_result_tip_keys, .unique = true, .hook = TT_HOOK_TIP},
    {"between_tips", LIST(between_tips, n_between_tips), .size = sizeof(struct tt_tip_difference),
     .inner = &tt_result_tip_difference_keys},
    {"plate_features", LIST(features, n_features), .size = sizeof(struct tt_plate_feature),
     .inner = &feature_keys, .first = true, .hook = TT_HOOK_FEATURE},
    {"touch_repeatability_mm", TT_OBJECT_FORM, WHOLE(has_u_touch), .inner = &of_touches_keys},
    {"sighting_repeatability_mm", TT_OBJECT_FORM, WHOLE(has_u_sighting),
     .inner = &of_sightings_keys},
    {"height_repeatability_mm", TT_OBJECT_FORM, WHOLE(has_u_height), .inner = &of_heights_keys},
    {"lost_motion", TT_OBJECT_FORM, WHOLE(has_lost_motion), .inner = &lost_motion_keys},
    {"latency", TT_OBJECT_FORM, WHOLE(has_latency), .inner = &latency_keys},
    {"camera", TT_OBJECT_FORM, AT(camera), .count = TT_FLAG(T, camera.views),
     .inner = &camera_keys},
    {"axes", TT_OBJECT_FORM, AT(axes), WHOLE(axes.found), .inner = &axes_keys},
    {"edges", LIST(edges, n_edges), .size = sizeof(struct tt_edge_result), .inner = &edge_keys},
    {"surface", LIST(surface, n_surface), .size = sizeof(struct tt_surface_result),
     .inner = &surface_keys},
    {"marks", LIST(marks, n_marks), .size = sizeof(struct tt_mark_result), .inner = &mark_keys},
    {"findings", LIST(findings, n_findings), .size = sizeof(struct tt_finding),
     .inner = &finding_keys, .before = TT_HOOK_NAMES, .hook = TT_HOOK_FINDING},
    {"observations", LIST(rows, n_rows), .size = sizeof(struct tt_row_result), .inner = &row_keys,
     .on_request = true},
    {"least_squares", TT_BOOL_FORM, AT(least_squares), .first = true},
    {"tips_wanted", TT_HOOK_FORM, AT(wanted), .hook = TT_HOOK_WANTED},
    {"change_accepted", TT_BOOL_FORM, AT(change_accepted)},
    {"verdict", TT_HOOK_FORM, AT(verdict), .hook = TT_HOOK_VERDICT},
};
const struct tt_keys tt_result_keys = TT_ANSWER_KEYS(result, "result");
#undef T
