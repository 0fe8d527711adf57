/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The table of modes.c while it is being made: what modes.c and modes_changes.c share. */
#ifndef TT_ADJUST_MODES_PARTS_H
#define TT_ADJUST_MODES_PARTS_H

#include "adjust/modes.h"

struct tt_mode_table {
    struct tt_fit *fit;
    struct tt_model *model;
    struct tt_arena *arena;
    struct tt_modes *modes;
    double own_dof;   /* of the touches' repeatability where it bears on the candidates; 0 = it does
                         not */
    size_t most_rows; /* tried of one setup or tip */
    bool touches;     /* they have weights */
    size_t length;    /* border + largest block */
    double *halves;   /* per cell and column: half solution of the design column */
    double *sums;     /* per cell: sum of weight times slope, column by column */
    double *scores;   /* per cell: sum of weight times residual */
    double *sight_halves; /* per sighting's coordinate: border */
    double *half;         /* length */
    double *unit;         /* length */
    /* the candidate that is being scored */
    double zz[3], g[2]; /* b^T W b (xx, xy, yy), b^T W r */
    double *v[2];       /* half solutions of J^T W b: n_unknowns */
};

/* Half solution of a design column of a cell. */
static inline double *tt_mode_half(const struct tt_mode_table *t, size_t cell, size_t column)
{
    return t->halves + (cell * t->model->stride + column) * t->length;
}

/* The same of a coordinate of a sighting: the border's part. */
static inline const double *tt_mode_sight_half(const struct tt_mode_table *t,
                                               const struct tt_sight *sight, size_t axis)
{
    return t->sight_halves + (2 * (size_t)(sight - t->model->sights) + axis) * t->model->n_border;
}

/* Enter the candidate with @m columns that act on @block only (TT_NONE: on any), whose sums and
 * half solutions @t has. @share: by how many its P is shared. */
void tt_mode_enter(struct tt_mode_table *t, struct tt_mode mode, unsigned m, size_t block,
                   double share);
/* Enter the changes: the plate moved, a tip's rotation slipped, at each row that is tried. */
TT_MUST_USE enum tiptrue_status tt_modes_score_changes(struct tt_mode_table *t);

#endif
