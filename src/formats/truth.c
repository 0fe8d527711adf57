/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.truth/1: what a simulated run is made from. */
#include "config.h"

#include "formats/keys.h"
#include "model/truth.h"

static const struct tt_bounds sigma_deg = {0.0, 360.0, false,
                                           "a standard deviation in degrees, 0 or more"};
static const struct tt_bounds latency_s = {-1.0, 1.0, false, "seconds"};
static const struct tt_bounds temperature_C = {-100.0, 300.0, false, "degrees Celsius"};

#define TRUTH struct tiptrue_truth

static const struct tt_key truth[] = {
    TT_KEY_BY_HAND("schema"),
    TT_KEY_BY_HAND("units"),
    TT_KEY_BY_HAND("poses"),
    TT_KEY_BY_HAND("tips"),
    TT_KEY_BY_HAND("edges"),
    TT_KEY_BY_HAND("groups"),
    TT_KEY_BY_HAND("marks"),
    TT_KEY_BY_HAND("pads"),
    TT_KEY_BY_HAND("slope_mm_per_m"),
    TT_KEY_BY_HAND("height"),
    TT_KEY_BY_HAND("touch"),
    TT_KEY_BY_HAND("sighting"),
    TT_KEY_BY_HAND("rotation"),
    TT_KEY_STATED("resolution", TT_LENGTH_FORM, TT_OPTIONAL, &tt_length_mm, 0, TRUTH,
                  resolution_mm),
    TT_KEY_STATED("temperature_C", TT_NUMBER_FORM, TT_OPTIONAL, &temperature_C, 0, TRUTH,
                  temperature_C),
    TT_KEY("lost_motion", TT_LENGTH_FORM, TT_OPTIONAL, &tt_any_position_mm, TRUTH, lost_motion_mm),
    TT_KEY("latency_s", TT_NUMBER_FORM, TT_OPTIONAL, &latency_s, TRUTH, latency_s),
    TT_KEY("drift", TT_XY_FORM, TT_OPTIONAL, NULL, TRUTH, drift),
    TT_KEY_BY_HAND("moved"),
    TT_KEY_BY_HAND("camera"),
    TT_KEY_BY_HAND("axes"),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_keys = TT_KEYS(truth);

static const struct tt_key pose[] = {
    TT_KEY("setup", TT_TEXT_FORM, TT_REQUIRED, NULL, struct tt_truth_pose, setup),
    TT_KEY("mark", TT_XY_FORM, TT_REQUIRED, NULL, struct tt_truth_pose, mark),
    TT_KEY("yaw_deg", TT_ANGLE_FORM, TT_OPTIONAL, &tt_any_angle_deg, struct tt_truth_pose, yaw_rad),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_pose_keys = TT_KEYS(pose);

static const struct tt_key tip[] = {
    TT_KEY("tip", TT_TEXT_FORM, TT_REQUIRED, NULL, struct tt_truth_tip, name),
    TT_KEY("offset", TT_XY_FORM, TT_REQUIRED, NULL, struct tt_truth_tip, offset),
    TT_KEY("runout", TT_XY_FORM, TT_OPTIONAL, NULL, struct tt_truth_tip, runout),
    TT_KEY("radius", TT_LENGTH_FORM, TT_REQUIRED, &tt_length_mm, struct tt_truth_tip, radius_mm),
    TT_KEY_STATED("height", TT_LENGTH_FORM, TT_OPTIONAL, &tt_any_position_mm, 0,
                  struct tt_truth_tip, height_mm),
    TT_KEY_BY_HAND("face_runout"),
    TT_KEY_BY_HAND("shape"),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_tip_keys = TT_KEYS(tip);

static const struct tt_key shape[] = {
    TT_KEY_BY_HAND("order"),
    TT_KEY("cos", TT_LENGTH_FORM, TT_OPTIONAL, &tt_any_position_mm, struct tt_truth_shape, cos_mm),
    TT_KEY("sin", TT_LENGTH_FORM, TT_OPTIONAL, &tt_any_position_mm, struct tt_truth_shape, sin_mm),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_shape_keys = TT_KEYS(shape);

static const struct tt_key edge[] = {
    TT_KEY("edge", TT_TEXT_FORM, TT_REQUIRED, NULL, struct tt_truth_edge, name),
    TT_KEY("shift", TT_LENGTH_FORM, TT_REQUIRED, &tt_any_position_mm, struct tt_truth_edge,
           shift_mm),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_edge_keys = TT_KEYS(edge);

static const struct tt_key group[] = {
    TT_KEY("group", TT_TEXT_FORM, TT_REQUIRED, NULL, struct tt_truth_shift, name),
    TT_KEY("shift", TT_XY_FORM, TT_REQUIRED, NULL, struct tt_truth_shift, shift),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_group_keys = TT_KEYS(group);

static const struct tt_key mark[] = {
    TT_KEY("mark", TT_TEXT_FORM, TT_REQUIRED, NULL, struct tt_truth_shift, name),
    TT_KEY("shift", TT_XY_FORM, TT_REQUIRED, NULL, struct tt_truth_shift, shift),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_mark_keys = TT_KEYS(mark);

static const struct tt_key pad[] = {
    TT_KEY("pad", TT_TEXT_FORM, TT_REQUIRED, NULL, struct tt_truth_edge, name),
    TT_KEY("shift", TT_LENGTH_FORM, TT_REQUIRED, &tt_any_position_mm, struct tt_truth_edge,
           shift_mm),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_pad_keys = TT_KEYS(pad);

static const struct tt_key height[] = {
    TT_KEY_STATED("sigma", TT_LENGTH_FORM, TT_REQUIRED, &tt_length_mm, 0, TRUTH, height_sigma_mm),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_height_keys = TT_KEYS(height);

/* A depth is needed where its share is above 0: ingest/truth.c. */
static const struct tt_key touch[] = {
    TT_KEY_STATED("sigma", TT_LENGTH_FORM, TT_OPTIONAL, &tt_length_mm, 0, TRUTH, touch_sigma_mm),
    TT_KEY_ABOVE("late_share", TT_NUMBER_FORM, &tt_share, TRUTH, late.share, late.share),
    [TT_TRUTH_LATE_DEPTH] =
        TT_KEY_ABOVE("late_depth", TT_XY_FORM, NULL, TRUTH, late.from_mm, late.share),
    TT_KEY_ABOVE("early_share", TT_NUMBER_FORM, &tt_share, TRUTH, early.share, early.share),
    [TT_TRUTH_EARLY_DEPTH] =
        TT_KEY_ABOVE("early_depth", TT_XY_FORM, NULL, TRUTH, early.from_mm, early.share),
    TT_KEY_ABOVE("missed_share", TT_NUMBER_FORM, &tt_share, TRUTH, missed_share, missed_share),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_touch_keys = TT_KEYS(touch);

static const struct tt_key sighting[] = {
    TT_KEY_STATED("sigma", TT_LENGTH_FORM, TT_REQUIRED, &tt_length_mm, 0, TRUTH, sighting_sigma_mm),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_sighting_keys = TT_KEYS(sighting);

static const struct tt_key rotation[] = {
    TT_KEY_STATED("sigma_deg", TT_ANGLE_FORM, TT_REQUIRED, &sigma_deg, 0, TRUTH,
                  rotation_sigma_rad),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_rotation_keys = TT_KEYS(rotation);

static const struct tt_key moved[] = {
    TT_KEY("after", TT_NUMBER_FORM, TT_REQUIRED, &tt_share, TRUTH, moved_after),
    TT_KEY("by", TT_XY_FORM, TT_REQUIRED, NULL, TRUTH, moved),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_truth_moved_keys = TT_KEYS(moved);
