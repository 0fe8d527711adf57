/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Touches from above as a linear problem: what was measured, which unknowns there are, what is
 * known of them beforehand, and one fit of it.
 *
 *     z = H_tip + slope . (q - m) + c_setup + p_pad + a cos theta + b sin theta - tau f + error
 *
 * Heights and offsets share the latency tau and the places q - m only. A slope of 1 mm/m turns an
 * error of the place of 20 um into 0.02 um, so the places are taken as known; tau comes over with
 * its uncertainty. Lengths are mm, angles and slopes rad.
 */
#ifndef TT_ADJUST_HEIGHT_MODEL_H
#define TT_ADJUST_HEIGHT_MODEL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/status.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/run.h"

struct tt_height_row {
    size_t row; /* in the run */
    size_t tip, pad, setup;
    double z_mm;
    double x_mm, y_mm; /* q - m, machine's directions */
    double cosine, sine;
    double feed_mm_s, clock; /* clock: -0.5 to 0.5 over the rows of heights */
};

/* One tip, pad or setup of those that have rows. */
struct tt_height_pad {
    size_t pad; /* of the plate */
    double height_mm, u_mm;
    bool has_at;
};

struct tt_heights {
    const struct tiptrue_plate *plate;
    const struct tiptrue_run *run;
    struct tt_height_row *rows;
    size_t n_rows;
    size_t *tips;         /* of the run */
    double *tip_about_mm; /* per tip: the median of its z less the pads' heights */
    size_t n_tips;
    struct tt_height_pad *pads;
    size_t n_pads;
    size_t *setups; /* of the run */
    size_t n_setups;
    bool *has_slope; /* per setup: two pads or more tell it apart, or it is stated */
    double middle_x_mm, middle_y_mm; /* of the pads with a place, in the first setup */
    struct tt_stated level_rad;
    /* noise */
    double stated_mm2, stated_dof, digit_mm2; /* stated_dof 0: not stated */
    struct tt_stated latency_s;               /* of the edges' touches */
    double u_latency_s;
    bool feeds_stated, feeds_differ, rotations_stated;
};

/* A fault or term that may explain the rows beyond the plain model. */
enum tt_height_mode_kind {
    TT_HEIGHT_FACE,    /* the end of a tip is not square to its axis */
    TT_HEIGHT_PAD,     /* a pad is not where the plate says, by film or wear */
    TT_HEIGHT_PAD_FAR, /* the same by anything */
    TT_HEIGHT_DRIFT,
    TT_HEIGHT_MOVE, /* all heights alike from a row on */
    TT_HEIGHT_LATENCY,
    TT_HEIGHT_MODES
};
struct tt_height_mode {
    enum tt_height_mode_kind kind;
    size_t what;  /* tip, pad, row of tt_heights */
    double size;  /* prior standard deviation: mm, or s */
    double log_p; /* ln of its prior probability */
};
#define TT_MOST_HEIGHT_MODES 4
/* First guess of a repeatability that is not stated. */
#define TT_FIRST_HEIGHT_SCATTER_MM 3e-3

/* Where a prior comes from. */
enum tt_height_prior {
    TT_HEIGHT_OF_NOTHING, /* weak, or only there to compare explanations */
    TT_HEIGHT_OF_PAD,
    TT_HEIGHT_OF_LEVEL,
    TT_HEIGHT_OF_LATENCY
};

struct tt_height_fit {
    const struct tt_heights *heights;
    struct tt_height_mode modes[TT_MOST_HEIGHT_MODES];
    size_t n_modes;
    /* layout: places in x, TT_NONE = not an unknown */
    size_t n;
    size_t *at_slope, *at_level,
        *at_pad; /* per setup, setup, pad; a tip's height is at its index */
    size_t at_mode[TT_MOST_HEIGHT_MODES];
    double *prior_u, *prior_value;
    enum tt_height_prior *prior_of;
    double *design; /* rows x n */
    double *given;  /* per row: z less what is known exactly */
    /* state and result */
    double *x, *covariance; /* n; n x n */
    double *residual, *good, *weight;
    double variance_mm2, own_mm2, spent, dof, pooled_dof;
    bool contradicted; /* the stated repeatability */
    double log_det;    /* of the normal matrix */
    double log_evidence;
    double *scratch;
};

/* Layout of @heights with @modes. @proper: every unknown has a proper prior, for evidences; else
 * what nothing is known of has a weak one. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_height_fit_init(struct tt_height_fit *fit,
                                                   struct tt_arena *arena,
                                                   const struct tt_heights *heights,
                                                   const struct tt_height_mode modes[],
                                                   size_t n_modes, bool proper);

/* x, covariance and residuals with the present weights. False: singular to the last digit. */
TT_MUST_USE bool tt_height_solve(struct tt_height_fit *fit);

/* Least squares of the rows for which @good is 1 (else 0; NULL: all), the repeatability found along
 * the way. False: singular. */
TT_MUST_USE bool tt_height_least_squares(struct tt_height_fit *fit, const double good[]);

/* Share of a variance g C g that comes from priors of @kind, mm2. @cg: C g. */
double tt_height_part(const struct tt_height_fit *fit, const double cg[],
                      enum tt_height_prior kind);

/* C g into @cg; returns g C g. */
double tt_height_variance(const struct tt_height_fit *fit, const double g[], double cg[]);

/* ln odds of @mode at a solved @fit against the same without it, by docs/method.md, section 5. */
double tt_height_odds(struct tt_height_fit *fit, const struct tt_height_mode *mode);

#endif
