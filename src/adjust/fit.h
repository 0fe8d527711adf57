/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The fit of one model: least squares, and the robust step.
 *
 * A contact is good (normal scatter), late (film, flux, swarf: the tip latches deeper, by an unknown depth) or early (bounce, cable
 * noise). Late ones cluster on an edge, so each edge has its own share of them, drawn towards the run's. The mixture's likelihood
 * is climbed by expectation-maximisation from several starts (asymmetric least absolute deviations at three levels, since the good
 * touches are the upper part of a one-sidedly contaminated sample, each with the scatter held at one of three values at first); the
 * highest one wins, least squares unless something clearly better is found. The finish is least squares on the touches found good.
 *
 * Sources: A. P. Dempster, N. M. Laird, D. B. Rubin, J. R. Stat. Soc. B 39 (1977) 1-38 (EM); R. Koenker, G. Bassett, Econometrica
 * 46 (1978) 33-50 (asymmetric absolute deviations); P. J. Rousseeuw, A. M. Leroy, Robust Regression and Outlier Detection, 1987,
 * ch. 4 (shortest half).
 */
#ifndef TT_ADJUST_FIT_H
#define TT_ADJUST_FIT_H

#include <stdbool.h>

#include "adjust/model.h"

/* What is known of the scatter before the fit. */
struct tt_noise {
    bool touch_known, sight_known;                   /* stated; else estimated from the run */
    double touch_var_mm2, sight_var_mm2;             /* stated, without resolution; ignored unless known */
    double touch_digit_var_mm2, sight_digit_var_mm2; /* of the resolution: q^2/12 */
    double touch_stated_dof, sight_stated_dof;       /* of the stated ones, as priors */
    double u_rotation_rad;
};

/* What machine file and printed digits say of it. */
struct tt_noise tt_noise_of(const struct tiptrue_machine *machine, const struct tiptrue_run *run);

struct tt_fit {
    struct tt_model *model;
    const struct tt_noise *noise;
    bool robust;
    /* result */
    bool scattered;       /* stated repeatability contradicted: the run's own is used */
    bool sight_scattered; /* the same of the sightings */
    bool deficient;       /* the normal matrix was singular: model->weak is needed */
    size_t iterations;
    double least_touch_var_mm2;  /* no smaller one is believed */
    double touch_var_mm2;        /* of one touch, resolution included, rotation not */
    double sight_var_mm2;        /* of one sighted coordinate, resolution included */
    double spent_touch;          /* degrees of freedom of the touches that the fit takes up */
    double dof_touch, dof_sight; /* of the scatter's estimates, whether used or not */
    double scatter_touch_mm2;    /* estimated from the run, resolution included, whether used or not */
    double *good;                /* per touch: probability that it is good; after the finish 1 or 0 */
    double *weight;              /* per touch: 1/variance, 0 = set aside */
    double *rotation_var_mm2;    /* per touch: of the rotation's own uncertainty */
    double *leverage;            /* per touch, as a share of its own weight */
    double *late_share;          /* per edge of the plate */
    double early_share;
    double log_likelihood;   /* of the mixture, restricted: comparable between fits of one model */
    double full_likelihood;  /* of the mixture, with no account of the number of unknowns: for likelihood ratios between models */
    double dof_found_at_mm2; /* touch_var_mm2 with which the degrees of freedom were found */
    double half_scatter_mm;  /* scatter by the residuals' shortest half, of the least-squares fit */
    /* scratch */
    double *probability, *edge_count, *step_mm, *sorted_mm, *cc, *cb, *response;
    struct tt_fit_state {
        double *x, *good, touch_var_mm2, sight_var_mm2, log_likelihood;
    } plain, best, start;
};

/* Memory for @model in @arena. */
TT_MUST_USE enum tiptrue_status tt_fit_init(struct tt_fit *fit, struct tt_arena *arena, struct tt_model *model,
                                            const struct tt_noise *noise, bool robust);

/* Fit. fit->deficient: nothing else is filled. After it the system of the model is factored and inverted at the solution, the
 * residuals are those of the solution. */
void tt_fit_run(struct tt_fit *fit);

/* The covariance to be expected with the scatter in *fit, at the start values, nothing fitted. False: singular. */
TT_MUST_USE bool tt_fit_predict(struct tt_fit *fit);

/* Steps that the robust step shares with least squares. */

/* Sum of `good`. */
double tt_fit_total_good(const struct tt_fit *fit);
/* Weights from `good` and the scatter. */
void tt_fit_set_weights(struct tt_fit *fit);
/* Variance of a touch from the residuals, with @dof degrees of freedom: one step of a fixed point. */
double tt_fit_touch_scatter(const struct tt_fit *fit, double dof);
/* One Gauss-Newton step with the present weights; *size receives its largest component. @exact: with new residuals and design rows,
 * else both to first order. False: singular. */
TT_MUST_USE bool tt_fit_step(struct tt_fit *fit, bool exact, double *size);

#endif
