/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a fit is worth: covariance of a tip's unknowns, split by source; effective degrees of
 * freedom; coverage.
 *
 * Everything that bears on the offset is one row or one prior of the adjustment, so the covariance
 * is the sum over sources of (gain of the source) x (its variance): the budget is read off, not
 * assembled (JCGM 100:2008 5.2, JCGM 102:2011 6.2).
 */
#ifndef TT_ADJUST_UNCERTAINTY_H
#define TT_ADJUST_UNCERTAINTY_H

#include "adjust/fit.h"
#include "model/solution.h"

enum tt_source {
    TT_SOURCE_TOUCH, /* repeatability of the touches, resolution and rotation in it */
    TT_SOURCE_SIGHT, /* repeatability of the sightings, resolution in it */
    TT_SOURCE_EDGE,
    TT_SOURCE_GROUP,
    TT_SOURCE_MARK,
    TT_SOURCE_RADIUS,
    TT_SOURCE_YAW,    /* nominal yaw of the machine file */
    TT_SOURCE_PLACE,  /* the reference mark's place by the machine file, nothing having been sighted
                       */
    TT_SOURCE_CAMERA, /* scale and turn of the picture, where views do not tell them */
    TT_SOURCE_LENS,   /* its distortion, where that is stated */
    TT_SOURCE_RIVALS, /* explanations of the run that are not excluded */
    TT_SOURCE_WEAK,   /* not known at all: see model.c */
    TT_SOURCES
};

/* How well a repeatability is known. */
struct tt_scatter {
    double dof; /* degrees of freedom of the pooled estimate */
    bool own;   /* the run's own stands in for a stated one that it contradicts */
};
struct tt_scatters {
    struct tt_scatter touch, sight; /* sight: of views, too */
};

/* Of a fit that was run or predicted. A scatter that the run estimated has the degrees of freedom
 * of the estimate. */
struct tt_scatters tt_scatters_of(const struct tt_fit *fit);

struct tt_tip_uncertainty {
    const double *cc; /* covariance of the tip's block; lives until the next call */
    size_t size;
    struct tt_cov2 offset, source[TT_SOURCES];
    struct tt_cov2 less_plate; /* of the offset, without what the plate's own errors put into it */
    double weak_u_mm[TT_TIP_SHAPE];  /* of o_x, o_y, e_x, e_y, r: the part that rests on nothing */
    double prior_u_mm[TT_TIP_SHAPE]; /* of the same: the part that rests on stated radius, yaw,
                                        place */
    double plate_radius_var_mm2;     /* of r: the part that comes from edges, groups and marks */
    double dof, less_plate_dof;
    double runout_dof, radius_dof;
};

/* Memory that all tips of a fit share. */
struct tt_uncertainty {
    const struct tt_fit *fit;
    struct tt_scatters scatters;
    double *cc, *cb, *response;
    double *radius, *sight; /* border x border: information that all stated radii, the sightings
                               bring into it */
    double *by_prior, *by_sighting; /* block x block: parts of cc */
    double *product;                /* block x border */
    double *of_unknown;             /* scratch: covariance of one unknown with all */
};

TT_MUST_USE enum tiptrue_status
tt_uncertainty_init(struct tt_uncertainty *all, struct tt_arena *arena, const struct tt_fit *fit);

/* Of the tip of @block. Cost: border^2. */
void tt_uncertainty_of_tip(struct tt_uncertainty *all, size_t block,
                           struct tt_tip_uncertainty *tip);

/* A part of a covariance whose size is an estimate with @dof degrees of freedom (HUGE_VAL =
 * stated). */
struct tt_scatter_part {
    struct tt_cov2 cov;
    double dof;
};
/* Effective degrees of freedom of @whole, in which the @n parts are contained: Welch and
 * Satterthwaite's formula in the plane; for parts that are the same on both axes it is the one of
 * JCGM 100:2008 G.4.1. HUGE_VAL = all known. Never fewer than the fewest of a part that
 * contributes, whatever rounding makes of a part that is nearly the whole. */
double tt_effective_dof(const struct tt_scatter_part parts[], size_t n, struct tt_cov2 whole);

/* Student's factor for 95 % on one axis. @dof > 0, HUGE_VAL = normal. */
double tt_factor_line(double dof);
/* Expanded uncertainty of each axis (mm): by that factor. */
struct tt_machine_xy tt_expanded(struct tt_cov2 cov, double dof);
/* Factor of the 95 % ellipse of two quantities: sqrt(2 F(2, dof)) (JCGM 102:2011 6.5.2 for infinite
 * dof: 2.45). */
double tt_factor_plane(double dof);
/* Probability of a squared distance (in units of the covariance) of at least @t2 in the plane. */
double tt_p_plane(double t2, double dof);

/* d^T C^-1 d. @cov positive definite. */
double tt_cov2_distance2(struct tt_cov2 cov, double x, double y);
struct tt_region tt_cov2_region(struct tt_cov2 cov, double factor);
/* Probability that a quantity distributed about (@x, @y) with @cov and @dof (Student in the plane)
 * lies within @radius_mm of (0, 0). */
double tt_p_within(double x, double y, struct tt_cov2 cov, double dof, double radius_mm);

#endif
