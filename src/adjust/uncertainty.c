/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/uncertainty.h"

#include <math.h>
#include <string.h>

#include "base/distribution.h"

#define COVERED 0.95
/* Beyond this many degrees of freedom Student's factor is the normal one to six digits. */
#define MANY_DOF 1e6

enum tiptrue_status tt_uncertainty_init(struct tt_uncertainty *all, struct tt_arena *arena, const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    size_t nb = model->n_border, largest = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    *all = (struct tt_uncertainty){.fit = fit};
    all->cc = TT_ARENA_NEW(arena, largest * largest, double);
    all->cb = TT_ARENA_NEW(arena, largest * nb, double);
    all->response = TT_ARENA_NEW(arena, largest * nb, double);
    all->radius = TT_ARENA_NEW(arena, nb * nb, double);
    if (all->cc == NULL || all->cb == NULL || all->response == NULL || all->radius == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        if (prior->kind != TT_PRIOR_RADIUS) {
            continue;
        }
        tt_system_block_covariance(&model->system, prior->block, all->cc, all->cb, all->response);
        const double *row = all->response + TT_TIP_R * nb;
        for (size_t j = 0; j < nb; j++) {
            for (size_t k = 0; k < nb; k++) {
                all->radius[j * nb + k] += row[j] * row[k] / (prior->u * prior->u);
            }
        }
    }
    return TIPTRUE_OK;
}

static void cov2_add(struct tt_cov2 *sum, double x, double y, double weight)
{
    sum->xx_mm2 += weight * x * x;
    sum->xy_mm2 += weight * x * y;
    sum->yy_mm2 += weight * y * y;
}

static struct tt_cov2 cov2_less(struct tt_cov2 a, struct tt_cov2 b)
{
    return (struct tt_cov2){a.xx_mm2 - b.xx_mm2, a.xy_mm2 - b.xy_mm2, a.yy_mm2 - b.yy_mm2};
}

/* sum over i of tr[(C_i C^-1)^2] / dof_i: Welch and Satterthwaite's sum in the plane, for scatters that scale a known matrix
 * (JCGM 100:2008 G.4.1 is the same on one axis). */
static double satterthwaite(struct tt_cov2 part, struct tt_cov2 whole, double dof)
{
    double det = whole.xx_mm2 * whole.yy_mm2 - whole.xy_mm2 * whole.xy_mm2;
    if (!(det > 0) || !(dof < MANY_DOF)) {
        return 0;
    }
    double a = (part.xx_mm2 * whole.yy_mm2 - part.xy_mm2 * whole.xy_mm2) / det;
    double b = (part.xy_mm2 * whole.xx_mm2 - part.xx_mm2 * whole.xy_mm2) / det;
    double c = (part.xy_mm2 * whole.yy_mm2 - part.yy_mm2 * whole.xy_mm2) / det;
    double d = (part.yy_mm2 * whole.xx_mm2 - part.xy_mm2 * whole.xy_mm2) / det;
    return (a * a + 2 * b * c + d * d) / dof;
}

double tt_effective_dof(const struct tt_scatter_part parts[], size_t n, struct tt_cov2 whole)
{
    double sum = 0, least = HUGE_VAL;

    for (size_t i = 0; i < n; i++) {
        double share = satterthwaite(parts[i].cov, whole, parts[i].dof);
        sum += share;
        least = share > 0 ? fmin(least, parts[i].dof) : least;
    }
    return sum > 0 ? fmax(2 / sum, least) : HUGE_VAL;
}

static double dof_of(const struct tt_fit *fit, const struct tt_tip_uncertainty *tip, struct tt_cov2 whole)
{
    const struct tt_scatter_part parts[] = {
        {tip->source[TT_SOURCE_TOUCH], fmax(fit->dof_touch, 1) + (fit->scattered ? 0 : fit->noise->touch_dof)},
        {tip->source[TT_SOURCE_SIGHT], fmax(fit->dof_sight, 1) + (fit->sight_scattered ? 0 : fit->noise->sight_dof)},
    };
    return tt_effective_dof(parts, sizeof parts / sizeof parts[0], whole);
}

static void add_priors(const struct tt_uncertainty *all, size_t block, struct tt_tip_uncertainty *tip)
{
    static const enum tt_source source_of[TT_PRIORS] = {
        [TT_PRIOR_EDGE] = TT_SOURCE_EDGE,     [TT_PRIOR_GROUP] = TT_SOURCE_GROUP, [TT_PRIOR_MARK] = TT_SOURCE_MARK,
        [TT_PRIOR_RADIUS] = TT_SOURCE_RADIUS, [TT_PRIOR_YAW] = TT_SOURCE_YAW,     [TT_PRIOR_PLACE] = TT_SOURCE_PLACE,
        [TT_PRIOR_WEAK] = TT_SOURCE_WEAK,
    };
    const struct tt_model *model = all->fit->model;
    size_t nb = model->n_border, size = tip->size;

    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        if (prior->block != TT_NONE && prior->block != block) {
            continue; /* other tips' radii are brought in by the border, below */
        }
        double weight = 1 / (prior->u * prior->u), gain[TT_TIP_SHAPE];
        for (size_t k = 0; k < TT_TIP_SHAPE; k++) {
            gain[k] = prior->block == TT_NONE ? all->cb[k * nb + prior->place] : all->cc[k * size + prior->place - nb];
            if (prior->kind == TT_PRIOR_WEAK) {
                tip->weak_u_mm[k] += weight * gain[k] * gain[k];
            } else if (prior->kind == TT_PRIOR_RADIUS || prior->kind == TT_PRIOR_YAW || prior->kind == TT_PRIOR_PLACE) {
                tip->prior_u_mm[k] += weight * gain[k] * gain[k];
            }
        }
        if (prior->kind == TT_PRIOR_EDGE || prior->kind == TT_PRIOR_GROUP || prior->kind == TT_PRIOR_MARK) {
            tip->plate_radius_var_mm2 += weight * gain[TT_TIP_R] * gain[TT_TIP_R];
        }
        /* Of a prior that a term widens, only what is stated is the plate's: its share of the variance. */
        double added = prior->extra * prior->extra / (prior->u * prior->u);
        cov2_add(&tip->source[source_of[prior->kind]], gain[0], gain[1], weight * (1 - added));
        cov2_add(&tip->source[TT_SOURCE_RIVALS], gain[0], gain[1], weight * added);
        for (size_t k = 0; k < TT_TIP_SHAPE && added > 0.5; k++) {
            tip->weak_u_mm[k] += weight * added * gain[k] * gain[k];
        }
    }
    for (size_t k = 0; k < TT_TIP_SHAPE; k++) {
        tip->weak_u_mm[k] = sqrt(tip->weak_u_mm[k]);
        tip->prior_u_mm[k] = sqrt(tip->prior_u_mm[k]);
    }
}

/* Stated radii of the other tips reach this one through what the border shares: cov(o_t, r_s) = response_t c response_s^T. */
static void add_other_radii(const struct tt_uncertainty *all, size_t block, struct tt_tip_uncertainty *tip)
{
    const struct tt_model *model = all->fit->model;
    size_t nb = model->n_border;
    double own = 0, sum[3] = {0};
    const double *row = all->response + TT_TIP_R * nb, *x = all->cb, *y = all->cb + nb;

    for (size_t i = 0; i < model->n_priors; i++) {
        if (model->priors[i].kind == TT_PRIOR_RADIUS && model->priors[i].block == block) {
            own = 1 / (model->priors[i].u * model->priors[i].u);
        }
    }
    for (size_t j = 0; j < nb; j++) {
        for (size_t k = 0; k < nb; k++) {
            double m = all->radius[j * nb + k] - own * row[j] * row[k];
            sum[0] += x[j] * m * x[k];
            sum[1] += x[j] * m * y[k];
            sum[2] += y[j] * m * y[k];
        }
    }
    tip->source[TT_SOURCE_RADIUS].xx_mm2 += sum[0];
    tip->source[TT_SOURCE_RADIUS].xy_mm2 += sum[1];
    tip->source[TT_SOURCE_RADIUS].yy_mm2 += sum[2];
}

static void add_sightings(const struct tt_uncertainty *all, struct tt_tip_uncertainty *tip)
{
    const struct tt_model *model = all->fit->model;
    size_t nb = model->n_border;

    for (size_t i = 0; i < model->n_sights; i++) {
        for (size_t axis = 0; axis < 2; axis++) {
            double x = 0, y = 0;
            for (size_t k = 0; k < model->sights[i].n_entries; k++) {
                const struct tt_entry *e = &model->sights[i].entries[axis][k];
                x += e->value * all->cb[e->place];
                y += e->value * all->cb[nb + e->place];
            }
            cov2_add(&tip->source[TT_SOURCE_SIGHT], x, y, tt_sight_weight(&model->sights[i], 1 / all->fit->sight_var_mm2));
        }
    }
}

static void add_rivals(const struct tt_cov2 *extra, struct tt_cov2 *sum)
{
    sum->xx_mm2 += extra->xx_mm2;
    sum->xy_mm2 += extra->xy_mm2;
    sum->yy_mm2 += extra->yy_mm2;
}

void tt_uncertainty_of_tip(struct tt_uncertainty *all, size_t block, struct tt_tip_uncertainty *tip)
{
    static const enum tt_source of_plate[] = {TT_SOURCE_EDGE, TT_SOURCE_GROUP, TT_SOURCE_MARK};
    const struct tt_model *model = all->fit->model;
    size_t size = model->block_size[block];

    *tip = (struct tt_tip_uncertainty){.cc = all->cc, .size = size};
    tt_system_block_covariance(&model->system, block, all->cc, all->cb, all->response);
    tip->offset = (struct tt_cov2){all->cc[0], all->cc[1], all->cc[size + 1]};
    add_priors(all, block, tip);
    add_other_radii(all, block, tip);
    add_sightings(all, tip);
    struct tt_cov2 rest = tip->offset;
    for (size_t s = 0; s < TT_SOURCES; s++) {
        rest = s == TT_SOURCE_TOUCH ? rest : cov2_less(rest, tip->source[s]);
    }
    rest.xx_mm2 = fmax(rest.xx_mm2, 0);
    rest.yy_mm2 = fmax(rest.yy_mm2, 0);
    tip->source[TT_SOURCE_TOUCH] = rest;
    tip->same_plate = tip->offset;
    for (size_t k = 0; k < sizeof of_plate / sizeof of_plate[0]; k++) {
        tip->same_plate = cov2_less(tip->same_plate, tip->source[of_plate[k]]);
    }
    if (all->fit->rivals != NULL) {
        add_rivals(&all->fit->rivals[block], &tip->offset);
        add_rivals(&all->fit->rivals[block], &tip->source[TT_SOURCE_RIVALS]);
        add_rivals(&all->fit->rivals_same_plate[block], &tip->same_plate);
    }
    tip->dof = dof_of(all->fit, tip, tip->offset);
    tip->same_plate_dof = dof_of(all->fit, tip, tip->same_plate);
}

double tt_factor_line(double dof)
{
    if (!(dof < MANY_DOF)) {
        return 1.959963984540054; /* normal, 0.975 quantile */
    }
    return tt_student_quantile(0.5 + 0.5 * COVERED, dof);
}

double tt_p_plane(double t2, double dof)
{
    return dof < MANY_DOF ? exp(-0.5 * dof * log1p(t2 / dof)) : exp(-0.5 * t2);
}

double tt_factor_plane(double dof)
{
    /* tt_p_plane solved for t. */
    return dof < MANY_DOF ? sqrt(dof * expm1(-2 / dof * log(1 - COVERED))) : sqrt(-2 * log(1 - COVERED));
}

double tt_cov2_distance2(struct tt_cov2 cov, double x, double y)
{
    double det = cov.xx_mm2 * cov.yy_mm2 - cov.xy_mm2 * cov.xy_mm2;
    return (cov.yy_mm2 * x * x - 2 * cov.xy_mm2 * x * y + cov.xx_mm2 * y * y) / det;
}

struct tt_region tt_cov2_region(struct tt_cov2 cov, double factor)
{
    double half_trace = 0.5 * (cov.xx_mm2 + cov.yy_mm2), half_difference = 0.5 * (cov.xx_mm2 - cov.yy_mm2);
    double root = hypot(half_difference, cov.xy_mm2), angle = 0.5 * atan2(cov.xy_mm2, half_difference);
    double minor = half_trace + root > 0 ? (cov.xx_mm2 * cov.yy_mm2 - cov.xy_mm2 * cov.xy_mm2) / (half_trace + root) : 0;

    return (struct tt_region){.semi_major_mm = factor * sqrt(half_trace + root),
                              .semi_minor_mm = factor * sqrt(fmax(minor, 0)),
                              .angle_rad = angle <= -TT_PI / 2 ? angle + TT_PI : angle};
}

/* Around the estimate, in coordinates in which the covariance is the unit matrix, a ray leaves (and, seen from outside, enters) the
 * circle, which is an ellipse there, at radii that a quadratic gives; the probability beyond a radius is tt_p_plane. The mean over
 * rays by the midpoint rule converges at once while the estimate is inside (a smooth periodic function). */
double tt_p_within(double x, double y, struct tt_cov2 cov, double dof, double radius_mm)
{
    enum { RAYS = 64 };
    struct tt_region axes = tt_cov2_region(cov, 1);
    double c = cos(axes.angle_rad), s = sin(axes.angle_rad), along = c * x + s * y, across = -s * x + c * y, sum = 0;

    for (size_t k = 0; k < RAYS; k++) {
        double angle = 2 * TT_PI * ((double)k + 0.5) / RAYS;
        double step_x = axes.semi_major_mm * cos(angle), step_y = axes.semi_minor_mm * sin(angle);
        double a = step_x * step_x + step_y * step_y, b = along * step_x + across * step_y;
        double rest = along * along + across * across - radius_mm * radius_mm, root2 = b * b - a * rest;
        if (!(a > 0)) {
            sum += rest < 0 ? 1 : 0;
        } else if (root2 > 0) {
            double root = sqrt(root2), near = fmax((-b - root) / a, 0), far = fmax((-b + root) / a, 0);
            sum += tt_p_plane(near * near, dof) - tt_p_plane(far * far, dof);
        }
    }
    return sum / RAYS;
}
