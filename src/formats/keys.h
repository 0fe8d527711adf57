/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Field tables: what an object of a document holds, a row for each key. By its table an object is
 * read, checked and written, its known keys are named, and its schema is held to it
 * (tests/cli/keys.py). Knows no JSON. */
#ifndef TT_FORMATS_KEYS_H
#define TT_FORMATS_KEYS_H

#include <stdbool.h>
#include <stddef.h>

enum tt_need { TT_OPTIONAL, TT_REQUIRED };

/* Bounds of a number: lowest <= value <= highest; @above: lowest itself is not allowed. */
struct tt_bounds {
    double lowest, highest;
    bool above;
    const char *hint; /* what is allowed, in words */
};

/* Positions: no machine that places by tips of a bench is 100 m long. */
extern const struct tt_bounds tt_any_position_mm;
/* Lengths and uncertainties, 0 allowed; 0 not allowed. */
extern const struct tt_bounds tt_length_mm, tt_positive_length_mm;
/* Angles, within a turn; shares. */
extern const struct tt_bounds tt_any_angle_deg, tt_share;

/* Feeds, in mm/min: above 0. 0 mm/min is the word of many logs for «not moved», and is no feed to
 * probe with. */
extern const struct tt_bounds tt_feed_mm_per_min;

enum tt_form {
    TT_BY_HAND, /* the key is known; reader and writer see to it themselves */
    TT_TEXT_FORM,
    TT_NUMBER_FORM, /* in the file's own unit */
    TT_LENGTH_FORM, /* in the file's units, kept in mm */
    TT_ANGLE_FORM,  /* degrees, kept in rad */
    TT_XY_FORM,     /* [x, y]: lengths, two doubles; any position, unless there are bounds */
    TT_TURNS_FORM   /* [lowest, highest]: degrees, kept in rad, two doubles */
};

#define TT_NOWHERE ((size_t)-1)

struct tt_key {
    const char *key;
    enum tt_form form;
    enum tt_need need;
    const struct tt_bounds *bounds; /* of what stands in the file, lengths in mm */
    size_t at;                      /* place in the struct: a text, a double, two doubles */
    size_t
        stated; /* of a bool that says whether it was there; TT_NOWHERE: none. Written then only */
    size_t above_0; /* of a double: written only where that is above 0; TT_NOWHERE: always */
    double per;     /* what is kept is what stands there divided by this; 0: as it stands */
    double large;   /* mm: more is probably another unit, a warning; 0: nothing is */
};

struct tt_keys {
    const struct tt_key *list;
    size_t n;
};

#define TT_KEYS(list)                                                                              \
    {                                                                                              \
        (list), sizeof(list) / sizeof((list)[0])                                                   \
    }
/* The key alone, whether or not there is more to it. */
#define TT_KEY_BY_HAND(key)                                                                        \
    {                                                                                              \
        (key), TT_BY_HAND, TT_OPTIONAL, NULL, 0, TT_NOWHERE, TT_NOWHERE, 0, 0                      \
    }
/* A member of @type, of form @form. */
#define TT_KEY(key, form, need, bounds, type, member)                                              \
    {                                                                                              \
        (key), (form), (need), (bounds), offsetof(type, member), TT_NOWHERE, TT_NOWHERE, 0, 0      \
    }
/* One that is a struct tt_stated, and is kept as what stands there divided by @per. */
#define TT_KEY_STATED(key, form, need, bounds, per, type, member)                                  \
    {                                                                                              \
        (key), (form), (need), (bounds), offsetof(type, member.value),                             \
            offsetof(type, member.stated), TT_NOWHERE, (per), 0                                    \
    }
/* One whose bool @has says whether it was there; more than @large mm is a warning. */
#define TT_KEY_IF(key, form, need, bounds, type, member, has, large)                               \
    {                                                                                              \
        (key), (form), (need), (bounds), offsetof(type, member), offsetof(type, has), TT_NOWHERE,  \
            0, (large)                                                                             \
    }
/* One that is written only where @share is above 0. */
#define TT_KEY_ABOVE(key, form, bounds, type, member, share)                                       \
    {                                                                                              \
        (key), (form), TT_OPTIONAL, (bounds), offsetof(type, member), TT_NOWHERE,                  \
            offsetof(type, share), 0, 0                                                            \
    }

/* truth.c: tiptrue.truth/1. The elements of its arrays name themselves by the first key. */
extern const struct tt_keys tt_truth_keys, tt_truth_pose_keys, tt_truth_tip_keys,
    tt_truth_shape_keys, tt_truth_edge_keys, tt_truth_group_keys, tt_truth_mark_keys,
    tt_truth_pad_keys, tt_truth_height_keys, tt_truth_touch_keys, tt_truth_sighting_keys,
    tt_truth_rotation_keys, tt_truth_moved_keys;

/* Rows of tt_truth_touch_keys. */
enum { TT_TRUTH_LATE_DEPTH = 2, TT_TRUTH_EARLY_DEPTH = 4 };

/* motion.c: the machine's motion and its limits; tt_motion_keys of those that a program needs. */
extern const struct tt_keys tt_motion_keys, tt_motion_limit_keys;

#endif
