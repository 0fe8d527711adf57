/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the fit says of a tip: how its runs scatter, and what the next one is expected to show. */
#include "config.h"

#include <math.h>
#include <string.h>

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

/* The parts of a course in time: constant, week, sine and cosine of the season. */
static void parts_of(const struct tt_changes *c, const struct tt_course *course, double x[4])
{
    const struct tt_problem *p = c->problem;
    size_t season = p->regressor[TT_SEASON];

    memset(x, 0, 4 * sizeof *x);
    if (course->regressor == TT_NONE) {
        x[0] = course->to >= c->values.n;
    } else if (course->regressor == p->regressor[TT_DRIFT]) {
        x[1] = 1;
    } else if (season != TT_NONE && course->regressor == season) {
        x[2] = 1;
    } else if (season != TT_NONE && course->regressor == season + 1) {
        x[3] = 1;
    } else {
        x[0] = p->gls.regressor[course->regressor][c->values.n - 1]; /* as at the last run */
    }
}

/* What a column of the fit adds to the place in @column, the levels' share taken out. */
static void add_parts(const struct tt_changes *c, size_t term, size_t column, double x[4])
{
    const struct tt_pattern *a = &c->problem->atom[c->fit.atom[term]];
    double f = 0;

    for (size_t i = 0; i < a->n; i++) {
        f += a->column[i] == column ? a->factor[i] : 0;
    }
    parts_of(c, &c->fit.course[term], x);
    for (size_t i = 0; i < 4; i++) {
        x[i] *= f;
    }
    x[0] -= c->fit.levels[term * c->values.p + column];
}

/* @sum += what two columns of the fit with these parts and this covariance give each other. */
static void add_covariance(double covariance, const double a[4], const double b[4],
                           double sum[4][4])
{
    for (size_t i = 0; i < 4; i++) {
        for (size_t j = 0; j < 4 && a[i] != 0; j++) {
            sum[i][j] += covariance * a[i] * b[j];
        }
    }
}

void tt_changes_predict(const struct tt_changes *c, size_t tip, bool height,
                        struct tt_prediction *to)
{
    const struct tt_gls *g = &c->problem->gls;
    size_t t = c->values.tips, n = c->fit.columns, axes = height ? 1 : 2, first = height ? 2 : 0;

    *to = (struct tt_prediction){.turn = 2 * TT_PI / fmax(c->values.period_weeks, 1e-9)};
    for (size_t axis = 0; axis < axes; axis++) {
        const double *inverse = g->inverse + ((first + axis) * t + tip) * t;
        to->covariance[2 * axis][0][0] = inverse[tip];
        for (size_t k = 0; k < t; k++) {
            to->value[axis][0] += inverse[k] * g->data[(first + axis) * t + k];
        }
    }
    for (size_t i = 0; i < n; i++) {
        double of_i[2][4] = {{0}}, of_k[2][4] = {{0}};
        for (size_t axis = 0; axis < axes; axis++) {
            add_parts(c, i, tt_at_offset(&c->values, tip, first + axis), of_i[axis]);
            for (size_t j = 0; j < 4; j++) {
                to->value[axis][j] += c->theta[i] * of_i[axis][j];
            }
        }
        for (size_t k = 0; k < n; k++) {
            double covariance = c->covariance[i * n + k];
            for (size_t axis = 0; axis < axes && covariance != 0; axis++) {
                add_parts(c, k, tt_at_offset(&c->values, tip, first + axis), of_k[axis]);
                add_covariance(covariance, of_i[axis], of_k[axis], to->covariance[2 * axis]);
            }
            add_covariance(covariance, of_i[0], of_k[1], to->covariance[1]);
        }
    }
}

struct tt_moved_by tt_prediction_at(const struct tt_prediction *p, double week)
{
    double x[4] = {1, week, sin(p->turn * week), cos(p->turn * week)}, v[5] = {0};

    for (size_t i = 0; i < 4; i++) {
        v[0] += x[i] * p->value[0][i];
        v[1] += x[i] * p->value[1][i];
        for (size_t j = 0; j < 4; j++) {
            v[2] += x[i] * x[j] * p->covariance[0][i][j];
            v[3] += x[i] * x[j] * p->covariance[1][i][j];
            v[4] += x[i] * x[j] * p->covariance[2][i][j];
        }
    }
    return (struct tt_moved_by){true, v[0], v[1], v[2], v[3], v[4]};
}
