/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "output/trend_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/time.h"

const char *tt_chart_word(enum tt_chart chart)
{
    static const char *const WORDS[] = {[TT_CHART_INDIVIDUALS] = "individuals",
                                        [TT_CHART_MOVING_RANGE] = "moving-range",
                                        [TT_CHART_EWMA] = "ewma",
                                        [TT_CHART_CUSUM] = "cusum",
                                        [TT_CHART_T2] = "t-squared",
                                        [TT_CHART_RUN] = "single-run"};
    return WORDS[chart];
}

const char *tt_event_word(enum tt_trend_event_code code)
{
    static const char *const WORDS[] = {[TT_EVENT_AXES_CHANGED] = "axes-changed",
                                        [TT_EVENT_CAMERA_TURNED] = "camera-turned",
                                        [TT_EVENT_FOCUS_MOVED] = "focus-moved",
                                        [TT_EVENT_LEFT_OUT] = "left-out",
                                        [TT_EVENT_NOTE] = "note",
                                        [TT_EVENT_PLACEMENT] = "placement",
                                        [TT_EVENT_PLATE_CHANGED] = "plate-changed"};
    return WORDS[code];
}

const char *tt_moved_word(enum tt_moved moved)
{
    static const char *const WORDS[] = {
        [TT_MOVED_ALL_TIPS] = "all-tips", [TT_MOVED_TIP] = "tip",       [TT_MOVED_PLATE] = "plate",
        [TT_MOVED_EDGE] = "edge",         [TT_MOVED_Z_HOME] = "z-home", [TT_MOVED_AXES] = "axes"};
    return WORDS[moved];
}

const char *tt_track_word(enum tt_track_kind kind)
{
    static const char *const WORDS[] = {[TT_TRACK_TOUCH] = "touch-repeatability",
                                        [TT_TRACK_SIGHTING] = "sighting-repeatability",
                                        [TT_TRACK_LATE] = "late-touches"};
    return WORDS[kind];
}

const char *tt_track_code_word(enum tt_track_code code)
{
    static const char *const WORDS[] = {[TT_TRACK_NOISY] = "noisy",
                                        [TT_TRACK_NOISIER] = "noisier",
                                        [TT_TRACK_WAS_NOISIER] = "was-noisier",
                                        [TT_TRACK_RISES] = "rises"};
    return WORDS[code];
}

const char *tt_change_word(enum tt_change_code code)
{
    static const char *const WORDS[] = {[TT_CHANGE_CAMERA_OR_HEAD] = "camera-or-head",
                                        [TT_CHANGE_CAMERA] = "camera",
                                        [TT_CHANGE_SEAT] = "seat",
                                        [TT_CHANGE_SEAT_OR_CAMERA] = "seat-or-camera",
                                        [TT_CHANGE_TIP_CHANGED] = "tip-changed",
                                        [TT_CHANGE_PLATE_MOVED] = "plate-moved",
                                        [TT_CHANGE_PLATE_POSE] = "plate-pose",
                                        [TT_CHANGE_EDGE_MOVED] = "edge-moved",
                                        [TT_CHANGE_LOST_MOTION] = "lost-motion",
                                        [TT_CHANGE_Z_HOME] = "z-home",
                                        [TT_CHANGE_TIP_HEIGHT] = "tip-height",
                                        [TT_CHANGE_HEIGHT_OR_Z_HOME] = "height-or-z-home"};
    return WORDS[code];
}

const char *tt_forecast_words(const struct tt_forecast *forecast)
{
    switch (forecast->state) {
    case TT_FORECAST_NONE:
        return "no permitted error is stated";
    case TT_FORECAST_NO_DRIFT:
        return forecast->over_now
                   ? "the offset in use is further off than permitted now; no drift shows"
                   : "no drift shows";
    case TT_FORECAST_NOT_WITHIN:
        return "not within a year";
    case TT_FORECAST_DATE:
        return forecast->over_now ? "the offset in use is further off than permitted now; the date "
                                    "holds from an update now on"
                                  : NULL;
    }
    return NULL;
}

void tt_minute_write(const struct tiptrue_zone *zone, double time_s, char text[TT_MINUTE_SIZE])
{
    struct tt_local_time local = tt_local_time(zone, time_s);

    if (local.ahead_s == 0 && strcmp(local.zone, "UTC") == 0) {
        snprintf(text, TT_MINUTE_SIZE, "%.16sZ", local.text);
    } else {
        snprintf(text, TT_MINUTE_SIZE, "%.16s %s (%s)", local.text, local.ahead, local.zone);
    }
}

/* Whether what the latest run shows is among the changes already. */
static bool is_told(const struct tiptrue_trend *trend)
{
    for (size_t i = 0; i < trend->n_changes; i++) {
        if (trend->changes[i].first_run == trend->latest.run &&
            trend->changes[i].moved == trend->latest.change.moved) {
            return true;
        }
    }
    return false;
}

void tt_latest_words(const struct tiptrue_trend *trend, const struct tiptrue_zone *zone,
                     struct tt_buffer *words)
{
    char when[TT_MINUTE_SIZE];

    tt_minute_write(zone, trend->latest.time_s, when);
    tt_buffer_printf(words, "the latest run, %s, ", when);
    if (!trend->latest.differs) {
        tt_buffer_puts(words, "is as the runs before it lead to expect");
    } else {
        tt_buffer_printf(words, "differs from the runs before it: %s%s", trend->latest.change.text,
                         is_told(trend) ? "" : "; repeat the run to see it confirmed");
    }
}
