/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Terms beyond the plain model, each kept only where the touches support it: rotation counted the other way, tip shape, lost
 * motion, latency, drift within the run, a plate that moved, an edge that lies elsewhere.
 *
 * A candidate is first judged by its score (C. R. Rao, Proc. Camb. Phil. Soc. 44 (1948) 50-57): the squared residual that it would
 * take away from the present fit, with far-off touches drawn in to three scatters. What looks significant is fitted in full, robust
 * step included, and stays if the likelihood ratio confirms it. The plate's move is a scan over all rows in time order.
 */
#ifndef TT_ADJUST_EXTRA_H
#define TT_ADJUST_EXTRA_H

#include "adjust/fit.h"

enum tt_extra_kind {
    TT_EXTRA_REVERSED,
    TT_EXTRA_MOVED,
    TT_EXTRA_DRIFT,
    TT_EXTRA_LOST_MOTION,
    TT_EXTRA_LATENCY,
    TT_EXTRA_SHAPE,
    TT_EXTRA_EDGE,
    TT_EXTRA_KINDS
};

struct tt_extra {
    enum tt_extra_kind kind;
    size_t block;    /* TT_EXTRA_SHAPE */
    unsigned order;  /* TT_EXTRA_SHAPE */
    size_t edge;     /* TT_EXTRA_EDGE: an edge that lies elsewhere than the others and its stated place allow */
    double value_mm; /* TT_EXTRA_EDGE: by how much, along n */
    double second;   /* TT_EXTRA_EDGE: gain of the next best edge */
    double taken;    /* squared residual, in variances, priors' included, that it takes away */
    size_t rivals;   /* candidates of its kind that it was chosen from */
    double gain;     /* twice the logarithm of the likelihood ratio, as the score estimates it */
    size_t row;      /* TT_EXTRA_MOVED: row of the run from which the plate stands elsewhere */
    double log_p;    /* natural logarithm of the probability of a score at least this large by chance, all candidates of its kind
                        counted */
    unsigned n_unknowns;
};

/* The most significant candidate of each kind (best[kind].log_p is 0 where there is none), for terms that the fit does not hold
 * yet. Changes the model's system and residuals: linearise and step before using them again. */
TT_MUST_USE enum tiptrue_status tt_extra_judge(struct tt_fit *fit, struct tt_arena *arena, struct tt_extra best[TT_EXTRA_KINDS]);

/* Logarithm of the probability that F with (@m, @dof) degrees of freedom exceeds @f, m 1 or 2. */
double tt_log_p_of_f(double f, unsigned m, double dof);

#endif
