/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A proper model as the touches see it, for climbs, which take many steps with weights that change
 * for touches alone.
 *
 * Touches see the unknowns through few linear functions of them: the columns of their cells (C. R.
 * Rao, Linear Statistical Inference and Its Applications, 1973, ch. 4: estimable functions). At one
 * linearisation what sightings and priors say of these functions is a normal distribution that does
 * not change; marks, groups and poses need not be carried through the steps. A step here is that of
 * tt_fit_step to first order, to rounding.
 */
#ifndef TT_ADJUST_ESTIMABLE_H
#define TT_ADJUST_ESTIMABLE_H

#include "adjust/fit.h"

struct tt_estimable_scratch; /* those of one search share it */

struct tt_estimable {
    bool usable;              /* else every step is one of the whole model */
    size_t n;                 /* independent functions */
    size_t *first;            /* per cell: its first entry; one more at the end */
    struct tt_entry *entries; /* of the cells' columns on the functions */
    double *right;            /* of their normal equations, and what solves them */
    double *information;      /* n x n: inverse of their covariance before any touch */
    double *mean;    /* what they are expected to have changed by since the linearisation */
    double *changed; /* what they have changed by (subtracted, as all steps are) */
    double *left;    /* mean less changed */
    double *pull;    /* information times that */
    double *effect;  /* n x unknowns: what a unit of each changes the unknowns by */
    double *settle;  /* per unknown: its further change in the first step */
    bool settled;
    double squares, least_squares; /* of sightings and priors: at the linearisation, at the mean */
    double *left_var;     /* per unknown, of widened edges: variance that the functions leave */
    double log_det;       /* ln determinant of the normal matrix, less that of the functions' */
    double log_constants; /* ln density of sightings and priors, less half their squares */
    size_t *yaw;          /* per setup: its function, TT_NONE = none */
    /* the linearisation */
    double *at; /* model->x */
    double sight_var_mm2;
    struct tt_estimable_scratch *scratch;
};

/* Memory for those of @model in @arena; NULL in *out where the model is too large to gain by it, or
 * has views. *scratch is borrowed; where it is NULL, with room for this model and more terms. */
TT_MUST_USE enum tiptrue_status tt_estimable_new(struct tt_arena *arena,
                                                 const struct tt_model *model,
                                                 struct tt_estimable_scratch **scratch,
                                                 struct tt_estimable **out);

/* Begin at the linearisation at which fit->model is; nothing has changed since. Not usable where
 * the functions are badly conditioned before any touch. */
void tt_estimable_begin(struct tt_estimable *estimable, struct tt_fit *fit);

/* As tt_fit_step to first order with fit->weight; the residuals of sightings stay. */
TT_MUST_USE bool tt_estimable_step(struct tt_estimable *estimable, struct tt_fit *fit,
                                   double *size);

/* ln density of sightings and priors, but factors of 2 pi that no explanation changes. */
double tt_estimable_log_rest(const struct tt_estimable *estimable);

/* As tt_fit_update_dof_only, of the touches' degrees of freedom alone. After a step. */
void tt_estimable_update_dof(struct tt_estimable *estimable, struct tt_fit *fit,
                             const bool edges[]);

/* The end of a climb: with fit->weight the functions' normal matrix is factored and inverted and
 * the degrees of freedom are found; residuals of sightings are those of model->x, to first order.
 * False: singular. */
TT_MUST_USE bool tt_estimable_end(struct tt_estimable *estimable, struct tt_fit *fit);

/* After it: ln determinant of the whole model's normal matrix; variance of the shift of an edge
 * that is widened, by its unknown, mm^2. */
double tt_estimable_log_det(const struct tt_estimable *estimable);
double tt_estimable_variance(const struct tt_estimable *estimable, const struct tt_model *model,
                             size_t unknown);

#endif
