/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The runs of a machine as one table of numbers: a row for each run, a column for each quantity
 * that can change. Lengths mm, angles rad, offsets in the machine frame, runouts in the tip's
 * frame.
 */
#ifndef TT_HISTORY_SERIES_VALUES_H
#define TT_HISTORY_SERIES_VALUES_H

#include "base/arena.h"
#include "base/status.h"
#include "model/series.h"

/* Quantities whose deviations are alike: one variance, one lag-1 autocorrelation each. */
enum tt_class {
    TT_SHARED, /* what the offsets of all tips of a run share */
    TT_OWN,    /* what is left of each */
    TT_RUNOUT, /* x and y of each tip */
    TT_RADIUS, /* contact radius of each tip */
    TT_MARK,   /* x and y of the reference mark */
    TT_YAW,    /* of the plate */
    TT_EDGES,  /* what the edges' own shifts show, free of what they share */
    TT_CLASSES
};

struct tt_values {
    size_t n, tips, edges, contrasts,
        p;              /* runs; edges that can be told of; columns: p = 5 tips + 3 + contrasts */
    double *y, *stated; /* [run * p + column]; variance that the run states (offsets: the tip's own
                           part) */
    bool *there;
    double *common; /* [2 run + axis]: stated variance that all tips of a run share */
    double *mean_stated, mean_common[2]; /* [column], [axis]: of the runs that have it */
    double *weeks;                       /* [run]: time from the middle */
    double *temperature;     /* [run], K from the mean; NULL: not known of every run, or constant */
    double period_weeks;     /* of the best swing through the offsets; 0: too few runs for one */
    size_t n_plates, *plate; /* [run]: which plate, the last run's is 0 */
    double *plate_u2;        /* [2 plate + axis]: variance of a plate's own errors in an offset */
    const char **plates;     /* [plate] */
    double *contrast; /* [contrast * series edges + edge]: factors of the edges' shifts in it */
    double *response; /* [edge * p + column]: what all columns do when the edge shifts by 1 */
    const struct tt_series_run **run; /* [run] of the series */
    const struct tt_series *series;
};

/* Columns. @axis: 0 = x, 1 = y. */
static inline size_t tt_at_offset(const struct tt_values *v, size_t tip, size_t axis)
{
    return axis * v->tips + tip;
}
static inline size_t tt_at_runout(const struct tt_values *v, size_t tip, size_t axis)
{
    return (2 + axis) * v->tips + tip;
}
static inline size_t tt_at_radius(const struct tt_values *v, size_t tip)
{
    return 4 * v->tips + tip;
}
static inline size_t tt_at_mark(const struct tt_values *v, size_t axis)
{
    return 5 * v->tips + axis;
}
static inline size_t tt_at_yaw(const struct tt_values *v)
{
    return 5 * v->tips + 2;
}
static inline size_t tt_at_contrast(const struct tt_values *v, size_t contrast)
{
    return 5 * v->tips + 3 + contrast;
}
/* The class of a column; offsets: TT_OWN. */
enum tt_class tt_class_of(const struct tt_values *v, size_t column);

/* The runs of @series (sorted) that say something; tips whose verdict is repeat say nothing, the
 * edges of such a run do. Values count from each column's first one. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status
tt_values_make(struct tt_values *values, const struct tt_series *series, struct tt_arena *arena);

/* Whether a run says something of offsets. */
bool tt_values_uses(const struct tt_series_run *run);

/* The same without the last run: borrows all arrays. */
struct tt_values tt_values_before_last(const struct tt_values *values);

#endif
