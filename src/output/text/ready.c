/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The answer before a job for the person at the machine, to be understood in seconds: whether the
 * job may start, what holds of each tip, what changed, what to do. */
#include "config.h"

#include "output/output.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "output/page.h"
#include "output/text/follow.h"
#include "output/text/text_parts.h"
#include "output/trend_words.h"

/* All that is shown. */
#define MOST_LINES 12
/* Tips that have a line of their own; of more, those that are kept share one. */
#define MOST_TIPS 4
#define MOST_EDGES 2
#define COLUMNS 110
#define LEAST_COLUMNS 60

static const char *plate_of(const struct tiptrue_ready *ready)
{
    return ready->plate->serial != NULL ? ready->plate->serial : ready->plate->name;
}

/* "3 min", "2 h", "5 days" */
static void add_age(struct tt_buffer *words, double age_s)
{
    double minutes = floor(age_s / 60);

    if (age_s < 60) {
        tt_buffer_puts(words, "just now");
    } else if (minutes < 120) {
        tt_buffer_printf(words, "%d min ago", (int)minutes);
    } else if (minutes < 48 * 60) {
        tt_buffer_printf(words, "%d h ago", (int)(minutes / 60));
    } else {
        tt_buffer_printf(words, "%ld days ago", (long)(minutes / (24 * 60)));
    }
}

/* "2026-04-14 06:52" of a run's start. */
static void add_start(struct tt_page *page, const struct tiptrue_ready *ready)
{
    struct tt_buffer *words = &page->words;
    char minute[TT_MINUTE_SIZE];

    if (!ready->has_started) {
        tt_buffer_puts(words, "a run that does not say when it was started");
        return;
    }
    tt_minute_write(page->zone, ready->started_s, minute);
    tt_buffer_printf(words, "run of %.16s (", minute);
    add_age(words, ready->now_s - ready->started_s);
    tt_buffer_putc(words, ')');
}

static void say_headline(struct tt_page *page, const struct tiptrue_ready *ready)
{
    static const struct {
        const char *words;
        enum tt_colour colour;
    } HEADS[] = {[TIPTRUE_READY_START] = {"START THE JOB", TT_GREEN},
                 [TIPTRUE_READY_UPDATE] = {"UPDATE FIRST", TT_YELLOW},
                 [TIPTRUE_READY_STOP] = {"DO NOT START", TT_RED}};

    tt_page_colour(page, HEADS[ready->state].colour);
    tt_page_puts(page, HEADS[ready->state].words);
    tt_page_colour(page, TT_PLAIN);
    tt_buffer_printf(&page->words, ": %s, plate %s, ", ready->machine->name, plate_of(ready));
    add_start(page, ready);
    tt_page_say(page, 2);
}

/* An expanded uncertainty, two digits of it. */
static void add_um(struct tt_buffer *words, double mm)
{
    tt_number_write_fixed(words, 1e3 * mm, mm >= 0.0095 ? 0 : 1, false);
}

static void add_pair_mm(struct tt_buffer *words, struct tt_machine_xy at)
{
    tt_buffer_printf(words, "%s, %s" TT_TIED "mm", tt_fixed(at.x_mm, 4, true).text,
                     tt_fixed(at.y_mm, 4, true).text);
}

static void add_pair_um(struct tt_buffer *words, double x_mm, double y_mm)
{
    tt_buffer_printf(words, "%s, %s" TT_TIED TT_UM, tt_fixed(1e3 * x_mm, 1, true).text,
                     tt_fixed(1e3 * y_mm, 1, true).text);
}

/* "since 2026-04-13 -0.4, +0.2 um" of the tip @name, or what stood there before. */
static void add_change(struct tt_page *page, const struct tiptrue_ready *ready,
                       const struct tt_tip_result *tip)
{
    struct tt_buffer *words = &page->words;
    char minute[TT_MINUTE_SIZE];

    if (tip->offset_verdict != TIPTRUE_KEEP && tip->has_present) {
        bool written = ready->written && tt_tip_is_wanted(ready->solution, tip->name);
        tt_buffer_puts(words, written ? "; before " : "; in use ");
        add_pair_mm(words, tip->present);
        return;
    }
    for (size_t i = 0; ready->since != NULL && i < ready->since->n_tips; i++) {
        const struct tt_tip_comparison *since = &ready->since->tips[i];
        if (strcmp(since->name, tip->name) == 0 && since->offset.known) {
            tt_minute_write(page->zone, ready->before_s, minute);
            tt_buffer_printf(words, "; since %.10s: ", minute);
            add_pair_um(words, since->offset.x, since->offset.y);
        }
    }
}

static const char *word_of(const struct tiptrue_ready *ready, const struct tt_tip_result *tip)
{
    switch (tip->offset_verdict) {
    case TIPTRUE_KEEP:
        return "kept";
    case TIPTRUE_UPDATE:
        return ready->written && tt_tip_is_wanted(ready->solution, tip->name) ? "written" : "new";
    case TIPTRUE_REPEAT:
        return "not usable";
    case TIPTRUE_NOT_MEASURED:
        break;
    }
    return "not measured";
}

static size_t names_width(const struct tt_page *page, const struct tiptrue_solution *solution)
{
    size_t width = 0;

    for (size_t i = 0; i < solution->n_tips; i++) {
        width = tt_page_wider(page, width, solution->tips[i].name, 0);
    }
    return width;
}

/* A height that counts, on a line of its own. */
static void say_height(struct tt_page *page, const struct tt_tip_result *tip)
{
    const struct tt_height_result *height = tip->height;
    struct tt_buffer *words = &page->words;

    if (height == NULL || !height->has_verdict) {
        return;
    }
    tt_page_go(page, 4);
    if (height->verdict > TIPTRUE_UPDATE || !height->determined) {
        tt_buffer_printf(words, "height of %s not usable", tip->name);
    } else {
        tt_buffer_printf(words, "height of %s %s %s" TT_TIED "mm, " TT_PLUS_MINUS TT_TIED,
                         tip->name, height->verdict == TIPTRUE_KEEP ? "kept" : "new",
                         tt_fixed(height->value_mm, 4, true).text);
        add_um(words, height->same_plate_expanded_mm);
        tt_buffer_puts(words, TT_TIED TT_UM " change, " TT_PLUS_MINUS TT_TIED);
        add_um(words, height->expanded_mm);
        tt_buffer_puts(words, TT_TIED TT_UM " total");
        if (height->verdict == TIPTRUE_UPDATE && height->has_present) {
            tt_buffer_printf(words, "; in use %s" TT_TIED "mm",
                             tt_fixed(height->present_mm, 4, true).text);
        }
    }
    tt_page_say(page, 6);
}

static void say_tip(struct tt_page *page, const struct tiptrue_ready *ready,
                    const struct tt_tip_result *tip)
{
    struct tt_buffer *words = &page->words;

    tt_page_at(page, 2, tip->name);
    tt_page_tab(page, 4 + names_width(page, ready->solution));
    tt_page_puts(page, word_of(ready, tip));
    if (tip->offset_verdict <= TIPTRUE_UPDATE) {
        tt_page_tab(page, 13 + names_width(page, ready->solution));
        add_pair_mm(words, tip->offset);
        tt_buffer_puts(words, ", " TT_PLUS_MINUS TT_TIED);
        add_um(words, fmax(tip->same_plate_expanded_x_mm, tip->same_plate_expanded_y_mm));
        tt_buffer_puts(words, TT_TIED TT_UM " change, " TT_PLUS_MINUS TT_TIED);
        add_um(words, fmax(tip->expanded_x_mm, tip->expanded_y_mm));
        tt_buffer_puts(words, TT_TIED TT_UM " total");
        add_change(page, ready, tip);
        tt_page_say(page, 4);
    } else {
        tt_page_line_end(page);
    }
    say_height(page, tip);
}

static void say_tips(struct tt_page *page, const struct tiptrue_ready *ready)
{
    const struct tiptrue_solution *solution = ready->solution;
    size_t kept = 0;

    for (size_t i = 0; i < solution->n_tips; i++) {
        const struct tt_tip_result *tip = &solution->tips[i];
        if (solution->n_tips > MOST_TIPS && tip->verdict == TIPTRUE_KEEP) {
            kept++;
        } else {
            say_tip(page, ready, tip);
        }
    }
    if (kept > 0) {
        tt_page_go(page, 2);
        tt_buffer_printf(&page->words, "%zu %stips kept", kept,
                         kept < solution->n_tips ? "other " : "");
        tt_page_say(page, 4);
    }
}

/* What the runs before show: all tips alike, or what the latest run is by the test of the trend. */
static void say_since(struct tt_page *page, const struct tiptrue_ready *ready)
{
    struct tt_buffer *words = &page->words;
    char minute[TT_MINUTE_SIZE];

    if (ready->trend != NULL && ready->trend->latest.judged && ready->trend->latest.differs) {
        tt_page_go(page, 2);
        tt_buffer_puts(words, "against the runs before: ");
        tt_latest_words(ready->trend, page->zone, words);
        tt_page_say(page, 4);
    } else if (ready->all_alike) {
        tt_minute_write(page->zone, ready->before_s, minute);
        tt_page_go(page, 2);
        tt_buffer_printf(words, "since %.10s all tips moved by ", minute);
        add_pair_um(words, ready->alike.x_mm, ready->alike.y_mm);
        tt_buffer_puts(words, ": the camera, or the head that carries it");
        tt_page_say(page, 4);
    }
}

static void say_edges(struct tt_page *page, const struct tiptrue_ready *ready)
{
    struct tt_buffer *words = &page->words;

    for (size_t i = 0; i < ready->n_edges && i < MOST_EDGES; i++) {
        const struct tt_ready_edge *edge = &ready->edges[i];
        tt_page_go(page, 2);
        tt_buffer_printf(words, "clean edge '%s': %zu of %zu touches left out", edge->name,
                         edge->late, edge->touches);
        if (edge->has_before) {
            tt_buffer_printf(words, " (%zu of %zu in the run before)", edge->late_before,
                             edge->touches_before);
        }
        tt_page_say(page, 4);
    }
    if (ready->n_edges > MOST_EDGES) {
        tt_page_go(page, 2);
        tt_buffer_printf(words, "and %zu more edges with touches left out",
                         ready->n_edges - MOST_EDGES);
        tt_page_say(page, 4);
    }
}

/* Until when an offset holds that drifts. */
static void say_forecast(struct tt_page *page, const struct tiptrue_ready *ready)
{
    struct tt_buffer *words = &page->words;

    for (size_t i = 0; ready->trend != NULL && i < ready->trend->n_tips; i++) {
        const struct tt_trend_tip *tip = &ready->trend->tips[i];
        char date[TT_MINUTE_SIZE];
        if (!tip->drift_significant) {
            continue;
        }
        tt_page_go(page, 2);
        tt_buffer_printf(words, "%s drifts by ", tip->name);
        add_pair_um(words, tip->drift_x_mm_per_week, tip->drift_y_mm_per_week);
        tt_buffer_puts(words, " a week");
        if (tip->forecast.state == TT_FORECAST_DATE) {
            tt_minute_write(page->zone, tip->forecast.date_s, date);
            tt_buffer_printf(words, "; %s until %.10s",
                             tip->forecast.over_now ? "a new offset holds" : "its offset holds",
                             date);
        }
        tt_page_say(page, 4);
    }
}

/* What the last board said, and when one confirmed the calibration. */
static void say_board(struct tt_page *page, const struct tiptrue_ready *ready)
{
    const struct tt_last_board *board = &ready->board, *confirmed = &ready->confirmed;
    char when[TT_MINUTE_SIZE];

    if (board->id[0] == '\0') {
        return;
    }
    tt_page_go(page, 2);
    if (board->verdict != TIPTRUE_KEEP) {
        tt_minute_write(page->zone, board->time_s, when);
        tt_buffer_printf(&page->words,
                         board->verdict == TIPTRUE_UPDATE
                             ? "the board of %s, %zu parts, shows the calibration off (`tiptrue "
                               "history show %.8s'); "
                             : "the board of %s, %zu parts, could not tell (`tiptrue history show "
                               "%.8s'); ",
                         when, board->parts, board->id);
    }
    if (confirmed->id[0] == '\0') {
        tt_buffer_puts(&page->words, "no board has confirmed it yet");
    } else {
        tt_minute_write(page->zone, confirmed->time_s, when);
        tt_buffer_printf(&page->words, "confirmed by %zu parts on %s%s", confirmed->parts, when,
                         ready->written_since ? "; offsets were written since then" : "");
    }
    tt_page_say(page, 4);
}

static void add_written(struct tt_buffer *words, const struct tiptrue_exported *exported)
{
    tt_buffer_puts(words, "written into ");
    for (size_t i = 0; i < exported->n_files; i++) {
        tt_buffer_printf(words, "%s%s", i > 0 ? ", " : "", exported->files[i].file);
    }
    tt_buffer_puts(words, " and read back; `tiptrue ready --undo' puts the old one back");
}

static void say_next(struct tt_page *page, const struct tiptrue_ready *ready)
{
    struct tt_buffer *words = &page->words;
    bool update = ready->state == TIPTRUE_READY_UPDATE,
         heights_left = ready->exported != NULL && ready->exported->heights_left;
    const char *new = tt_text_new(ready->solution, !heights_left);

    tt_page_go(page, 2);
    if (ready->written && ready->exported->n_files > 0) {
        add_written(words, ready->exported);
    } else if (ready->written && new != NULL) {
        tt_buffer_printf(words, "the new %s stand there already", new);
    } else if (update && new != NULL) {
        tt_buffer_printf(words, "nothing was written: `tiptrue ready --write' writes the new %s",
                         new);
    } else if (ready->state == TIPTRUE_READY_STOP) {
        tt_buffer_puts(words, tt_text_mend(ready->solution));
    }
    if (update && heights_left) {
        tt_buffer_printf(words,
                         "%sthe new heights %s not written, for no place is named for them: write "
                         "them where the machine has them",
                         words->length > 0 ? "; " : "", ready->written ? "were" : "are");
    }
    if (words->length > 0) {
        tt_page_say(page, 4);
    }
}

static void say_warnings(struct tt_page *page, const struct tiptrue_solution *solution)
{
    size_t warnings = 0;

    for (size_t i = 0; i < solution->n_findings; i++) {
        warnings += solution->findings[i].severity == TIPTRUE_WARNING &&
                    solution->findings[i].code != TT_FINDING_LATE_CONTACT;
    }
    if (warnings > 0) {
        tt_page_go(page, 2);
        tt_buffer_printf(&page->words, "%zu warning%s: `tiptrue history show %.8s' has %s",
                         warnings, warnings == 1 ? "" : "s", solution->run_id,
                         warnings == 1 ? "it" : "them");
        tt_page_say(page, 4);
    }
}

/* The first lines of @text; where there are more than are shown, the last one says where. */
static void add_lines(const struct tiptrue_ready *ready, const struct tt_buffer *text,
                      struct tt_buffer *buffer)
{
    const char *at = text->text;
    size_t lines = 0;

    for (const char *c = at; c != NULL && *c != '\0'; c++) {
        lines += *c == '\n';
    }
    for (size_t i = 0; i + (lines > MOST_LINES) < MOST_LINES && i < lines; i++) {
        const char *end = strchr(at, '\n') + 1;
        if (end - at == 1) { /* no empty lines */
            at = end;
            continue;
        }
        tt_buffer_add(buffer, at, (size_t)(end - at));
        at = end;
    }
    if (lines > MOST_LINES) {
        tt_buffer_printf(buffer, "  more: `tiptrue history show %.8s'\n", ready->solution->run_id);
    }
}

void tt_output_ready_text(const struct tiptrue_ready *ready, bool brief,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_buffer text = {0};
    struct tt_page page = tt_page_new(&text, options, 1, SIZE_MAX);

    page.columns = brief                                                  ? 4 * COLUMNS
                   : options != NULL && options->columns >= LEAST_COLUMNS ? options->columns
                                                                          : COLUMNS;
    page.folded = TT_SHOWS_FOLDED;
    say_headline(&page, ready);
    if (!brief) {
        if (ready->state == TIPTRUE_READY_STOP) {
            tt_text_reasons(&page, ready->solution);
        }
        say_tips(&page, ready);
        say_since(&page, ready);
        if (!tt_left_out_follow(ready->solution)) {
            say_edges(&page, ready);
        }
        say_forecast(&page, ready);
        say_board(&page, ready);
        say_warnings(&page, ready->solution);
        say_next(&page, ready);
    }
    tt_page_end(&page);
    add_lines(ready, &text, buffer);
    buffer->failed = buffer->failed || text.failed;
    tt_buffer_clear(&text);
}
