/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a machine's runs say over time as tiptrue.trend/1: the keys of docs/formats.md. */
#include "config.h"

#include "output/output.h"

#include "base/time.h"
#include "output/json/json_write.h"
#include "output/trend_words.h"

static void key_time(struct tt_json *json, const char *key, bool known, double time_s)
{
    char text[TT_TIME_SIZE];

    if (known) {
        tt_time_write(time_s, text);
    }
    tt_json_key_text(json, key, known ? text : NULL);
}

static void write_drift(struct tt_json *json, const struct tt_trend_tip *t)
{
    if (!tt_json_key_open_if(json, "drift_mm_per_week", t->has_drift, '{')) {
        return;
    }
    tt_json_key_fixed(json, "x", t->drift_x_mm_per_week);
    tt_json_key_fixed(json, "y", t->drift_y_mm_per_week);
    tt_json_key_fixed(json, "u_x", t->u_drift_x_mm_per_week);
    tt_json_key_fixed(json, "u_y", t->u_drift_y_mm_per_week);
    tt_json_key_number(json, "p", t->p_drift);
    tt_json_key_bool(json, "significant", t->drift_significant);
    tt_json_key_bool(json, "step_alike", t->step_alike);
    tt_json_close(json, '}');
}

static void write_forecast(struct tt_json *json, const struct tt_forecast *f)
{
    bool dated = f->state == TT_FORECAST_DATE;

    if (!tt_json_key_open_if(json, "forecast", f->state != TT_FORECAST_NONE, '{')) {
        return;
    }
    tt_json_key_fixed(json, "permitted_error_mm", f->permitted_error_mm);
    key_time(json, "date", dated, f->date_s);
    key_time(json, "from", f->has_from, f->from_s);
    key_time(json, "to", dated && f->has_to, f->to_s);
    tt_json_key_text(json, "counts_from", f->from_present ? "present-offset" : "update-now");
    tt_json_key_bool(json, "over_now", f->over_now);
    tt_json_key_text(json, "text", tt_forecast_words(f));
    tt_json_close(json, '}');
}

static void write_signals(struct tt_json *json, const struct tt_trend_tip *t)
{
    struct tt_buffer words = {0};

    tt_json_key_open(json, "signals", '[');
    for (size_t i = 0; i < t->n_signals; i++) {
        const struct tt_signal *s = &t->signals[i];
        const char axis[2] = {s->axis, '\0'};
        tt_json_open(json, '{');
        tt_json_key_text(json, "run", t->points[s->point].id);
        key_time(json, "started", true, t->points[s->point].time_s);
        tt_json_key_text(json, "chart", tt_chart_word(s->chart));
        tt_json_key_text(json, "axis", s->axis != 0 ? axis : NULL);
        tt_json_key_text(json, "rule", tt_signal_rule(s->chart));
        tt_signal_words(s, &words);
        tt_json_key_words(json, "text", &words);
        tt_json_key_count(json, "runs", s->runs);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
    tt_buffer_clear(&words);
}

static void write_points(struct tt_json *json, const struct tt_trend_tip *t)
{
    tt_json_key_open(json, "points", '[');
    for (size_t i = 0; i < t->n_points; i++) {
        const struct tt_trend_point *p = &t->points[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "run", p->id);
        key_time(json, "started", true, p->time_s);
        tt_json_key_xy(json, "offset_mm", p->offset.x_mm, p->offset.y_mm);
        tt_json_key_xy(json, "u_mm", p->u_x_mm, p->u_y_mm);
        tt_json_key_xy(json, "fitted_mm", p->fitted.x_mm, p->fitted.y_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void write_height_points(struct tt_json *json, const struct tt_height_trend *h)
{
    tt_json_key_open(json, "points", '[');
    for (size_t i = 0; i < h->n_points; i++) {
        const struct tt_height_point *p = &h->points[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "run", p->id);
        key_time(json, "started", true, p->time_s);
        tt_json_key_fixed(json, "height_mm", p->height_mm);
        tt_json_key_fixed(json, "u_mm", p->u_mm);
        tt_json_key_fixed(json, "fitted_mm", p->fitted_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void write_height(struct tt_json *json, const struct tt_height_trend *h, bool points)
{
    if (!tt_json_key_open_if(json, "height", h->n_points > 0, '{')) {
        return;
    }
    tt_json_key_count(json, "runs", h->n_points);
    tt_json_key_fixed(json, "last_mm", h->points[h->n_points - 1].height_mm);
    tt_json_key_fixed_if(json, "present_mm", h->has_present, h->present_mm);
    tt_json_key_fixed(json, "within_run_u_mm", h->within_u_mm);
    tt_json_key_fixed(json, "between_run_u_mm", h->between_mm);
    tt_json_key_fixed(json, "u_between_run_u_mm", h->u_between_mm);
    if (tt_json_key_open_if(json, "drift_mm_per_week", h->has_drift, '{')) {
        tt_json_key_fixed(json, "value", h->drift_mm_per_week);
        tt_json_key_fixed(json, "u", h->u_drift_mm_per_week);
        tt_json_key_number(json, "p", h->p_drift);
        tt_json_key_bool(json, "significant", h->drift_significant);
        tt_json_key_bool(json, "step_alike", h->step_alike);
        tt_json_close(json, '}');
    }
    write_forecast(json, &h->forecast);
    if (points) {
        write_height_points(json, h);
    }
    tt_json_close(json, '}');
}

static void write_tip(struct tt_json *json, const struct tt_trend_tip *t, bool points)
{
    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", t->name);
    tt_json_key_count(json, "runs", t->runs);
    tt_json_key_both_if(json, "last_mm", t->runs > 0, t->last.x_mm, t->last.y_mm);
    tt_json_key_both_if(json, "present_mm", t->has_present, t->present.x_mm, t->present.y_mm);
    tt_json_key_xy(json, "within_run_u_mm", t->within_u_x_mm, t->within_u_y_mm);
    tt_json_key_open(json, "between_run_u_mm", '{');
    tt_json_key_fixed(json, "x", t->between.x_mm);
    tt_json_key_fixed(json, "y", t->between.y_mm);
    tt_json_key_fixed(json, "u_x", t->between.u_x_mm);
    tt_json_key_fixed(json, "u_y", t->between.u_y_mm);
    tt_json_close(json, '}');
    write_drift(json, t);
    tt_json_key_bool(json, "wears", t->wears);
    tt_json_key_open(json, "baseline", '{');
    tt_json_key_count(json, "runs", t->baseline_runs);
    key_time(json, "from", t->baseline_runs > 0, t->baseline_from_s);
    key_time(json, "to", t->baseline_runs > 0, t->baseline_to_s);
    tt_json_close(json, '}');
    write_signals(json, t);
    write_forecast(json, &t->forecast);
    write_height(json, &t->height, points);
    if (points) {
        write_points(json, t);
    }
    tt_json_close(json, '}');
}

/* What moved and by how much: the keys that a change and the latest run share. */
static void write_moved(struct tt_json *json, const struct tiptrue_trend *trend,
                        const struct tt_trend_change *c)
{
    bool edge = c->edge < trend->n_edges;

    tt_json_key_text(json, "moved", tt_moved_word(c->moved));
    tt_json_key_text(json, "tip", c->tip < trend->n_tips ? trend->tips[c->tip].name : NULL);
    tt_json_key_text(json, "edge", edge ? trend->edges[c->edge].name : NULL);
    tt_json_key_text(json, "code", tt_change_word(c->code));
    tt_json_key_text(json, "cause", c->cause);
    tt_json_key_both_if(json, "shift_mm", c->has_shift, c->shift.x_mm, c->shift.y_mm);
    tt_json_key_both_if(json, "u_shift_mm", c->has_shift, c->u_shift_x_mm, c->u_shift_y_mm);
    tt_json_key_both_if(json, "runout_shift_mm", c->has_runout_shift, c->runout_shift.x_mm,
                        c->runout_shift.y_mm);
    tt_json_key_fixed_if(json, "contact_radius_shift_mm", c->has_radius_shift, c->radius_shift_mm);
    tt_json_key_both_if(json, "mark_shift_mm", c->has_pose_shift, c->mark_shift.x_mm,
                        c->mark_shift.y_mm);
    tt_json_key_fixed_if(json, "yaw_shift_deg", c->has_pose_shift,
                         tt_deg_from_rad(c->yaw_shift_rad));
    tt_json_key_fixed_if(json, "height_shift_mm", c->has_height_shift, c->height_shift_mm);
    tt_json_key_fixed_if(json, "u_height_shift_mm", c->has_height_shift, c->u_height_shift_mm);
    tt_json_key_fixed_if(json, "edge_shift_mm", edge, c->edge_shift_mm);
    tt_json_key_fixed_if(json, "u_edge_shift_mm", edge, c->u_edge_shift_mm);
    if (c->moved == TT_MOVED_AXES) {
        tt_json_key_fixed_if(json, "lost_motion_shift_mm", true, c->edge_shift_mm);
        tt_json_key_fixed_if(json, "u_lost_motion_shift_mm", true, c->u_edge_shift_mm);
    }
}

static void write_change(struct tt_json *json, const struct tiptrue_trend *trend,
                         const struct tt_trend_change *c)
{
    tt_json_open(json, '{');
    key_time(json, "after", true, c->after_s);
    key_time(json, "before", true, c->before_s);
    write_moved(json, trend, c);
    tt_json_key_number(json, "confidence", c->confidence);
    tt_json_key_number(json, "attribution", c->attribution);
    tt_json_key_bool(json, "drift_alike", c->drift_alike);
    tt_json_key_text(json, "text", c->text);
    tt_json_close(json, '}');
}

static void write_latest(struct tt_json *json, const struct tiptrue_trend *trend)
{
    const struct tt_trend_latest *latest = &trend->latest;

    if (!tt_json_key_open_if(json, "latest", latest->judged, '{')) {
        return;
    }
    tt_json_key_text(json, "run", latest->id);
    key_time(json, "started", true, latest->time_s);
    tt_json_key_bool(json, "differs", latest->differs);
    if (latest->differs) {
        write_moved(json, trend, &latest->change);
        tt_json_key_number(json, "confidence", latest->change.confidence);
        tt_json_key_text(json, "text", latest->change.text);
    }
    tt_json_close(json, '}');
}

static void write_edges(struct tt_json *json, const struct tiptrue_trend *trend)
{
    tt_json_key_open(json, "edges", '[');
    for (size_t i = 0; i < trend->n_edges; i++) {
        const struct tt_trend_edge *e = &trend->edges[i];
        if (e->runs == 0) {
            continue; /* of another plate */
        }
        tt_json_open(json, '{');
        tt_json_key_text(json, "edge", e->name);
        tt_json_key_count(json, "runs", e->runs);
        tt_json_key_fixed(json, "last_shift_mm", e->last_mm);
        tt_json_key_fixed_if(json, "drift_mm_per_week", e->drifts, e->drift_mm_per_week);
        tt_json_key_fixed_if(json, "u_drift_mm_per_week", e->drifts, e->u_drift_mm_per_week);
        tt_json_key_count(json, "touches", e->touches);
        tt_json_key_count(json, "late", e->late);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

/* A level of a track: a length or a share, by the track. */
static void write_level(struct tt_json *json, const struct tt_trend_track *t, double value,
                        bool otherwise)
{
    bool share = t->kind == TT_TRACK_LATE;

    tt_json_key_fixed_if(json, otherwise ? "u_otherwise_mm" : "u_mm", !share, value);
    tt_json_key_fixed_if(json, otherwise ? "share_otherwise" : "share", share, value);
}

static void write_tracks(struct tt_json *json, const struct tiptrue_trend *trend)
{
    struct tt_buffer words = {0};

    tt_json_key_open(json, "tracks", '[');
    for (size_t i = 0; i < trend->n_tracks; i++) {
        const struct tt_trend_track *t = &trend->tracks[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "track", tt_track_word(t->kind));
        tt_json_key_text(json, "edge", t->edge != TT_NONE ? trend->edges[t->edge].name : NULL);
        tt_json_key_count(json, "runs", t->runs);
        write_level(json, t, t->value, false);
        tt_json_key_open(json, "events", '[');
        for (size_t k = 0; k < t->n_events; k++) {
            const struct tt_track_event *e = &t->events[k];
            tt_json_open(json, '{');
            tt_json_key_text(json, "code", tt_track_code_word(e->code));
            key_time(json, "from", true, e->from_s);
            key_time(json, "to", true, e->to_s);
            tt_json_key_count(json, "runs", e->runs);
            write_level(json, t, e->value, false);
            write_level(json, t, e->otherwise, true);
            tt_json_key_number(json, "p", e->p);
            tt_trend_say_track(&words, trend, t, e, NULL);
            tt_json_key_words(json, "text", &words);
            tt_json_close(json, '}');
        }
        tt_json_close(json, ']');
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
    tt_buffer_clear(&words);
}

static void write_smooth(struct tt_json *json, const struct tiptrue_trend *trend)
{
    if (tt_json_key_open_if(json, "temperature_mm_per_K", trend->has_temperature, '{')) {
        tt_json_key_fixed(json, "x", trend->temperature_x_mm_per_K);
        tt_json_key_fixed(json, "y", trend->temperature_y_mm_per_K);
        tt_json_key_fixed(json, "u_x", trend->u_temperature_x_mm_per_K);
        tt_json_key_fixed(json, "u_y", trend->u_temperature_y_mm_per_K);
        tt_json_close(json, '}');
    }
    if (tt_json_key_open_if(json, "height_temperature_mm_per_K", trend->has_height_temperature,
                            '{')) {
        tt_json_key_fixed(json, "value", trend->height_mm_per_K);
        tt_json_key_fixed(json, "u", trend->u_height_mm_per_K);
        tt_json_close(json, '}');
    }
    tt_json_key_bool(json, "season", trend->has_season);
    tt_json_key_bool(json, "pose_drifts", trend->pose_drifts);
}

static void write_events(struct tt_json *json, const struct tiptrue_trend *trend)
{
    struct tt_buffer words = {0};

    tt_json_key_open(json, "events", '[');
    for (size_t i = 0; i < trend->n_events; i++) {
        const struct tt_trend_event *e = &trend->events[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "run", e->id);
        key_time(json, "started", true, e->time_s);
        tt_json_key_text(json, "code", tt_event_word(e->code));
        tt_json_key_text(json, "board", e->code == TT_EVENT_PLACEMENT ? e->what : NULL);
        tt_event_words(e, &words);
        tt_json_key_words(json, "text", &words);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
    tt_buffer_clear(&words);
}

/* A series of the three numbers from @first on: the camera's or the axes', of the runs that tell
 * them; nothing where none does. */
static void write_machine(struct tt_json *json, const struct tiptrue_trend *trend, size_t first)
{
    static const char *const KEYS[] = {"turn_deg",        "scale_x_ppm",      "scale_y_ppm",
                                       "square_mm_per_m", "u_turn_deg",       "u_scale_x_ppm",
                                       "u_scale_y_ppm",   "u_square_mm_per_m"};
    bool open = false, camera = first == 0;

    for (size_t i = 0; i < trend->n_machine_runs; i++) {
        const struct tt_trend_machine *run = &trend->machine_runs[i];
        const double factor[] = {tt_deg_from_rad(1), 1e6, 1e6, 1e3};
        if (!(run->u[first] > 0)) {
            continue;
        }
        if (!open) {
            tt_json_key_open(json, camera ? "camera" : "axes", '[');
        }
        open = true;
        tt_json_open(json, '{');
        tt_json_key_text(json, "run", run->id);
        key_time(json, "started", true, run->time_s);
        if (camera) {
            tt_json_key_xy(json, "scale_mm_per_px", run->value[0], run->value[1]);
            tt_json_key_xy(json, "u_scale_mm_per_px", run->u[0], run->u[1]);
        }
        for (size_t k = camera ? 2 : first; k < first + 3; k++) {
            tt_json_key_fixed(json, KEYS[k - 2], factor[k - 2] * run->value[k]);
            tt_json_key_fixed(json, KEYS[k + 2], factor[k - 2] * run->u[k]);
        }
        tt_json_close(json, '}');
    }
    if (open) {
        tt_json_close(json, ']');
    }
}

void tt_output_trend_json(const struct tiptrue_trend *trend,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.trend/1");

    tt_json_key_text(&json, "machine", trend->machine);
    tt_json_key_count(&json, "runs", trend->runs_stored);
    tt_json_key_count(&json, "runs_looked_at", trend->runs);
    tt_json_key_count(&json, "runs_left_out", trend->runs_left_out);
    key_time(&json, "first", trend->runs > 0, trend->first_s);
    key_time(&json, "last", trend->runs > 0, trend->last_s);
    tt_json_key_open(&json, "plates", '[');
    for (size_t i = 0; i < trend->n_plates; i++) {
        tt_json_open(&json, '{');
        tt_json_key_text(&json, "plate", trend->plates[i].name);
        tt_json_key_count(&json, "runs", trend->plates[i].runs);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    tt_json_key_open(&json, "tips", '[');
    for (size_t i = 0; i < trend->n_tips; i++) {
        if (trend->shown_tip == TT_NONE || trend->shown_tip == i) {
            write_tip(&json, &trend->tips[i], options != NULL && options->observations);
        }
    }
    tt_json_close(&json, ']');
    tt_json_key_open(&json, "changes", '[');
    for (size_t i = 0; i < trend->n_changes; i++) {
        write_change(&json, trend, &trend->changes[i]);
    }
    tt_json_close(&json, ']');
    write_latest(&json, trend);
    write_edges(&json, trend);
    write_tracks(&json, trend);
    write_smooth(&json, trend);
    write_machine(&json, trend, 0);
    write_machine(&json, trend, 3);
    write_events(&json, trend);
    tt_json_close(&json, '}');
}
