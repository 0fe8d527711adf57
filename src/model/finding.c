/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The names of the findings and of the units of their values. */
#include "config.h"

#include "model/finding.h"

#include <string.h>

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
    [TT_FINDING_DOES_NOT_FIT] = "does-not-fit",
    [TT_FINDING_IMPLAUSIBLE] = "implausible",
    [TT_FINDING_AMBIGUOUS] = "ambiguous",
    [TT_FINDING_MARKS_OFF] = "marks-off",
    [TT_FINDING_RADIUS_OFF] = "radius-off",
    [TT_FINDING_MIRRORED] = "mirrored",
    [TT_FINDING_TIPS_EXCHANGED] = "tips-exchanged",
    [TT_FINDING_CHANGE_IMPLAUSIBLE] = "change-implausible",
    [TT_FINDING_ROTATION_SLIP] = "rotation-slip",
    [TT_FINDING_MOVED_CAMERA] = "moved-camera",
    [TT_FINDING_MOVED_TIP] = "moved-tip",
    [TT_FINDING_CORRELATED_TOUCHES] = "correlated-touches",
    [TT_FINDING_REPEATED_ROWS] = "repeated-rows",
    [TT_FINDING_SEVERAL_LOGS] = "several-logs",
    [TT_FINDING_NOT_TOUCHED] = "not-touched",
    [TT_FINDING_OTHER_MACHINE] = "other-machine",
    [TT_FINDING_OTHER_PLATE] = "other-plate",
    [TT_FINDING_FACE_RUNOUT] = "face-runout",
    [TT_FINDING_SLOPE] = "slope",
    [TT_FINDING_PAD_OFF] = "pad-off",
    [TT_FINDING_HEIGHT_UNDETERMINED] = "height-undetermined",
    [TT_FINDING_FIT_DISAGREES] = "fit-disagrees",
    [TT_FINDING_EDGE_FILM] = "edge-film",
    [TT_FINDING_OFFSET_OFF] = "offset-off",
    [TT_FINDING_ALL_TIPS_OFF] = "all-tips-off",
    [TT_FINDING_TURNING] = "turning",
    [TT_FINDING_GRID_OFF] = "grid-off",
    [TT_FINDING_ROTATION_ZERO] = "rotation-zero",
    [TT_FINDING_SLIPPED_PARTS] = "slipped-parts",
    [TT_FINDING_FEW_PARTS] = "few-parts",
    [TT_FINDING_NOT_NORMAL] = "not-normal",
    [TT_FINDING_CAMERA_OFF] = "camera-off",
    [TT_FINDING_LENS_DISTORTION] = "lens-distortion",
    [TT_FINDING_PICTURE_MIRRORED] = "picture-mirrored",
    [TT_FINDING_AXES_SCALE] = "axes-scale",
    [TT_FINDING_AXES_NOT_SQUARE] = "axes-not-square",
    [TT_FINDING_CONFIRMED] = "confirmed",
    [TT_FINDING_CONTRADICTED] = "contradicted",
    [TT_FINDING_MOVED_BOARD] = "moved-board",
};

/* By unit: what its keys end in. */
static const char *const suffixes[TT_UNITS] = {
    [TT_UNIT_NONE] = "",    [TT_UNIT_SHARE] = "_share",
    [TT_UNIT_MM] = "_mm",   [TT_UNIT_RAD] = "_deg",
    [TT_UNIT_S] = "_s",     [TT_UNIT_C] = "_C",
    [TT_UNIT_PPM] = "_ppm", [TT_UNIT_PPM_PER_K] = "_ppm_per_K",
};

const char *tt_finding_name(enum tt_finding_code code)
{
    return names[code];
}

const char *tt_unit_suffix(enum tt_unit unit)
{
    return suffixes[unit];
}

bool tt_finding_is_of_heights(const struct tt_finding *finding)
{
    const struct tt_value *quantity = tt_finding_value(finding, "quantity");

    return finding->code == TT_FINDING_FACE_RUNOUT || finding->code == TT_FINDING_SLOPE ||
           finding->code == TT_FINDING_PAD_OFF || finding->code == TT_FINDING_HEIGHT_UNDETERMINED ||
           (quantity != NULL && quantity->text != NULL && strcmp(quantity->text, "height") == 0);
}

bool tt_finding_spoils_heights(const struct tt_finding *finding)
{
    return tt_finding_is_of_heights(finding) || finding->code == TT_FINDING_OTHER_MACHINE ||
           finding->code == TT_FINDING_OTHER_PLATE || finding->code == TT_FINDING_TIPS_EXCHANGED ||
           finding->code == TT_FINDING_UNIT_SUSPECT || finding->code == TT_FINDING_REPEATED_ROWS;
}

const struct tt_value *tt_finding_value(const struct tt_finding *finding, const char *key)
{
    for (size_t i = 0; i < finding->n_values; i++) {
        if (strcmp(finding->values[i].key, key) == 0) {
            return &finding->values[i];
        }
    }
    return NULL;
}

const char *tt_finding_kind(const struct tt_finding *finding)
{
    const struct tt_value *what = tt_finding_value(finding, "what");

    what = what != NULL ? what : tt_finding_value(finding, "kind");
    return what != NULL && what->text != NULL ? what->text : "";
}
