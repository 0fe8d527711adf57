/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.machine/1: all of it may be left out but schema and name. An uncertainty of 0 would claim
 * perfect knowledge and is refused. The motion: motion.c. */
#include "config.h"

#include "formats/keys.h"
#include "formats/rows.h"
#include "model/machine.h"

#define NOTE TT_KEY_BY_HAND("note")
#define TOLERANCE TT_KEY_BY_HAND("tolerance")

static const struct tt_bounds u_angle_deg = {0.0, 360.0, true,
                                             "a standard uncertainty in degrees, more than 0"};
static const struct tt_bounds u_angle_or_none_deg = {
    0.0, 360.0, false, "a standard uncertainty in degrees, 0 or more"};
static const struct tt_bounds dof_bounds = {1.0, 1e9, false, "degrees of freedom, 1 or more"};
static const struct tt_bounds level_mm_per_m = {0.0, 1000.0, true,
                                                "mm of height over 1 m, above 0"};
static const struct tt_bounds placement_deg = {0.0, 180.0, true, "degrees, more than 0, up to 180"};
static const struct tt_bounds hours = {0.0, 1e6, true, "hours, more than 0"};
#define S_PER_H 3600.0

static const char *const sense_list[] = {"ccw", "cw"};
static const struct tt_vocabulary senses = {sense_list, COUNT(sense_list)};

/* The camera. */
#define T struct tt_camera
static const struct tt_bounds size_px = {1.0, TT_MOST_PIXELS, false, "pixels, 1 to 100000"};
static const struct tt_bounds place_px = {-TT_MOST_PIXELS, TT_MOST_PIXELS, false, "pixels"};
static const struct tt_bounds per_px = {0.0, 1e6, true,
                                        "length per pixel along the picture's axes, more than 0"};
static const struct tt_bounds any_turn_deg = {
    -360.0, 360.0, false,
    "degrees, counter-clockwise seen from above, of the picture's axis to the right"};
static const struct tt_bounds u_of_px = {0.0, 1000.0, true,
                                         "a standard uncertainty in pixels, more than 0"};
static const struct tt_bounds u_of_kappa = {
    0.0, 1.0, true, "a standard uncertainty of the share by which the corner is off, more than 0"};

/* The scale in mm per pixel, whatever the file's units. The middle is the centre unless stated. */
static const struct tt_key camera[] = {
    {"size_px", TT_PAIR_FORM, AT(size_px), .need = TT_REQUIRED, .bounds = &size_px, SETS(present)},
    {"centre_px", TT_PAIR_FORM, AT(centre_px), .bounds = &place_px, .absent = TT_IS_NAN},
    {"scale_mm_per_px", TT_PAIR_FORM, AT(scale_mm), .bounds = &per_px, SETS(has_scale),
     .large = TT_LARGEST_PIXEL_MM},
    {"turn_deg", TT_ANGLE_FORM, AT(turn_rad), .bounds = &any_turn_deg, SETS(has_turn)},
    {"mirrored", TT_BOOL_FORM, AT(mirrored)},
    {"u_px", TT_NUMBER_FORM, AT(u_px), .bounds = &u_of_px},
    {"dof", TT_NUMBER_FORM, AT(dof), .bounds = &dof_bounds},
    {"kappa_u", TT_NUMBER_FORM, AT(u_kappa), .bounds = &u_of_kappa},
    NOTE,
};
static const struct tt_keys camera_keys = TT_KEYS(camera);
#undef T

/* The tips. A stated radius without its uncertainty can be no prior: ingest/machine.c. */
#define T struct tt_tip
static const struct tt_key tip[] = {
    {"name", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    {"radius", TT_LENGTH_FORM, AT(radius_mm), .bounds = &tt_positive_length_mm, SETS(has_radius),
     .large = TT_LARGEST_RADIUS_MM},
    {"radius_u", TT_LENGTH_FORM, AT(u_radius_mm), .bounds = &tt_positive_length_mm,
     .large = TT_LARGEST_STATED_MM},
    {"offset", TT_XY_FORM, AT(offset), SETS(has_offset)},
    {"offset_plate", TT_TEXT_FORM, AT(offset_plate)},
    {"runout", TT_XY_FORM, AT(runout), SETS(has_runout)},
    {"height", TT_LENGTH_FORM, STATED(height_mm), .bounds = &tt_any_position_mm},
    {"in_use", TT_BOOL_FORM, AT(not_in_use), .negated = true},
    NOTE,
};
static const struct tt_keys tip_keys = TT_KEYS_NAMED(tip, "tip");
#undef T

/* Limits. How far a part may be from its place: always mm and degrees, as the keys say. */
#define T struct tt_limits
#define LIMIT(member) TT_LENGTH_FORM, AT(member), .bounds = &tt_positive_length_mm
static const struct tt_key placement[] = {
    {"permitted_mm", TT_NUMBER_FORM, AT(placement_mm), .bounds = &tt_positive_length_mm,
     SETS(has_placement_mm)},
    {"permitted_deg", TT_ANGLE_FORM, AT(placement_rad), .bounds = &placement_deg,
     SETS(has_placement_rad)},
    NOTE,
};
static const struct tt_keys placement_keys = TT_KEYS_NAMED(placement, "limits.placement");

static const struct tt_key limits[] = {
    {"permitted_error", LIMIT(permitted_error_mm), SETS(has_permitted_error),
     .large = TT_LARGEST_STATED_MM},
    {"expanded_uncertainty", LIMIT(expanded_mm), SETS(has_expanded), .large = TT_LARGEST_STATED_MM},
    {"runout", LIMIT(runout_mm), SETS(has_runout), .large = TT_LARGEST_STATED_MM},
    {"plausible_change", LIMIT(plausible_change_mm), SETS(has_plausible_change)},
    {"permitted_height_error", LIMIT(permitted_height_error_mm.value),
     SETS(permitted_height_error_mm.stated), .large = TT_LARGEST_STATED_MM},
    {"permitted_view_error", LIMIT(permitted_view_mm), SETS(has_permitted_view),
     .large = TT_LARGEST_STATED_MM},
    {"placement", TT_OBJECT_FORM, .inner = &placement_keys},
    NOTE,
};
static const struct tt_keys limit_keys = TT_KEYS(limits);
#undef T

/* Where results go; what the places mean is the affair of the export. */
#define T struct tt_export_target
static const struct tt_key target[] = {
    {"file", TT_TEXT_FORM, AT(file)},
    {"put", TT_HOOK_FORM, AT(puts), .need = TT_REQUIRED, .hook = TT_BENCH_PUTS},
    {"max_age_h", TT_NUMBER_FORM, AT(max_age_s), .bounds = &hours, SETS(has_max_age),
     .times = S_PER_H},
    {"max_change", TT_LENGTH_FORM, AT(max_change_mm), .bounds = &tt_positive_length_mm,
     SETS(has_max_change)},
    NOTE,
};
static const struct tt_keys target_keys = TT_KEYS_NAMED(target, "export of the machine");
#undef T

#define T struct tiptrue_machine
static const struct tt_key rotation[] = {
    {"sense", TT_BOOL_FORM, AT(clockwise), .words = &senses},
    {"u_deg", TT_ANGLE_FORM, AT(u_rotation_rad), .bounds = &u_angle_or_none_deg},
    NOTE,
};
static const struct tt_keys rotation_keys = TT_KEYS(rotation);

/* A repeatability; without the resolution. */
#define REPEATABILITY(name, has, u_mm, of_dof)                                                     \
    static const struct tt_key name[] = {                                                          \
        {"u", TT_U_FORM, AT(u_mm), .bounds = &tt_positive_length_mm, SETS(has),                    \
         .large = TT_LARGEST_STATED_MM},                                                           \
        TOLERANCE,                                                                                 \
        {"dof", TT_NUMBER_FORM, AT(of_dof), .bounds = &dof_bounds},                                \
        NOTE,                                                                                      \
    };                                                                                             \
    static const struct tt_keys name##_keys = TT_KEYS(name)
REPEATABILITY(sighting, has_u_sighting, u_sighting_mm, sighting_dof);
REPEATABILITY(touch, has_u_touch, u_touch_mm, touch_dof);
REPEATABILITY(height, u_height_mm.stated, u_height_mm.value, height_dof);

static const struct tt_key level[] = {
    {"u_mm_per_m", TT_NUMBER_FORM, STATED(level_rad), .need = TT_REQUIRED,
     .bounds = &level_mm_per_m, .times = 1e-3},
    NOTE,
};
static const struct tt_keys level_keys = TT_KEYS(level);

static const struct tt_key yaw[] = {
    {"value_deg", TT_ANGLE_FORM, AT(yaw_rad), .need = TT_REQUIRED, .bounds = &tt_any_angle_deg},
    {"u_deg", TT_ANGLE_FORM, AT(u_yaw_rad), .need = TT_REQUIRED, .bounds = &u_angle_deg},
    NOTE,
};
static const struct tt_keys yaw_keys = TT_KEYS(yaw);

static const struct tt_key mark[] = {
    {"at", TT_XY_FORM, AT(mark), .need = TT_REQUIRED, SETS(has_mark)},
    {"u", TT_U_FORM, AT(u_mark_mm), .bounds = &tt_positive_length_mm, SETS(has_u_mark)},
    TOLERANCE,
    NOTE,
};
static const struct tt_keys mark_keys = TT_KEYS(mark);

static const struct tt_key ready[] = {
    {"max_age_h", TT_NUMBER_FORM, AT(files.max_age_s), .bounds = &hours, SETS(files.has_max_age),
     .times = S_PER_H},
    NOTE,
};
static const struct tt_keys ready_keys = TT_KEYS(ready);

static const struct tt_key machine[] = {
    TT_KEY_BY_HAND("schema"),
    {"name", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED},
    TT_KEY_BY_HAND("units"),
    {"rotation", TT_OBJECT_FORM, .inner = &rotation_keys},
    {"resolution", TT_LENGTH_FORM, AT(resolution_mm), .bounds = &tt_positive_length_mm,
     .large = TT_COARSEST_RESOLUTION_MM},
    {"sighting", TT_OBJECT_FORM, .inner = &sighting_keys},
    {"touch", TT_OBJECT_FORM, .inner = &touch_keys},
    {"height", TT_OBJECT_FORM, .inner = &height_keys},
    {"level", TT_OBJECT_FORM, .inner = &level_keys},
    {"yaw", TT_OBJECT_FORM, SETS(has_yaw), .inner = &yaw_keys},
    {"mark", TT_OBJECT_FORM, .inner = &mark_keys},
    {"tips", LIST(tips, n_tips), .size = sizeof(struct tt_tip), .inner = &tip_keys, .unique = true,
     .hook = TT_BENCH_TIP},
    {"limits", TT_OBJECT_FORM, AT(limits), .inner = &limit_keys},
    {"export", LIST(exports, n_exports), .size = sizeof(struct tt_export_target),
     .inner = &target_keys},
    {"camera", TT_OBJECT_FORM, AT(camera), .inner = &camera_keys, .hook = TT_BENCH_CAMERA},
    {"motion", TT_OBJECT_FORM, AT(motion), SETS(motion.present), .inner = &tt_motion_keys},
    {"plate", TT_HOOK_FORM, AT(files.plates), .hook = TT_BENCH_PLATES},
    {"plan", TT_TEXT_FORM, AT(files.plan)},
    {"pattern", TT_TEXT_FORM, AT(files.pattern)},
    {"log", TT_TEXT_FORM, AT(files.log)},
    {"history", TT_TEXT_FORM, AT(files.history)},
    {"report_folder", TT_TEXT_FORM, AT(files.report_folder)},
    {"ready", TT_OBJECT_FORM, .inner = &ready_keys},
    NOTE,
};
const struct tt_keys tt_machine_keys = TT_KEYS_NAMED(machine, "machine");
#undef T
