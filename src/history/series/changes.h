/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What changed in a series of runs, when, and what moved: steps, single runs that stand apart,
 * drifts, wear, temperature and season, over the offsets, runouts and radii of all tips, the
 * plate's pose, its edges and the tips' heights together (docs/trend.md).
 *
 * Two passes: with scales from successive differences, leniently, then with those of what the first
 * leaves, strictly. The latest run is judged by itself besides. Cost: runs^2 * (tips + edges) for
 * the segmentation, less where much changed.
 */
#ifndef TT_HISTORY_SERIES_CHANGES_H
#define TT_HISTORY_SERIES_CHANGES_H

#include "history/series/problem.h"
#include "model/trend.h"

/* Share of quiet histories of 60 runs that show a change, as reckoned here; as simulated:
 * docs/trend.md. */
#define TT_CHANGE_ALPHA 0.005

/* A change of some columns: a 2-vector or a number, with its covariance. */
struct tt_moved_by {
    bool there;
    double x, y, xx, xy, yy;
};

struct tt_change {
    enum tt_hypothesis what;
    bool plate;      /* offsets and pose went together: two hypotheses at one place */
    size_t who;      /* tip, edge; TT_NONE */
    size_t from, to; /* the runs of it, to the last one unless to < n: then they stand apart */
    size_t first,
        last;      /* the first run after it, of all that explain the runs about as well (95 %) */
    double log_p;  /* natural logarithm of the probability by chance, all looks counted */
    double weight; /* of this hypothesis among all at its place, by the criterion */
    bool drift_alike; /* a drift instead would explain the runs about as well */
    struct tt_moved_by offset, runout, radius, mark, yaw, height;
    struct tt_moved_by edge; /* its shift, or the lost motion's */
};

struct tt_tip_drift {
    bool known, shows;       /* enough runs for a slope; it is among what was found */
    bool step_alike;         /* a step instead would explain the runs about as well */
    double x, y, xx, xy, yy; /* mm a week; covariance */
    double p;                /* probability of one as large by chance, for this tip alone */
};

/* The latest run against what the runs before it lead to expect. */
struct tt_latest_run {
    bool judged, differs;
    struct tt_change change; /* what explains it best; from is the run */
};

/* What a fit leads to expect of a tip's place, with its covariance: value[axis] and covariance (xx,
 * xy, yy) times 1, weeks, sine and cosine of turn * weeks. A height is x. */
struct tt_prediction {
    double value[2][4], covariance[3][4][4], turn;
};

/* Sets of events that a forecast reckons with. */
#define TT_MOST_RIVALS 32

struct tt_changes {
    struct tt_values values;
    struct tt_series_noise noise;
    struct tt_problem *problem;
    struct tt_events fit;
    double *theta, *covariance; /* of the fit */
    double *residual;           /* [run * p + column] */
    struct tt_change *change;   /* in order of time, single runs included */
    size_t n_changes;
    struct tt_tip_drift *drift;        /* [tip] */
    struct tt_tip_drift *height_drift; /* [tip]: of its height, in x */
    bool *wears;                       /* [tip]: its runout or radius drifts */
    bool pose_drifts;
    struct tt_moved_by *edge_drift; /* [edge]: mm a week */
    bool has_temperature, has_season;
    struct tt_moved_by temperature;        /* mm / K, of all offsets */
    struct tt_moved_by height_temperature; /* mm / K, of all heights */
    struct tt_latest_run latest;
    size_t n_rivals; /* the found set and others like it; 0: nothing drifts */
    double rival_weight[TT_MOST_RIVALS];
    struct tt_prediction *rival; /* [2 tips rival + tip]: of offsets; tips further on: of heights */
    struct tt_arena *arena;
};

/* Find what changed in @series (sorted). Fewer than TT_FEWEST_TREND_RUNS runs show nothing.
 * TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status
tt_changes_find(struct tt_changes *changes, const struct tt_series *series, struct tt_arena *arena);

/* The same fit, for the scatter between runs alone: nothing of what changed is said. */
TT_MUST_USE enum tiptrue_status
tt_changes_fit(struct tt_changes *changes, const struct tt_series *series, struct tt_arena *arena);

/* Scatter between the runs of @tip, beyond what each run states. */
struct tt_axis_scatter tt_changes_between(const struct tt_changes *changes, size_t tip);
/* The offset of @tip, or its height, from the origin of its column on; at @week, on the scale of
 * the values. */
void tt_changes_predict(const struct tt_changes *changes, size_t tip, bool height,
                        struct tt_prediction *prediction);
struct tt_moved_by tt_prediction_at(const struct tt_prediction *prediction, double week);
/* The scatter between runs of a tip's height, and its uncertainty. */
double tt_changes_height_between(const struct tt_changes *changes, size_t tip, double *u);
/* Degrees of freedom of the offsets' scale, and of the heights'. */
double tt_changes_height_dof(const struct tt_changes *changes);
double tt_changes_dof(const struct tt_changes *changes);
/* Whether a value of @tip's offset is in @run. */
bool tt_changes_has(const struct tt_changes *changes, size_t run, size_t tip);

#endif
