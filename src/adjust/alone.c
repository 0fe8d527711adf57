/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Touches that nothing in the run could contradict, and that decide an offset: the external
 * reliability of single observations (W. Baarda, A testing procedure for use in geodetic networks,
 * Neth. Geod. Comm. 2/5, 1968, as in unseen.h for edges and marks).
 *
 * A touch of variance v and redundancy r = 1 - leverage that is late by d moves its own residual by
 * r d; it stands out in nine of ten runs from d = (3.4 + 1.28) sqrt(v / r) on. Until then it moves
 * the offset by g d, g the gain of the estimate in this touch. Cost: one solve a tip and axis, and
 * the touches. */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"

/* A single residual stands out from 3.4 of its standard deviations on (robust.c); with 1.28 more it
 * does so in nine of ten runs. */
#define ALONE_SEEN 4.68
/* Deeper than this no contact is late by itself: the scale of the late ones' density (robust.c). */
#define ALONE_DEEPEST_MM 0.15
/* An offset that one touch can move in secret by more than so many of its U is no result. Runs of
 * plans with eight touches a tip have up to 0.9, with twelve 0.4; at twice as many, and six touches
 * of which one is 30 um late give an offset that is off by 3 U. */
#define ALONE_MOST_U 2.0

/* The touch that could move an offset most in secret. */
struct alone {
    size_t touch;
    double of_u;               /* that move over U, the larger axis */
    double late_mm, effect_mm; /* the touch's fault, and what it does to that axis */
};

/* @cov: the covariance of one coordinate of the offset with all unknowns; @expanded_mm: its U. */
static void look(const struct tt_view *view, size_t block, const double cov[], double expanded_mm,
                 struct alone *worst)
{
    const struct tt_fit *fit = view->fit;
    const struct tt_model *model = view->model;
    double by_column[TT_MOST_COLUMNS];

    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        if (cell->block != block) {
            continue;
        }
        tt_cell_columns(model, cell, cov, by_column);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            if (!(fit->weight[i] > 0)) {
                continue;
            }
            /* what contradicts the touch; none of it, and it may be late by anything */
            double seen_by = sqrt(fit->weight[i] * fmax(1 - fit->leverage[i], 0));
            double late_mm = seen_by * ALONE_DEEPEST_MM > ALONE_SEEN ? ALONE_SEEN / seen_by
                                                                     : ALONE_DEEPEST_MM,
                   gain = fit->weight[i] * fabs(tt_cell_product(model, cell, i, by_column));
            if (expanded_mm > 0 && gain * late_mm > worst->of_u * expanded_mm) {
                *worst = (struct alone){i, gain * late_mm / expanded_mm, late_mm, gain * late_mm};
            }
        }
    }
}

enum tiptrue_status tt_findings_of_alone(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_system *system = &view->model->system;
    size_t run_tip = tt_run_tip(view, index), block = view->model->tip_block[run_tip];
    double *cov = TT_ARENA_NEW(view->scratch, system->n_unknowns, double);
    struct alone worst = {0};

    if (cov == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if (!tip->offset_determined_x || !tip->offset_determined_y) {
        return TIPTRUE_OK;
    }
    for (size_t axis = 0; axis < 2; axis++) {
        for (size_t k = 0; k < system->n_unknowns; k++) {
            cov[k] = 0;
        }
        cov[system->first[block] + (axis == 0 ? TT_TIP_O_X : TT_TIP_O_Y)] = 1;
        tt_system_solve(system, cov, cov);
        look(view, block, cov, axis == 0 ? tip->expanded_x_mm : tip->expanded_y_mm, &worst);
    }
    if (!(worst.of_u > ALONE_MOST_U)) {
        return TIPTRUE_OK;
    }
    const struct tt_cell *cell = &view->model->cells[view->model->cell_of[worst.touch]];
    size_t line = view->run->observations[view->model->row[worst.touch]].line;
    return tt_finding_add_values(
        view, TT_FINDING_LATE_CONTACT, TIPTRUE_ERROR,
        (struct tt_about){cell->edge, run_tip, TT_NONE, &line, 1},
        TT_VALUES(TT_TEXT("what", "alone"), TT_IN_MM("late", worst.late_mm),
                  TT_IN_MM("effect", worst.effect_mm), TT_PLAIN("times_u", worst.of_u)));
}
