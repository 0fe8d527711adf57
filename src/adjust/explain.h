/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* All explanations of a run that least squares does not explain, each with its evidence, and what
 * they mean together: detection, identification, adaptation (P. J. G. Teunissen, J. Geod. 92 (2018)
 * 59-80), decided by evidence as integrity monitoring does by solution separation (J. Blanch and
 * others, IEEE Trans. AES 51 (2015) 713-732).
 *
 * An explanation is a set of terms (modes of modes.h, edges none of whose touches is good, quarter
 * turns) and the set of good touches that a climb of robust.h ends with. Starts: all touches; each
 * edge, each pair of edges left out or out; each edge filmed or elsewhere; then what the table of
 * modes at the best few explanations says, three rounds at most. Explanations within 1 : 100 of the
 * best (Jeffreys' "decisive") stay rivals.
 */
#ifndef TT_ADJUST_EXPLAIN_H
#define TT_ADJUST_EXPLAIN_H

#include "adjust/modes.h"
#include "adjust/uncertainty.h"

#define TT_MOST_MODES 6 /* of one explanation */

/* Why the best explanation is not enough. */
enum tt_doubt_kind {
    TT_DOUBT_NONE,
    TT_DOUBT_RIVAL,  /* another one explains the run as well, and moves an offset */
    TT_DOUBT_UNEVEN, /* the kept touches of one edge scatter more than the others' */
    TT_DOUBT_LITTLE  /* so little is kept that the offset is hardly known */
};

/* What a search ends with. Arrays live in the arena. */
struct tt_explanation {
    struct tt_terms terms; /* of the best explanation, not proper */
    double *good;          /* per touch of the run, in the order of its rows: 1 or 0 */
    struct tt_mode modes[TT_MOST_MODES];
    size_t n_modes;
    struct tt_cov2 *extra; /* per block: what the rivals add to the offset's covariance */
    /* doubt */
    enum tt_doubt_kind doubt;
    bool *doubted;                             /* per block: its offset is in doubt */
    struct tt_mode rival_modes[TT_MOST_MODES]; /* TT_DOUBT_RIVAL: of the most probable rival that
                                                  moves an offset */
    size_t n_rival_modes;
    const double *rival_good; /* per row of the run: how probable the rival holds a touch good */
    struct tt_machine_xy *rival_offset; /* per block: the rival's less the best's */
    double
        *rival_expanded_mm; /* per block: U of the rival's offset (95 %, same plate, larger axis) */
    double rival_log_odds;  /* of the rival, <= 0 */
    size_t uneven_edge;     /* TT_DOUBT_UNEVEN */
    double log_evidence, touch_var_mm2, dof_touch; /* of the best */
};

struct tt_search {
    struct tt_arena *arena;
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_run *run;
    const struct tt_noise *noise;
    struct tt_fit *least_squares; /* of all touches, whose table of modes gives starts; or NULL */
    const struct tt_model *first; /* of the run, whose rows later models share; NULL: none yet */
};

/* Empty terms with all arrays, in the arena; a copy of @terms if that is not NULL. */
TT_MUST_USE enum tiptrue_status tt_terms_new(const struct tt_search *search,
                                             const struct tt_terms *terms, struct tt_terms *copy);

/* The model of the search's run with @terms (borrowed), as tt_model_build and tt_model_build_like
 * make it. */
TT_MUST_USE enum tiptrue_status tt_search_model(const struct tt_search *search,
                                                const struct tt_terms *terms, bool weak,
                                                struct tt_model *model);

/* Variance of a sighted coordinate, resolution included, and its degrees of freedom: stated, or
 * from the median of what repeated sightings of a mark differ by, drawn to a usual one. Where a
 * mark lies does not enter it. */
double tt_sighting_variance(const struct tt_search *search, double *dof);

/* Is every usable touch of @run good, by row with the probability @good? */
bool tt_all_good(const struct tiptrue_run *run, const double good[]);

/* TIPTRUE_E_DATA: no touch can be
 * used. TIPTRUE_E_DEGENERATE: no explanation could be computed. */
TT_MUST_USE enum tiptrue_status tt_explain(const struct tt_search *search,
                                           struct tt_explanation *explanation);

#endif
