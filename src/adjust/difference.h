/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A difference between a direct fit and the adjustment, as up to three linear functions z v of the
 * residuals v of the touches that both used, and its chance. The method: direct.h. */
#ifndef TT_ADJUST_DIFFERENCE_H
#define TT_ADJUST_DIFFERENCE_H

#include <stdbool.h>

#include "adjust/fit.h"
#include "model/solution.h"

/* Up to three functions. */
struct tt_difference {
    size_t n;
    double *z[3];                 /* per touch; 0 = not used */
    double *c[3], *solved;        /* scratch, per unknown */
    double own[3][3], left[3][3]; /* covariance of the direct fit alone; of the difference */
};

/* Memory in @arena. False: out of memory. */
TT_MUST_USE bool tt_difference_init(struct tt_difference *f, struct tt_arena *arena,
                                    const struct tt_model *model);
/* To @n functions that are 0. */
void tt_difference_clear(struct tt_difference *f, const struct tt_model *model, size_t n);
/* c = A^T z, each touch multiplied by @weight (NULL: by 1); @c: n_unknowns of the model. */
void tt_difference_project(const struct tt_model *model, const double z[], const double weight[],
                           double c[]);
/* own and left, from z at the solution of @fit, whose system is factored. Correlated touches count
 * with the largest variance that any function of them can have, (1 + rho) / (1 - rho) times that of
 * independent ones (G. E. P. Box and others, Time Series Analysis, 2008, 3.2.3: the spectrum's
 * maximum). */
void tt_difference_find(struct tt_difference *f, const struct tt_fit *fit);
/* Probability of a difference of at least @d (overwritten), in the units of left, which is
 * overwritten too; @dof: of the touches' variance, HUGE_VAL = known. 1 where nothing is left of the
 * difference. */
double tt_difference_chance(struct tt_difference *f, double d[], double dof);

/* What a disagreement does to the offsets. */
struct tt_effect {
    double mm;    /* of the offset that it moves most */
    double share; /* of its expanded uncertainty on the same plate, on the worse axis */
};

/* Let @effect count for @tip, whose offset is moved by so much; the larger effect stays. */
void tt_effect_add(struct tt_effect *effect, const struct tt_tip_result *tip, double x_mm,
                   double y_mm);
/* An error where an offset is moved by more than its expanded uncertainty, else a warning. */
enum tiptrue_severity tt_effect_severity(struct tt_effect effect);

#endif
