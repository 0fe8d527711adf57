/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which touches from above are good under one explanation: as robust.h for the edges, with the
 * shares of late touches by pad. Source: docs/method.md, section 6. */
#ifndef TT_ADJUST_HEIGHT_CLIMB_H
#define TT_ADJUST_HEIGHT_CLIMB_H

#include "adjust/height_model.h"

/* Where a climb starts. */
struct tt_height_start {
    const double *keep; /* per row, 0 to 1; NULL: all */
    double level;       /* of asymmetric least absolute deviations; 0 = least squares */
    bool tight;         /* a repeatability that is not stated starts small */
};

/* Expectation-maximisation from @start with a fit that has proper priors: fit->good, the evidence.
 * False: singular. */
TT_MUST_USE bool tt_height_climb(struct tt_height_fit *fit, struct tt_height_start start);

/* Sets of touches of one tip that may be the good ones, by height_starts.c; the best first. */
#define TT_MOST_HEIGHT_SETS 4
#define TT_MOST_HEIGHT_ELEMENTS 16
struct tt_height_sets {
    size_t n_rows, row[TT_MOST_HEIGHT_ELEMENTS];
    size_t n;
    unsigned with[TT_MOST_HEIGHT_SETS]; /* bit k: row[k] */
    double score[TT_MOST_HEIGHT_SETS];
};

/* Those of @tip that lie within scatter of a height, and with @face of a face runout of about
 * @face_mm, through one (three) of them, the other unknowns as in @fit. None where the tip has
 * more touches than TT_MOST_HEIGHT_ELEMENTS. */
void tt_height_sets(const struct tt_height_fit *fit, size_t tip, const double *face_mm,
                    struct tt_height_sets *sets);

/* Whether least squares of all touches stands: by its largest residual and its scatter. */
bool tt_height_looks_clean(const struct tt_height_fit *fit);

#endif
