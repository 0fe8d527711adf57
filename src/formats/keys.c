/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "formats/keys.h"

#include <string.h>

_Static_assert(sizeof(enum tt_form) == sizeof(unsigned),
               "TT_WORD_FORM copies an enumeration as one");

const struct tt_bounds tt_any_position_mm = {-1e5, 1e5, false,
                                             "positions lie within 100 m; are the units right?"};
const struct tt_bounds tt_length_mm = {0.0, 1e5, false, "0 or more, and less than 100 m"};
const struct tt_bounds tt_positive_length_mm = {0.0, 1e5, true, "more than 0, and less than 100 m"};
const struct tt_bounds tt_any_angle_deg = {-360.0, 360.0, false,
                                           "degrees, counter-clockwise seen from above"};
const struct tt_bounds tt_rotation_deg = {-36000.0, 36000.0, false, "degrees, within 100 turns"};
const struct tt_bounds tt_share = {0.0, 1.0, false, "a share, from 0 to 1"};
const struct tt_bounds tt_feed_mm_per_min = {
    0.0, 1e6, true, "more than 0, in mm/min or inch/min; leave it out where it is not known"};

/* Whether the flag at @place, which is one more than its own, is true; 0: nothing is asked. */
static bool is_true(size_t place, const void *from)
{
    bool flag = true;

    if (place > 0) {
        memcpy(&flag, (const char *)from + place - 1, sizeof flag);
    }
    return flag;
}

/* Whether the count, the double and the pointer that @key depends on are not 0. */
static bool is_filled(const struct tt_key *key, const void *from)
{
    size_t count = 1;
    double value = 1;
    const void *pointer = key;

    if (key->count > 0) {
        memcpy(&count, (const char *)from + key->count - 1, sizeof count);
    }
    if (key->above_0 > 0) {
        memcpy(&value, (const char *)from + key->above_0 - 1, sizeof value);
    }
    if (key->pointer > 0) {
        memcpy(&pointer, (const char *)from + key->pointer - 1, sizeof pointer);
    }
    return count > 0 && value > 0 && pointer != NULL;
}

/* Whether the numbers of the object @key are all 0, where that matters. */
static bool is_idle(const struct tt_key *key, const char *from)
{
    double value = 0;

    for (size_t i = 0; key->unless_0 && i < key->inner->n && value == 0; i++) {
        if (key->inner->list[i].form != TT_BY_HAND) {
            memcpy(&value, from + key->at + key->inner->list[i].at, sizeof value);
        }
    }
    return key->unless_0 && value == 0;
}

bool tt_key_has_x(const struct tt_key *key, const void *from)
{
    return is_true(key->when, from);
}

bool tt_key_has_y(const struct tt_key *key, const void *from)
{
    return is_true(key->when_y > 0 ? key->when_y : key->when, from);
}

bool tt_key_is_there(const struct tt_key *key, const void *from)
{
    bool x = tt_key_has_x(key, from), y = tt_key_has_y(key, from);
    bool parts = key->form == TT_X_Y_FORM || key->form == TT_HOOK_FORM || /* they see to it */
                 (key->either ? x || y : x && y);

    return parts && is_true(key->whole, from) && is_filled(key, from) && !is_idle(key, from);
}
