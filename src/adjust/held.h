/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The second solution of a fit: the plate's features held at their stated places.
 *
 * The fit weighs the plate's stated places against the touches, as an offset in full needs it. For
 * what is compared on one plate that is the wrong weight: an error of the plate is the same both
 * times and cancels. So edges, groups and marks are held (u -> 0), which is a principal submatrix
 * of the fit's normal equations, N_h; with N_p its columns of the held features and p the shifts
 * that the fit found, the held solution is x + N_h^-1 N_p p, to first order in p. Its noise is
 * N_h^-1. Its bias is S p_true with the effects S = N_h^-1 N_p, the same in every run of the same
 * design; of two designs the part (S_1 - S_2) p_true does not cancel, and counts with the features'
 * u. An edge that the fit set free stays free.
 *
 * Source: the nuisance parameters of a linear model, fixed and random: S. R. Searle, G. Casella, C.
 * E. McCulloch, Variance Components, 1992, ch. 7. Cost: unknowns x (border^2 + tips x features).
 */
#ifndef TT_ADJUST_HELD_H
#define TT_ADJUST_HELD_H

#include "adjust/uncertainty.h"

struct tt_held {
    const struct tt_fit *fit;
    struct tt_scatters scatters;
    struct tt_system system; /* what is not held */
    size_t *place;           /* of the model's border in the system's; TT_NONE = held */
    double *sight; /* border x border of the system: information of the sightings, 1/mm2 */
    double
        *gain; /* two rows for each block (o_x, o_y): covariance with every unknown of the system */
    size_t *features; /* the priors that are held: index into model->priors */
    size_t n_features;
    double *of_model; /* scratch: one number for each of the model's unknowns */
    double *effect;   /* two rows for each block: mm of offset per mm of shift of each feature */
};

/* An offset, or a difference of two tips' offsets, with the plate held. Covariance without the
 * plate's errors. */
struct tt_held_offset {
    struct tt_machine_xy offset;
    struct tt_cov2 cov;
    double dof; /* effective; HUGE_VAL = all known */
    struct tt_cov2 touch, sight,
        statement; /* the parts of touches, of sightings, of stated radius, yaw and place */
};

/* The system alone, for who needs no more: memory for it, and its factors from the normal matrix
 * that stands in the model's system. False: out of memory; singular. */
TT_MUST_USE bool tt_held_init(struct tt_held *held, struct tt_arena *arena,
                              const struct tt_fit *fit);
TT_MUST_USE bool tt_held_factor(struct tt_held *held);

/* From a finished @fit, whose system stands factored at the solution. Memory in @arena; the fit is
 * borrowed. False: out of memory. */
TT_MUST_USE bool tt_held_make(struct tt_held *held, struct tt_arena *arena,
                              const struct tt_fit *fit);

/* Of the tip of @block. */
struct tt_held_offset tt_held_of_tip(const struct tt_held *held, size_t block);

/* The variance, by axis, that the tip of @block has in common with another tip: mean covariance
 * with the other tips; with one tip what comes from sightings, yaw and place. 0 or more, at most
 * its own. */
void tt_held_common(const struct tt_held *held, size_t block, double *xx_mm2, double *yy_mm2);

/* The tip of @block less that of @over, in one run. Where the two were touched at different places,
 * the part of the plate's errors that does not cancel is in the covariance, as known exactly. */
struct tt_held_offset tt_held_between(const struct tt_held *held, size_t block, size_t over);

#endif
