/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the runs of a machine say over time. Written by history, read by output; one block that
 * outlives store and series.
 *
 * Offsets in the machine frame. Uncertainties of changes and drift are those on the same plate,
 * scatter between runs included. Times are seconds from 1970-01-01T00:00:00Z.
 */
#ifndef TT_MODEL_TREND_H
#define TT_MODEL_TREND_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/between.h"
#include "model/series.h"

/* Fewer runs of a tip say nothing of how they scatter, and so cannot tell a step from scatter. */
#define TT_FEWEST_TREND_RUNS 8

enum tt_chart {
    TT_CHART_INDIVIDUALS,
    TT_CHART_MOVING_RANGE,
    TT_CHART_EWMA,
    TT_CHART_CUSUM,
    TT_CHART_T2,
    TT_CHART_RUN
};

/* A run at which a chart crossed its limit, coming from within. */
struct tt_signal {
    size_t point; /* of the tip */
    enum tt_chart chart;
    char axis;       /* 'x', 'y', or 0: both */
    size_t runs;     /* how many runs in a row stayed beyond it */
    double off_mm;   /* of a chart of one axis: by how much */
    bool of_one_tip; /* of a single run: the other tips were not off */
};

/* A tip's height in one run. */
struct tt_height_point {
    size_t run; /* index into the series */
    double time_s;
    const char *id;
    double height_mm, u_mm, fitted_mm;
};

/* One run of one tip. */
struct tt_trend_point {
    size_t run; /* index into the series */
    double time_s;
    const char *id;
    struct tt_machine_xy offset,
        fitted;            /* fitted: levels, steps and the drift, if it is significant */
    double u_x_mm, u_y_mm; /* of this run, on its plate */
    /* The charts this point was judged by. In the baseline only the centre holds. */
    bool in_baseline;
    struct tt_machine_xy centre, ewma;
    double limit_x_mm, limit_y_mm; /* half-width of the individuals' limits about the centre */
    double ewma_limit_x_mm, ewma_limit_y_mm; /* of the EWMA's */
    double t2, t2_limit;
    struct tt_tip_xy runout;
    double u_runout_x_mm, u_runout_y_mm, radius_mm, u_radius_mm;
    bool has_runout, has_radius;
};

struct tt_axis_scatter {
    double x_mm, y_mm, u_x_mm,
        u_y_mm; /* between runs, beyond what each run explains, with its standard uncertainty */
    double dof_x, dof_y;
};

enum tt_forecast_state {
    TT_FORECAST_NONE,       /* no permitted error is stated */
    TT_FORECAST_NO_DRIFT,   /* none that shows beyond its uncertainty */
    TT_FORECAST_NOT_WITHIN, /* not within a year */
    TT_FORECAST_DATE
};

struct tt_forecast {
    enum tt_forecast_state state;
    double permitted_error_mm;
    bool over_now; /* the offset in use is already further off: the forecast holds from an update at
                      the last run on */
    bool from_present; /* it counts from the offset in use */
    double date_s;     /* when the permitted error is reached */
    bool has_from, has_to;
    double from_s, to_s; /* 95 % */
};

/* How far down a tip reaches, over the weeks. */
struct tt_height_trend {
    struct tt_height_point *points;
    size_t n_points; /* 0: no run knows it, and nothing else is filled */
    double within_u_mm, between_mm, u_between_mm;
    bool has_drift, drift_significant, step_alike;
    double drift_mm_per_week, u_drift_mm_per_week, p_drift;
    bool has_present;
    double present_mm;
    struct tt_forecast forecast;
};

struct tt_trend_tip {
    const char *name;
    size_t runs; /* that are used */
    struct tt_trend_point *points;
    size_t n_points;
    struct tt_machine_xy last;
    bool has_present;
    struct tt_machine_xy present;
    double within_u_x_mm, within_u_y_mm; /* root mean square of the runs' own, on the same plate */
    struct tt_axis_scatter between;
    bool has_drift; /* enough runs for a slope */
    double drift_x_mm_per_week, drift_y_mm_per_week, u_drift_x_mm_per_week, u_drift_y_mm_per_week;
    double p_drift; /* probability of a drift at least this large by chance, for this tip alone */
    bool drift_significant, wears; /* wears: runout or contact radius drift */
    bool step_alike; /* a step instead of the drift would explain the runs about as well */
    struct tt_forecast forecast;
    struct tt_height_trend height;
    struct tt_signal *signals;
    size_t n_signals;
    double baseline_from_s, baseline_to_s; /* of the last stretch without a change */
    size_t baseline_runs;
};

enum tt_moved {
    TT_MOVED_ALL_TIPS,
    TT_MOVED_TIP,
    TT_MOVED_PLATE,
    TT_MOVED_EDGE,
    TT_MOVED_Z_HOME,
    TT_MOVED_AXES
};

/* What is said to have moved; the words of docs/formats.md. */
enum tt_change_code {
    TT_CHANGE_CAMERA_OR_HEAD,
    TT_CHANGE_CAMERA, /* the mark moved by as much */
    TT_CHANGE_SEAT,
    TT_CHANGE_SEAT_OR_CAMERA, /* of one tip alone */
    TT_CHANGE_TIP_CHANGED,
    TT_CHANGE_PLATE_MOVED,
    TT_CHANGE_PLATE_POSE,
    TT_CHANGE_EDGE_MOVED,
    TT_CHANGE_LOST_MOTION, /* of the axes */
    TT_CHANGE_Z_HOME,
    TT_CHANGE_TIP_HEIGHT,
    TT_CHANGE_HEIGHT_OR_Z_HOME /* of one tip alone */
};

struct tt_trend_change {
    double after_s, before_s; /* it came between these two runs (95 %) */
    size_t first_run;         /* of the series: the first one after it */
    enum tt_moved moved;
    size_t tip;     /* index into the trend's tips, TT_NONE: not one */
    size_t edge;    /* index into the trend's edges, TT_NONE: not one */
    bool has_shift; /* of the offsets */
    struct tt_machine_xy shift;
    double u_shift_x_mm, u_shift_y_mm;
    bool has_runout_shift, has_radius_shift, has_pose_shift;
    struct tt_tip_xy runout_shift;
    double u_runout_shift_x_mm, u_runout_shift_y_mm, u_mark_shift_x_mm, u_mark_shift_y_mm;
    bool runout_shows, radius_shows, yaw_shows; /* they are beyond chance by themselves */
    double radius_shift_mm, u_radius_shift_mm;
    struct tt_machine_xy mark_shift;
    double yaw_shift_rad;
    double edge_shift_mm,
        u_edge_shift_mm; /* along the edge's normal to the free side; a film makes it negative. Of
                            the axes: of the lost motion, contact radius on X less that on Y */
    bool has_height_shift;
    double height_shift_mm, u_height_shift_mm; /* of the tip's height, or of all */
    bool drift_alike;   /* a drift instead would explain the runs about as well */
    double confidence;  /* 1 - the probability by chance, all places and kinds looked at counted */
    double attribution; /* how probable what moved is among what could have: by likelihoods,
                           Schwarz's weights */
    enum tt_change_code code;
    const char *cause, *text; /* a word or two; a plain sentence with what to do: NULL until output
                                 has made them (output/text/trend_sentences.h) */
};

/* The latest run against what the runs before it lead to expect, judged by itself. */
struct tt_trend_latest {
    bool judged, differs;
    size_t run; /* index into the series */
    double time_s;
    const char *id; /* NULL: not known */
    struct tt_trend_change
        change; /* what explains it best, where it differs; code, cause and text too */
};

/* Something else that a reader of the weeks should know; in the order of their words
 * (docs/formats.md). */
enum tt_trend_event_code {
    TT_EVENT_AXES_CHANGED,
    TT_EVENT_CAMERA_TURNED,
    TT_EVENT_FOCUS_MOVED,
    TT_EVENT_LEFT_OUT,
    TT_EVENT_NOTE,
    TT_EVENT_PLACEMENT,
    TT_EVENT_PLATE_CHANGED
};

/* What errors of the axes come to is said over this length of board. */
#define TT_EVENT_BOARD_MM 100.0

struct tt_trend_event {
    enum tt_trend_event_code code;
    double time_s;
    const char *id;         /* run; NULL: of none */
    const char *what, *was; /* note: itself; left out: why; plate: this one, the one before it;
                               placement: the board's id */
    double change;          /* focus: larger by this share; camera: rad; axes: mm in
                               TT_EVENT_BOARD_MM */
    size_t axis;            /* 0 = x, 1 = y, 2 = what they are square by */
    bool with_offsets;      /* of the camera: they moved at the same place */
    bool has_temperature;   /* of the axes: in the run, and in the one before */
    double temperature_C, before_C;
    size_t parts; /* of a placement: that were used */
    enum tiptrue_verdict verdict;
};

/* An edge of the plate of the last run. */
struct tt_trend_edge {
    const char *name;
    size_t runs;    /* that know its shift */
    double last_mm; /* shift along its normal against where the plate file has it */
    bool drifts;
    double drift_mm_per_week, u_drift_mm_per_week;
    size_t touches, late; /* of all runs looked at */
};

/* What is followed beside places: repeatability of touches, of sightings, in mm; late touches of an
 * edge, as a share of those made with it. */
enum tt_track_kind { TT_TRACK_TOUCH, TT_TRACK_SIGHTING, TT_TRACK_LATE };

/* What a track shows; the words of docs/formats.md. */
enum tt_track_code {
    TT_TRACK_NOISY,       /* some runs were worse, and it passed */
    TT_TRACK_NOISIER,     /* worse from a run on, to the last one */
    TT_TRACK_WAS_NOISIER, /* worse from the first run on, until another */
    TT_TRACK_RISES        /* gets worse from week to week */
};

struct tt_track_event {
    enum tt_track_code code;
    double from_s, to_s; /* the first and the last of the runs */
    size_t runs;
    double value, otherwise; /* in these runs, in the others; of a rise at its end, at its start */
    double p;                /* by chance, all looks and tracks counted */
};

struct tt_trend_track {
    enum tt_track_kind kind;
    size_t edge;  /* index into the trend's edges, TT_NONE: not one */
    size_t runs;  /* that tell it */
    double value; /* over all of them */
    struct tt_track_event *events;
    size_t n_events;
};

struct tt_trend_plate {
    const char *name;
    size_t runs;
};

#define TT_TREND_NUMBERS 6
/* What a run tells of the machine itself: the picture's scale x and y (mm per pixel) and turn
 * (rad), the axes' scales and squareness (of 1, rad); u 0: it does not say. */
struct tt_trend_machine {
    const char *id;
    double time_s, value[TT_TREND_NUMBERS], u[TT_TREND_NUMBERS];
};

struct tiptrue_trend {
    const char *machine;  /* NULL: not stated */
    size_t runs_stored;   /* of this machine */
    size_t runs;          /* looked at */
    size_t runs_left_out; /* of these: nothing of them is to be used (verdict repeat) */
    size_t times_missing; /* of these: the log states no time, and the time of entry stands in */
    double first_s, last_s;
    struct tt_trend_tip *tips;
    size_t n_tips;
    struct tt_trend_change *changes; /* by time */
    size_t n_changes;
    struct tt_trend_plate *plates;
    size_t n_plates;
    bool pose_drifts, has_season, has_temperature;
    double temperature_x_mm_per_K, temperature_y_mm_per_K, u_temperature_x_mm_per_K,
        u_temperature_y_mm_per_K;
    bool has_height_temperature;
    double height_mm_per_K, u_height_mm_per_K;
    struct tt_trend_edge *edges;
    size_t n_edges;
    struct tt_trend_track *tracks;
    size_t n_tracks;
    struct tt_trend_latest latest;
    struct tt_trend_event *events; /* by time */
    size_t n_events;
    struct tt_trend_machine *machine_runs; /* runs that are used, by time */
    size_t n_machine_runs;
    size_t baseline_runs;           /* asked for */
    size_t shown_tip;               /* only this one is shown; TT_NONE: all */
    struct tiptrue_between between; /* only tips: scatter between the runs */
    char between_of[17];            /* digest of what that was found from */
    struct tt_arena arena;          /* owns all of the above but for between */
};

#endif
