/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a history brings into a solve: how much the runs of a machine scatter beyond what each says
 * of itself, the runs that the offsets in use came from, and where earlier runs found the edges. */
#ifndef TT_MODEL_BETWEEN_H
#define TT_MODEL_BETWEEN_H

#include <stdbool.h>
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

/* Where one earlier run found an edge: its shift along the normal to the free side. */
struct tt_past_edge {
    const char *name;
    double shift_mm, u_mm;
    bool freed; /* the run did not use its stated place */
};

/* What one earlier run says of a tip that may be used: its held offset. */
struct tt_past_tip {
    const char *name;
    struct tt_machine_xy held;
};

/* An earlier run, some tip of which may be used. */
struct tt_past_run {
    const char *id, *plate, *document; /* plate: serial, else name; digest of the plate file */
    double time_s;                     /* seconds from 1970-01-01T00:00:00Z */
    struct tt_past_edge *edges;        /* those touched */
    struct tt_past_tip *tips;
    size_t n_edges, n_tips;
};

struct tiptrue_between {
    struct tt_between_tip *tips;
    size_t n_tips;
    struct tt_earlier *earlier;
    size_t n_earlier;
    struct tt_past_run *past; /* latest first */
    size_t n_past;
    const struct tt_edge_result *edges; /* what a result was given with: their names and `earlier`
                                           stand in place of past runs */
    size_t n_edges;
    struct tt_arena arena; /* owns all of the above */
};

#endif
