/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The "motion" part of tiptrue.machine/1: how the machine moves for a touch. Feeds are lengths, or
 * degrees, per minute. */
#include "config.h"

#include "formats/keys.h"
#include "formats/rows.h"
#include "model/machine.h"

#define S_PER_MIN 60.0

static const struct tt_bounds start_distance_mm = {
    0.3, 1e3, false, "at least 0.3 mm off the edge, and more than the lost motion"};
static const struct tt_bounds rotation_feed_deg = {0.0, 1e6, true,
                                                   "more than 0, in degrees per minute"};
static const struct tt_bounds rotation_limit_deg = {-1e5, 1e5, false, "degrees, within 277 turns"};

#define LENGTH(key, member, within)                                                                \
    {                                                                                              \
        key, TT_LENGTH_FORM, STATED(member), .bounds = (within)                                    \
    }
#define FEED(key, member)                                                                          \
    {                                                                                              \
        key, TT_LENGTH_FORM, STATED(member), .bounds = &tt_feed_mm_per_min, .per = S_PER_MIN       \
    }

static const char *const word_list[] = {"A", "B", "C"};
static const char *const way_list[] = {[TT_ALONG_NORMAL] = "normal", [TT_ALONG_AXES] = "axes"};
static const struct tt_vocabulary rotation_words = {word_list, 3}, ways = {way_list, 2};

#define T struct tt_motion
static const struct tt_key limits[] = {
    {"x", TT_XY_FORM, AT(x_mm.low), SETS(x_mm.stated)},
    {"y", TT_XY_FORM, AT(y_mm.low), SETS(y_mm.stated)},
    {"z", TT_XY_FORM, AT(z_mm.low), SETS(z_mm.stated)},
    {"rotation", TT_TURNS_FORM, AT(rotation_rad.low), SETS(rotation_rad.stated),
     .bounds = &rotation_limit_deg},
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_motion_limit_keys = TT_KEYS_NAMED(limits, "motion limits");

static const struct tt_key motion[] = {
    LENGTH("safe_height", safe_height_mm, &tt_any_position_mm),
    LENGTH("touch_height", touch_height_mm, &tt_any_position_mm),
    FEED("travel_feed", travel_feed_mm_s),
    FEED("plunge_feed", plunge_feed_mm_s),
    FEED("find_feed", find_feed_mm_s),
    FEED("measure_feed", measure_feed_mm_s),
    {"rotation_feed", TT_ANGLE_FORM, STATED(rotation_feed_rad_s), .bounds = &rotation_feed_deg,
     .per = S_PER_MIN},
    {"rotation_word", TT_LETTER_FORM, AT(rotation_word), SETS(has_rotation_word),
     .words = &rotation_words},
    {"probing", TT_WORD_FORM, AT(probing), SETS(has_probing), .words = &ways},
    LENGTH("start_distance", start_distance_mm, &start_distance_mm),
    LENGTH("overtravel", overtravel_mm, &tt_positive_length_mm),
    LENGTH("lost_motion", lost_motion_mm, &tt_length_mm),
    LENGTH("margin", margin_mm, &tt_positive_length_mm),
    {"limits", TT_OBJECT_FORM, .inner = &tt_motion_limit_keys, .hook = TT_BENCH_RANGES},
    TT_KEY_BY_HAND("note"),
};
const struct tt_keys tt_motion_keys = TT_KEYS(motion);
#undef T
