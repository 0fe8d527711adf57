/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The least-squares fit of one model: Gauss-Newton, with the repeatabilities found along the way.
 * Which touches are good, and which terms the model holds, is decided in robust.h and select.h.
 *
 * A stated repeatability is a prior with finite degrees of freedom: what the run shows is pooled
 * with it, as two estimates of one variance are (JCGM 100:2008 H.1 and 4.2.4, pooled estimates).
 */
#ifndef TT_ADJUST_FIT_H
#define TT_ADJUST_FIT_H

#include "adjust/fit_parts.h"

/* What machine file and printed digits say of it. */
struct tt_noise tt_noise_of(const struct tiptrue_machine *machine, const struct tiptrue_run *run);

/* Memory for @model in @arena. */
TT_MUST_USE enum tiptrue_status tt_fit_init(struct tt_fit *fit, struct tt_arena *arena,
                                            struct tt_model *model, const struct tt_noise *noise);

/* Least squares of the touches for which @good is 1 (NULL: of all; else 1 or 0 each).
 * fit->deficient: nothing else is filled. After it the system of the model is factored and inverted
 * at the solution, the residuals are those of the solution. */
void tt_fit_run(struct tt_fit *fit, const double good[]);

/* Its first steps: residuals and scatter are right to what is left of the start, second order. */
void tt_fit_run_roughly(struct tt_fit *fit, const double good[]);

/* And the rest, where it is still to come. Returns @fit; NULL where it is deficient, or NULL. */
struct tt_fit *tt_fit_finished(struct tt_fit *fit);

/* The covariance to be expected with the scatter in *fit, at the start values, nothing fitted.
 * False: singular. */
TT_MUST_USE bool tt_fit_predict(struct tt_fit *fit);

/* Steps that the robust climb shares with least squares. */

/* Weights from `good` and the scatter. */
void tt_fit_set_weights(struct tt_fit *fit);
/* Variance of each touch by its rotation's own uncertainty, at model->x. */
void tt_fit_set_rotation_var(struct tt_fit *fit);
/* Variance of a touch from the residuals, with @dof degrees of freedom: one step of a fixed point.
 */
double tt_fit_touch_scatter(const struct tt_fit *fit, double dof);
/* One Gauss-Newton step with the present weights; *size receives its largest component. @exact:
 * with new residuals and design rows, else both to first order. False: singular. */
TT_MUST_USE bool tt_fit_step(struct tt_fit *fit, bool exact, double *size);

#endif
