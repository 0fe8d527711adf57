/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the measurement says about itself, as codes with values.
 *
 * A finding of severity TIPTRUE_ERROR makes the verdict of what it names `repeat`. To add one: a
 * code in model/finding.h, its name in model/finding.c, a function here (or in a file beside) that
 * looks at the view and calls tt_finding_add, and a test that raises it and one that does not.
 */
#ifndef TT_ADJUST_FINDINGS_H
#define TT_ADJUST_FINDINGS_H

#include "adjust/finding_add.h"

/* Two explanations are about as probable, and the offset of @block depends on which is true; @tip:
 * its tip's index in the run, TT_NONE = every tip's. The explanation must have a rival. */
TT_MUST_USE enum tiptrue_status tt_finding_ambiguous(struct tt_view *view, size_t block,
                                                     size_t tip);

/* All findings of an assembled view, worst first. */
TT_MUST_USE enum tiptrue_status tt_findings(struct tt_view *view);

/* Parts, one file each. Units come first: where they do not fit, view->meaningless is set and the
 * rest is not asked. */
TT_MUST_USE enum tiptrue_status tt_findings_of_units(struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_findings_of_determinacy(struct tt_view *view);
/* alone.c: whether one touch that nothing contradicts decides an offset of the @index-th tip of the
 * solution, which has a block. Part of the determinacy. */
TT_MUST_USE enum tiptrue_status tt_findings_of_alone(struct tt_view *view, size_t index);
/* filmed.c: touches that came early by what others come late, after a search. Part of the
 * explanation. */
TT_MUST_USE enum tiptrue_status tt_findings_of_film(struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_findings_of_contacts(struct tt_view *view);
/* Of the tip that has most of them, the share of its touches that are left out, 0 to 1. */
double tt_largest_share_aside(const struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_findings_of_model(struct tt_view *view);
/* height_findings.c: touches from above; never about x and y. Of determinacy alone: what cannot be
 * told. */
TT_MUST_USE enum tiptrue_status tt_findings_of_heights(struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_findings_of_height_determinacy(struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_findings_of_explanation(struct tt_view *view);
/* direct.c: edges and tips whose direct fits disagree with the adjustment. */
TT_MUST_USE enum tiptrue_status tt_findings_of_direct_fits(struct tt_view *view);
/* past.c: edges that lie elsewhere than earlier runs on the plate found them. */
TT_MUST_USE enum tiptrue_status tt_findings_of_past(struct tt_view *view);
/* view_findings.c: the picture and the axes. */
TT_MUST_USE enum tiptrue_status tt_findings_of_views(struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_findings_of_limits(struct tt_view *view);

/* complete.c: other machine or plate, rows twice, tips not touched. */
TT_MUST_USE enum tiptrue_status tt_findings_of_completeness(struct tt_view *view);
/* Whether the tip @name is asked for: all are where none is named. */
bool tt_is_wanted(const struct tiptrue_solve_options *options, const char *name);
/* After the verdict: the wanted tips into the solution; and results for those that were not
 * touched, in the machine file's order. */
TT_MUST_USE enum tiptrue_status tt_copy_wanted(struct tt_view *view);
TT_MUST_USE enum tiptrue_status tt_add_missing_tips(struct tt_view *view);
/* An offset conforms if it is within the permitted error with this probability. */
#define TT_CONFORMS 0.95
/* Whether the plate's part and the stated parts of the covariance that the verdict uses on the
 * @index-th tip make it impossible for any run to show that its offset is within the permitted
 * error; then *least_mm is the expanded uncertainty that no touch lessens. */
bool tt_is_out_of_reach(const struct tt_view *view, size_t index, double *least_mm);
/* That as a finding about the @index-th tip of the solution, not added to its findings; NULL: out
 * of memory. */
const struct tt_finding *tt_reach_finding(const struct tt_view *view, size_t index,
                                          double least_mm);
/* That as findings, for who asks before a run. */
TT_MUST_USE enum tiptrue_status tt_findings_of_reach(struct tt_view *view);

/* Verdict of every tip and of the run, with reasons (decision rule of JCGM 106:2012 8.3.2: guarded
 * acceptance at 95 %). */
TT_MUST_USE enum tiptrue_status tt_verdict(struct tt_view *view);

/* Whether the numbers alone let the offset in use of @tip stand; false without one. */
bool tt_would_keep(const struct tt_tip_result *tip);

#endif
