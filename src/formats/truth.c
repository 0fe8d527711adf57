/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.truth/1: what a simulated run is made from, in the order in which it is written. */
#include "config.h"

#include "formats/keys.h"
#include "formats/rows.h"
#include "model/truth.h"

static const struct tt_bounds sigma_deg = {0.0, 360.0, false,
                                           "a standard deviation in degrees, 0 or more"};
static const struct tt_bounds latency_s = {-1.0, 1.0, false, "seconds"};
static const struct tt_bounds temperature_C = {-100.0, 300.0, false, "degrees Celsius"};
static const struct tt_bounds shape_order = {2.0, 60.0, false,
                                             "a whole number from 2 on: waves around the tip"};
static const struct tt_bounds per_px = {0.0, TT_LARGEST_PIXEL_MM * 1e3, true,
                                        "mm per pixel along the picture's axes, more than 0"};
static const struct tt_bounds kappa_bounds = {-1.0, 1.0, false,
                                              "the share by which the corner is off, -1 to 1"};
static const struct tt_bounds sigma_px = {0.0, 1000.0, false,
                                          "a standard deviation in pixels, 0 or more"};
static const struct tt_bounds ppm = {-1e5, 1e5, false, "parts in a million, -100000 to 100000"};
static const struct tt_bounds mm_per_m = {-100.0, 100.0, false, "mm per m, -100 to 100"};

#define SIGMA(member) TT_LENGTH_FORM, STATED(member), .bounds = &tt_length_mm
#define SHIFT(member) TT_LENGTH_FORM, AT(member), .bounds = &tt_any_position_mm

#define T struct tt_truth_pose
static const struct tt_key pose[] = {
    {"setup", TT_TEXT_FORM, AT(setup), .need = TT_REQUIRED},
    {"mark", TT_XY_FORM, AT(mark), .need = TT_REQUIRED},
    {"yaw_deg", TT_ANGLE_FORM, AT(yaw_rad), .bounds = &tt_any_angle_deg},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys pose_keys = TT_KEYS_NAMED(pose, "setup");
#undef T

#define T struct tt_truth_shape
static const struct tt_key shape[] = {
    {"order", TT_COUNT_FORM, AT(order), .need = TT_REQUIRED, .bounds = &shape_order},
    {"cos", SHIFT(cos_mm)},
    {"sin", SHIFT(sin_mm)},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys shape_keys = TT_KEYS(shape);
#undef T

#define T struct tt_tip_xy
/* By how much a tip's height goes with the cosine (x) and the sine (y) of its rotation. */
static const struct tt_key face[] = {
    {"x", SHIFT(x_mm), .need = TT_REQUIRED},
    {"y", SHIFT(y_mm), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys face_keys = TT_KEYS(face);
#undef T

#define T struct tt_truth_tip
static const struct tt_key tip[] = {
    {"tip", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"offset", TT_XY_FORM, AT(offset), .need = TT_REQUIRED},
    {"runout", TT_XY_FORM, AT(runout)},
    {"radius", TT_LENGTH_FORM, AT(radius_mm), .need = TT_REQUIRED, .bounds = &tt_length_mm},
    {"height", TT_LENGTH_FORM, STATED(height_mm), .bounds = &tt_any_position_mm},
    {"face_runout", TT_OBJECT_FORM, AT(face_runout), .unless_0 = true, .inner = &face_keys},
    {"shape", LIST(shape, n_shape), .size = sizeof(struct tt_truth_shape), .inner = &shape_keys},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys tip_keys = TT_KEYS_NAMED(tip, "tip");
#undef T

#define T struct tt_truth_edge
static const struct tt_key edge[] = {
    {"edge", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"shift", SHIFT(shift_mm), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys edge_keys = TT_KEYS_NAMED(edge, "edge");

static const struct tt_key pad[] = {
    {"pad", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"shift", SHIFT(shift_mm), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys pad_keys = TT_KEYS_NAMED(pad, "pad");
#undef T

#define T struct tt_truth_shift
static const struct tt_key group[] = {
    {"group", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"shift", TT_XY_FORM, AT(shift), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys group_keys = TT_KEYS_NAMED(group, "group");

static const struct tt_key mark[] = {
    {"mark", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"shift", TT_XY_FORM, AT(shift), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys mark_keys = TT_KEYS_NAMED(mark, "mark");
#undef T

#define T struct tt_truth_camera
static const struct tt_key camera[] = {
    {"scale_mm_per_px", TT_PAIR_FORM, AT(scale_mm), .need = TT_REQUIRED, .bounds = &per_px,
     SETS(stated)},
    {"turn_deg", TT_ANGLE_FORM, AT(turn_rad), .bounds = &tt_any_angle_deg},
    {"shear_deg", TT_ANGLE_FORM, AT(shear_rad), .bounds = &tt_any_angle_deg},
    {"mirrored", TT_BOOL_FORM, AT(mirrored)},
    {"kappa", TT_SHORTEST_FORM, AT(kappa), .bounds = &kappa_bounds},
    {"sigma_px", TT_SHORTEST_FORM, STATED(sigma_px), .bounds = &sigma_px},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys camera_keys = TT_KEYS(camera);
#undef T

#define T struct tt_truth_axes
static const struct tt_key axes[] = {
    {"scale_x_ppm", TT_NUMBER_FORM, AT(scale_x), .bounds = &ppm, .per = 1e6},
    {"scale_y_ppm", TT_NUMBER_FORM, AT(scale_y), .bounds = &ppm, .per = 1e6},
    {"square_mm_per_m", TT_NUMBER_FORM, AT(square_rad), .bounds = &mm_per_m, .per = 1e3},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys axes_keys = TT_KEYS(axes);
#undef T

#define T struct tiptrue_truth
/* How the plate rises along machine x and y: mm per m, whatever the file's units. */
static const struct tt_key slope[] = {
    {"x", TT_NUMBER_FORM, AT(slope_x), .need = TT_REQUIRED, .bounds = &mm_per_m, .per = 1e3},
    {"y", TT_NUMBER_FORM, AT(slope_y), .need = TT_REQUIRED, .bounds = &mm_per_m, .per = 1e3},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys slope_keys = TT_KEYS(slope);

static const struct tt_key height[] = {
    {"sigma", SIGMA(height_sigma_mm), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys height_keys = TT_KEYS(height);

/* A depth is needed where its share is above 0: ingest/truth.c. */
static const struct tt_key touch[] = {
    {"sigma", SIGMA(touch_sigma_mm)},
    {"late_share", TT_NUMBER_FORM, AT(late.share), .bounds = &tt_share,
     .above_0 = TT_FLAG(T, late.share)},
    {"late_depth", TT_XY_FORM, AT(late.from_mm), .above_0 = TT_FLAG(T, late.share)},
    {"early_share", TT_NUMBER_FORM, AT(early.share), .bounds = &tt_share,
     .above_0 = TT_FLAG(T, early.share)},
    {"early_depth", TT_XY_FORM, AT(early.from_mm), .above_0 = TT_FLAG(T, early.share)},
    {"missed_share", TT_NUMBER_FORM, AT(missed_share), .bounds = &tt_share,
     .above_0 = TT_FLAG(T, missed_share)},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys touch_keys = TT_KEYS(touch);

static const struct tt_key sighting[] = {
    {"sigma", SIGMA(sighting_sigma_mm), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys sighting_keys = TT_KEYS(sighting);

static const struct tt_key rotation[] = {
    {"sigma_deg", TT_ANGLE_FORM, STATED(rotation_sigma_rad), .need = TT_REQUIRED,
     .bounds = &sigma_deg},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys rotation_keys = TT_KEYS(rotation);

static const struct tt_key moved[] = {
    {"after", TT_NUMBER_FORM, AT(moved_after), .need = TT_REQUIRED, .bounds = &tt_share},
    {"by", TT_XY_FORM, AT(moved), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("note"),
};
static const struct tt_keys moved_keys = TT_KEYS(moved);

static const struct tt_key truth[] = {
    TT_KEY_BY_HAND("schema"),
    TT_KEY_BY_HAND("units"),
    {"poses", LIST(poses, n_poses), .unique = true, .size = sizeof(struct tt_truth_pose),
     .inner = &pose_keys},
    {"tips", LIST(tips, n_tips), .unique = true, .size = sizeof(struct tt_truth_tip),
     .inner = &tip_keys},
    {"edges", LIST(edges, n_edges), .unique = true, .size = sizeof(struct tt_truth_edge),
     .inner = &edge_keys},
    {"groups", LIST(groups, n_groups), .unique = true, .size = sizeof(struct tt_truth_shift),
     .inner = &group_keys},
    {"marks", LIST(marks, n_marks), .unique = true, .size = sizeof(struct tt_truth_shift),
     .inner = &mark_keys},
    {"pads", LIST(pads, n_pads), .unique = true, .size = sizeof(struct tt_truth_edge),
     .inner = &pad_keys, .count = TT_FLAG(T, n_pads)},
    {"slope_mm_per_m", TT_OBJECT_FORM, .unless_0 = true, .inner = &slope_keys},
    {"height", TT_OBJECT_FORM, WHEN(height_sigma_mm.stated), .inner = &height_keys},
    {"touch", TT_OBJECT_FORM, .inner = &touch_keys, .hook = TT_BENCH_TOUCH},
    {"sighting", TT_OBJECT_FORM, WHEN(sighting_sigma_mm.stated), .inner = &sighting_keys},
    {"rotation", TT_OBJECT_FORM, WHEN(rotation_sigma_rad.stated), .inner = &rotation_keys},
    {"resolution", SIGMA(resolution_mm)},
    {"temperature_C", TT_NUMBER_FORM, STATED(temperature_C), .bounds = &temperature_C},
    {"lost_motion", SHIFT(lost_motion_mm)},
    {"latency_s", TT_NUMBER_FORM, AT(latency_s), .bounds = &latency_s},
    {"drift", TT_XY_FORM, AT(drift)},
    {"camera", TT_OBJECT_FORM, AT(camera), WHEN(camera.stated), .inner = &camera_keys},
    {"axes", TT_OBJECT_FORM, AT(axes), .unless_0 = true, .inner = &axes_keys},
    {"moved", TT_OBJECT_FORM, .inner = &moved_keys},
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_keys = TT_KEYS_NAMED(truth, "truth");
#undef T
