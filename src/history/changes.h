/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What changed in a series of runs: steps, single runs that stand apart, and drift, over all tips together with runout, radius and
 * the plate's pose.
 *
 * Every kind of change is a hypothesis that moves some of the tracks at the same time (track.h). Forward, the hypothesis whose
 * probability by chance, times the number of places and kinds looked at, is smallest is taken in, as long as that product is below
 * TT_CHANGE_ALPHA; then the others are placed anew, and what does not stand among the rest is dropped. So a shared step is one
 * change and not one of each tip, and a drift is a drift and not a staircase. The number of looks is an upper bound by Bonferroni
 * times a factor found by simulation, since neighbouring places say nearly the same (docs/trend.md).
 */
#ifndef TT_HISTORY_CHANGES_H
#define TT_HISTORY_CHANGES_H

#include "history/track.h"
#include "model/series.h"

/* Probability that a quiet series shows a change, as reckoned here; simulated, a tenth to half of it (docs/trend.md). Twice as
 * much finds steps of 10 um within a scatter of 3 um in 2 of 100 cases more. */
#define TT_CHANGE_ALPHA 0.011

enum tt_hypothesis {
    TT_ALL_TIPS,    /* the offsets of all tips, alike */
    TT_TIP_SEAT,    /* the offset of one tip */
    TT_TIP_CHANGED, /* its offset, runout and contact radius */
    TT_PLATE,       /* the offsets of all tips, alike, and the pose */
    TT_POSE,        /* the pose alone */
    TT_HYPOTHESES
};

/* From the run @from on, up to @to (not included; the number of runs: to this day). */
struct tt_event {
    enum tt_hypothesis what;
    size_t tip; /* TT_TIP_...: index into the series' names */
    size_t from, to;
    double chi2, dof;   /* how much better the tracks are explained with it, among the rest */
    double log_p;       /* logarithm of the probability by chance, all looks counted */
    size_t first, last; /* the first run after it, of all that explain the tracks about as well (95 %) */
};

struct tt_changes {
    const struct tt_series *series;
    size_t n;                         /* runs used */
    const struct tt_series_run **run; /* of the series */
    double *weeks;                    /* of each, from the middle of them */
    size_t tips;
    struct tt_track offset;           /* mm, machine frame; a member for each tip */
    struct tt_track *runout, *radius; /* [tip]; mm */
    struct tt_track mark, yaw;        /* mm; rad */
    struct tt_event *events;
    size_t n_events, room_events;
    bool *tip_drifts, *tip_wears; /* [tip]: its offset; its runout or radius */
    bool all_drift, pose_drifts;
    const char **plates; /* the plates of the runs, that of the first run first */
    size_t n_plates;
    struct tt_arena *arena;
};

/* Find what changed in @series (sorted). Runs whose verdict for a tip is repeat say nothing of it. Cost: events^2 * runs * tips. */
TT_MUST_USE enum tiptrue_status tt_changes_find(struct tt_changes *changes, const struct tt_series *series, struct tt_arena *arena);

/* Of the offset track: terms as found, and a slope for each tip besides, so that every tip's drift can be read off with its
 * uncertainty. slope[tip] receives the index of its term; TT_NONE where the tip has too few runs. */
void tt_changes_fit_slopes(struct tt_changes *changes, size_t slope[]);

/* What event @index moved, as last fitted. */
enum tt_event_track { TT_OF_OFFSET, TT_OF_RUNOUT, TT_OF_RADIUS, TT_OF_MARK, TT_OF_YAW, TT_EVENT_TRACKS };
struct tt_event_term {
    bool there;
    const struct tt_track *track;
    size_t term;
    struct tt_pair shift; /* mm; rad */
    struct tt_sym2 cov;
};
void tt_changes_tracks(struct tt_changes *changes, size_t index, struct tt_event_term terms[TT_EVENT_TRACKS]);

/* How well each hypothesis explains event @index in its place: chi-squared less what its degrees of freedom cost (log n each,
 * Schwarz 1978); -HUGE_VAL where it cannot. score[what * tips + tip], tip 0 for those of no one tip. The tracks are left as they
 * were. */
void tt_changes_scores(struct tt_changes *changes, size_t index, double score[]);

/* Natural logarithm of the probability of chi-squared of at least @chi2 with @dof degrees of freedom. */
double tt_log_p_chi2(double chi2, double dof);

#endif
