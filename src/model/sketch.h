/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the pictures of a run need beyond its solution: where each touch fell, and the curves that
 * the fit expects. Written by geometry/sketch.c, read by output. Without the plate there are rows
 * by edge and tip, and nothing else.
 */
#ifndef TT_MODEL_SKETCH_H
#define TT_MODEL_SKETCH_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/frames.h"

#define TT_SKETCH_STEPS                                                                            \
    72 /* of a curve over one turn: every 5 degrees, an order of 6 has twelve points a period */

/* Of the row of the solution with the same index. */
struct tt_spot {
    size_t track; /* TT_NONE = not a touch of an edge with a tip of the solution */
    bool has_place;
    struct tt_plate_xy at; /* on the edge's line, where the tip's centre stood before it */
    bool has_swing;
    double swing_mm; /* the head's place along n where the fit expects the contact, from that of a
                        round tip without runout */
    double direction_rad; /* of the contact, seen in the tip's own frame (psi) */
    bool has_pixel;       /* a view whose picture's scale and turn are determined */
    double px, py;        /* where it saw the mark, and how far from where the fit expects it */
    double off_right_px, off_down_px;
};

/* The touches of one tip on one edge in one setup, and their fitted curve. */
struct tt_sketch_track {
    size_t edge, tip, setup; /* of the solution's edges, tips, poses */
    const size_t *rows;      /* of the solution, in the order of the log */
    size_t n_rows;
    bool has_curve; /* over the logged rotation, 0 to 360 degrees in TT_SKETCH_STEPS steps */
    double curve_mm[TT_SKETCH_STEPS + 1];
    bool sense_contradicted; /* the fit turned the stated sense of rotation round: the curve that
                                the stated one expects */
    double stated_mm[TT_SKETCH_STEPS + 1];
};

/* A mark of the plate: how far from its stated place its sightings and views have it on the mean,
 * in the plate's directions, with the plate put where they all fit best; @plain: by the axes as the
 * machine has them, @off: with the errors of the axes that were found. */
struct tt_sketch_mark {
    size_t n; /* sightings and views that count; 0 = none */
    struct tt_plate_xy plain, off;
};

struct tt_sketch {
    struct tt_sketch_mark *marks; /* by mark of the plate; NULL without plate or log */
    struct tt_spot *spots;
    size_t n_spots;
    struct tt_sketch_track *tracks; /* tip by tip, edge by edge, setup by setup */
    size_t n_tracks;
    size_t *
        edge_of; /* of the plate, for each edge of the solution; TT_NONE = not on it, or no plate */
    bool has_sense;   /* a machine is there to tell it */
    bool clockwise;   /* the sense that the fit found good */
    double *shape_mm; /* TT_SKETCH_STEPS + 1 for each tip of the solution: the tip's radius less the
                         contact radius, over psi */
    struct tt_arena arena; /* owns all of the above */
};

#endif
