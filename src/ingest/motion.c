/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "ingest/motion.h"

#include "ingest/kinds.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const struct tt_bounds start_distance_mm = {
    0.3, 1e3, false, "at least 0.3 mm off the edge, and more than the lost motion"};
static const struct tt_bounds rotation_feed_deg = {0.0, 1e6, true,
                                                   "more than 0, in degrees per minute"};
static const struct tt_bounds rotation_limit_deg = {-1e5, 1e5, false, "degrees, within 277 turns"};

static void read_length(struct tt_fields *fields, const cJSON *motion, const char *key,
                        const struct tt_bounds *bounds, struct tt_stated *into)
{
    into->stated =
        tt_field_length(fields, motion, "motion", key, TT_OPTIONAL, bounds, &into->value);
}

static void read_feed(struct tt_fields *fields, const cJSON *motion, const char *key,
                      struct tt_stated *into)
{
    double feed_mm_per_min = 0;
    into->stated = tt_field_length(fields, motion, "motion", key, TT_OPTIONAL, &tt_feed_mm_per_min,
                                   &feed_mm_per_min);
    into->value = feed_mm_per_min / 60.0;
}

static void read_rotation(struct tt_fields *fields, const cJSON *motion, struct tt_motion *into)
{
    static const char *const words[] = {"A", "B", "C"};
    double feed_deg_per_min = 0;
    size_t word = tt_field_word(fields, motion, "motion", "rotation_word", TT_OPTIONAL, words,
                                COUNT(words), COUNT(words));
    into->rotation_word = (char)(word < COUNT(words) ? words[word][0] : 0);
    into->rotation_feed_rad_s.stated =
        tt_field_number(fields, motion, "motion", "rotation_feed", TT_OPTIONAL, &rotation_feed_deg,
                        &feed_deg_per_min);
    into->rotation_feed_rad_s.value = tt_rad_from_deg(feed_deg_per_min) / 60.0;
}

static void check_range(struct tt_fields *fields, const cJSON *limits, const char *key,
                        const struct tt_range *range)
{
    if (range->stated && !(range->low < range->high)) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(limits, key)),
                 "[lowest, highest]", "motion limits: '%s' is no range", key);
    }
}

/* [low, high] of lengths, low below high. */
static void read_range(struct tt_fields *fields, const cJSON *limits, const char *key,
                       struct tt_range *range)
{
    double ends[2] = {0, 0};
    range->stated = tt_field_xy(fields, limits, "motion limits", key, TT_OPTIONAL, ends);
    range->low = ends[0];
    range->high = ends[1];
    check_range(fields, limits, key, range);
}

/* The same of degrees, in whatever unit the file's lengths are. */
static void read_turns(struct tt_fields *fields, const cJSON *limits, const char *key,
                       struct tt_range *range)
{
    double ends_deg[2] = {0, 0};
    range->stated =
        tt_field_pair(fields, limits, "motion limits", key, &rotation_limit_deg, ends_deg);
    range->low = tt_rad_from_deg(ends_deg[0]);
    range->high = tt_rad_from_deg(ends_deg[1]);
    check_range(fields, limits, key, range);
}

static void read_limits(struct tt_fields *fields, const cJSON *motion, struct tt_motion *into)
{
    static const char *const known[] = {"x", "y", "z", "rotation", "note"};
    const cJSON *limits = tt_field_object(fields, motion, "motion", "limits", TT_OPTIONAL);
    if (limits == NULL) {
        return;
    }
    tt_field_unknown(fields, limits, "motion limits", known, COUNT(known));
    read_range(fields, limits, "x", &into->x_mm);
    read_range(fields, limits, "y", &into->y_mm);
    read_range(fields, limits, "z", &into->z_mm);
    read_turns(fields, limits, "rotation", &into->rotation_rad);
}

void tt_motion_read(struct tt_fields *fields, const cJSON *root, struct tt_motion *motion)
{
    static const char *const known[] = {
        "safe_height",  "touch_height",  "travel_feed",   "plunge_feed",    "find_feed",
        "measure_feed", "rotation_feed", "rotation_word", "probing",        "overtravel",
        "lost_motion",  "margin",        "limits",        "start_distance", "note"};
    static const char *const ways[] = {"normal", "axes"};
    const cJSON *object = tt_field_object(fields, root, "machine", "motion", TT_OPTIONAL);
    if (object == NULL) {
        return;
    }
    motion->present = true;
    tt_field_unknown(fields, object, "motion", known, COUNT(known));
    read_length(fields, object, "safe_height", &tt_any_position_mm, &motion->safe_height_mm);
    read_length(fields, object, "touch_height", &tt_any_position_mm, &motion->touch_height_mm);
    read_feed(fields, object, "travel_feed", &motion->travel_feed_mm_s);
    read_feed(fields, object, "plunge_feed", &motion->plunge_feed_mm_s);
    read_feed(fields, object, "find_feed", &motion->find_feed_mm_s);
    read_feed(fields, object, "measure_feed", &motion->measure_feed_mm_s);
    read_rotation(fields, object, motion);
    read_length(fields, object, "start_distance", &start_distance_mm, &motion->start_distance_mm);
    read_length(fields, object, "overtravel", &tt_positive_length_mm, &motion->overtravel_mm);
    read_length(fields, object, "lost_motion", &tt_length_mm, &motion->lost_motion_mm);
    read_length(fields, object, "margin", &tt_positive_length_mm, &motion->margin_mm);
    size_t way = tt_field_word(fields, object, "motion", "probing", TT_OPTIONAL, ways, COUNT(ways),
                               COUNT(ways));
    motion->along_axes = (struct tt_stated){way < COUNT(ways), way == 1 ? 1 : 0};
    read_limits(fields, object, motion);
}
