/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files that find changes share; nobody else includes this. */
#ifndef TT_HISTORY_CHANGES_PARTS_H
#define TT_HISTORY_CHANGES_PARTS_H

#include "history/changes.h"

/* Fewest runs on either side of a step. One could as well be a run that stands apart. */
#define TT_FEWEST_RUNS 2

/* How much better tracks are explained: chi-squared, and its degrees of freedom. */
struct tt_gain {
    double chi2, dof;
};

/* changes_judge.c: the hypotheses, and what one is worth beside what was found. */
bool tt_event_is_of_tip(enum tt_hypothesis what);
bool tt_event_moves_offset(enum tt_hypothesis what);
bool tt_event_moves_pose(enum tt_hypothesis what);
/* The member of the offset track that it moves. */
size_t tt_event_member(const struct tt_event *e);
/* Whether it holds to the last run. */
bool tt_event_is_open(const struct tt_changes *c, const struct tt_event *e);
struct tt_term tt_event_as_term(const struct tt_changes *c, const struct tt_event *e, size_t member);
/* The hypotheses that can be told apart on this machine: with one tip, all of them is that one. */
bool tt_changes_is_possible(const struct tt_changes *c, enum tt_hypothesis what);
void tt_gain_add(struct tt_gain *gain, const struct tt_track *track, const struct tt_term *term);
struct tt_gain tt_changes_gain(const struct tt_changes *c, const struct tt_event *e);
/* Logarithm of how many looks a hypothesis is one of. */
double tt_changes_log_looks(const struct tt_changes *c, const struct tt_event *e);
/* Fill in chi2, dof and log_p of a candidate as if it were added; false: it cannot be. */
bool tt_changes_judge(const struct tt_changes *c, struct tt_event *e);
/* The least likely by chance: of steps at @first to @last; of blocks. log_p 0: there is none. */
struct tt_event tt_changes_best_step(const struct tt_changes *c, size_t first, size_t last);
struct tt_event tt_changes_best_block(const struct tt_changes *c);

/* changes_terms.c: from what was found to the terms of the tracks, and their fit. */
void tt_track_add(struct tt_track *track, struct tt_term term);
void tt_changes_set_offset_terms(struct tt_changes *c);
void tt_changes_fit(struct tt_changes *c);

/* changes_search.c: the search, and the brackets of what it found. */
TT_MUST_USE enum tiptrue_status tt_changes_search(struct tt_changes *c);
void tt_changes_find_brackets(struct tt_changes *c);

#endif
