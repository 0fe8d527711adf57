/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a page of the weeks shows of a machine: the course of each quantity of each tip over its
 * runs, and what was found in it. Plain arrays, borrowed for the call that draws them; times are
 * seconds from 1970-01-01T00:00:00Z.
 */
#ifndef TT_MODEL_WEEKS_H
#define TT_MODEL_WEEKS_H

#include <stdbool.h>
#include <stddef.h>

#include "model/frames.h"

enum tt_weeks_quantity {
    TT_WEEKS_OFFSET_X,
    TT_WEEKS_OFFSET_Y,
    TT_WEEKS_RUNOUT,
    TT_WEEKS_RADIUS,
    TT_WEEKS_HEIGHT,
    TT_WEEKS_QUANTITIES
};

/* One run. */
struct tt_weeks_point {
    double time_s;
    double value_mm;
    double expanded_mm;          /* 95 %, on the plate: what a change is worth */
    bool has_centre, has_limits; /* of the control chart; in its baseline there are no limits yet */
    double centre_mm, low_mm, high_mm; /* its centre line and limits at this run */
    bool has_ewma;
    double ewma_mm;     /* exponentially weighted moving average after this run */
    bool signal;        /* the chart raises one at this run */
    const char *run_id; /* NULL = not known */
};

/* A place of the drift line and its forecast: the mean with the ends of its 95 % band. */
struct tt_weeks_mean {
    double time_s, mean_mm, low_mm, high_mm;
};

/* One quantity of one tip, in order of time. */
struct tt_weeks_series {
    size_t tip; /* of the page's tips */
    enum tt_weeks_quantity quantity;
    const struct tt_weeks_point *points;
    size_t n_points;
    const struct tt_weeks_mean
        *drift; /* the line and, beyond the last run, its forecast; NULL = no drift */
    size_t n_drift;
    bool has_permitted; /* what is permitted about the value in use */
    double permitted_low_mm, permitted_high_mm;
};

/* A change: it came about after one run and before the next. */
struct tt_weeks_change {
    size_t tip; /* TT_NONE = shared by all */
    double after_s, before_s;
    bool in_height, in_others; /* which quantities' pictures show it */
    const char *text;
};

/* An offset was written into a configuration. */
struct tt_weeks_export {
    double time_s;
    const char *text; /* into what */
};

struct tt_weeks {
    const char *machine; /* NULL = not named */
    const char *const *tips;
    size_t n_tips;
    const struct tt_weeks_series *series;
    size_t n_series;
    const struct tt_weeks_change *changes;
    size_t n_changes;
    const struct tt_weeks_export *exports;
    size_t n_exports;
    const char *const
        *sentences;     /* the words of the page, the headline first: those of the text output */
    size_t n_sentences; /* the changes, one each, follow the headline */
    bool quiet;         /* nothing changed, nothing drifts */
};

#endif
