/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of extra.c: how candidates for extra terms are judged. */
#ifndef TT_ADJUST_JUDGE_H
#define TT_ADJUST_JUDGE_H

#include "adjust/extra.h"

/* A candidate that the model's unknowns can imitate to this share of its square says nothing. */
#define TT_LEAST_OWN_SHARE 1e-6

struct tt_judge {
    struct tt_fit *fit;
    struct tt_model *model;
    double *weight;   /* of every touch, none set aside */
    double *residual; /* drawn in, after a refit */
    double *vector;   /* n_unknowns */
    double *solved;
    double *half;        /* border + largest block */
    double *cell_slopes; /* per cell: weighted sums of its columns; n_cells x stride */
    double *cell_scores; /* per cell: weighted sum of its residuals */
    size_t tip_length;   /* border + largest block */
    double *tip_vectors; /* of a tip's candidates, tip_length each */
    double *spare;       /* n_unknowns */
    double *step_mm;     /* the linear step of prepare() */
    bool own_scatter;
    double dof, scale; /* scale: of the residuals' variance against the weights */
};

/* Squared residual, in variances, that one or two candidate columns take away, with products @zz, score @g, and what the unknowns
 * imitate of them @imitated (xx, xy, yy each). */
double tt_judge_score(const struct tt_judge *judge, unsigned m, const double zz[3], const double g[2], const double imitated[3]);

/* *best becomes @candidate if that takes more away; the number of rivals is the larger. */
void tt_extra_keep_better(struct tt_extra *best, struct tt_extra candidate);

/* A candidate column's value for touch @i; @which 0 or 1. */
typedef double tt_column_of(const struct tt_model *model, const struct tt_cell *cell, size_t i, unsigned order, unsigned which);
tt_column_of tt_column_reversed, tt_column_shape, tt_column_lost_motion, tt_column_latency;

/* The best move of the plate and the drift, where the model has none yet. */
TT_MUST_USE enum tiptrue_status tt_judge_timeline(struct tt_judge *judge, struct tt_arena *arena, struct tt_extra *moved,
                                                  struct tt_extra *drift);

/* Likelihood ratio and probability of a candidate of which `taken` is known. Where the scatter is the run's own, the candidate's
 * absence is in it: the part taken from the touches is measured against what would be left. */
void tt_judge_finish(struct tt_judge *judge, struct tt_extra *extra);

#endif
