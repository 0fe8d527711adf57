/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A quantity in the plane (or on a line), of one or several members, over the runs of a machine: the offsets of all tips, the
 * runout of one, the place of the mark. Fitted by generalised least squares to levels, steps, slopes and single runs that stand
 * apart.
 *
 * A member's value in a run is the model plus a deviation that all members of the run share plus one of its own. Each of the two
 * has the covariance that the run itself states and a scatter between runs on top, estimated from the residuals (method of moments,
 * degrees of freedom corrected); so what several tips say at the same time is not counted as if it were independent.
 *
 * Sums over the runs are kept as suffix sums, so that judging one further term costs the square of the number of terms whatever the
 * number of runs. Memory: 12 * runs * (members + 1)^2 numbers. Values are in the unit of the caller, mm or rad; times in weeks.
 */
#ifndef TT_HISTORY_TRACK_H
#define TT_HISTORY_TRACK_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/status.h"

struct tt_pair {
    double x, y;
};
/* Symmetric 2 x 2, in the square of the track's unit. */
struct tt_sym2 {
    double xx, xy, yy;
};

/* Member of a term that acts on all members alike. */
#define TT_TRACK_ALL ((size_t)-2)

/* One piece of a term's course over the runs: @sign * (time in weeks)^power, from the run @from on. */
struct tt_piece {
    double sign;
    unsigned power; /* 0 or 1 */
    size_t from;
};

#define TT_MOST_PIECES 2
/* A column of the model: a course for one member or all, with a coefficient in x and one in y. */
struct tt_term {
    size_t member; /* or TT_TRACK_ALL */
    struct tt_piece piece[TT_MOST_PIECES];
    size_t n_pieces;
    struct tt_sym2 prior; /* covariance of the coefficient about 0; all 0 = free */
};

struct tt_track {
    unsigned axes; /* 2, or 1: only x counts */
    size_t n, members;
    const double *weeks;    /* of each run, ascending */
    bool *there;            /* [run * members + member] */
    struct tt_pair *value;  /* likewise */
    struct tt_sym2 *stated; /* likewise: covariance of the run itself, the common part included */
    struct tt_sym2 *common; /* [run]: the part of it that all members share */
    /* What a fit leaves behind. */
    struct tt_term *terms;
    size_t n_terms, room_terms;
    struct tt_term *fitted_terms; /* those of the last fit */
    size_t n_fitted;
    struct tt_pair *coefficient;            /* [term] */
    double *factor, *x, *scratch;           /* Cholesky factor of the normal equations (2 terms)^2, row by row; solution */
    struct tt_pair *residual;               /* [run * members + member] */
    struct tt_sym2 *own;                    /* [member]: scatter between runs of its own */
    struct tt_sym2 *next, *spread, *weight; /* work of the fit; weight: inverse of a value's own covariance */
    double *others;
    size_t *count;         /* [run * (members + 1) + member]: values before the run; the last one: runs with any */
    struct tt_sym2 shared; /* scatter between runs that all share */
    double *dof;           /* [member]: runs less parameters; [members]: of all alike */
    double persistence;    /* correlation of the residuals from one run to the next, 0 where it does not show */
    double *own_dof;       /* [member]: with which its own scatter is known, from the runs */
    double prior_dof;      /* what the likeness of members and axes adds to them */
    double *sums;          /* suffix sums of weights and of weighted residuals */
    bool singular;         /* the terms cannot be told apart: nothing else above holds */
    struct tt_arena *arena;
};

/* A track of @n runs without values; fill there, value, stated, common, call tt_track_filled, then add terms and fit.
 * @most_terms: the most that will be added. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_track_init(struct tt_track *track, struct tt_arena *arena, size_t n, size_t members,
                                              unsigned axes, size_t most_terms, const double *weeks);

/* To be called once the values are there, before anything else. */
void tt_track_filled(struct tt_track *track);

/* A level from @from on (0: from the beginning); the slope over all time. */
struct tt_term tt_term_step(size_t member, size_t from);
struct tt_term tt_term_slope(size_t member);
/* Between @from and @to (not included). */
struct tt_term tt_term_block(size_t member, size_t from, size_t to);

/* Fit the terms; covariances of scatter and coefficients together, in a few turns. */
void tt_track_fit(struct tt_track *track);
/* The same, unless the terms are those of the last fit. */
void tt_track_fit_if_new(struct tt_track *track);

/* How much better the track is explained with @term beside those it has, as a quantity that follows chi-squared with `axes` degrees
 * of freedom when the term has no effect: the score statistic, its scatter estimated from the residuals and that accounted for as
 * in Hotelling's T^2. -1: the term cannot be told from the others, or acts on fewer than one value. */
double tt_track_gain(const struct tt_track *track, const struct tt_term *term);
/* The same for term @index of the fit, as it stands among the others. */
double tt_track_worth(const struct tt_track *track, size_t index);
/* Covariance of its coefficient; a correlation of the residuals from run to run, where it shows, makes it larger. */
struct tt_sym2 tt_track_cov(const struct tt_track *track, size_t index);
/* The fitted value of @member at @week, levels as after the last run, and its covariance. Not for TT_TRACK_ALL. */
void tt_track_predict(const struct tt_track *track, size_t member, double week, struct tt_pair *value, struct tt_sym2 *cov);
/* -2 log likelihood of the fit, constants left out. */
double tt_track_deviance(const struct tt_track *track);
/* Runs with a value of @member (TT_TRACK_ALL: of any) in [from, to). */
size_t tt_track_count(const struct tt_track *track, size_t member, size_t from, size_t to);

#endif
