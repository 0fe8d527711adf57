/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* All terms at once: values that no choice among them can bias. Which of them are shown is decided
 * elsewhere (placement/terms.h); the values and their uncertainties are always those of the fit
 * with every term in it, so that a term too small to be shown is paid for in the ± and cannot hide
 * in another one's value.
 *
 * Offsets are free. Turning and grid have wide priors about 0, which matter only where the parts
 * cannot tell them: an offset then has an uncertainty of that size instead of none.
 */
#ifndef TT_PLACEMENT_BOARD_FIT_H
#define TT_PLACEMENT_BOARD_FIT_H

#include "placement/board_design.h"

/* Standard deviation of a turning before the parts are looked at: an eccentricity of 0.1 mm that
 * nothing corrects is about what a tip has before its first solve (common practice, no source). Ten
 * times more makes boards of one rotation say nothing at all; a tenth would shrink real ones. */
#define TT_PRIOR_TURNING_MM 0.1
/* Of scale, shear and turn, mm per mm: 1 mm over a metre, some hundredths over a board. */
#define TT_PRIOR_GRID 1e-3

struct tt_board_fit {
    struct tt_sums sums;
    double *unknowns;
    double *covariance;   /* for variance 1 of what design->precision says */
    double *factor;       /* scratch */
    double effective;     /* unknowns that the parts themselves determine */
    double variance;      /* of unit weight: chi squared over dof; 1 where there are no dof */
    double dof;           /* 2 * parts - effective */
    double ln_likelihood; /* of the mixture of good and slipped parts, but for a constant */
    bool turn_free;       /* the board's own turn is not known: no prior of the grid's turn */
};

/* No part is placed and found to better than 0.1 µm: what a board shows below is the rounding of
 * its numbers, and exact ones would be weighed without bound. */
#define TT_LEAST_PLACING_MM 1e-4
/* With fewer degrees of freedom a board shows no repeatability. */
#define TT_LEAST_PLACING_DOF 0.5

/* Empty, for @design. */
TT_MUST_USE bool tt_board_fit_init(struct tt_board_fit *fit, const struct tt_board_design *design,
                                   struct tt_arena *arena);
/* Fit with the design's weights and precisions. false: not solvable, which priors prevent unless a
 * tip has no weight at all. */
TT_MUST_USE bool tt_board_fit_solve(struct tt_board_fit *fit, const struct tt_board_design *design);

/* Parts that do not belong to the rest get weight 0, the others 1: mixture of good parts and
 * slipped ones, by expectation and maximisation (Dempster, Laird and Rubin, J. R. Stat. Soc. B 39
 * (1977) 1-38). Repeatabilities into design->precision; the fit is solved with them at the end.
 * fit->ln_likelihood is what it ended at. TIPTRUE_E_DEGENERATE: not solvable; TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_board_fit_robust(struct tt_board_fit *fit,
                                                    struct tt_board_design *design,
                                                    struct tt_arena *arena);

/* Keep repeatabilities of the axes, or of the tips, apart where they differ by more than chance
 * (fit->variance is 1 then); else one for all. The fit is solved with them; false: it is not
 * solvable. */
TT_MUST_USE bool tt_board_fit_scatter(struct tt_board_fit *fit, struct tt_board_design *design,
                                      bool *by_axis, bool *by_tip);

/* The median; @values are sorted. 0 without any. */
double tt_placing_median(double values[], size_t n);
/* a^T C b of two sums of unknowns, C = fit->covariance. */
double tt_board_fit_form(const struct tt_board_fit *fit, const double a[], const double b[]);
/* Standard uncertainty of an unknown. */
double tt_board_fit_u(const struct tt_board_fit *fit, size_t unknown);
/* Sum of squared residuals of the parts of @tip (TT_NONE: all) on x and on y, by their weights, and
 * the parts' number. */
void tt_board_fit_squares(const struct tt_board_fit *fit, const struct tt_board_design *design,
                          size_t tip, double squares_mm2[2], double *parts);

#endif
