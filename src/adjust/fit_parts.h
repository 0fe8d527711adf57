/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of fit.c, spent.c and views_fit.c: a fit and what is known of it. */
#ifndef TT_ADJUST_FIT_PARTS_H
#define TT_ADJUST_FIT_PARTS_H

#include <stdbool.h>

#include "adjust/model.h"
#include "model/solution.h"

/* A stated repeatability gives way to the run's own where this is larger with so small a
 * probability, by F. At a stated one that is right, 0.1 % of runs with three degrees of freedom of
 * their own, none with seven or more; at one that is half of the true one, 31 % with four, 57 %
 * with twenty. */
#define TT_STATED_IMPROBABLE 0.02
/* And by chi squared, taken as exact: the limit where many degrees of freedom are stated. */
#define TT_STATED_CHANCE 5e-4

/* What is known of the scatter before the fit. */
struct tt_noise {
    bool touch_known, sight_known;       /* stated; else estimated from the run */
    double touch_dof, sight_dof;         /* of the stated ones; 0 = not stated */
    double touch_var_mm2, sight_var_mm2; /* stated, without resolution; ignored unless known */
    double touch_digit_var_mm2, sight_digit_var_mm2; /* of the resolution: q^2/12 */
    double u_rotation_rad;
    double view_px, view_dof; /* stated repeatability of a view, pixels; its dof, 0 = not stated */
    double view_digit_px;     /* standard deviation of rounding its pixels */
    double view_alike;        /* correlation of the errors of views of one place; 0 = independent */
};

/* Fewer degrees of freedom than this estimate nothing: what is left is rounding. */
#define TT_LEAST_DOF 1e-3

/* Is a touch called good that is so with this probability? */
static inline bool tt_is_good(double probability)
{
    return probability > 0.5;
}

struct tt_correlated;
struct tt_estimable;

struct tt_fit {
    struct tt_model *model;
    const struct tt_noise *noise;
    /* result */
    bool scattered;       /* stated repeatability contradicted: the run's own is used */
    bool sight_scattered; /* the same of the sightings */
    bool view_scattered;  /* and of the views */
    bool deficient;       /* the normal matrix was singular: model->weak is needed */
    bool rough;           /* tt_fit_finished is still to come */
    size_t iterations;
    double least_touch_var_mm2;        /* no smaller one is believed */
    double touch_var_mm2;              /* of one touch, resolution included, rotation not */
    double sight_var_mm2;              /* of one sighted coordinate, resolution included */
    double view_var_mm2;               /* of one viewed coordinate, resolution included */
    double view_stated_mm2;            /* the same as stated */
    double scatter_view_mm2, dof_view; /* as those of sightings, below */
    double spent_touch;                /* degrees of freedom of the touches that the fit takes up */
    double dof_touch, dof_sight;       /* of the scatter's estimates, whether used or not */
    double scatter_touch_mm2,
        scatter_sight_mm2;    /* estimated from the run, resolution included, whether used or not */
    double *good;             /* per touch: probability that it is good; after the finish 1 or 0 */
    double *weight;           /* per touch: 1/variance, 0 = set aside */
    double *rotation_var_mm2; /* per touch: of the rotation's own uncertainty */
    double *leverage;         /* per touch, as a share of its own weight */
    double *late_share;       /* per edge of the plate, after a climb */
    double early_share, run_share;
    const struct tt_cov2 *rivals;   /* per block: what explanations that are not excluded add to the
                                       offset's covariance; NULL = none */
    struct tt_estimable *estimable; /* for climbs; NULL: they take steps of the whole model */
    struct tt_estimable *at_start, *moved; /* it is one of these; every climb begins at the first */
    const struct tt_correlated
        *correlated;                     /* NULL: touches taken as independent; see correlated.h */
    double log_likelihood, log_evidence; /* of the explanation that a climb ended with */
    double yaw_drawn;        /* 1/rad^2: first-order steps draw yaws to where they are; 0 = not */
    double dof_found_at_mm2; /* touch_var_mm2 with which the degrees of freedom were found */
    /* scratch */
    double *edge_count, *late_count, *step_mm, *sorted_mm, *cc, *cb, *response, *linear_yaw_rad;
};

/* ---- spent.c ---- */

/* Sum of `good`. */
double tt_fit_total_good(const struct tt_fit *fit);
/* Covariance of the border, leverages, and the degrees of freedom that the fit takes up. After
 * tt_system_factor. */
void tt_fit_update_dof(struct tt_fit *fit);
/* The same for less, with the leverages of the touches on @edges only (NULL: of none): what is
 * spent on touches is what all unknowns are worth less what priors and sightings tell of them (the
 * trace of C times the normal matrix). The weights must be those of the factored system, with
 * priors. */
void tt_fit_update_dof_only(struct tt_fit *fit, const bool edges[]);
/* Factor the normal matrix of the present weights, then that. False: singular. */
TT_MUST_USE bool tt_fit_factor(struct tt_fit *fit, const bool edges[]);
/* The covariance @c of @p and @q, two entries of a cell or the same one, into that of its @n
 * columns: the lower triangle of @h (n x n), what belongs above it folded onto it. */
static inline void tt_fold_covariance(double h[], size_t n, const struct tt_entry *p,
                                      const struct tt_entry *q, double c)
{
    size_t row = p->column > q->column ? p->column : q->column,
           column = p->column > q->column ? q->column : p->column;

    h[row * n + column] += (p == q ? 1 : 2) * p->value * q->value * c;
}
/* Leverages of the touches of @cell by the covariance @h of its columns, folded so; returns the sum
 * over the good ones. */
double tt_fit_cell_leverage(struct tt_fit *fit, const struct tt_cell *cell, const double h[]);
/* An estimated variance @own_mm2 with @dof > 0 degrees of freedom pooled with a stated one with
 * @stated_dof (0: none stated; HUGE_VAL: exact). A stated one that is contradicted is not used:
 * *contradicted. */
double tt_fit_pooled(double own_mm2, double dof, double stated_mm2, double stated_dof,
                     bool *contradicted);

/* ---- views_fit.c ---- */

/* Of sightings, or of views (@view), whose variance no term widens: the variance of a coordinate
 * from the residuals, @dof degrees of freedom being left (none: as it is). */
double tt_fit_sight_scatter(const struct tt_fit *fit, double dof, bool view);
/* The views' variance to begin with; pooled with what is stated, as update of a fit (its relative
 * change is returned); and its most probable value within a climb. */
void tt_fit_begin_views(struct tt_fit *fit);
double tt_fit_update_views(struct tt_fit *fit);
void tt_fit_learn_views(struct tt_fit *fit);
/* ln prior density of the views' variance, a constant left out: scaled inverse chi squared. */
double tt_fit_log_views(const struct tt_fit *fit);
/* By how much the errors of views of one place correlate, by a finished fit; 0 where places scatter
 * no more than the views of one do (one-way analysis of variance, probability 1e-3; L. Kish, Survey
 * Sampling, 1965, 5.4: so many count for 1 + (n - 1) rho times fewer). */
double tt_fit_views_alike(const struct tt_fit *fit);
/* For how many independent ones the views count. */
double tt_fit_views_counted(const struct tt_fit *fit);
/* Take @sight_var_mm2 for the variance of a sighted coordinate. */
void tt_fit_set_sight_var(struct tt_fit *fit, double sight_var_mm2);
/* Take @view_var_mm2 for the variance of a viewed coordinate: the views' weight follows. */
void tt_fit_set_view_var(struct tt_fit *fit, double view_var_mm2);
/* Variance of a viewed coordinate to begin with, resolution included: stated, or the run's own
 * where it contradicts that or nothing is stated. *dof receives its degrees of freedom. */
double tt_fit_first_view_var(const struct tt_fit *fit, double *dof);
/* Whether the repeatability of all sightings and views is stated, and stands. */
bool tt_sightings_stated(const struct tt_fit *fit);

#endif
