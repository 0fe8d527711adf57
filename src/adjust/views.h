/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Views: where a mark is in the picture, with the head anywhere. They say what sightings say, and
 * the picture's matrix A besides:
 *
 *     q = h + A v',   v' = v (1 + kappa |v|^2 / rho^2),   v from the picture's centre, right and up
 *
 * A = [[p0 + p2, p3 - p1], [p1 + p3, p0 - p2]]: p0 and p1 scale and turn, p2 and p3 what makes the
 * pixels not square, the picture sheared or mirrored. rho is half the picture's diagonal.
 *
 * The start of A comes in closed form from differences of views of one mark, h - h' = -A (v - v'),
 * which hold whatever the plate: least squares about each mark's means, iterated with weights
 * 1/|residual| (E. J. Schlossmacher, J. Am. Stat. Assoc. 68 (1973) 857-859). Nothing is taken for
 * granted of its determinant, so that a mirrored picture is found as such.
 */
#ifndef TT_ADJUST_VIEWS_H
#define TT_ADJUST_VIEWS_H

#include "adjust/model.h"

/* A distortion that is an unknown because its u is stated is shown from this many of its u on: what
 * mode it would take to be adopted without. */
#define TT_DISTORTION_SHOWN 3.7

/* What is vaguely known of the picture beside the views makes no line of the budget below this
 * variance: 10 nm. */
#define TT_NOTICED_MM2 1e-10

/* A picture's matrix of a solution, and what it is made of. */
struct tt_picture_matrix {
    double a[2][2];
};

/* The matrix of the four numbers @p. */
struct tt_picture_matrix tt_picture_matrix(const double p[4]);

/* What of A v is that of each of the four numbers, x and y, at v = (@x, @y). */
void tt_picture_slope(double x, double y, double slope[2][4]);

/* Corner @k (0 to 3) of the picture from its centre, pixels to the right and up. */
void tt_picture_corner(const struct tt_camera *camera, size_t k, double v[2]);

/* Lay the picture's unknowns out from place *@next of the border on, where the run has views:
 * *next moves behind them. Part of tt_model_build. */
void tt_views_lay_out(struct tt_model *model, size_t *next);

/* Start values of the picture, and the place of the mark of each view by them. */
TT_MUST_USE enum tiptrue_status tt_views_start(struct tt_model *model, struct tt_arena *arena);

/* What is known of the picture beforehand, @priors being as large as TT_PICTURE_PRIORS; their
 * number is returned. */
#define TT_PICTURE_PRIORS 5
size_t tt_views_priors(const struct tt_model *model, struct tt_prior priors[TT_PICTURE_PRIORS]);

/* The picture's part in the residual and design rows of the view @sight, behind its other ones. */
void tt_view_linearise(const struct tt_model *model, struct tt_sight *sight);

/* What the picture's distortion adds to the residual of the view @sight, per unit of kappa. */
struct tt_machine_xy tt_view_bend(const struct tt_model *model, const struct tt_sight *sight);

/* Whether marks were sighted or viewed, in one setup, at three places that are not in a line. */
bool tt_marks_span(const struct tt_model *model);

#endif
