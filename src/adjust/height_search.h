/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which explanation of the touches from above holds, and which others do as well. As explain.h and
 * decide.h for the edges: the same odds, the same thresholds. */
#ifndef TT_ADJUST_HEIGHT_SEARCH_H
#define TT_ADJUST_HEIGHT_SEARCH_H

#include "adjust/height_model.h"

/* One tip's height as a sum over the unknowns: g . x. */
struct tt_height_sum {
    double value_mm, variance_mm2;
};

/* A height, or a difference of two, with all its uncertainty; what is left of it where pads lie as
 * stated; and the part that rests on nothing, weak_mm. */
struct tt_height_worth {
    double value_mm, u_mm, dof, same_plate_u_mm, same_plate_dof, weak_mm;
};

/* An explanation as it bears on the heights. */
struct tt_height_part {
    struct tt_height_fit *fit;  /* least squares of what it calls good, with proper priors */
    double probability, weight; /* the latter for the height at hand; sums are 1 */
    /* of the height at hand: value and, of a normal distribution that is as wide in the middle
     * 95 %, standard deviations */
    double value_mm, sd_mm, same_plate_sd_mm;
};

struct tt_height_choice {
    struct tt_height_fit *fit; /* least squares of what is good, under the adopted explanation */
    bool slope_known;          /* in the first setup: heights hold at the reference mark */
    struct tt_height_part
        *parts; /* explanations, the adopted one among them; none: the fit alone */
    size_t n_parts;
    double *g;            /* room for twice the unknowns of any of them */
    bool *ambiguous;      /* per tip */
    double *all_good_mm2; /* per tip: variance that the same touches, all good, would give */
    const struct tt_height_fit *rival; /* the one that moves a height most; NULL: none */
    double rival_odds;                 /* against it, of the most probable one, 1 at least */
};

/* Memory in @arena. @robust: false: least squares of all touches. TIPTRUE_E_DEGENERATE: singular.
 */
TT_MUST_USE enum tiptrue_status tt_height_choose(struct tt_height_choice *choice,
                                                 struct tt_arena *arena,
                                                 const struct tt_heights *heights, bool robust);

/* height_table.c: every mode that is asked after in @heights, in @arena. False: out of memory. */
TT_MUST_USE bool tt_height_table(struct tt_arena *arena, const struct tt_heights *heights,
                                 struct tt_height_mode **modes, size_t *n_modes);

/* Face runout and height are three numbers: they are asked after where so many touches of the tip
 * are good. */
#define TT_LEAST_FACE_ROWS 5

/* Times the U that all touches of a tip, good, would give, up to which a height is used. */
#define TT_HEIGHT_LITTLE 4.0

/* A slope is known where its worst direction is known to this, rad. */
#define TT_SLOPE_KNOWN_RAD 5e-3

/* Gradient of the height of @tip, less that of @over (TT_NONE: of none), in @fit's unknowns: at the
 * reference mark, or where @slope_known is false at the pads' middle. */
void tt_height_gradient(const struct tt_height_fit *fit, bool slope_known, size_t tip, size_t over,
                        double g[]);

/* Whether the slope in @setup is stated, or known in every direction. */
bool tt_height_slope_is_known(const struct tt_height_fit *fit, size_t setup);

/* Value and variance of g . x; @cg: room for the unknowns. */
struct tt_height_sum tt_height_sum_of(const struct tt_height_fit *fit, const double g[],
                                      double cg[]);

/* Of @tip, less @over (TT_NONE: of none): the median over the explanations, and the half-width
 * about it that holds 95 %, by the coverage factor. */
struct tt_height_worth tt_height_worth_of(const struct tt_height_choice *choice, size_t tip,
                                          size_t over);

/* Whether so few of the touches of @tip are left, or tell so little, that its height is not to be
 * used: *kept of *all. */
bool tt_height_too_few(const struct tt_height_choice *choice, size_t tip, size_t *all,
                       size_t *kept);

#endif
