/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board and the touches of a run say together. Lives in the placement that it is of.
 *
 * Uncertainties are in total: errors of the plate, of the board's seat and of the device that
 * measured it are in them. */
#ifndef TT_MODEL_JOINED_H
#define TT_MODEL_JOINED_H

#include <stdbool.h>
#include <stddef.h>

/* x and y. */
struct tt_pair {
    double x, y;
};

struct tt_joined_tip {
    size_t tip; /* index among the placement's tips */
    struct tt_pair in_use_mm;
    struct tt_pair touched_mm, u_touched_mm, expanded_touched_mm; /* by the run alone, plate held */
    struct tt_pair offset_mm, u_mm, expanded_mm;                  /* by both */
    double cov_mm2;                                               /* of x with y */
    double dof, dof_touched;                                      /* the smaller one of x and y */
};

struct tt_joined_group {
    const char *name;
    double u_stated_mm;
    struct tt_pair shift_mm, u_mm; /* of the group against its stated place, plate frame */
};

struct tt_joined {
    const char *run, *plate, *serial, *started; /* of the run; NULL = not stated */
    bool in_use_from_run; /* the machine states no offset of some tip: that of the run is taken */
    bool seat_known;      /* else only differences of tips count */
    double t2, equations, dof, p;  /* of board against touches: p of at least this much by chance */
    size_t worst;                  /* the tip, of the placement's, that disagrees most */
    struct tt_pair worst_apart_mm; /* board less touches */
    bool agrees;                   /* what follows is given */
    struct tt_joined_tip *tips;
    size_t n_tips;
    struct tt_joined_group *groups;
    size_t n_groups;
};

#endif
