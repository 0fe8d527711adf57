/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The "motion" part of tiptrue.machine/1: how the machine moves for a touch. Feeds are lengths, or
 * degrees, per minute. */
#include "config.h"

#include "formats/keys.h"
#include "model/machine.h"

#define MOTION struct tt_motion
#define S_PER_MIN 60.0

static const struct tt_bounds start_distance_mm = {
    0.3, 1e3, false, "at least 0.3 mm off the edge, and more than the lost motion"};
static const struct tt_bounds rotation_feed_deg = {0.0, 1e6, true,
                                                   "more than 0, in degrees per minute"};
static const struct tt_bounds rotation_limit_deg = {-1e5, 1e5, false, "degrees, within 277 turns"};

#define LENGTH(key, bounds, member)                                                                \
    TT_KEY_STATED(key, TT_LENGTH_FORM, TT_OPTIONAL, bounds, 0, MOTION, member)
#define FEED(key, member)                                                                          \
    TT_KEY_STATED(key, TT_LENGTH_FORM, TT_OPTIONAL, &tt_feed_mm_per_min, S_PER_MIN, MOTION, member)

static const char *const word_list[] = {"A", "B", "C"};
static const char *const way_list[] = {[TT_ALONG_NORMAL] = "normal", [TT_ALONG_AXES] = "axes"};
static const struct tt_vocabulary rotation_words = {word_list, 3}, ways = {way_list, 2};

static const struct tt_key limits[] = {
    TT_KEY_IF("x", TT_XY_FORM, TT_OPTIONAL, NULL, MOTION, x_mm.low, x_mm.stated, 0),
    TT_KEY_IF("y", TT_XY_FORM, TT_OPTIONAL, NULL, MOTION, y_mm.low, y_mm.stated, 0),
    TT_KEY_IF("z", TT_XY_FORM, TT_OPTIONAL, NULL, MOTION, z_mm.low, z_mm.stated, 0),
    TT_KEY_IF("rotation", TT_TURNS_FORM, TT_OPTIONAL, &rotation_limit_deg, MOTION, rotation_rad.low,
              rotation_rad.stated, 0),
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_motion_limit_keys = TT_KEYS_NAMED(limits, "motion limits");

static const struct tt_key motion[] = {
    LENGTH("safe_height", &tt_any_position_mm, safe_height_mm),
    LENGTH("touch_height", &tt_any_position_mm, touch_height_mm),
    FEED("travel_feed", travel_feed_mm_s),
    FEED("plunge_feed", plunge_feed_mm_s),
    FEED("find_feed", find_feed_mm_s),
    FEED("measure_feed", measure_feed_mm_s),
    TT_KEY_STATED("rotation_feed", TT_ANGLE_FORM, TT_OPTIONAL, &rotation_feed_deg, S_PER_MIN,
                  MOTION, rotation_feed_rad_s),
    {"rotation_word", TT_LETTER_FORM, .at = offsetof(MOTION, rotation_word),
     .sets = TT_FLAG(MOTION, has_rotation_word), .words = &rotation_words},
    {"probing", TT_WORD_FORM, .at = offsetof(MOTION, probing), .sets = TT_FLAG(MOTION, has_probing),
     .words = &ways},
    LENGTH("start_distance", &start_distance_mm, start_distance_mm),
    LENGTH("overtravel", &tt_positive_length_mm, overtravel_mm),
    LENGTH("lost_motion", &tt_length_mm, lost_motion_mm),
    LENGTH("margin", &tt_positive_length_mm, margin_mm),
    {"limits", TT_OBJECT_FORM, .inner = &tt_motion_limit_keys, .hook = TT_BENCH_RANGES},
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_motion_keys = TT_KEYS(motion);
