/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board in the making of its result: what the steps hand on to each other. */
#ifndef TT_PLACEMENT_WORK_H
#define TT_PLACEMENT_WORK_H

#include "model/machine.h"
#include "model/placement.h"
#include "model/solution.h"
#include "placement/board_terms.h"

/* Coverage of every expanded uncertainty and every interval here. */
#define TT_PLACED_COVERAGE 0.95

/* The coverage factor for @dof degrees of freedom. */
double tt_placed_factor(double dof);

/* What the rotations say. */
struct tt_angles {
    double *turned_rad; /* found - wanted of each part, wrapped, counter-clockwise */
    double *mean_rad;   /* of each tip */
    double *n_of;       /* its used parts with a found rotation */
    double u_rad, dof;  /* repeatability; dof 0: none */
    struct tt_term_problem problem;
    struct tt_weighed weighed;
};

/* What the order of the parts shows beside the terms. */
struct tt_order_shown {
    bool found, creeps; /* from a part on; or more and more, from the first part to the last */
    size_t line;        /* of the first part that lies elsewhere */
    /* By which the later ones lie elsewhere: the parts' middle, on the machine's axes, and about
     * it, counter-clockwise. */
    struct tt_pair size_mm;
    double turn_rad;
    double ln_odds, probability;
};

/* Whether the found places are those of these parts. */
struct tt_reading_shown {
    bool is_far;
    double apart_mm, fits_mm; /* median distances, as the file is and as the best reading has it */
    const char *fits;         /* that reading; NULL: none fits */
    size_t copied;            /* parts found where they were wanted, to the last digit */
};

struct tt_placing {
    const struct tiptrue_board *board;
    const struct tiptrue_machine *machine;
    const struct tiptrue_solution *run; /* what the board is joined with, NULL: nothing */
    struct tt_board_design design;
    struct tt_board_fit fit;
    struct tt_board_terms terms;
    struct tt_weighed weighed;
    struct tt_angles angles;
    struct tt_reading_shown reading;
    struct tt_order_shown order;
    struct tiptrue_placement *result;
    struct tt_arena scratch;
};

/* Repeatability of one part on one axis, mm, and its degrees of freedom, from the fit. */
double tt_placing_repeatability(const struct tt_placing *p, double *dof);
/* Whether offset, turning or anything else of the places is shown, single or as one of several. */
bool tt_placing_any_shown(const struct tt_placing *p);

/* Whether the parts tell scale, shear and (unless it is the board's own) turn of the grid. */
bool tt_grid_is_told(const struct tt_placing *p);

/* Into p->order; after the robust fit. TIPTRUE_E_MEMORY is the only failure. */
TT_MUST_USE enum tiptrue_status tt_placing_order(struct tt_placing *p);
/* The steps, in their order. false: out of memory. */
TT_MUST_USE bool tt_placing_reading(struct tt_placing *p);
TT_MUST_USE bool tt_placing_angles(struct tt_placing *p);
TT_MUST_USE bool tt_placing_values(struct tt_placing *p);
TT_MUST_USE bool tt_placing_join(struct tt_placing *p);
TT_MUST_USE bool tt_placing_capability(struct tt_placing *p);
TT_MUST_USE bool tt_placing_findings(struct tt_placing *p);
/* After the findings: the covariance of the fit is used up. */
TT_MUST_USE bool tt_placing_wanted(struct tt_placing *p);
void tt_placing_verdict(struct tt_placing *p);

/* Below this p of the Anderson-Darling test the indices of a normal law are not given. A board has
 * three axes for each tip: with 0.05 a normal one would lose an index on every second board. */
#define TT_NORMAL_P 0.01

/* Fewer values have no capability: a standard deviation of three is known to a factor of four. */
#define TT_LEAST_CAPABILITY 5

/* Of @values (n of them, in any order; they are sorted) for limits of -limit and +limit. n below
 * TT_LEAST_CAPABILITY: parts alone is set. */
struct tt_capability_axis tt_capability(double values[], size_t n, double limit);

#endif
