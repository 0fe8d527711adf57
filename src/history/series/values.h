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
    TT_SHARED,        /* what the offsets of all tips of a run share */
    TT_OWN,           /* what is left of each */
    TT_HEIGHT_SHARED, /* the same two of their heights */
    TT_HEIGHT_OWN,
    TT_RUNOUT, /* x and y of each tip */
    TT_RADIUS, /* contact radius of each tip */
    TT_MARK,   /* x and y of the reference mark */
    TT_YAW,    /* of the plate */
    TT_EDGES,  /* what the edges' own shifts show, free of what they share */
    TT_CLASSES
};

#define TT_MOST_AXES 3

struct tt_values {
    size_t n, tips, edges, contrasts,
        p; /* runs; edges that can be told of; columns: p = (3 + axes) tips + 3 + contrasts */
    const struct tt_series_tip *height; /* the last one; those compared hold where it does */
    size_t axes;        /* of a tip's place: x, y and, where some run knows a height, z */
    double *y, *stated; /* [run * p + column]; variance that the run states (offsets: the tip's own
                           part) */
    bool *there;
    double *common; /* [axes run + axis]: stated variance that all tips of a run share */
    double *mean_stated, mean_common[TT_MOST_AXES]; /* [column], [axis]: of the runs that have it */
    double *weeks;                                  /* [run]: time from the middle */
    double *temperature; /* [run], K from the mean; NULL: not known of every run, or constant */
    double period_weeks; /* of the best swing through the offsets; 0: too few runs for one */
    bool *doubted; /* [run]: some tip is (model/series.h), so that what it states is more than it
                      scatters by: it says nothing of the scatter. Of no run, where all are */
    size_t n_plates, *plate; /* [run]: which plate, the last run's is 0 */
    double *plate_u2;        /* [2 plate + axis]: variance of a plate's own errors in an offset */
    const char **plates;     /* [plate] */
    double *contrast; /* [contrast * series edges + edge]: factors of the edges' shifts in it */
    double *response; /* [edge * p + column]: what all columns do when the edge shifts by 1 */
    double
        *lost_motion; /* [column]: the same with 1 mm of it; NULL: not known, or not to be seen */
    const struct tt_series_run **run; /* [run] of the series */
    const struct tt_series *series;
};

/* Columns. @axis: 0 = x, 1 = y, of a tip's place 2 = height. */
static inline size_t tt_at_offset(const struct tt_values *v, size_t tip, size_t axis)
{
    return axis * v->tips + tip;
}
static inline size_t tt_at_runout(const struct tt_values *v, size_t tip, size_t axis)
{
    return (v->axes + axis) * v->tips + tip;
}
static inline size_t tt_at_radius(const struct tt_values *v, size_t tip)
{
    return (v->axes + 2) * v->tips + tip;
}
static inline size_t tt_at_mark(const struct tt_values *v, size_t axis)
{
    return (v->axes + 3) * v->tips + axis;
}
static inline size_t tt_at_yaw(const struct tt_values *v)
{
    return (v->axes + 3) * v->tips + 2;
}
static inline size_t tt_at_contrast(const struct tt_values *v, size_t contrast)
{
    return (v->axes + 3) * v->tips + 3 + contrast;
}
/* The classes of a tip's place along an axis; and whether a class is one of what all tips share, of
 * what each has of its own, of either. */
static inline enum tt_class tt_shared_class(size_t axis)
{
    return axis < 2 ? TT_SHARED : TT_HEIGHT_SHARED;
}
static inline enum tt_class tt_own_class(size_t axis)
{
    return axis < 2 ? TT_OWN : TT_HEIGHT_OWN;
}
static inline bool tt_is_shared(enum tt_class c)
{
    return c == TT_SHARED || c == TT_HEIGHT_SHARED;
}
static inline bool tt_is_own(enum tt_class c)
{
    return c == TT_OWN || c == TT_HEIGHT_OWN;
}
static inline bool tt_is_place(enum tt_class c)
{
    return c <= TT_HEIGHT_OWN;
}
/* The class of a column; a tip's place: what it has of its own. */
enum tt_class tt_class_of(const struct tt_values *v, size_t column);

/* The runs of @series (sorted) that say something; tips whose verdict is repeat say nothing, the
 * edges of such a run do. Values count from each column's first one. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status
tt_values_make(struct tt_values *values, const struct tt_series *series, struct tt_arena *arena);

/* Whether a run says something of offsets. */
bool tt_values_uses(const struct tt_series_run *run);

/* Digest of all numbers, so that what was found from them is known again. */
void tt_values_digest(const struct tt_values *values, char digest[17]);

#endif
