/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Offsets against those of the earlier runs on the plate: of edges that explain the shifts found
 * alike, such as two that face each other, each moves them another way. */
#ifndef TT_ADJUST_PAST_OFFSETS_H
#define TT_ADJUST_PAST_OFFSETS_H

#include "adjust/findings.h"
#include "model/between.h"

/* Earlier runs that are taken: the latest so many. */
#define TT_MOST_PAST 20

/* A length as a result gives it: solving again begins with the same. */
double tt_past_given(double mm);
/* What the @n earlier runs @run, latest first (NULL: one that does not tell), lead to expect of the
 * offsets in the direction in which edge @row of the solution moves them, @n up to
 * TT_MOST_PAST. runs 0: nothing. */
struct tt_offsets_earlier tt_past_offsets(const struct tt_view *view,
                                          const struct tt_past_run *const run[], size_t n,
                                          size_t row);
/* How ill the offsets of this run fit what they are expected to be if edge @row has moved by @f_mm
 * (standard uncertainty @u_mm) along its normal to the free side: -2 ln of their density, up to
 * what is the same for all edges. NaN: nothing is known. */
double tt_past_misfit(const struct tt_view *view, size_t row, double f_mm, double u_mm);

/* By how much a shift @f_mm of edge @row moves an offset, the worst tip: *most_mm, and the share of
 * the U that the verdict uses, *share. Both grow only. */
void tt_past_effect(const struct tt_view *view, size_t row, double f_mm, double *most_mm,
                    double *share);

#endif
