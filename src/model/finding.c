/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The names of the findings. */
#include "config.h"

#include "model/finding.h"

#include <stddef.h>

static const char *const names[TT_FINDING_CODES] = {
    [TT_FINDING_UNDETERMINED] = "undetermined",
    [TT_FINDING_PRIOR_BOUND] = "prior-bound",
    [TT_FINDING_LATE_CONTACT] = "late-contact",
    [TT_FINDING_SCATTERED] = "scattered",
    [TT_FINDING_MOVED_PLATE] = "moved-plate",
    [TT_FINDING_DRIFT_IN_RUN] = "drift-in-run",
    [TT_FINDING_ROTATION_SENSE] = "rotation-sense",
    [TT_FINDING_ROTATION_GAP] = "rotation-gap",
    [TT_FINDING_FEW_TOUCHES] = "few-touches",
    [TT_FINDING_TIP_NOT_ROUND] = "tip-not-round",
    [TT_FINDING_LOST_MOTION] = "lost-motion",
    [TT_FINDING_EDGE_OFF] = "edge-off",
    [TT_FINDING_YAW_OFF] = "yaw-off",
    [TT_FINDING_UNIT_SUSPECT] = "unit-suspect",
    [TT_FINDING_COARSE_DIGITS] = "coarse-digits",
    [TT_FINDING_SIGHTINGS_ONE_SIDED] = "sightings-one-sided",
    [TT_FINDING_ODD_ROTATIONS] = "odd-rotations",
    [TT_FINDING_LATENCY] = "latency",
    [TT_FINDING_NO_CONTACT] = "no-contact",
    [TT_FINDING_RUNOUT_OVER] = "runout-over",
    [TT_FINDING_UNCERTAINTY_OVER] = "uncertainty-over",
};

const char *tt_finding_name(enum tt_finding_code code)
{
    return names[code];
}
