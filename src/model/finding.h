/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A finding: what the measurement says about itself. */
#ifndef TT_MODEL_FINDING_H
#define TT_MODEL_FINDING_H

#include <stddef.h>

#include "tiptrue.h"

enum tt_finding_code {
    TT_FINDING_UNDETERMINED,
    TT_FINDING_PRIOR_BOUND,
    TT_FINDING_LATE_CONTACT,
    TT_FINDING_SCATTERED,
    TT_FINDING_MOVED_PLATE,
    TT_FINDING_DRIFT_IN_RUN,
    TT_FINDING_ROTATION_SENSE,
    TT_FINDING_ROTATION_GAP,
    TT_FINDING_FEW_TOUCHES,
    TT_FINDING_TIP_NOT_ROUND,
    TT_FINDING_LOST_MOTION,
    TT_FINDING_EDGE_OFF,
    TT_FINDING_YAW_OFF,
    TT_FINDING_UNIT_SUSPECT,
    TT_FINDING_COARSE_DIGITS,
    TT_FINDING_SIGHTINGS_ONE_SIDED,
    TT_FINDING_ODD_ROTATIONS,
    TT_FINDING_LATENCY,
    TT_FINDING_NO_CONTACT,
    TT_FINDING_RUNOUT_OVER,
    TT_FINDING_UNCERTAINTY_OVER,
    TT_FINDING_CODES /* how many */
};

/* "late-contact" and so on: the names of docs/formats.md. */
const char *tt_finding_name(enum tt_finding_code code);

struct tt_finding {
    enum tt_finding_code code;
    enum tiptrue_severity severity; /* TIPTRUE_ERROR: nothing of what it names may be used (verdict repeat) */
    const char *text;               /* one or two plain sentences: what, how much, what to do */
    size_t edge, tip, setup;        /* what it is about (edge: of the plate; tip, setup: of the run); TT_NONE = not about one */
    const size_t *lines;            /* the rows it is about, as lines of the run's file, ascending */
    size_t n_lines;
};

#endif
