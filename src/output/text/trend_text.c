/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A trend for a person: what changed and what drifts first, then the numbers, the charts, and the
 * latest signals. */
#include "config.h"

#include "output/output.h"

#include <math.h>
#include <stdint.h>

#include "base/number.h"
#include "output/text/text_parts.h"
#include "output/trend_words.h"

#define OFFSET_WIDTH 12
#define SCATTER_WIDTH 14
#define DRIFT_WIDTH 15
/* Signals shown for each tip; JSON has all of them. */
#define MOST_SIGNALS 3
/* Lines of a chart of one axis where the terminal does not say how many it has. */
#define CHART_ROWS 7
#define LEAST_CHART_ROWS 4
#define MOST_CHART_ROWS 16

static bool is_shown(const struct tiptrue_trend *trend, size_t tip)
{
    return trend->shown_tip == TT_NONE || trend->shown_tip == tip;
}

static void say_runs(struct tt_page *page, const struct tiptrue_trend *trend)
{
    char first[TT_MINUTE_SIZE], last[TT_MINUTE_SIZE];

    tt_minute_write(page->zone, trend->first_s, first);
    tt_minute_write(page->zone, trend->last_s, last);
    tt_buffer_printf(&page->words, "machine '%s': %zu run%s",
                     trend->machine != NULL ? trend->machine : "", trend->runs_stored,
                     trend->runs_stored == 1 ? "" : "s");
    if (trend->runs < trend->runs_stored) {
        tt_buffer_printf(&page->words, ", the last %zu of them looked at", trend->runs);
    }
    tt_buffer_printf(&page->words, ", %s to %s", first, last);
    if (trend->runs_left_out > 0) {
        tt_buffer_printf(&page->words, "; %zu left out, since nothing of %s may be used",
                         trend->runs_left_out, trend->runs_left_out == 1 ? "it" : "them");
    }
    if (trend->times_missing > 0) {
        tt_buffer_printf(&page->words, "; %zu of them %s made, and the time of entry stands in",
                         trend->times_missing,
                         trend->times_missing == 1 ? "does not say when it was"
                                                   : "do not say when they were");
    }
    for (size_t i = 0; i < trend->n_plates; i++) {
        tt_buffer_printf(&page->words, "%s'%s'",
                         i == 0 ? trend->n_plates > 1 ? "; plates " : "; plate " : ", ",
                         trend->plates[i].name);
    }
    tt_page_say(page, 2);
}

static bool drifts(const struct tt_trend_tip *tip)
{
    return tip->drift_significant || tip->height.drift_significant;
}

static size_t count_drifting(const struct tiptrue_trend *trend)
{
    size_t n = 0;

    for (size_t i = 0; i < trend->n_tips; i++) {
        n += is_shown(trend, i) && drifts(&trend->tips[i]);
    }
    return n;
}

/* The most runs that a shown tip has. */
static size_t most_runs(const struct tiptrue_trend *trend)
{
    size_t most = 0;

    for (size_t i = 0; i < trend->n_tips; i++) {
        most = is_shown(trend, i) && trend->tips[i].runs > most ? trend->tips[i].runs : most;
    }
    return most;
}

/* Nothing was found: because there is nothing, or because nobody could tell yet. */
static void say_nothing_found(struct tt_page *page, const struct tiptrue_trend *trend)
{
    bool few = most_runs(trend) < TT_FEWEST_TREND_RUNS;

    tt_page_colour(page, few ? TT_YELLOW : TT_GREEN);
    tt_page_puts(page, few ? "TOO FEW RUNS" : "QUIET");
    tt_page_colour(page, TT_PLAIN);
    if (few) {
        tt_buffer_printf(&page->words,
                         ": at most %zu per tip; %d are needed to tell a step from scatter",
                         most_runs(trend), TT_FEWEST_TREND_RUNS);
    } else {
        tt_buffer_puts(&page->words, ": nothing moved that the runs can show, and no tip drifts");
    }
    tt_page_say(page, 2);
}

static void say_headline(struct tt_page *page, const struct tiptrue_trend *trend)
{
    bool first = true;

    if (trend->n_changes == 0 && count_drifting(trend) == 0 && !trend->latest.differs) {
        say_nothing_found(page, trend);
        return;
    }
    tt_page_colour(page, TT_YELLOW);
    if (trend->latest.differs) {
        tt_page_puts(page, "THE LATEST RUN DIFFERS; ");
    }
    tt_page_printf(page, "%zu%s", trend->n_changes, trend->n_changes == 1 ? " CHANGE" : " CHANGES");
    tt_page_colour(page, TT_PLAIN);
    for (size_t i = 0; i < trend->n_tips; i++) {
        if (is_shown(trend, i) && drifts(&trend->tips[i])) {
            tt_buffer_printf(&page->words, "%s%s", first ? "; drifting: " : ", ",
                             trend->tips[i].name);
            first = false;
        }
    }
    if (first && trend->n_changes > 0) {
        tt_buffer_puts(&page->words, "; no tip drifts");
    }
    tt_page_say(page, 2);
}

static void say_latest(struct tt_page *page, const struct tiptrue_trend *trend)
{
    if (trend->latest.judged) {
        tt_page_puts(page, "  ");
        tt_latest_words(trend, page->zone, &page->words);
        tt_page_say(page, 4);
    }
}

static void say_edges(struct tt_page *page, const struct tiptrue_trend *trend)
{
    for (size_t i = 0; i < trend->n_edges; i++) {
        const struct tt_trend_edge *e = &trend->edges[i];
        if (e->drifts) {
            tt_page_puts(page, "  ");
            tt_buffer_printf(&page->words, "edge %s moves by %s" TT_TIED TT_UM " a week%s", e->name,
                             tt_um(e->drift_mm_per_week, e->u_drift_mm_per_week, true).text,
                             e->drift_mm_per_week < 0 ? ", further in: a film grows on it; clean it"
                                                      : ", further out: look at it");
            tt_page_say(page, 4);
        }
    }
}

static void say_tracks(struct tt_page *page, const struct tiptrue_trend *trend)
{
    for (size_t i = 0; i < trend->n_tracks; i++) {
        for (size_t k = 0; k < trend->tracks[i].n_events; k++) {
            tt_page_puts(page, "  ");
            tt_trend_say_track(&page->words, trend, &trend->tracks[i], &trend->tracks[i].events[k],
                               page->zone);
            tt_page_say(page, 4);
        }
    }
}

static void say_smooth(struct tt_page *page, const struct tiptrue_trend *trend)
{
    if (trend->has_temperature) {
        tt_page_puts(page, "  ");
        tt_buffer_printf(
            &page->words,
            "the offsets move with the temperature, by (%s, %s)" TT_TIED TT_UM " for each kelvin",
            tt_um(trend->temperature_x_mm_per_K, trend->u_temperature_x_mm_per_K, true).text,
            tt_um(trend->temperature_y_mm_per_K, trend->u_temperature_y_mm_per_K, true).text);
        tt_page_say(page, 4);
    }
    if (trend->has_height_temperature) {
        tt_page_puts(page, "  ");
        tt_buffer_puts(&page->words, "the heights move with the temperature, by ");
        tt_buffer_puts(&page->words,
                       tt_um(trend->height_mm_per_K, trend->u_height_mm_per_K, true).text);
        tt_buffer_puts(&page->words, TT_TIED TT_UM " for each kelvin");
        tt_page_say(page, 4);
    }
    if (trend->has_season) {
        tt_page_puts(page, "  ");
        tt_page_prose(
            page, 4,
            "the offsets of all tips swing slowly by the same amount, as with the season; a "
            "temperature column in the logs would show whether that is the cause");
    }
}

static void say_events(struct tt_page *page, const struct tiptrue_trend *trend)
{
    char when[TT_MINUTE_SIZE];

    for (size_t i = 0; i < trend->n_events; i++) {
        tt_minute_write(page->zone, trend->events[i].time_s, when);
        tt_page_puts(page, "  ");
        /* in quotation marks: what somebody wrote stays as it was written, lengths too */
        bool note = trend->events[i].code == TT_EVENT_NOTE;
        tt_buffer_printf(&page->words, note ? "%s: note '" : "%s: ", when);
        tt_event_words(&trend->events[i], &page->words);
        tt_buffer_puts(&page->words, note ? "'" : "");
        tt_page_say(page, 4);
    }
}

static void say_changes(struct tt_page *page, const struct tiptrue_trend *trend)
{
    for (size_t i = 0; i < trend->n_changes; i++) {
        const struct tt_trend_change *c = &trend->changes[i];
        char after[TT_MINUTE_SIZE], before[TT_MINUTE_SIZE];
        tt_minute_write(page->zone, c->after_s, after);
        tt_minute_write(page->zone, c->before_s, before);
        tt_page_puts(page, "  ");
        tt_buffer_printf(&page->words, "between %s and %s: %s", after, before, c->text);
        if (c->attribution < 0.95) {
            tt_buffer_printf(&page->words, " (what moved is not certain: %s %%)",
                             tt_fixed(100 * c->attribution, 0, false).text);
        }
        tt_page_say(page, 4);
    }
}

void tt_trend_own_names(const struct tiptrue_trend *trend, struct tt_own_names own[2])
{
    own[0] = (struct tt_own_names){trend->n_tips > 0 ? &trend->tips[0].name : NULL, trend->n_tips,
                                   sizeof trend->tips[0]};
    own[1] = (struct tt_own_names){trend->n_edges > 0 ? &trend->edges[0].name : NULL,
                                   trend->n_edges, sizeof trend->edges[0]};
}

void tt_trend_sentences(struct tt_page *page, const struct tiptrue_trend *trend)
{
    say_headline(page, trend);
    say_changes(page, trend);
    say_latest(page, trend);
    for (size_t i = 0; i < trend->n_tips; i++) {
        if (is_shown(trend, i)) {
            tt_say_drifts(page, &trend->tips[i]);
        }
    }
    say_edges(page, trend);
    say_tracks(page, trend);
    say_smooth(page, trend);
    say_events(page, trend);
    if (trend->pose_drifts) {
        tt_page_puts(page, "  ");
        tt_page_prose(page, 4,
                      "the plate's place or its turn drifts; the offsets do not suffer from that, "
                      "but its clamps may be loose");
    }
    tt_page_line_end(page);
    say_runs(page, trend);
}

static void table_head(struct tt_page *page, size_t at)
{
    tt_page_heads(page, "tip", at,
                  "6 runs|12 last x|12 last y|14 in a run|14 between runs|15 a week");
    tt_page_heads(page, "", at + 6,
                  "12 {length}|12 {length}|14 x, y, {small}|14 x, y, {small}|15 x, y, {small}");
}

/* "3.2  3.6", or with signs, in a cell. */
static void cell_pair(struct tt_page *page, size_t width, double x_mm, double y_mm, double u_mm,
                      bool plus)
{
    tt_cell_um(page, width / 2 + width % 2, x_mm, u_mm, plus);
    tt_cell_um(page, width / 2, y_mm, u_mm, plus);
}

static void table_row(struct tt_page *page, size_t at, const struct tt_trend_tip *t)
{
    tt_page_puts(page, t->name);
    tt_page_go(page, at);
    tt_page_cell_count(page, 6, t->runs);
    if (t->runs > 0) {
        tt_page_cell_length(page, OFFSET_WIDTH, t->last.x_mm, true);
        tt_page_cell_length(page, OFFSET_WIDTH, t->last.y_mm, true);
        cell_pair(page, SCATTER_WIDTH, t->within_u_x_mm, t->within_u_y_mm, 0.3 * t->within_u_x_mm,
                  false);
        if (t->runs >= TT_FEWEST_TREND_RUNS) {
            cell_pair(page, SCATTER_WIDTH, t->between.x_mm, t->between.y_mm,
                      fmax(t->between.u_x_mm, 1e-4), false);
        } else {
            tt_page_cell(page, SCATTER_WIDTH, "");
        }
        if (t->has_drift) {
            cell_pair(page, DRIFT_WIDTH, t->drift_x_mm_per_week, t->drift_y_mm_per_week,
                      t->u_drift_x_mm_per_week, true);
        }
    }
    tt_page_line_end(page);
}

static void table(struct tt_page *page, const struct tiptrue_trend *trend)
{
    size_t at = 5;

    for (size_t i = 0; i < trend->n_tips; i++) {
        at = tt_page_wider(page, at, trend->tips[i].name, 2);
    }
    table_head(page, at);
    for (size_t i = 0; i < trend->n_tips; i++) {
        if (is_shown(trend, i)) {
            table_row(page, at, &trend->tips[i]);
        }
    }
    tt_page_line_end(page);
    tt_page_prose(
        page, 0,
        "All are standard uncertainties on the same plate: in a run, what each run says of itself; "
        "between runs, how much more they scatter when changes and drift are taken out.");
}

static void say_signals(struct tt_page *page, const struct tt_trend_tip *t)
{
    size_t from = t->n_signals > MOST_SIGNALS ? t->n_signals - MOST_SIGNALS : 0;
    char time[TT_MINUTE_SIZE];

    for (size_t i = from; i < t->n_signals; i++) {
        const struct tt_signal *s = &t->signals[i];
        tt_minute_write(page->zone, t->points[s->point].time_s, time);
        tt_page_puts(page, "  ");
        tt_buffer_printf(&page->words, "%s %s, %s: ", time, t->name, tt_chart_word(s->chart));
        tt_signal_words(s, &page->words);
        if (s->runs > 1) {
            tt_buffer_printf(&page->words, ", for %zu runs", s->runs);
        }
        tt_page_say(page, 4);
    }
    if (from > 0) {
        tt_buffer_printf(&page->words, "  (%zu earlier signals of %s are in the JSON output)", from,
                         t->name);
        tt_page_say(page, 4);
    }
}

static void all_signals(struct tt_page *page, const struct tiptrue_trend *trend)
{
    size_t n = 0;

    for (size_t i = 0; i < trend->n_tips; i++) {
        n += is_shown(trend, i) ? trend->tips[i].n_signals : 0;
    }
    if (n == 0) {
        return;
    }
    tt_page_line_end(page);
    tt_buffer_printf(&page->words,
                     "Signals of the control charts (limits from the first %zu runs after each "
                     "change; by chance, a quiet tip gives one in some hundred runs):",
                     trend->baseline_runs);
    tt_page_say(page, 0);
    for (size_t i = 0; i < trend->n_tips; i++) {
        if (is_shown(trend, i)) {
            say_signals(page, &trend->tips[i]);
        }
    }
}

static size_t chart_rows(const struct tiptrue_text_options *options,
                         const struct tiptrue_trend *trend)
{
    size_t tips = trend->shown_tip == TT_NONE ? trend->n_tips : 1, charts = 0, rows = CHART_ROWS;

    for (size_t i = 0; i < trend->n_tips; i++) {
        charts += is_shown(trend, i) ? 2 + (size_t)(trend->tips[i].height.n_points > 0) : 0;
    }

    if (options != NULL && options->rows > 0 && charts > 0) {
        /* all charts on one screen, as far as they stay legible */
        rows = options->rows > 4 * tips ? (options->rows - 4 * tips) / charts : LEAST_CHART_ROWS;
    }
    return rows < LEAST_CHART_ROWS  ? LEAST_CHART_ROWS
           : rows > MOST_CHART_ROWS ? MOST_CHART_ROWS
                                    : rows;
}

static void charts(struct tt_page *page, const struct tiptrue_trend *trend, size_t rows)
{
    for (size_t i = 0; i < trend->n_tips; i++) {
        if (is_shown(trend, i) && trend->tips[i].n_points > 1) {
            tt_page_line_end(page);
            tt_buffer_printf(&page->words, "%s", trend->tips[i].name);
            tt_page_say(page, 0);
            tt_trend_chart(page, trend, &trend->tips[i], rows);
        }
    }
}

void tt_output_latest_text(const struct tiptrue_trend *trend,
                           const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 40, SIZE_MAX);

    tt_trend_own_names(trend, page.own);
    tt_buffer_puts(&page.words, "Against the history: ");
    tt_latest_words(trend, page.zone, &page.words);
    tt_page_say(&page, 2);
    tt_page_end(&page);
}

void tt_output_trend_text(const struct tiptrue_trend *trend,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 40, SIZE_MAX);

    tt_trend_own_names(trend, page.own);
    size_t wide = page.columns;
    page.columns = wide < 100 ? wide : 100; /* prose stays readable; charts take all of the width */
    tt_trend_sentences(&page, trend);
    tt_page_line_end(&page);
    table(&page, trend);
    tt_trend_heights(&page, trend);
    page.columns = wide;
    charts(&page, trend, chart_rows(options, trend));
    page.columns = wide < 100 ? wide : 100;
    all_signals(&page, trend);
    tt_page_end(&page);
}
