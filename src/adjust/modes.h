/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The table of fault modes: what can be wrong with a run besides normal scatter, how probable it is
 * beforehand, how large it may be, and what the data say for it.
 *
 * A mode is one or two columns b of the linear model about a solution, with prior variance F^2 and
 * a prior probability P that its candidates (edges, marks, rows, tips) share. Widening the prior of
 * a feature, or the variance of a sighting, is such a column too. With weights W, covariance C of
 * the unknowns and c = J^T W b, s = -b^T W r,  H = b^T W b - c^T C c, ln odds = s^2 / (H + F^-2) /
 * 2 - ln(1 + F^2 H) / 2 + ln P. s^2/H is the w-test of data snooping (W. Baarda, Neth. Geod. Comm.
 * 2/5, 1968); the second term is Occam's factor of an inflated variance (G. E. P. Box, G. C. Tiao,
 * Biometrika 55 (1968) 119). A candidate's cost is linear in the touches it acts on.
 */
#ifndef TT_ADJUST_MODES_H
#define TT_ADJUST_MODES_H

#include "adjust/fit.h"

enum tt_mode_kind {
    TT_MODE_FILM,        /* an edge late as a whole */
    TT_MODE_EDGE,        /* an edge elsewhere than stated */
    TT_MODE_EDGE_OUT,    /* an edge none of whose touches is good; has no column */
    TT_MODE_SIGHT,       /* a sighting off by little */
    TT_MODE_SIGHT_GROSS, /* of something else */
    TT_MODE_MARK,        /* a mark elsewhere by little */
    TT_MODE_MARK_GROSS,  /* another mark, or a wrong place */
    TT_MODE_RADIUS,      /* a stated contact radius that is wrong */
    TT_MODE_RADII,       /* all of them are, of several tips; has no column */
    TT_MODE_MOVED,       /* the plate stands elsewhere from a row on, by little */
    TT_MODE_SLIP, /* a tip's runout vector is another from a row on: its rotation slipped, it was
                     bent */
    TT_MODE_DRIFT,
    TT_MODE_LOST_MOTION,
    TT_MODE_LATENCY,
    TT_MODE_SHAPE,
    TT_MODE_REVERSED,   /* rotation counts the other way */
    TT_MODE_NOT_SQUARE, /* the machine's axes */
    TT_MODE_SCALE,      /* x against y */
    TT_MODE_AXES,       /* both scales and squareness, where marks tell them */
    TT_MODE_DISTORTION, /* of the picture towards its corners */
    TT_MODE_TURNED, /* the plate stands turned by a quarter, half or three quarters; has no column
                     */
    TT_MODE_MOVED_FAR, /* as TT_MODE_MOVED, by anything, and turned; climbed where the other is best
                        */
    TT_MODE_CAMERA,    /* the camera stands elsewhere as against the head from a row on */
    TT_MODE_TIP,       /* a tip does, or all of them together */
    TT_MODE_SCALE_FAR, /* as TT_MODE_SCALE, by a wrong setting */
    TT_MODE_AXIS_X,    /* likewise, the scale of x alone, where marks tell it */
    TT_MODE_AXIS_Y,
    TT_MODE_KINDS
};

struct tt_mode {
    enum tt_mode_kind kind;
    size_t index;   /* edge, mark, sighting (their order in the run), tip of the run, row of the run
                       or setup */
    size_t tip;     /* TT_MODE_SLIP, TT_MODE_TIP: tip of the run; TT_NONE: all */
    unsigned order; /* TT_MODE_SHAPE; TT_MODE_TURNED: quarters */
    double log_prior; /* ln of its share of P */
    double log_odds;  /* ln of the posterior odds against the explanation without it */
};

/* The kind by which the table has it: a plate that moved far where it moved. */
static inline enum tt_mode_kind tt_mode_change(enum tt_mode_kind kind)
{
    return kind == TT_MODE_MOVED_FAR ? TT_MODE_MOVED : kind;
}

/* Does something stand elsewhere from a row on? A run has one such change at most. */
static inline bool tt_mode_moves(enum tt_mode_kind kind)
{
    return tt_mode_change(kind) == TT_MODE_MOVED || kind == TT_MODE_CAMERA || kind == TT_MODE_TIP;
}

/* Is a mode's index the row of a change? */
static inline bool tt_mode_at_row(enum tt_mode_kind kind)
{
    return tt_mode_moves(kind) || kind == TT_MODE_SLIP;
}

/* F: mm, mm of runout, s (latency), rad (square) or 1 (scale, distortion). */
double tt_mode_size(enum tt_mode_kind kind);
/* The same of number @k of a fault of the axes that the marks tell: one alone is off by a wrong
 * setting, and the others by next to nothing. */
double tt_mode_axis_size(enum tt_mode_kind kind, size_t k);
/* P, of all candidates of the kind together. */
double tt_mode_probability(enum tt_mode_kind kind);

struct tt_modes {
    struct tt_mode *mode;
    size_t n;
};

/* How much of the table is asked for. */
enum tt_modes_depth {
    TT_MODES_OF_SIGHTINGS, /* of sightings and marks, and of moves, as the sightings see them */
    TT_MODES_COARSE,       /* changes at some two dozen rows: whether there is anything to see */
    TT_MODES_FINE          /* changes at every row, of runs of up to a thousand */
};

/* The odds of every mode that the model of @fit does not hold yet, at its solution: weights,
 * residuals and factored system as a fit or climb left them. Memory from @arena. */
TT_MUST_USE enum tiptrue_status tt_modes_score(struct tt_fit *fit, struct tt_arena *arena,
                                               enum tt_modes_depth depth, struct tt_modes *modes);

/* Add the odds of a fault of the axes and of the picture's distortion: part of tt_modes_score.
 * @own_dof: as there. False: out of memory. */
TT_MUST_USE bool tt_modes_score_axes(struct tt_fit *fit, struct tt_arena *arena, double own_dof,
                                     struct tt_modes *modes);

/* Degrees of freedom, 1 at least, of the repeatabilities of sightings and views together: what a
 * fault that both show is in. */
double tt_dof_of_sightings(const struct tt_fit *fit);

/* Half the squared residual that a candidate takes away, @taken in variances, as it counts: a
 * repeatability that the run tells itself with @own_dof degrees of freedom (0 = it does not) has
 * the fault in it, and what counts is by how much it shrinks (the likelihood ratio of a variance).
 */
double tt_mode_gained(double own_dof, double taken);

/* @terms (arrays present) with @mode in addition. */
void tt_mode_add(struct tt_terms *terms, const struct tt_model *model, const struct tt_mode *mode);

#endif
