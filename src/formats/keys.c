/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "formats/keys.h"

const struct tt_bounds tt_any_position_mm = {-1e5, 1e5, false,
                                             "positions lie within 100 m; are the units right?"};
const struct tt_bounds tt_length_mm = {0.0, 1e5, false, "0 or more, and less than 100 m"};
const struct tt_bounds tt_positive_length_mm = {0.0, 1e5, true, "more than 0, and less than 100 m"};
const struct tt_bounds tt_any_angle_deg = {-360.0, 360.0, false,
                                           "degrees, counter-clockwise seen from above"};
const struct tt_bounds tt_share = {0.0, 1.0, false, "a share, from 0 to 1"};
const struct tt_bounds tt_feed_mm_per_min = {
    0.0, 1e6, true, "more than 0, in mm/min or inch/min; leave it out where it is not known"};
