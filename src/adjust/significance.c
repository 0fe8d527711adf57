/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From the squared residual that a candidate takes away to a likelihood ratio and a probability. */
#include "config.h"

#include "adjust/judge.h"

#include <math.h>
#include <string.h>

/* Less than this taken away (in variances) is not looked into: its probability by chance is over one per cent. */
#define WORTH_A_LOOK 6.0

/* The candidate's columns: value for touch @i, and for a sighting's coordinate. */
static double touch_value(const struct tt_model *model, const struct tt_extra *extra, size_t i, unsigned which)
{
    const struct tt_cell *cell = &model->cells[model->cell_of[i]];
    double n = which == 0 ? cell->site.n_x : cell->site.n_y;

    switch (extra->kind) {
    case TT_EXTRA_MOVED:
        return model->row[i] >= extra->row && cell->setup == model->run->observations[extra->row].setup ? -n : 0;
    case TT_EXTRA_DRIFT:
        return -n * model->clock[i];
    case TT_EXTRA_REVERSED:
        return cell->block == extra->block ? tt_column_reversed(model, cell, i, 0, which) : 0;
    case TT_EXTRA_SHAPE:
        return cell->block == extra->block ? tt_column_shape(model, cell, i, extra->order, which) : 0;
    case TT_EXTRA_LOST_MOTION:
        return tt_column_lost_motion(model, cell, i, 0, which);
    case TT_EXTRA_LATENCY:
        return tt_column_latency(model, cell, i, 0, which);
    case TT_EXTRA_EDGE:
        return cell->edge == extra->edge ? 1 : 0;
    case TT_EXTRA_KINDS:
        break;
    }
    return 0;
}

static double sight_value(const struct tt_model *model, const struct tt_extra *extra, const struct tt_sight *sight)
{
    if (extra->kind == TT_EXTRA_MOVED) {
        return sight->row >= extra->row && sight->setup == model->run->observations[extra->row].setup ? -1 : 0;
    }
    return extra->kind == TT_EXTRA_DRIFT ? -sight->clock : 0;
}

/* Products of the candidate's columns with the design, into judge->vector (first column) and @second. */
static void products(struct tt_judge *judge, const struct tt_extra *extra, unsigned m, double second[], double zz[3], double g[2])
{
    const struct tt_model *model = judge->model;
    double *q[2] = {judge->vector, second};

    memset(q[0], 0, model->n_unknowns * sizeof *q[0]);
    memset(q[1], 0, model->n_unknowns * sizeof *q[1]);
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *slope = model->slope + i * model->stride;
        double z[2] = {touch_value(model, extra, i, 0), m == 2 ? touch_value(model, extra, i, 1) : 0}, w = judge->weight[i];
        zz[0] += w * z[0] * z[0];
        zz[1] += w * z[0] * z[1];
        zz[2] += w * z[1] * z[1];
        for (unsigned a = 0; a < m; a++) {
            g[a] += w * z[a] * judge->residual[i];
            for (size_t k = 0; k < cell->n_entries; k++) {
                const struct tt_entry *e = &cell->entries[k];
                q[a][tt_unknown(model, cell->block, e->place)] += w * z[a] * e->value * slope[e->column];
            }
        }
    }
    for (size_t i = 0; i < model->n_sights && m == 2; i++) {
        const struct tt_sight *sight = &model->sights[i];
        double z = sight_value(model, extra, sight), w = 1 / judge->fit->sight_var_mm2;
        for (size_t axis = 0; axis < 2 && z != 0; axis++) {
            double r = sight->residual[axis];
            for (size_t k = 0; k < sight->n_entries; k++) {
                q[axis][sight->entries[axis][k].place] += w * z * sight->entries[axis][k].value;
                r -= sight->entries[axis][k].value * judge->step_mm[sight->entries[axis][k].place];
            }
            zz[axis == 0 ? 0 : 2] += w * z * z;
            g[axis] += w * z * r;
        }
    }
}

/* How much of what a candidate takes away (in variances of the present fit) it takes from the touches' residuals; the rest comes
 * from sightings and priors, whose variances are stated. */
static double taken_from_touches(struct tt_judge *judge, const struct tt_extra *extra)
{
    const struct tt_model *model = judge->model;
    unsigned m = extra->n_unknowns == 1 ? 1 : 2;
    double zz[3] = {0}, g[2] = {0}, s[3], *second = judge->spare, *v[2] = {judge->solved, judge->fit->step_mm}, before = 0,
           after = 0;

    products(judge, extra, m, second, zz, g);
    tt_system_solve(&model->system, judge->vector, v[0]);
    tt_system_solve(&model->system, second, v[1]);
    s[0] = zz[0], s[1] = zz[1], s[2] = zz[2];
    for (size_t k = 0; k < model->n_unknowns; k++) {
        s[0] -= judge->vector[k] * v[0][k];
        s[1] -= judge->vector[k] * v[1][k];
        s[2] -= second[k] * v[1][k];
    }
    double estimate[2] = {m == 1 ? g[0] / s[0] : 0, 0}, det = s[0] * s[2] - s[1] * s[1];
    if (m == 2 && det > TT_LEAST_OWN_SHARE * s[0] * s[2]) {
        estimate[0] = (s[2] * g[0] - s[1] * g[1]) / det;
        estimate[1] = (s[0] * g[1] - s[1] * g[0]) / det;
    } else if (m == 2) {
        return extra->taken; /* one direction only: be content with the whole */
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const double *slope = model->slope + i * model->stride;
        double r = judge->residual[i];
        before += judge->weight[i] * r * r;
        for (unsigned a = 0; a < m; a++) {
            double own = touch_value(model, extra, i, a);
            for (size_t k = 0; k < cell->n_entries; k++) {
                const struct tt_entry *e = &cell->entries[k];
                own -= slope[e->column] * e->value * v[a][tt_unknown(model, cell->block, e->place)];
            }
            r -= own * estimate[a];
        }
        after += judge->weight[i] * r * r;
    }
    return fmin(fmax((before - after) / judge->scale, 0), extra->taken);
}

/* Likelihood ratio and probability of a candidate. Where the scatter is the run's own, the candidate's absence is in it: the part
 * taken from the touches is measured against what would be left. */
void tt_judge_finish(struct tt_judge *judge, struct tt_extra *extra)
{
    unsigned m = extra->n_unknowns == 1 ? 1 : 2;
    double touches = 0, left = judge->dof, rest = fmax(judge->dof - m, 1), factor = 1, dof = 1e6;

    if (!(extra->taken > WORTH_A_LOOK)) {
        return;
    }
    if (judge->own_scatter) {
        touches = taken_from_touches(judge, extra);
        left = fmax(judge->dof - touches, 1e-3 * judge->dof);
        double share = touches / extra->taken;
        factor = rest / left;
        dof = share > 1e-3 ? rest / (share * share) : 1e6;
    }
    extra->gain = judge->dof * log(judge->dof / left) + extra->taken - touches;
    extra->log_p = tt_log_p_of_f((touches * factor + extra->taken - touches) / m, m, dof);
    extra->log_p = fmin(extra->log_p + log((double)(extra->rivals > 0 ? extra->rivals : 1)), 0);
}
