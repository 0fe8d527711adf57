/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From a fit to the numbers of a solution. Findings and verdict come after it (findings.h,
 * verdict.h). */
#ifndef TT_ADJUST_ASSEMBLE_H
#define TT_ADJUST_ASSEMBLE_H

#include "adjust/direct.h"
#include "adjust/height_search.h"
#include "adjust/held.h"
#include "adjust/select.h"
#include "adjust/uncertainty.h"
#include "model/between.h"

/* What findings and verdict need beside the solution itself. */
struct tt_view {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_run *run;
    const struct tt_noise *noise;
    const struct tt_selection *selection;
    const struct tt_model *model;
    const struct tt_fit *fit;
    struct tt_scatters scatters;                    /* of the fit */
    struct tt_held held;                            /* the fit with the plate held */
    struct tt_tip_uncertainty *tips;                /* per block; cc is NULL */
    struct tt_held_offset *held_tips;               /* per block */
    double (*tip_cov)[TT_TIP_SHAPE * TT_TIP_SHAPE]; /* per block: covariance of o, e, r */
    struct tt_direct_line *lines;                   /* per edge of the plate */
    const struct tiptrue_between *between;          /* what a history knows, NULL = nothing */
    const struct tt_height_choice *heights;         /* touches from above; NULL: none */
    struct tiptrue_solution *solution;
    struct tt_arena *scratch;
    const struct tiptrue_solve_options
        *options; /* NULL: an unfinished run, of which no tip is missed */
    size_t findings_capacity;
    bool meaningless; /* units do not fit: nothing else that could be found means anything */
};

/* Fill view->solution (whose arena is empty) from view->selection. */
TT_MUST_USE enum tiptrue_status tt_assemble(struct tt_view *view);
/* Fill the terms of the run, the picture and the axes of view->solution, whose poses stand: part of
 * tt_assemble. */
void tt_assemble_terms(struct tt_view *view);
/* Add view->between's scatter between runs to what the tips' offsets are worth, in full and on the
 * same plate, as a line of the budget. False: out of memory. */
TT_MUST_USE bool tt_assemble_between(struct tt_view *view);

#endif
