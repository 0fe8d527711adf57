/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files about changes share; nobody else includes this. */
#ifndef TT_HISTORY_SERIES_CHANGES_PARTS_H
#define TT_HISTORY_SERIES_CHANGES_PARTS_H

#include "history/series/changes.h"

/* A smaller shift of an edge, or of the lost motion, over all the weeks of a drift, is left unsaid:
 * another tip's form, and what else the model of a run leaves, puts as much into the edges' shifts,
 * and the offsets suffer by half of it at most. */
#define TT_LEAST_EDGE_MM 0.003
/* Two explanations are alike when their criteria are not further apart: odds of 20 to 1. */
#define TT_ALIKE 6.0

/* What is needed to question a fit. */
struct tt_questions {
    struct tt_events rest, trial;
    bool *leave;
    double *work, *gain;
};

/* Room for a fit of @events with @columns. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_questions_prepare(struct tt_questions *q,
                                                     const struct tt_problem *p, size_t events,
                                                     size_t columns, struct tt_arena *arena);
/* theta' covariance^-1 theta of an event of @f; @rest is left without it. */
double tt_gain_of(const struct tt_events *f, size_t event, struct tt_events *rest, bool *leave);

/* Two columns of a fit from @at on, and one. */
struct tt_moved_by tt_pair_of(const struct tt_changes *c, size_t at);
struct tt_moved_by tt_number_of(const struct tt_changes *c, size_t at);
/* What an event of the fit moves, into @change, whose kind stands. */
void tt_fill_shifts(const struct tt_changes *c, size_t event, struct tt_change *change);

/* Scales from what the fit leaves. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status
tt_noise_of_fit(const struct tt_events *f, struct tt_series_noise *noise, struct tt_arena *arena);

/* smooth.c: drifts, temperature and season of the fit, and the slopes of tips that do not show one.
 * @theta, @covariance: room for the trial's. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_changes_smooth(struct tt_changes *c, struct tt_questions *q,
                                                  double *theta, double *covariance);
/* rivals.c: other sets of events with their weights, where something drifts. @theta, @covariance as
 * above. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_changes_rivals(struct tt_changes *c, struct tt_questions *q,
                                                  double *theta, double *covariance);
/* latest.c: the latest run: a step at it beside what the runs before it show, with their scales,
 * its place known. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_changes_judge_latest(struct tt_changes *c);

#endif
