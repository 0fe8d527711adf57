/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From a trend (model/trend.h) to what the page of the weeks draws (model/weeks.h): one series for
 * each quantity of each tip. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "output/report/report.h"
#include "output/trend_words.h"

#define WEEK_S (7 * 86400.0)
/* For bars and bands: JCGM 100:2008, 6.3.3, a coverage of about 95 %. */
#define COVERAGE 2
/* A drift's forecast is drawn on by this share of the time it was seen over. */
#define FORECAST_SHARE 0.25
#define MEANS 9 /* places of a drift line: its band is curved */

struct building {
    const struct tiptrue_trend *trend;
    struct tt_arena arena;
    struct tt_weeks_series *series;
    size_t n_series;
    const char **sentences;
    size_t n_sentences;
    bool failed;
};

static double of_axis(struct tt_machine_xy xy, bool y)
{
    return y ? xy.y_mm : xy.x_mm;
}

/* Whether a chart of that axis, or of both, raises a signal at @point. */
static bool signals_at(const struct tt_trend_tip *tip, size_t point, bool y)
{
    for (size_t i = 0; i < tip->n_signals; i++) {
        if (tip->signals[i].point == point && tip->signals[i].axis != (y ? 'x' : 'y')) {
            return true;
        }
    }
    return false;
}

static struct tt_weeks_point offset_point(const struct tt_trend_tip *tip, size_t index, bool y)
{
    const struct tt_trend_point *p = &tip->points[index];
    double limit_mm = y ? p->limit_y_mm : p->limit_x_mm, centre_mm = of_axis(p->centre, y);
    bool judged = !p->in_baseline && limit_mm > 0;

    return (struct tt_weeks_point){.time_s = p->time_s,
                                   .value_mm = of_axis(p->offset, y),
                                   .expanded_mm = COVERAGE * (y ? p->u_y_mm : p->u_x_mm),
                                   .has_centre = judged || p->in_baseline,
                                   .has_limits = judged,
                                   .centre_mm = centre_mm,
                                   .low_mm = centre_mm - limit_mm,
                                   .high_mm = centre_mm + limit_mm,
                                   .has_ewma = judged,
                                   .ewma_mm = of_axis(p->ewma, y),
                                   .signal = signals_at(tip, index, y),
                                   .run_id = p->id};
}

/* The eccentricity, with the uncertainty of the runout vector along itself. */
static struct tt_weeks_point runout_point(const struct tt_trend_point *p)
{
    double e_mm = hypot(p->runout.x_mm, p->runout.y_mm);
    double u_mm =
        e_mm > 0
            ? hypot(p->runout.x_mm * p->u_runout_x_mm, p->runout.y_mm * p->u_runout_y_mm) / e_mm
            : p->u_runout_x_mm;

    return (struct tt_weeks_point){
        .time_s = p->time_s, .value_mm = e_mm, .expanded_mm = COVERAGE * u_mm, .run_id = p->id};
}

static struct tt_weeks_point radius_point(const struct tt_trend_point *p)
{
    return (struct tt_weeks_point){.time_s = p->time_s,
                                   .value_mm = p->radius_mm,
                                   .expanded_mm = COVERAGE * p->u_radius_mm,
                                   .run_id = p->id};
}

/* @fitted: levels, steps and drift together, which heights have in place of a chart. */
static struct tt_weeks_point height_point(const struct tt_height_point *p)
{
    return (struct tt_weeks_point){.time_s = p->time_s,
                                   .value_mm = p->height_mm,
                                   .expanded_mm = COVERAGE * p->u_mm,
                                   .has_centre = true,
                                   .centre_mm = p->fitted_mm,
                                   .run_id = p->id};
}

/* What @forecast permits about the value in use. */
static void add_permitted(struct tt_weeks_series *series, const struct tt_forecast *forecast,
                          bool has_present, double present_mm)
{
    series->has_permitted = has_present && forecast->state != TT_FORECAST_NONE;
    series->permitted_low_mm = present_mm - forecast->permitted_error_mm;
    series->permitted_high_mm = present_mm + forecast->permitted_error_mm;
}

/* The line of a drift through the middle of the stretch since the last change, with the band of a
 * straight line's mean: what its level is known to, and what its slope is, further from the middle
 * the more. */
static void add_drift(struct building *b, const struct tt_trend_tip *tip, bool y,
                      struct tt_weeks_series *series)
{
    struct tt_weeks_mean *means = TT_ARENA_NEW(&b->arena, MEANS, struct tt_weeks_mean);
    double sum_s = 0, sum_mm = 0, n = 0, first_s = 0, last_s = 0;
    double slope = (y ? tip->drift_y_mm_per_week : tip->drift_x_mm_per_week) / WEEK_S;
    double u_slope = (y ? tip->u_drift_y_mm_per_week : tip->u_drift_x_mm_per_week) / WEEK_S;
    double scatter_mm = y ? hypot(tip->within_u_y_mm, tip->between.y_mm)
                          : hypot(tip->within_u_x_mm, tip->between.x_mm);

    b->failed = b->failed || means == NULL;
    for (size_t i = 0; i < tip->n_points; i++) {
        if (tip->points[i].time_s >= tip->baseline_from_s) {
            first_s = n > 0 ? first_s : tip->points[i].time_s;
            last_s = tip->points[i].time_s;
            sum_s += tip->points[i].time_s;
            sum_mm += of_axis(tip->points[i].offset, y);
            n++;
        }
    }
    if (means == NULL || n < 2 || !(last_s > first_s)) {
        return;
    }
    double end_s = last_s + FORECAST_SHARE * (last_s - first_s);
    for (size_t k = 0; k < MEANS; k++) {
        double at_s = first_s + (end_s - first_s) * (double)k / (MEANS - 1),
               away_s = at_s - sum_s / n;
        double mean_mm = sum_mm / n + slope * away_s,
               u_mm = hypot(scatter_mm / sqrt(n), u_slope * away_s);
        means[k] = (struct tt_weeks_mean){at_s, mean_mm, mean_mm - COVERAGE * u_mm,
                                          mean_mm + COVERAGE * u_mm};
    }
    series->drift = means;
    series->n_drift = MEANS;
}

/* The runs of @tip that know @quantity, into @points; how many. */
static size_t fill_points(const struct tt_trend_tip *tip, enum tt_weeks_quantity quantity,
                          struct tt_weeks_point points[])
{
    size_t n = 0;

    for (size_t i = 0; quantity == TT_WEEKS_HEIGHT && i < tip->height.n_points; i++) {
        points[n++] = height_point(&tip->height.points[i]);
    }
    for (size_t i = 0; quantity != TT_WEEKS_HEIGHT && i < tip->n_points; i++) {
        const struct tt_trend_point *p = &tip->points[i];
        if (quantity == TT_WEEKS_RUNOUT && p->has_runout) {
            points[n++] = runout_point(p);
        } else if (quantity == TT_WEEKS_RADIUS && p->has_radius) {
            points[n++] = radius_point(p);
        } else if (quantity <= TT_WEEKS_OFFSET_Y) {
            points[n++] = offset_point(tip, i, quantity == TT_WEEKS_OFFSET_Y);
        }
    }
    return n;
}

static void add_series(struct building *b, size_t index, enum tt_weeks_quantity quantity)
{
    const struct tt_trend_tip *tip = &b->trend->tips[index];
    struct tt_weeks_series *series = &b->series[b->n_series];
    size_t most = tip->n_points > tip->height.n_points ? tip->n_points : tip->height.n_points;
    struct tt_weeks_point *points = TT_ARENA_NEW(&b->arena, most, struct tt_weeks_point);
    bool y = quantity == TT_WEEKS_OFFSET_Y;

    if (points == NULL) {
        b->failed = true;
        return;
    }
    *series = (struct tt_weeks_series){.tip = index, .quantity = quantity, .points = points};
    series->n_points = fill_points(tip, quantity, points);
    if (quantity == TT_WEEKS_HEIGHT) {
        add_permitted(series, &tip->height.forecast, tip->height.has_present,
                      tip->height.present_mm);
    } else if (quantity <= TT_WEEKS_OFFSET_Y) {
        add_permitted(series, &tip->forecast, tip->has_present, of_axis(tip->present, y));
        if (tip->has_drift && tip->drift_significant) {
            add_drift(b, tip, y, series);
        }
    }
    b->n_series++;
}

static void add_all_series(struct building *b)
{
    b->series =
        TT_ARENA_NEW(&b->arena, b->trend->n_tips * TT_WEEKS_QUANTITIES, struct tt_weeks_series);
    b->failed = b->failed || b->series == NULL;
    for (size_t i = 0; !b->failed && i < b->trend->n_tips; i++) {
        for (int quantity = 0; quantity < TT_WEEKS_QUANTITIES; quantity++) {
            add_series(b, i, (enum tt_weeks_quantity)quantity);
        }
    }
}

/* ---- the words ---- */

#define ENDLESS ((size_t)1 << 30)

/* The sentences of the text output, one to each line of an endless page. */
static void tell_all(struct building *b, const struct tt_report *report)
{
    struct tt_buffer text = {0};
    struct tt_page page = {.out = &text,
                           .utf8 = true,
                           .columns = ENDLESS,
                           .zone = &report->zone,
                           .units = report->units,
                           .own = {report->own[0], report->own[1]}};

    tt_trend_sentences(&page, b->trend);
    tt_page_end(&page);
    size_t lines = 1;
    for (const char *at = text.text; !text.failed && at != NULL && *at != '\0'; at++) {
        lines += *at == '\n';
    }
    b->sentences = TT_ARENA_NEW(&b->arena, lines, const char *);
    b->failed = b->failed || text.failed || b->sentences == NULL;
    for (const char *line = b->failed || text.text == NULL ? "" : text.text; *line != '\0';) {
        const char *end = line + strcspn(line, "\n");
        line += strspn(line, " ");
        if (end > line) {
            const char *copy = tt_arena_copy_text(&b->arena, line, (size_t)(end - line));
            b->failed = b->failed || copy == NULL;
            b->sentences[b->n_sentences++] = copy;
        }
        line = *end == '\0' ? end : end + 1;
    }
    tt_buffer_clear(&text);
}

/* @text in the units of the page; a copy that lasts as long as what is built. */
static const char *in_units(struct building *b, const struct tt_report *report, const char *text)
{
    struct tt_buffer shown = {0};

    tt_units_shown(report->units, report->own, text, &shown);
    const char *copy = shown.failed || shown.text == NULL
                           ? NULL
                           : tt_arena_copy_text(&b->arena, shown.text, shown.length);
    b->failed = b->failed || copy == NULL;
    tt_buffer_clear(&shown);
    return copy != NULL ? copy : "";
}

static bool is_quiet(const struct tiptrue_trend *trend)
{
    bool drifts = false;

    for (size_t i = 0; i < trend->n_tips; i++) {
        drifts = drifts || trend->tips[i].drift_significant;
    }
    return trend->n_changes == 0 && !drifts;
}

void tt_report_add_trend(struct tt_report *report, const struct tiptrue_trend *trend,
                         const struct tt_weeks_export exports[], size_t n_exports)
{
    struct building b = {.trend = trend};
    const char **tips = TT_ARENA_NEW(&b.arena, trend->n_tips, const char *);
    struct tt_weeks_change *changes =
        TT_ARENA_NEW(&b.arena, trend->n_changes, struct tt_weeks_change);

    tt_trend_own_names(trend, report->own);
    add_all_series(&b);
    tell_all(&b, report);
    if (b.failed || tips == NULL || changes == NULL) {
        report->failed = true;
        tt_arena_clear(&b.arena);
        return;
    }
    for (size_t i = 0; i < trend->n_tips; i++) {
        tips[i] = trend->tips[i].name;
    }
    for (size_t i = 0; i < trend->n_changes; i++) {
        const struct tt_trend_change *from = &trend->changes[i];
        bool only_height = from->code == TT_CHANGE_Z_HOME || from->code == TT_CHANGE_TIP_HEIGHT ||
                           from->code == TT_CHANGE_HEIGHT_OR_Z_HOME;
        changes[i] = (struct tt_weeks_change){from->moved == TT_MOVED_TIP ? from->tip : TT_NONE,
                                              from->after_s,
                                              from->before_s,
                                              only_height || from->has_height_shift,
                                              !only_height,
                                              in_units(&b, report, from->text)};
    }
    report->failed = report->failed || b.failed;
    const struct tt_weeks weeks = {.machine = trend->machine,
                                   .tips = tips,
                                   .n_tips = trend->n_tips,
                                   .series = b.series,
                                   .n_series = b.n_series,
                                   .changes = changes,
                                   .n_changes = trend->n_changes,
                                   .exports = exports,
                                   .n_exports = n_exports,
                                   .sentences = b.sentences,
                                   .n_sentences = b.n_sentences,
                                   .quiet = is_quiet(trend)};
    tt_report_add_weeks(report, &weeks);
    tt_arena_clear(&b.arena);
}
