/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What keeps a result out of a configuration, unless its guard is named. Every guard that stands in
 * the way is told, not the first.
 */
#ifndef TT_EXPORT_GUARD_H
#define TT_EXPORT_GUARD_H

#include "base/status.h"
#include "export/edit.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/solution.h"

struct tt_guards {
    const struct tiptrue_sink *sink; /* may be NULL */
    unsigned forced;                 /* of enum tiptrue_guard */
    size_t refusals;
    struct tiptrue_error *error; /* receives the first: TIPTRUE_E_DATA */
};

/* Whether the tip @name is one that is exported: one of @options, else of those that were asked for
 * when it was solved, else any. */
bool tt_export_is_wanted(const struct tiptrue_export_options *options,
                         const struct tiptrue_solution *solution, const char *name, size_t length);
/* The worst verdict of the offsets of the tips that are exported, a tip that was not measured
 * counting as TIPTRUE_REPEAT. Heights have their own, and do not refuse offsets. */
enum tiptrue_verdict tt_export_verdict(const struct tiptrue_solution *solution,
                                       const struct tiptrue_export_options *options);
/* That verdict is repeat. */
void tt_guard_verdict(struct tt_guards *guards, const struct tiptrue_solution *solution,
                      const struct tiptrue_export_options *options);
/* A height that may not be used is not written: told; refused where @alone, nothing but heights is
 * exported. */
void tt_guard_heights(struct tt_guards *guards, const struct tt_edit edits[], size_t n, bool alone);
/* Warn that @tip's height is to be updated and is exported nowhere. */
void tt_guard_height_places(struct tt_guards *guards, const struct tt_tip_result *tip);
/* The run began longer ago than @max_age_s, or nobody knows when. */
void tt_guard_age(struct tt_guards *guards, const struct tiptrue_solution *solution,
                  double max_age_s, double now_s);
/* The result is of another machine; warns where there is no machine file to tell by. */
void tt_guard_machine(struct tt_guards *guards, const struct tiptrue_solution *solution,
                      const struct tiptrue_machine *machine);
/* The result was made with another plate than @plate (may be NULL), or than the present offset of
 * one of the edits' tips. */
void tt_guard_plate(struct tt_guards *guards, const struct tiptrue_solution *solution,
                    const struct tiptrue_machine *machine, const struct tiptrue_plate *plate,
                    const struct tt_edit edits[], size_t n);
/* An offset or a height would move by more than @max_change_mm in @name. @from_zero: one that is 0
 * may move: none was set there yet. */
void tt_guard_change(struct tt_guards *guards, const char *name, const struct tt_edit edits[],
                     size_t n, double max_change_mm, bool from_zero);
/* A number of the axes would take the place of one that was in force when the run was made. */
void tt_guard_axes(struct tt_guards *guards, const char *name, const struct tt_edit edits[],
                   size_t n);

#endif
