/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words of a trend. */
#ifndef TT_OUTPUT_TREND_WORDS_H
#define TT_OUTPUT_TREND_WORDS_H

#include "base/number.h"
#include "model/trend.h"
#include "output/page.h"

/* "individuals", "moving-range", "ewma", "cusum", "t-squared", "single-run". */
const char *tt_chart_word(enum tt_chart chart);
/* "left-out", "note" and so on: the codes of docs/formats.md. */
const char *tt_event_word(enum tt_trend_event_code code);
/* "all-tips", "tip", "plate", "edge", "z-home", "axes". */
const char *tt_moved_word(enum tt_moved moved);
/* "camera-or-head", "seat" and so on: the codes of docs/formats.md. */
const char *tt_change_word(enum tt_change_code code);
/* "touch-repeatability", "sighting-repeatability", "late-touches". */
const char *tt_track_word(enum tt_track_kind kind);
/* "noisy", "noisier", "was-noisier", "rises". */
const char *tt_track_code_word(enum tt_track_code code);
/* What a forecast without a date says; NULL with one. */
const char *tt_forecast_words(const struct tt_forecast *forecast);
/* "2026-03-02 07:40Z"; in another zone than UTC "2026-03-02 08:40 +01:00 (CET)". @zone NULL: UTC.
 */
#define TT_MINUTE_SIZE (28 + TIPTRUE_ZONE_NAME)
void tt_minute_write(const struct tiptrue_zone *zone, double time_s, char text[TT_MINUTE_SIZE]);

/* In text/trend_sentences.c: what happened, of an event; what a chart saw, and by which rule. */
void tt_event_words(const struct tt_trend_event *event, struct tt_buffer *words);
void tt_signal_words(const struct tt_signal *signal, struct tt_buffer *words);
const char *tt_signal_rule(enum tt_chart chart);

/* What the latest run shows against those before it: a sentence without a stop, of a trend in which
 * it is judged. */
void tt_latest_words(const struct tiptrue_trend *trend, const struct tiptrue_zone *zone,
                     struct tt_buffer *words);

/* The names of @trend, which are not taken for lengths. */
void tt_trend_own_names(const struct tiptrue_trend *trend, struct tt_own_names own[2]);
/* What is found, in sentences: the headline, changes, drifts, then which runs it is from. */
void tt_trend_sentences(struct tt_page *page, const struct tiptrue_trend *trend);

/* In text/trend_drifts.c: µm with the decimals that @u_mm justifies; what of a tip drifts or wears,
 * in sentences; and a table of heights, where some run knows them. */
struct tt_fixed tt_um(double mm, double u_mm, bool plus);
void tt_say_drifts(struct tt_page *page, const struct tt_trend_tip *tip);
void tt_trend_heights(struct tt_page *page, const struct tiptrue_trend *trend);

/* Offsets of a tip over time, as many lines as @height says: along x above, along y below, its
 * height under them where runs know it. Points and changes. */
void tt_trend_chart(struct tt_page *page, const struct tiptrue_trend *trend,
                    const struct tt_trend_tip *tip, size_t height);

/* text/trend_sentences.c: what @e, of @track, says: what, when, how much, and what to do. @zone: of
 * times; NULL: UTC. */
void tt_trend_say_track(struct tt_buffer *b, const struct tiptrue_trend *trend,
                        const struct tt_trend_track *track, const struct tt_track_event *e,
                        const struct tiptrue_zone *zone);

#endif
