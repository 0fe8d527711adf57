/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where a tip can touch: candidates of edge, place on the edge, rotation and setup, and what is
 * left out because the tip does not fit.
 *
 * A touch needs room for a disc of the tip's radius and the margin: along the edge, and everywhere
 * on its way from the start, which is the start distance off the edge, to the contact, against
 * every other edge of the plate.
 */
#ifndef TT_PLANNING_CANDIDATES_H
#define TT_PLANNING_CANDIDATES_H

#include "base/status.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/proposal.h"

/* Every probing move starts at least this far off the edge (common practice, no source). */
#define TT_LEAST_START_MM 0.3

/* How finely candidates are laid. */
struct tt_grid {
    size_t rotations, places; /* of a turn; along an edge */
};

/* A place where a tip can touch an edge. */
struct tt_spot {
    size_t edge;
    struct tt_plate_xy at;
    double share; /* along the usable part of the edge, 0 to 1 */
};

struct tt_room {
    double radius_mm, margin_mm, start_mm;
    bool along_axes; /* the machine probes along its axes only */
    double yaw_rad;  /* of the plate, for that */
};

/* The spots of a tip of @room.radius_mm, edge by edge, into @spots (n_edges x places of them at
 * most). Edges that are left out whole have a reason in @reasons (n_edges; text in @arena), the
 * others NULL. */
TT_MUST_USE enum tiptrue_status tt_spots_find(const struct tiptrue_plate *plate,
                                              const struct tt_room *room, size_t places,
                                              struct tt_arena *arena, struct tt_spot spots[],
                                              size_t *n_spots, const char *reasons[]);

#endif
