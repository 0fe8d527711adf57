/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From a series of runs to all that is said of it over time: model/trend.h. */
#ifndef TT_HISTORY_SERIES_TREND_H
#define TT_HISTORY_SERIES_TREND_H

#include "base/status.h"
#include "history/series/changes.h"
#include "model/between.h"
#include "model/trend.h"

/* What a host may choose (tiptrue.h). */
struct tiptrue_trend_options;

/* @series: sorted, @stored: how many runs of the machine there are in all. */
TT_MUST_USE enum tiptrue_status tt_trend_make(const struct tt_series *series, size_t stored,
                                              const struct tiptrue_trend_options *options,
                                              struct tiptrue_trend **trend,
                                              struct tiptrue_error *error);

/* The scatter between runs of all tips with at least TT_FEWEST_TREND_RUNS, into *between (zeroed);
 * a trend of the same series has the same. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_trend_all_between(const struct tt_series *series,
                                                     struct tiptrue_between *between);
/* Digest of all that this scatter is found from. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_trend_between_of(const struct tt_series *series, char of[17]);

/* Put @event among those of @trend, behind those of the same time: what the runs say goes before
 * what people and boards say. Its texts are copied. False: no memory. */
TT_MUST_USE bool tt_trend_add_event(struct tiptrue_trend *trend,
                                    const struct tt_trend_event *event);

/* Used by trend.c: the charts of a tip, whose points are filled but for them (signals.c); and what
 * moved, in words (naming.c).
 */
TT_MUST_USE enum tiptrue_status tt_trend_judge_points(struct tiptrue_trend *trend,
                                                      const struct tt_changes *changes, size_t tip,
                                                      size_t baseline_runs);
/* machine_events.c: an event at each run of @series (sorted) from which on the picture's scale, its
 * turn or a number of the axes is another. trend->changes must stand: a camera that turned when all
 * offsets moved is told so. */
TT_MUST_USE enum tiptrue_status tt_machine_events(struct tiptrue_trend *trend,
                                                  const struct tt_series *series);
/* Runs on another plate than the one before, and runs kept out. */
TT_MUST_USE enum tiptrue_status tt_trend_events(struct tiptrue_trend *trend,
                                                const struct tt_series *series);
/* forecast.c: when the offset of @tip will be off; its height, points and all. */
void tt_trend_forecast(const struct tt_changes *changes, size_t tip, struct tt_trend_tip *t);
TT_MUST_USE enum tiptrue_status tt_trend_height(struct tiptrue_trend *trend,
                                                const struct tt_changes *changes, size_t tip);
TT_MUST_USE enum tiptrue_status tt_trend_name_changes(struct tiptrue_trend *trend,
                                                      const struct tt_changes *changes);

#endif
