/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Touches that were set aside because they came too early, by as much as others are off: a film of
 * one thickness makes late by one depth, nothing makes early by it. Where the touches of a tip on
 * an edge are kept that lie under the film, it is the clean ones that seem early, by its thickness;
 * a radius that is not well known hides that. */
#include "config.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#include "adjust/findings.h"
#include "adjust/mixture.h"
#include "base/distribution.h"

/* Two depths are alike within so many repeatabilities: 2.5 standard deviations of their difference.
 */
#define ALIKE 3.54
/* The touches set aside tell a thickness when so many lie alike about their median as depths that
 * are spread evenly over the scale of late ones do in one run of two hundred: four of four. */
#define FILM_CHANCE 5e-3

/* By what most touches set aside are off, early or late; 0 = they have nothing in common. */
static double common_depth(const struct tt_view *view, double alike_mm)
{
    const struct tt_fit *fit = view->fit;
    double *depth = fit->sorted_mm;
    unsigned near = 0;
    size_t n = 0;

    for (size_t i = 0; i < view->model->n_touches; i++) {
        if (!(fit->weight[i] > 0)) {
            depth[n++] = fabs(view->model->residual[i]);
        }
    }
    if (n < 2) {
        return 0;
    }
    gsl_sort(depth, 1, n);
    double middle = depth[n / 2], chance = fmin(2 * alike_mm / DEPTH_SCALE_MM, 1);
    for (size_t k = 0; k < n; k++) {
        near += fabs(depth[k] - middle) < alike_mm;
    }
    /* the median is alike itself */
    return near > 1 && tt_binomial_upper(near - 2, chance, (unsigned)n - 1) < FILM_CHANCE ? middle
                                                                                          : 0;
}

enum tiptrue_status tt_findings_of_film(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    double alike_mm = ALIKE * sqrt(view->fit->touch_var_mm2),
           film_mm = common_depth(view, alike_mm);
    size_t *lines = TT_ARENA_NEW(view->scratch, model->n_touches, size_t);
    enum tiptrue_status status = lines == NULL ? TIPTRUE_E_MEMORY : TIPTRUE_OK;

    for (size_t c = 0; c < model->n_cells && film_mm > 0 && status == TIPTRUE_OK; c++) {
        const struct tt_cell *cell = &model->cells[c];
        size_t n = 0;
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            if (!(view->fit->weight[i] > 0) && fabs(model->residual[i] - film_mm) < alike_mm) {
                lines[n++] = view->run->observations[model->row[i]].line;
            }
        }
        if (n > 0) {
            status = tt_finding_add_values(
                view, TT_FINDING_LATE_CONTACT, TIPTRUE_ERROR,
                (struct tt_about){cell->edge, model->block_tip[cell->block], TT_NONE, lines, n},
                TT_VALUES(TT_TEXT("what", "filmed"), TT_IN_MM("depth", film_mm),
                          TT_PLAIN("early", n), TT_PLAIN("of", cell->count)));
        }
    }
    return status;
}
