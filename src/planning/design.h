/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which touches: the best use of a number of touches for one tip, A-optimal on the offset's
 * same-plate covariance.
 *
 * An exchange algorithm (V. V. Fedorov, Theory of Optimal Experiments, 1972, ch. 3; the modified
 * one of R. D. Cook, C. J. Nachtsheim, Technometrics 22 (1980) 315-324): from evenly spread
 * touches, each touch in turn is replaced by the candidate that lessens the criterion most, until a
 * whole pass changes nothing. Cost: passes x touches x candidates x (unknowns x entries of a row).
 */
#ifndef TT_PLANNING_DESIGN_H
#define TT_PLANNING_DESIGN_H

#include "base/status.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/proposal.h"
#include "planning/scene.h"

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

struct tt_design {
    const struct tt_scene *scene;
    size_t tip;
    struct tt_grid grid;
    struct tt_probe *candidates; /* setup by setup, spot by spot, rotation by rotation */
    size_t n_candidates, n_spots, n_setups, rotations;
    struct tt_spot *spots;
    const char **reasons; /* by edge of the plate: why it is left out, NULL = it is not */
    size_t *edge_order;   /* edges with spots, facing ones one after the other */
    size_t n_edges;
    size_t least_on_edge; /* an edge is touched so often or not at all; 0 = does not matter */
    size_t n_open;        /* the first so many edges of the order are touched then */
    size_t *on_edge;      /* touches, by edge of the plate */
    struct tt_engine engine;
    size_t *counts; /* of each candidate */
    struct tt_arena arena;
};

/* Candidates and engine for @tip. TIPTRUE_E_DATA: the tip fits nowhere (told), or nothing is known
 * of its radius. */
TT_MUST_USE enum tiptrue_status tt_design_init(struct tt_design *design,
                                               const struct tt_scene *scene, size_t tip,
                                               const struct tt_room *room, struct tt_grid grid,
                                               struct tiptrue_error *error);
void tt_design_clear(struct tt_design *design);

/* @n touches, evenly spread over setups, edges, places and rotations, into @probes. */
void tt_design_even(const struct tt_design *design, size_t n, struct tt_probe probes[]);

/* The best @n touches into @probes (n >= TT_LEAST_TOUCHES); with one start over a coarse grid of
 * rotations, to judge numbers by. From evenly spread ones and from @starts - 1 drawn starts (an
 * exchange ends in the nearest optimum, which need not be the best: with seven touches it may be a
 * tenth worse). False: such a plate does not determine the tip's unknowns, or out of memory. Cost:
 * linear in @starts. */
TT_MUST_USE enum tiptrue_status tt_design_best(struct tt_design *design, size_t n, size_t starts,
                                               struct tt_probe probes[]);

/* The touches that tt_design_best found for @other, for the tip of @design, which fits to the same
 * places of the same edges. False: it does not. */
TT_MUST_USE bool tt_design_like(struct tt_design *design, const struct tt_design *other,
                                struct tt_probe probes[]);

/* The touch that helps most after what the scene has already and the @n_planned touches of
 * @planned; none of those again. False: none helps, or all that is there does not determine the
 * tip's unknowns. */
TT_MUST_USE bool tt_design_next(struct tt_design *design, const struct tt_probe planned[],
                                size_t n_planned, struct tt_probe *next);

/* The widest gap between rotations, in turns, of which used[i] says whether i / n of a turn is
 * among them. 1 where none is. */
double tt_widest_gap(const size_t used[], size_t n);

#endif
