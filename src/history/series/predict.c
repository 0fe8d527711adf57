/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the fit says of a tip: how its runs scatter, and what the next one is expected to show. */
#include "config.h"

#include <math.h>

#include "history/series/changes_parts.h"

/* The standard deviation between runs, with its own uncertainty. */
struct scatter {
    double sd, u, dof;
};

static struct scatter scatter_of(const struct tt_changes *c, size_t tip, size_t axis)
{
    const struct tt_values *v = &c->values;
    size_t column = tt_at_offset(v, tip, axis);
    double stated = 0, common = 0, n = 0, axes = axis < 2 ? 2 : 1;

    for (size_t run = 0; run < v->n; run++) {
        bool there = v->there[run * v->p + column];
        n += there;
        stated += there ? v->stated[run * v->p + column] : 0;
        common += there ? v->common[v->axes * run + axis] : 0;
    }
    if (!(n > 1)) {
        return (struct scatter){0};
    }
    double shared = c->noise.shared[axis], own = c->noise.between[column], s2 = shared + own;
    double whole_shared = shared + common / n, whole_own = own + stated / n;
    /* each part is known by the degrees of freedom of its class; axes share them */
    double nu_shared = c->noise.nu[tt_shared_class(axis)] / axes;
    double nu_own = fmax(c->noise.nu[tt_own_class(axis)] / axes / fmax((double)v->tips - 1, 1), 1);
    double u2 =
        v->tips > 1
            ? 2 * whole_shared * whole_shared / nu_shared + 2 * whole_own * whole_own / nu_own
            : 2 * (whole_shared + whole_own) * (whole_shared + whole_own) / nu_shared;
    double root = sqrt(s2);
    return (struct scatter){root, s2 > 0 ? sqrt(u2) / (2 * root) : sqrt(sqrt(u2)),
                            s2 > 0 ? 2 * s2 * s2 / u2 : 0};
}

struct tt_axis_scatter tt_changes_between(const struct tt_changes *c, size_t tip)
{
    struct scatter x = scatter_of(c, tip, 0), y = scatter_of(c, tip, 1);

    return (struct tt_axis_scatter){x.sd, y.sd, x.u, y.u, x.dof, y.dof};
}

double tt_changes_height_between(const struct tt_changes *c, size_t tip, double *u)
{
    struct scatter z = c->values.axes > 2 ? scatter_of(c, tip, 2) : (struct scatter){0};

    *u = z.u;
    return z.sd;
}

double tt_changes_height_dof(const struct tt_changes *c)
{
    return fmin(c->noise.nu[TT_HEIGHT_SHARED],
                c->values.tips > 1 ? c->noise.nu[TT_HEIGHT_OWN] : HUGE_VAL);
}

double tt_changes_dof(const struct tt_changes *c)
{
    return fmin(c->noise.nu[TT_SHARED], c->values.tips > 1 ? c->noise.nu[TT_OWN] : HUGE_VAL);
}

/* What a column of the fit adds at @week to the offset in @column, the levels' share taken out. */
static double part_at(const struct tt_changes *c, size_t term, size_t column, double week)
{
    const struct tt_problem *p = c->problem;
    const struct tt_course *course = &c->fit.course[term];
    const struct tt_pattern *a = &p->atom[c->fit.atom[term]];
    double x, f = 0, turn = 2 * TT_PI * week / fmax(c->values.period_weeks, 1e-9);

    if (course->regressor == TT_NONE) {
        x = course->to >= c->values.n;
    } else if (course->regressor == p->regressor[TT_DRIFT]) {
        x = week;
    } else if (p->regressor[TT_SEASON] != TT_NONE && course->regressor == p->regressor[TT_SEASON]) {
        x = sin(turn);
    } else if (p->regressor[TT_SEASON] != TT_NONE &&
               course->regressor == p->regressor[TT_SEASON] + 1) {
        x = cos(turn);
    } else {
        x = p->gls.regressor[course->regressor][c->values.n - 1]; /* as at the last run */
    }
    for (size_t i = 0; i < a->n; i++) {
        f += a->column[i] == column ? a->factor[i] : 0;
    }
    return x * f - c->fit.levels[term * c->values.p + column];
}

struct tt_moved_by tt_changes_predict(const struct tt_changes *c, size_t tip, double week)
{
    const struct tt_values *v = &c->values;
    size_t n = c->fit.columns, t = v->tips,
           at[2] = {tt_at_offset(v, tip, 0), tt_at_offset(v, tip, 1)};
    double value[2] = {0, 0}, cov[3] = {c->problem->gls.inverse[tip * t + tip], 0,
                                        c->problem->gls.inverse[t * t + tip * t + tip]};

    for (size_t axis = 0; axis < 2; axis++) {
        for (size_t k = 0; k < t; k++) {
            value[axis] += c->problem->gls.inverse[axis * t * t + tip * t + k] *
                           c->problem->gls.data[axis * t + k];
        }
    }
    for (size_t i = 0; i < n; i++) {
        double x = part_at(c, i, at[0], week), y = part_at(c, i, at[1], week);
        value[0] += x * c->theta[i];
        value[1] += y * c->theta[i];
        for (size_t k = 0; k < n && (x != 0 || y != 0); k++) {
            double of_k[2] = {part_at(c, k, at[0], week), part_at(c, k, at[1], week)};
            cov[0] += x * of_k[0] * c->covariance[i * n + k];
            cov[1] += x * of_k[1] * c->covariance[i * n + k];
            cov[2] += y * of_k[1] * c->covariance[i * n + k];
        }
    }
    return (struct tt_moved_by){true, value[0], value[1], cov[0], cov[1], cov[2]};
}

struct tt_moved_by tt_changes_predict_height(const struct tt_changes *c, size_t tip, double week)
{
    size_t t = c->values.tips, n = c->fit.columns, column = tt_at_offset(&c->values, tip, 2);
    const double *inverse = c->problem->gls.inverse + 2 * t * t + tip * t;
    struct tt_moved_by m = {.there = true, .xx = inverse[tip]};

    for (size_t k = 0; k < t; k++) {
        m.x += inverse[k] * c->problem->gls.data[2 * t + k];
    }
    for (size_t i = 0; i < n; i++) {
        double of_i = part_at(c, i, column, week);
        m.x += of_i * c->theta[i];
        for (size_t k = 0; k < n && of_i != 0; k++) {
            m.xx += of_i * part_at(c, k, column, week) * c->covariance[i * n + k];
        }
    }
    return m;
}
