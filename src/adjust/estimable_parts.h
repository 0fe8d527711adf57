/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of estimable.c and estimable_functions.c. */
#ifndef TT_ADJUST_ESTIMABLE_PARTS_H
#define TT_ADJUST_ESTIMABLE_PARTS_H

#include "adjust/estimable.h"

/* With more tips nothing is gained: the functions of all are one system, the unknowns one block for
 * each. */
#define MOST_TIPS 3
#define MOST_UNKNOWNS 64
#define MOST_CELLS 64
#define MOST_ROWS (MOST_CELLS + MOST_UNKNOWNS)

/* A distinct column of cells: its numbers that are not 0, by unknown. */
#define MOST_PARTS 16
struct function {
    size_t n, unknown[MOST_PARTS];
    double value[MOST_PARTS];
};

struct tt_estimable_scratch {
    size_t most_unknowns, most_cells, most_rows; /* there is room for */
    /* of a linearisation */
    struct function *rows;
    size_t n_rows, *row_of;       /* per cell and column */
    size_t chosen[MOST_UNKNOWNS]; /* rows */
    double *with, *covariance;    /* of rows, with all unknowns; with each other */
    double *factor, *lower;       /* of that */
    /* of a step: Cholesky's factor of the functions' normal matrix; its inverse after
     * tt_estimable_update_dof */
    double *normal, *inverse;
};

/* What sightings and priors say of the functions of @model, and what these do to its unknowns. The
 * model's system holds the normal equations of sightings and priors. False: singular, too many
 * functions, or too nearly dependent ones. */
TT_MUST_USE bool tt_estimable_reduce(struct tt_estimable *estimable, struct tt_model *model);

#endif
