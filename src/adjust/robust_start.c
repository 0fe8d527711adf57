/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The robust start: each tip by itself. */
#include "config.h"

#include <math.h>

#include "adjust/robust.h"

/* Least absolute deviations: residuals below this count alike; steps of reweighting. */
#define DEVIATION_FLOOR_MM 2e-3
#define START_STEPS 25
#define START_STEP_DONE 1e-5

bool tt_robust_start(struct tt_fit *fit)
{
    struct tt_model *model = fit->model;
    struct tt_system *system = &model->system;

    tt_model_linearise(model);
    for (size_t step = 0; step < START_STEPS; step++) {
        for (size_t i = 0; i < model->n_touches; i++) {
            fit->weight[i] =
                1 / (TT_FIRST_SCATTER_MM * fmax(fabs(model->residual[i]), DEVIATION_FLOOR_MM));
        }
        tt_model_accumulate_blocks(model, fit->weight);
        for (size_t i = 0; i < model->n_priors; i++) {
            const struct tt_prior *prior = &model->priors[i];
            if (prior->kind == TT_PRIOR_RADIUS) {
                struct tt_entry entry = {.place = prior->place, .value = 1};
                double u = fmax(prior->u, DEVIATION_FLOOR_MM),
                       r = model->x[tt_unknown(model, prior->block, prior->place)];
                tt_system_add_row(system, prior->block, &entry, 1, 1 / (u * u), r - prior->value);
            }
        }
        if (!tt_system_solve_blocks(system, fit->step_mm)) {
            return false;
        }
        tt_model_move(model, fit->step_mm);
        double size = 0;
        for (size_t k = 0; k < model->n_unknowns; k++) {
            size = fmax(size, fabs(fit->step_mm[k]));
        }
        if (size < START_STEP_DONE) {
            break;
        }
    }
    return true;
}
