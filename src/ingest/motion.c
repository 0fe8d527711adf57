/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "ingest/motion.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static void check_range(struct tt_fields *fields, const cJSON *limits, const char *key,
                        const struct tt_range *range)
{
    if (range->stated && !(range->low < range->high)) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(limits, key)),
                 "[lowest, highest]", "motion limits: '%s' is no range", key);
    }
}

static void read_limits(struct tt_fields *fields, const cJSON *motion, struct tt_motion *into)
{
    const cJSON *limits = tt_field_object(fields, motion, "motion", "limits", TT_OPTIONAL);
    if (limits == NULL) {
        return;
    }
    tt_keys_read(fields, limits, "motion limits", &tt_motion_limit_keys, into);
    check_range(fields, limits, "x", &into->x_mm);
    check_range(fields, limits, "y", &into->y_mm);
    check_range(fields, limits, "z", &into->z_mm);
    check_range(fields, limits, "rotation", &into->rotation_rad);
}

void tt_motion_read(struct tt_fields *fields, const cJSON *root, struct tt_motion *motion)
{
    static const char *const words[] = {"A", "B", "C"}, *const ways[] = {"normal", "axes"};
    const cJSON *object =
        tt_keys_read_inner(fields, root, "machine", "motion", &tt_motion_keys, motion);
    if (object == NULL) {
        return;
    }
    motion->present = true;
    size_t word = tt_field_word(fields, object, "motion", "rotation_word", TT_OPTIONAL, words,
                                COUNT(words), COUNT(words));
    motion->has_rotation_word = word < COUNT(words);
    motion->rotation_word = (char)(word < COUNT(words) ? words[word][0] : 0);
    size_t way = tt_field_word(fields, object, "motion", "probing", TT_OPTIONAL, ways, COUNT(ways),
                               COUNT(ways));
    motion->along_axes = (struct tt_stated){way < COUNT(ways), way == 1 ? 1 : 0};
    read_limits(fields, object, motion);
}
