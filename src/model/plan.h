/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A plan: what each probing move of a controller's log was (tiptrue.plan/1). Names are resolved
 * when a log is joined to it. */
#ifndef TT_MODEL_PLAN_H
#define TT_MODEL_PLAN_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "model/run.h"

struct tt_move {
    const char *id; /* as text, for a number its shortest decimal form; NULL = none */
    enum tt_kind kind;
    const char *target, *tip, *setup; /* tip NULL where none; setup NULL = "1" */
    double rotation_rad;              /* as a controller would log it */
    bool has_rotation;
    double feed_mm_s; /* 0 = not stated */
    signed char approach_x, approach_y;
    bool is_find; /* "stage": "find" */
    bool has_at;
    struct tt_plate_xy at;
    bool has_pixel; /* views: where in the picture the mark is wanted; its middle unless stated */
    double px, py;
    size_t line, column; /* where the move stands in the plan file */
};

/* How a placement of the plate is turned against the machine file's yaw. */
struct tt_plan_setup {
    const char *name;
    double turned_rad;
};

struct tiptrue_plan {
    const char *file;
    struct tt_move *moves;
    size_t n_moves;
    struct tt_plan_setup *setups; /* those that stand turned */
    size_t n_setups;
    bool states_stage;      /* a move has a "stage": then none is inferred from the feeds */
    double log_mm_per_unit; /* of the lengths in the joined log; 0 = as the plan's */
    double mm_per_unit;     /* of the plan's lengths as written, which is taken for the joined log's
                               too: such a log names no unit */
    struct tt_bytes source; /* the document as read */
    struct tt_arena arena;
};

#endif
