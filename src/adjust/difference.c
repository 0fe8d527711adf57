/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/difference.h"

#include <math.h>
#include <string.h>

#include "adjust/correlated.h"
#include "base/distribution.h"

/* A difference of which the adjustment leaves less than this share of the direct fit's own variance
 * is none: both weigh the touches alike, and what is left is rounding and the circle's curvature.
 */
#define LEAST_LEFT 0.1

bool tt_difference_init(struct tt_difference *f, struct tt_arena *arena,
                        const struct tt_model *model)
{
    *f = (struct tt_difference){.solved = TT_ARENA_NEW(arena, model->n_unknowns, double)};
    bool good = f->solved != NULL;

    for (size_t k = 0; k < 3; k++) {
        f->z[k] = TT_ARENA_NEW(arena, model->n_touches, double);
        f->c[k] = TT_ARENA_NEW(arena, model->n_unknowns, double);
        good = good && f->z[k] != NULL && f->c[k] != NULL;
    }
    return good;
}

void tt_difference_clear(struct tt_difference *f, const struct tt_model *model, size_t n)
{
    f->n = n;
    for (size_t k = 0; k < n && model->n_touches > 0; k++) {
        memset(f->z[k], 0, model->n_touches * sizeof *f->z[k]);
    }
}

void tt_difference_project(const struct tt_model *model, const double z[], const double weight[],
                           double c[])
{
    memset(c, 0, model->n_unknowns * sizeof *c);
    for (size_t k = 0; k < model->n_cells; k++) {
        const struct tt_cell *cell = &model->cells[k];
        double sums[TT_MOST_COLUMNS] = {0};
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            const double *slope = model->slope + i * model->stride;
            double factor = z[i] * (weight != NULL ? weight[i] : 1);
            for (size_t a = 0; a < cell->n_columns && factor != 0; a++) {
                sums[a] += factor * slope[a];
            }
        }
        for (size_t e = 0; e < cell->n_entries; e++) {
            const struct tt_entry *entry = &cell->entries[e];
            c[tt_unknown(model, cell->block, entry->place)] += entry->value * sums[entry->column];
        }
    }
}

void tt_difference_find(struct tt_difference *f, const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    double rho = fit->correlated != NULL ? fit->correlated->rho : 0, more = (1 + rho) / (1 - rho);

    for (size_t k = 0; k < f->n; k++) {
        tt_difference_project(model, f->z[k], NULL, f->c[k]);
    }
    for (size_t k = 0; k < f->n; k++) {
        tt_system_solve(&model->system, f->c[k], f->solved);
        for (size_t l = 0; l < f->n; l++) {
            double own = 0, taken = 0;
            for (size_t i = 0; i < model->n_touches; i++) {
                own += f->z[k][i] != 0 ? f->z[k][i] * f->z[l][i] / fit->weight[i] : 0;
            }
            for (size_t u = 0; u < model->n_unknowns; u++) {
                taken += f->solved[u] * f->c[l][u];
            }
            f->own[k][l] = more * own;
            f->left[k][l] = more * (own - taken);
        }
    }
}

/* Functions one after the other, each given those before it; those of which less than LEAST_LEFT
 * is left are passed over. */
double tt_difference_chance(struct tt_difference *f, double d[], double dof)
{
    double t2 = 0;
    size_t rank = 0;

    for (size_t k = 0; k < f->n; k++) {
        double pivot = f->left[k][k];
        if (!(pivot > LEAST_LEFT * f->own[k][k])) {
            continue;
        }
        rank++;
        t2 += d[k] * d[k] / pivot;
        for (size_t l = k + 1; l < f->n; l++) {
            double factor = f->left[l][k] / pivot;
            d[l] -= factor * d[k];
            for (size_t m = k + 1; m < f->n; m++) {
                f->left[l][m] -= factor * f->left[k][m];
            }
        }
    }
    double k = (double)rank;
    if (rank == 0 || !(dof > k + 1)) {
        return 1;
    }
    if (!isfinite(dof)) {
        return tt_chi2_upper(t2, k);
    }
    return t2 < dof ? tt_fisher_upper(t2 / k * (dof - k) / (dof - t2), k, dof - k) : 0;
}

void tt_effect_add(struct tt_effect *effect, const struct tt_tip_result *tip, double x_mm,
                   double y_mm)
{
    effect->mm = fmax(effect->mm, hypot(x_mm, y_mm));
    effect->share = fmax(effect->share, fmax(fabs(x_mm) / tip->same_plate_expanded_x_mm,
                                             fabs(y_mm) / tip->same_plate_expanded_y_mm));
}

enum tiptrue_severity tt_effect_severity(struct tt_effect effect)
{
    return effect.share > 1 ? TIPTRUE_ERROR : TIPTRUE_WARNING;
}
