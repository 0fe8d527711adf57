/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a history brings into a solve: how much the runs of a machine scatter beyond what each says
 * of itself, and the runs that the offsets in use came from. */
#ifndef TT_MODEL_BETWEEN_H
#define TT_MODEL_BETWEEN_H

#include <stddef.h>

#include "base/arena.h"
#include "model/solution.h"

struct tt_between_tip {
    const char *name;
    double u_x_mm, u_y_mm; /* standard deviation between runs, per axis */
    double dof;            /* with which they are known */
};

/* The run that a tip's offset in use came from, on the same plate. */
struct tt_earlier {
    const char *tip, *run; /* run: its id */
    struct tt_machine_xy held;
    struct tt_cov2 cov; /* of held, scatter between runs not in it */
    double dof;
    struct tt_plate_effects effects;
};

struct tiptrue_between {
    struct tt_between_tip *tips;
    size_t n_tips;
    struct tt_earlier *earlier;
    size_t n_earlier;
    struct tt_arena arena; /* owns all of the above */
};

#endif
