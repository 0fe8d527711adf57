/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How much the runs of a machine scatter beyond what each says of itself: what a history brings into a solve. */
#ifndef TT_MODEL_BETWEEN_H
#define TT_MODEL_BETWEEN_H

#include <stddef.h>

#include "base/arena.h"

struct tt_between_tip {
    const char *name;
    double u_x_mm, u_y_mm; /* standard deviation between runs, per axis */
    double dof;            /* with which they are known */
};

struct tiptrue_between {
    struct tt_between_tip *tips;
    size_t n_tips;
    struct tt_arena arena; /* owns all of the above */
};

#endif
