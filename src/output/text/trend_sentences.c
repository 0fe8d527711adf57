/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The prose about changes over the weeks and differences of two runs: made of codes and values. */
#include "config.h"

#include "output/text/sentences.h"

#include <math.h>

#include "base/buffer.h"
#include "base/number.h"
#include "output/text/words.h"
#include "output/trend_words.h"

/* "a word or two" for each code; of two, the second is for a shift that is not negative. */
static const char *cause_of(const struct tt_trend_change *c)
{
    static const char *const CAUSES[][2] = {
        [TT_CHANGE_CAMERA_OR_HEAD] = {"camera or head"},
        [TT_CHANGE_CAMERA] = {"camera"},
        [TT_CHANGE_SEAT] = {"seat of the tip"},
        [TT_CHANGE_SEAT_OR_CAMERA] = {"seat of the tip, head or camera"},
        [TT_CHANGE_TIP_CHANGED] = {"tip changed or bent"},
        [TT_CHANGE_PLATE_MOVED] = {"plate"},
        [TT_CHANGE_PLATE_POSE] = {"plate"},
        [TT_CHANGE_EDGE_MOVED] = {"film on the edge, or the edge bent", "edge cleaned, or bent"},
        [TT_CHANGE_LOST_MOTION] = {"lost motion of the axes"},
        [TT_CHANGE_Z_HOME] = {"Z home or the plate's seat"},
        [TT_CHANGE_TIP_HEIGHT] = {"tip shorter: worn, chipped or pushed up",
                                  "tip longer: slipped down, or dirt on its end"},
        [TT_CHANGE_HEIGHT_OR_Z_HOME] = {"Z home, the plate's seat or the tip"},
    };
    double shift = c->code == TT_CHANGE_EDGE_MOVED ? c->edge_shift_mm : c->height_shift_mm;
    const char *const *of = CAUSES[c->code];

    return of[of[1] != NULL && !(shift < 0)];
}

static void say_um(struct tt_buffer *b, const char *what, double mm, double u_mm)
{
    tt_buffer_puts(b, what);
    tt_words_um_pm(b, mm, u_mm);
    tt_buffer_puts(b, " \xc2\xb5m");
}

static void say_tip(struct tt_buffer *b, const char *name, const struct tt_trend_change *c)
{
    tt_buffer_printf(b, "the offset of %s moved by ", name);
    tt_words_shift(b, c->shift.x_mm, c->shift.y_mm, c->u_shift_x_mm, c->u_shift_y_mm);
    if (c->runout_shows) {
        tt_buffer_puts(b, ", its runout by ");
        tt_words_shift(b, c->runout_shift.x_mm, c->runout_shift.y_mm, c->u_runout_shift_x_mm,
                       c->u_runout_shift_y_mm);
    }
    if (c->radius_shows) {
        say_um(b, ", its contact radius by ", c->radius_shift_mm, c->u_radius_shift_mm);
    }
    if (c->has_height_shift) {
        say_um(b, ", its height by ", c->height_shift_mm, c->u_height_shift_mm);
    }
    tt_buffer_puts(b, c->code == TT_CHANGE_TIP_CHANGED
                          ? ": the tip was changed or bent; update its offset, and look at the tip "
                            "if nobody changed it"
                          : ", its runout and radius stayed: it sits differently in its holder; "
                            "seat it firmly, then update its offset");
}

static void say_mark(struct tt_buffer *b, const struct tt_trend_change *c)
{
    tt_buffer_puts(b, "the plate's mark moved by ");
    tt_words_shift(b, c->mark_shift.x_mm, c->mark_shift.y_mm, c->u_mark_shift_x_mm,
                   c->u_mark_shift_y_mm);
    if (c->yaw_shows) {
        tt_buffer_printf(b, " and the plate turned by %s\xc2\xb0",
                         tt_fixed(tt_deg_from_rad(c->yaw_shift_rad), 3, true).text);
    }
}

static void say_offsets(struct tt_buffer *b, bool one, const struct tt_trend_change *c)
{
    tt_buffer_puts(b, one ? "the offset moved by " : "all tips moved by the same amount, ");
    tt_words_shift(b, c->shift.x_mm, c->shift.y_mm, c->u_shift_x_mm, c->u_shift_y_mm);
    switch (c->code) {
    case TT_CHANGE_PLATE_MOVED:
        tt_buffer_puts(b, ", and ");
        say_mark(b, c);
        tt_buffer_puts(
            b, ": the plate was moved or exchanged and its edges lie differently against its "
               "marks, or the camera moved at the same time; check the plate, then repeat the run");
        break;
    case TT_CHANGE_CAMERA:
        tt_buffer_puts(b, ", and the mark seems to have moved by as much: the camera slipped on "
                          "the head; tighten its mount, then update all tips");
        break;
    case TT_CHANGE_SEAT_OR_CAMERA:
        tt_buffer_puts(b,
                       ", its runout and radius stayed: its holder, the head or the camera moved; "
                       "one tip alone cannot show which; check all three, then update its offset");
        break;
    default:
        tt_buffer_puts(
            b, ", and the plate stayed where it was: the camera moved against the tips, or the "
               "head that carries them; tighten the camera's mount, then update all tips");
        break;
    }
}

/* Heights count upwards: a tip that became shorter reaches the plate with the head further down. */
static void say_height(struct tt_buffer *b, const char *name, const struct tt_trend_change *c)
{
    tt_buffer_printf(b, "the height of %s moved by ", name);
    say_um(b, "", c->height_shift_mm, c->u_height_shift_mm);
    tt_buffer_puts(
        b, c->height_shift_mm < 0
               ? ", the other tips' and its offset stayed: it is shorter, worn, chipped or pushed "
                 "up in its holder; look at it, then update its height"
               : ", the other tips' and its offset stayed: it reaches further down, slipped in its "
                 "holder or with dirt on its end; look at it, then update its height");
}

static void say_heights(struct tt_buffer *b, bool one, const struct tt_trend_change *c)
{
    say_um(b, one ? "the height moved by " : "the heights of all tips moved by ",
           c->height_shift_mm, c->u_height_shift_mm);
    tt_buffer_puts(
        b, one ? ": Z was homed elsewhere, the plate lies higher or lower, or the tip is longer or "
                 "shorter; one tip alone cannot show which; check all three, then update its height"
               : ", by the same: Z was homed elsewhere, or the plate lies higher or lower on its "
                 "seat; clean the seat and home Z again, then update all heights");
}

static void say_lost_motion(struct tt_buffer *b, const struct tt_trend_change *c)
{
    say_um(b, "contact radii along X, against those along Y, changed by ", c->edge_shift_mm,
           c->u_edge_shift_mm);
    tt_buffer_puts(b, ": the axes lose more motion or less when they reverse; look at belts, "
                      "screws and couplings");
}

static void say_edge(struct tt_buffer *b, const char *name, const struct tt_trend_change *c)
{
    if (c->code == TT_CHANGE_LOST_MOTION) {
        say_lost_motion(b, c);
        return;
    }
    tt_buffer_printf(b, "edge %s lies ", name);
    tt_number_write_fixed(b, 1e3 * fabs(c->edge_shift_mm), c->u_edge_shift_mm < 0.0095 ? 1 : 0,
                          false);
    tt_buffer_puts(b, c->edge_shift_mm < 0
                          ? " \xc2\xb5m further in: a film, clean it; or it is bent"
                          : " \xc2\xb5m further out: a film came off, or it is bent; look at it");
}

static void say_change(struct tt_buffer *b, const struct tiptrue_trend *trend,
                       const struct tt_trend_change *c)
{
    const char *tip = c->tip < trend->n_tips ? trend->tips[c->tip].name : "";
    bool one = trend->n_tips == 1;

    switch (c->code) {
    case TT_CHANGE_SEAT:
    case TT_CHANGE_TIP_CHANGED:
        say_tip(b, tip, c);
        break;
    case TT_CHANGE_PLATE_POSE:
        say_mark(b, c);
        tt_buffer_puts(b, ": it was taken off or slipped, or the machine was re-homed; the offsets "
                          "stayed as they were, nothing to do");
        break;
    case TT_CHANGE_EDGE_MOVED:
    case TT_CHANGE_LOST_MOTION:
        say_edge(b, c->edge < trend->n_edges ? trend->edges[c->edge].name : "", c);
        break;
    case TT_CHANGE_TIP_HEIGHT:
        say_height(b, tip, c);
        break;
    case TT_CHANGE_Z_HOME:
    case TT_CHANGE_HEIGHT_OR_Z_HOME:
        say_heights(b, one, c);
        break;
    case TT_CHANGE_CAMERA_OR_HEAD:
    case TT_CHANGE_CAMERA:
    case TT_CHANGE_SEAT_OR_CAMERA:
    case TT_CHANGE_PLATE_MOVED:
        say_offsets(b, one, c);
        break;
    }
}

static bool give(struct tiptrue_trend *trend, struct tt_trend_change *change)
{
    struct tt_buffer b = {0};

    say_change(&b, trend, change);
    if (change->drift_alike) {
        tt_buffer_puts(&b, " (a drift over these weeks would explain the runs about as well)");
    }
    change->cause = cause_of(change);
    change->text = tt_buffer_keep(&b, &trend->arena);
    return change->text != NULL;
}

/* ---- repeatability, and edges that trigger late ---- */

static void say_level(struct tt_buffer *b, enum tt_track_kind kind, double value)
{
    if (kind == TT_TRACK_LATE) {
        tt_words_percent(b, value);
    } else {
        tt_words_um(b, value);
    }
}

static bool is_present(enum tt_track_code code)
{
    return code == TT_TRACK_RISES || code == TT_TRACK_NOISIER;
}

static void say_track_subject(struct tt_buffer *b, const struct tiptrue_trend *trend,
                              const struct tt_trend_track *track, enum tt_track_code code)
{
    bool present = is_present(code);

    if (track->kind == TT_TRACK_LATE) {
        tt_buffer_printf(b, "edge %s %s late",
                         track->edge < trend->n_edges ? trend->edges[track->edge].name : "",
                         present ? "triggers" : "triggered");
    } else {
        tt_buffer_printf(b, "%s %s less well",
                         track->kind == TT_TRACK_TOUCH ? "touches" : "sightings",
                         present ? "repeat" : "repeated");
    }
}

static void say_track_time(struct tt_buffer *b, bool late, const struct tt_track_event *e,
                           const struct tiptrue_zone *zone)
{
    char from[TT_MINUTE_SIZE], to[TT_MINUTE_SIZE];

    tt_minute_write(zone, e->from_s, from);
    tt_minute_write(zone, e->to_s, to);
    if (e->code == TT_TRACK_RISES) {
        tt_buffer_puts(b, late ? " more and more often" : " from week to week");
    } else if (e->code == TT_TRACK_NOISY) {
        tt_buffer_printf(b, " from %s to %s", from, to);
    } else if (is_present(e->code)) {
        tt_buffer_printf(b, " since %s", from);
    } else {
        tt_buffer_printf(b, " until %s", to);
    }
}

void tt_trend_say_track(struct tt_buffer *b, const struct tiptrue_trend *trend,
                        const struct tt_trend_track *track, const struct tt_track_event *e,
                        const struct tiptrue_zone *zone)
{
    static const char *const TO_DO[][4] = {
        {"a noisy time; look for what shook or was loose then",
         "look for a loose plate, tip or cable, and for vibration", "whatever it was has passed",
         "look for a loose plate, tip or cable, and for vibration"},
        {"a noisy time; look for what light or focus were then",
         "look at light and focus of the camera, and clean the marks", "whatever it was has passed",
         "look at light and focus of the camera, and clean the marks"},
        {"it was dirty then", "clean it, and look for what dirties it", "it was cleaned",
         "it needs cleaning more and more often"}};
    static const char *const OTHERWISE[] = {" otherwise", " before", " since", " now"};
    bool late = track->kind == TT_TRACK_LATE, rises = e->code == TT_TRACK_RISES;

    say_track_subject(b, trend, track, e->code);
    say_track_time(b, late, e, zone);
    tt_buffer_puts(b, late ? ", in " : ", by ");
    say_level(b, track->kind, rises ? e->otherwise : e->value);
    tt_buffer_puts(b, late ? " of its touches" : "");
    if (rises) {
        tt_buffer_puts(b, " at first and ");
    } else {
        tt_buffer_printf(b, " (%zu runs), ", e->runs);
    }
    say_level(b, track->kind, rises ? e->value : e->otherwise);
    tt_buffer_printf(b, "%s: %s", OTHERWISE[e->code], TO_DO[track->kind][e->code]);
}

enum tiptrue_status tt_trend_say_changes(struct tiptrue_trend *trend)
{
    bool good = !trend->latest.differs || give(trend, &trend->latest.change);

    for (size_t i = 0; i < trend->n_changes; i++) {
        good = good && give(trend, &trend->changes[i]);
    }
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

/* ---- what happened beside, and what the charts saw ---- */

static void say_axes(struct tt_buffer *b, const struct tt_trend_event *e)
{
    static const char *const WHAT[] = {"a move of 100 mm along x is", "a move of 100 mm along y is",
                                       "the y axis leans over 100 mm"};
    static const char *const HOW[][2] = {{"shorter", "longer"},
                                         {"shorter", "longer"},
                                         {"further clockwise", "further counter-clockwise"}};

    tt_buffer_printf(
        b,
        "the axes changed: %s by %s \xc2\xb5m %s than before; look for a belt that was "
        "tightened or changed, a loose frame, or another temperature",
        WHAT[e->axis], tt_fixed(1e3 * fabs(e->change), 0, false).text, HOW[e->axis][e->change > 0]);
    if (e->has_temperature) {
        tt_buffer_printf(b,
                         "; it was at %s \xc2\xb0"
                         "C, and %s before",
                         tt_fixed(e->temperature_C, 1, false).text,
                         tt_fixed(e->before_C, 1, false).text);
    }
}

static void say_board(struct tt_buffer *b, const struct tt_trend_event *e)
{
    if (e->verdict == TIPTRUE_KEEP) {
        tt_buffer_printf(b, "confirmed by %zu parts (board %s)", e->parts, e->what);
    } else if (e->verdict == TIPTRUE_UPDATE) {
        tt_buffer_printf(b,
                         "%zu parts show the calibration off; `tiptrue history show %s' says how",
                         e->parts, e->what);
    } else {
        tt_buffer_printf(b, "%zu parts could not tell whether the calibration holds (board %s)",
                         e->parts, e->what);
    }
}

void tt_event_words(const struct tt_trend_event *e, struct tt_buffer *b)
{
    switch (e->code) {
    case TT_EVENT_AXES_CHANGED:
        say_axes(b, e);
        break;
    case TT_EVENT_CAMERA_TURNED:
        tt_buffer_printf(b,
                         "the camera turned by %s\xc2\xb0 (counter-clockwise is positive), %s; "
                         "tighten its bracket, and write the new turn into the machine",
                         tt_fixed(tt_deg_from_rad(e->change), 3, true).text,
                         e->with_offsets
                             ? "and all offsets moved with it: the camera was moved as a whole"
                             : "and the offsets stayed: it turned about its own axis");
        break;
    case TT_EVENT_FOCUS_MOVED:
        tt_buffer_printf(b,
                         "the focus moved: a pixel is %s %% larger on the board than before; check "
                         "the lens and the height of the camera, and write the new scale into the "
                         "machine",
                         tt_fixed(100 * e->change, 3, true).text);
        break;
    case TT_EVENT_LEFT_OUT:
        tt_buffer_printf(b, "run %s is kept out: %.200s", e->id != NULL ? e->id : "", e->what);
        break;
    case TT_EVENT_NOTE:
        tt_buffer_puts(b, e->what);
        break;
    case TT_EVENT_PLACEMENT:
        say_board(b, e);
        break;
    case TT_EVENT_PLATE_CHANGED:
        tt_buffer_printf(b,
                         "another plate: '%.100s' after '%.100s'; its offsets are compared as well "
                         "as the plates are known",
                         e->what, e->was);
        break;
    }
}

const char *tt_signal_rule(enum tt_chart chart)
{
    static const char *const RULES[] = {
        [TT_CHART_INDIVIDUALS] =
            "individuals: one run further than 3 standard deviations from the baseline's mean",
        [TT_CHART_MOVING_RANGE] = "moving range: two runs in a row further apart than 3.27 times "
                                  "the baseline's mean range",
        [TT_CHART_EWMA] = "EWMA: the exponentially weighted mean (weight 0.2) further than its 3 "
                          "standard deviations from the baseline's mean",
        [TT_CHART_CUSUM] = "CUSUM: the sum of deviations beyond half a standard deviation has "
                           "passed 5 standard deviations",
        [TT_CHART_T2] =
            "T-squared: the offset as a whole rarer than one run in 370 of the baseline",
        [TT_CHART_RUN] = "single run: it stands apart from the runs before and after"};
    return RULES[chart];
}

void tt_signal_words(const struct tt_signal *s, struct tt_buffer *b)
{
    static const char *const WORDS[] = {[TT_CHART_INDIVIDUALS] = "run off the baseline",
                                        [TT_CHART_MOVING_RANGE] = "jump from the run before",
                                        [TT_CHART_EWMA] = "mean of the last runs off the baseline",
                                        [TT_CHART_CUSUM] = "runs off the baseline for some time",
                                        [TT_CHART_T2] = "run off the baseline in the plane",
                                        [TT_CHART_RUN] = "all tips were off in this run alone"};

    tt_buffer_puts(b, s->of_one_tip ? "this tip was off in this run alone" : WORDS[s->chart]);
    if (s->axis != 0) {
        tt_buffer_printf(b, " along %c by %s \xc2\xb5m", s->axis,
                         tt_fixed(1e3 * s->off_mm, 1, true).text);
    }
}

/* ---- two runs ---- */

static void put_pair(struct tt_buffer *b, const struct tt_difference *d)
{
    tt_words_shift(b, d->x, d->y, sqrt(d->cov.xx_mm2), sqrt(d->cov.yy_mm2));
}

static void put_p(struct tt_buffer *b, double p)
{
    if (p < 0.001) {
        tt_buffer_puts(b, "under 0.1 %");
    } else {
        tt_buffer_printf(b, "%s %%", tt_fixed(100 * p, p < 0.0995 ? 1 : 0, false).text);
    }
}

static const char *say_tip_difference(struct tiptrue_comparison *comparison,
                                      const struct tt_tip_comparison *c)
{
    struct tt_buffer b = {0};

    if (!c->offset.known) {
        tt_buffer_printf(&b, "%s: one of the runs does not determine its offset", c->name);
    } else {
        tt_buffer_printf(&b, "%s: ", c->name);
        tt_buffer_puts(&b, c->offset.significant ? "its offset moved by "
                                                 : "no real difference of its offset: ");
        put_pair(&b, &c->offset);
        tt_buffer_puts(&b, "; two runs differ this much by chance ");
        put_p(&b, c->offset.p);
        tt_buffer_puts(&b, " of the time");
        if (c->runout.known && c->runout.significant) {
            tt_buffer_puts(&b, "; its runout moved by ");
            put_pair(&b, &c->runout);
        }
        if (c->radius.known && c->radius.significant) {
            tt_buffer_puts(&b, "; its contact radius changed by ");
            tt_words_um_pm(&b, c->radius.x, sqrt(c->radius.cov.xx_mm2));
            tt_buffer_puts(&b, " \xc2\xb5m");
        }
    }
    if (c->height.known && c->height.significant) {
        tt_buffer_puts(&b, "; its height changed by ");
        tt_words_um_pm(&b, c->height.x, sqrt(c->height.cov.xx_mm2));
        tt_buffer_puts(&b, " \xc2\xb5m");
    }
    return tt_buffer_keep(&b, &comparison->arena);
}

enum tiptrue_status tt_comparison_say(struct tiptrue_comparison *comparison)
{
    bool good = true;

    for (size_t i = 0; i < comparison->n_tips; i++) {
        struct tt_tip_comparison *tip = &comparison->tips[i];
        tip->text = say_tip_difference(comparison, tip);
        good = good && tip->text != NULL;
    }
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
