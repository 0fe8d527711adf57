/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/uncertainty.h"

#include <math.h>
#include <string.h>

#include "adjust/correlated.h"
#include "base/distribution.h"

#define COVERED 0.95
/* Beyond this many degrees of freedom Student's factor is the normal one to six digits. */
#define MANY_DOF 1e6

/* ---- scatters ---- */

/* Degrees of freedom of a variance for which the run has @own, pooled with @stated ones. */
static double pooled_dof(double own, double stated)
{
    return stated > 0 ? fmax(own, 0) + stated : fmax(own, 1);
}

struct tt_scatters tt_scatters_of(const struct tt_fit *fit)
{
    const struct tt_noise *noise = fit->noise;
    double share = fit->correlated != NULL ? fit->correlated->dof_share : 1;

    struct tt_scatter view = {pooled_dof(fit->dof_view, fit->view_scattered ? 0 : noise->view_dof),
                              noise->view_dof > 0 && fit->view_scattered};
    struct tt_scatter sight = {
        pooled_dof(fit->dof_sight, fit->sight_scattered ? 0 : noise->sight_dof),
        noise->sight_known && fit->sight_scattered};
    size_t views = fit->model->picture.n;
    bool by_views =
        views > 0 && (views == fit->model->n_sights || view.dof < sight.dof); /* the vaguer one */
    return (struct tt_scatters){
        .touch = {share * pooled_dof(fit->dof_touch, fit->scattered ? 0 : noise->touch_dof),
                  noise->touch_known && fit->scattered},
        .sight = by_views ? view : sight};
}

/* ---- one tip ---- */

/* Stated radii, as information in the border: what each brings in through its tip's block. */
static void sum_radii(struct tt_uncertainty *all)
{
    const struct tt_model *model = all->fit->model;
    size_t nb = model->n_border;

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
}

static void sum_sightings(struct tt_uncertainty *all)
{
    const struct tt_model *model = all->fit->model;
    size_t nb = model->n_border;

    for (size_t i = 0; i < 2 * model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i / 2];
        const struct tt_entry *e = sight->entries[i % 2];
        double w = tt_sight_weight(sight, 1 / all->fit->sight_var_mm2);
        for (size_t j = 0; j < sight->n_entries; j++) {
            for (size_t k = 0; k < sight->n_entries; k++) {
                all->sight[e[j].place * nb + e[k].place] += w * e[j].value * e[k].value;
            }
        }
    }
}

enum tiptrue_status tt_uncertainty_init(struct tt_uncertainty *all, struct tt_arena *arena,
                                        const struct tt_fit *fit)
{
    const struct tt_model *model = fit->model;
    size_t nb = model->n_border, largest = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        largest = model->block_size[b] > largest ? model->block_size[b] : largest;
    }
    *all = (struct tt_uncertainty){.fit = fit, .scatters = tt_scatters_of(fit)};
    all->cc = TT_ARENA_NEW(arena, largest * largest, double);
    all->cb = TT_ARENA_NEW(arena, largest * nb, double);
    all->response = TT_ARENA_NEW(arena, largest * nb, double);
    all->product = TT_ARENA_NEW(arena, largest * nb, double);
    all->radius = TT_ARENA_NEW(arena, nb * nb, double);
    all->sight = TT_ARENA_NEW(arena, nb * nb, double);
    all->by_prior = TT_ARENA_NEW(arena, largest * largest, double);
    all->by_sighting = TT_ARENA_NEW(arena, largest * largest, double);
    all->of_unknown = TT_ARENA_NEW(arena, model->n_unknowns, double);
    if (all->cc == NULL || all->cb == NULL || all->response == NULL || all->product == NULL ||
        all->radius == NULL || all->sight == NULL || all->by_prior == NULL ||
        all->by_sighting == NULL || all->of_unknown == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    sum_radii(all);
    sum_sightings(all);
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

double tt_effective_dof(const struct tt_scatter_part parts[], size_t n, struct tt_cov2 whole)
{
    double sum = 0, least = HUGE_VAL;

    for (size_t i = 0; i < n; i++) {
        const struct tt_cov2 *c = &parts[i].cov;
        double share =
            tt_satterthwaite((double[]){c->xx_mm2, c->xy_mm2, c->yy_mm2},
                             (double[]){whole.xx_mm2, whole.xy_mm2, whole.yy_mm2}, parts[i].dof);
        sum += share;
        least = share > 0 ? fmin(least, parts[i].dof) : least;
    }
    return sum > 0 ? fmax(2 / sum, least) : HUGE_VAL;
}

/* Degrees of freedom of what is uncertain by @whole, of which the touches put in @touch, the
 * sightings @sight. */
static double dof_of(const struct tt_scatters *scatters, struct tt_cov2 touch, struct tt_cov2 sight,
                     struct tt_cov2 whole)
{
    const struct tt_scatter_part parts[] = {{touch, scatters->touch.dof},
                                            {sight, scatters->sight.dof}};
    return tt_effective_dof(parts, sizeof parts / sizeof parts[0], whole);
}

/* The same on one axis (JCGM 100:2008 G.4.1). */
static double dof_of_line(const struct tt_scatters *scatters, double touch_mm2, double sight_mm2,
                          double whole_mm2)
{
    double sum =
        touch_mm2 * touch_mm2 / scatters->touch.dof + sight_mm2 * sight_mm2 / scatters->sight.dof;
    return sum > 0 ? whole_mm2 * whole_mm2 / sum : HUGE_VAL;
}

static void add_priors(const struct tt_uncertainty *all, size_t block,
                       struct tt_tip_uncertainty *tip)
{
    static const enum tt_source source_of[TT_PRIORS] = {
        [TT_PRIOR_EDGE] = TT_SOURCE_EDGE, [TT_PRIOR_GROUP] = TT_SOURCE_GROUP,
        [TT_PRIOR_MARK] = TT_SOURCE_MARK, [TT_PRIOR_RADIUS] = TT_SOURCE_RADIUS,
        [TT_PRIOR_YAW] = TT_SOURCE_YAW,   [TT_PRIOR_PLACE] = TT_SOURCE_PLACE,
        [TT_PRIOR_WEAK] = TT_SOURCE_WEAK, [TT_PRIOR_CAMERA] = TT_SOURCE_CAMERA,
        [TT_PRIOR_LENS] = TT_SOURCE_LENS,
    };
    /* of the machine, not of the plate */
    static const bool STATED[TT_PRIORS] = {[TT_PRIOR_RADIUS] = true,
                                           [TT_PRIOR_YAW] = true,
                                           [TT_PRIOR_PLACE] = true,
                                           [TT_PRIOR_CAMERA] = true,
                                           [TT_PRIOR_LENS] = true};
    const struct tt_model *model = all->fit->model;
    size_t nb = model->n_border, size = tip->size;

    memset(all->by_prior, 0, size * size * sizeof *all->by_prior);
    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        if (prior->block != TT_NONE && prior->block != block) {
            continue; /* other tips' radii are brought in by the border, below */
        }
        bool in_border = prior->block == TT_NONE;
        const double *gain = in_border
                                 ? all->cb + prior->place
                                 : all->cc + prior->place - nb; /* symmetric: a column is a row */
        size_t step = in_border ? nb : size;
        double weight = 1 / (prior->u * prior->u);
        for (size_t k = 0; k < size; k++) {
            double scaled = weight * gain[k * step];
            for (size_t j = 0; j < size; j++) {
                all->by_prior[k * size + j] += scaled * gain[j * step];
            }
        }
        for (size_t k = 0; k < TT_TIP_SHAPE; k++) {
            double part = weight * gain[k * step] * gain[k * step];
            if (prior->kind == TT_PRIOR_WEAK) {
                tip->weak_u_mm[k] += part;
            } else if (STATED[prior->kind]) {
                tip->prior_u_mm[k] += part;
            } else if (k == TT_TIP_R) {
                tip->plate_radius_var_mm2 += part;
            }
        }
        /* Of a prior that a term widens, only what is stated is the plate's: its share of the
         * variance. */
        double added = prior->extra * prior->extra / (prior->u * prior->u);
        cov2_add(&tip->source[source_of[prior->kind]], gain[0], gain[step], weight * (1 - added));
        cov2_add(&tip->source[TT_SOURCE_RIVALS], gain[0], gain[step], weight * added);
        for (size_t k = 0; k < TT_TIP_SHAPE && added > 0.5; k++) {
            tip->weak_u_mm[k] += weight * added * gain[k * step] * gain[k * step];
        }
    }
    for (size_t k = 0; k < TT_TIP_SHAPE; k++) {
        tip->weak_u_mm[k] = sqrt(tip->weak_u_mm[k]);
        tip->prior_u_mm[k] = sqrt(tip->prior_u_mm[k]);
    }
}

/* Add cb m cb^T to @part: what an information @m of the border makes uncertain in the block. */
static void add_border_part(const struct tt_uncertainty *all, const double m[], size_t size,
                            double part[])
{
    size_t nb = all->fit->model->n_border;

    for (size_t i = 0; i < size; i++) {
        double *row = all->product + i * nb;
        memset(row, 0, nb * sizeof *row);
        for (size_t j = 0; j < nb; j++) {
            double value = all->cb[i * nb + j];
            for (size_t k = 0; k < nb; k++) {
                row[k] += value * m[j * nb + k];
            }
        }
        for (size_t j = 0; j < size; j++) {
            double sum = 0;
            for (size_t k = 0; k < nb; k++) {
                sum += row[k] * all->cb[j * nb + k];
            }
            part[i * size + j] += sum;
        }
    }
}

static bool other_radii(const struct tt_model *model, size_t block)
{
    bool any = false;

    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        any = any || (prior->kind == TT_PRIOR_RADIUS && prior->block != block);
    }
    return any;
}

/* Stated radii of the other tips reach this one through what the border shares: cov(o_t, r_s) =
 * response_t c response_s^T. */
static void add_other_radii(const struct tt_uncertainty *all, size_t block,
                            struct tt_tip_uncertainty *tip)
{
    const struct tt_model *model = all->fit->model;
    size_t nb = model->n_border, size = tip->size;
    const double *row = all->response + TT_TIP_R * nb;
    double *part = all->by_sighting; /* free until the sightings are summed */

    if (!other_radii(model, block)) {
        return;
    }
    memset(part, 0, size * size * sizeof *part);
    add_border_part(all, all->radius, size, part);
    for (size_t i = 0; i < model->n_priors;
         i++) { /* its own is in there too, but came by the block itself */
        if (model->priors[i].kind != TT_PRIOR_RADIUS || model->priors[i].block != block) {
            continue;
        }
        double weight = 1 / (model->priors[i].u * model->priors[i].u);
        for (size_t j = 0; j < size; j++) {
            double by_own = 0;
            for (size_t k = 0; k < nb; k++) {
                by_own += all->cb[j * nb + k] * row[k];
            }
            all->product[j] = by_own;
        }
        for (size_t j = 0; j < size * size; j++) {
            part[j] -= weight * all->product[j / size] * all->product[j % size];
        }
    }
    for (size_t j = 0; j < size * size; j++) {
        all->by_prior[j] += part[j];
    }
    tip->source[TT_SOURCE_RADIUS].xx_mm2 += part[0];
    tip->source[TT_SOURCE_RADIUS].xy_mm2 += part[1];
    tip->source[TT_SOURCE_RADIUS].yy_mm2 += part[size + 1];
}

static struct tt_cov2 cov2_at(const double m[], size_t size, size_t at)
{
    return (struct tt_cov2){m[at * size + at], m[at * size + at + 1], m[(at + 1) * size + at + 1]};
}

/* by_prior becomes the touches' part: what neither priors nor sightings put in. */
static void split_touches(struct tt_uncertainty *all, size_t size)
{
    for (size_t j = 0; j < size * size; j++) {
        double by_touch = all->cc[j] - all->by_prior[j] - all->by_sighting[j];
        bool variance = j % (size + 1) == 0;
        all->by_prior[j] = variance ? fmax(by_touch, 0) : by_touch;
    }
}

/* Gains of the touches on one unknown. */
static void unit_gain(const struct tt_uncertainty *all, size_t unknown, double gain[])
{
    const struct tt_system *system = &all->fit->model->system;

    memset(all->of_unknown, 0, system->n_unknowns * sizeof *all->of_unknown);
    all->of_unknown[unknown] = 1;
    tt_system_solve(system, all->of_unknown, all->of_unknown);
    tt_correlated_gain(all->fit->correlated, all->of_unknown, gain);
}

/* Correlated touches put more into the covariance than independent ones: into @by_touch (the
 * touches' part) and the whole. */
static void add_correlation(struct tt_uncertainty *all, size_t block, size_t size,
                            double by_touch[])
{
    const struct tt_correlated *found = all->fit->correlated;
    const struct tt_system *system = &all->fit->model->system;

    for (size_t j = 0; j < size && found != NULL; j++) {
        unit_gain(all, system->first[block] + j, found->gain[0]);
        for (size_t k = 0; k <= j; k++) {
            unit_gain(all, system->first[block] + k, found->gain[1]);
            double extra = tt_correlated_extra(found, found->gain[0], found->gain[1]);
            by_touch[j * size + k] += extra;
            all->cc[j * size + k] += extra;
            if (j != k) {
                by_touch[k * size + j] += extra;
                all->cc[k * size + j] += extra;
            }
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
    size_t size = model->block_size[block], r = TT_TIP_R * (size + 1);

    *tip = (struct tt_tip_uncertainty){.cc = all->cc, .size = size};
    tt_system_block_covariance(&model->system, block, all->cc, all->cb, all->response);
    add_priors(all, block, tip);
    add_other_radii(all, block, tip);
    memset(all->by_sighting, 0, size * size * sizeof *all->by_sighting);
    add_border_part(all, all->sight, size, all->by_sighting);
    split_touches(all, size);
    add_correlation(all, block, size, all->by_prior);
    const double *by_touch = all->by_prior, *by_sighting = all->by_sighting;
    tip->source[TT_SOURCE_TOUCH] = cov2_at(by_touch, size, TT_TIP_O_X);
    tip->source[TT_SOURCE_SIGHT] = cov2_at(by_sighting, size, TT_TIP_O_X);
    tip->offset = cov2_at(all->cc, size, TT_TIP_O_X);
    tip->less_plate = tip->offset;
    for (size_t k = 0; k < sizeof of_plate / sizeof of_plate[0]; k++) {
        tip->less_plate = cov2_less(tip->less_plate, tip->source[of_plate[k]]);
    }
    if (all->fit->rivals != NULL) {
        add_rivals(&all->fit->rivals[block], &tip->offset);
        add_rivals(&all->fit->rivals[block], &tip->source[TT_SOURCE_RIVALS]);
        add_rivals(&all->fit->rivals[block], &tip->less_plate);
    }
    const struct tt_scatters *s = &all->scatters;
    tip->dof = dof_of(s, tip->source[TT_SOURCE_TOUCH], tip->source[TT_SOURCE_SIGHT], tip->offset);
    tip->less_plate_dof =
        dof_of(s, tip->source[TT_SOURCE_TOUCH], tip->source[TT_SOURCE_SIGHT], tip->less_plate);
    tip->runout_dof =
        dof_of(s, cov2_at(by_touch, size, TT_TIP_E_X), cov2_at(by_sighting, size, TT_TIP_E_X),
               cov2_at(all->cc, size, TT_TIP_E_X));
    tip->radius_dof = dof_of_line(s, by_touch[r], by_sighting[r], all->cc[r]);
}

double tt_factor_line(double dof)
{
    if (!(dof < MANY_DOF)) {
        return 1.959963984540054; /* normal, 0.975 quantile */
    }
    return tt_student_quantile(0.5 + 0.5 * COVERED, dof);
}

struct tt_machine_xy tt_expanded(struct tt_cov2 cov, double dof)
{
    double factor = tt_factor_line(dof);
    return (struct tt_machine_xy){factor * sqrt(fmax(cov.xx_mm2, 0)),
                                  factor * sqrt(fmax(cov.yy_mm2, 0))};
}

double tt_p_plane(double t2, double dof)
{
    return tt_plane_upper(t2, dof);
}

double tt_factor_plane(double dof)
{
    /* tt_p_plane solved for t. */
    return dof < MANY_DOF ? sqrt(dof * expm1(-2 / dof * log(1 - COVERED)))
                          : sqrt(-2 * log(1 - COVERED));
}

double tt_cov2_distance2(struct tt_cov2 cov, double x, double y)
{
    double det = cov.xx_mm2 * cov.yy_mm2 - cov.xy_mm2 * cov.xy_mm2;
    return (cov.yy_mm2 * x * x - 2 * cov.xy_mm2 * x * y + cov.xx_mm2 * y * y) / det;
}

struct tt_region tt_cov2_region(struct tt_cov2 cov, double factor)
{
    double half_trace = 0.5 * (cov.xx_mm2 + cov.yy_mm2),
           half_difference = 0.5 * (cov.xx_mm2 - cov.yy_mm2);
    double root = hypot(half_difference, cov.xy_mm2),
           angle = 0.5 * atan2(cov.xy_mm2, half_difference);
    double minor = half_trace + root > 0
                       ? (cov.xx_mm2 * cov.yy_mm2 - cov.xy_mm2 * cov.xy_mm2) / (half_trace + root)
                       : 0;

    return (struct tt_region){.semi_major_mm = factor * sqrt(half_trace + root),
                              .semi_minor_mm = factor * sqrt(fmax(minor, 0)),
                              .angle_rad = angle <= -TT_PI / 2 ? angle + TT_PI : angle,
                              .factor = factor};
}

/* Around the estimate, in coordinates in which the covariance is the unit matrix, a ray leaves
 * (and, seen from outside, enters) the circle, which is an ellipse there, at radii that a quadratic
 * gives; the probability beyond a radius is tt_p_plane. The mean over rays by the midpoint rule
 * converges at once while the estimate is inside (a smooth periodic function). */
double tt_p_within(double x, double y, struct tt_cov2 cov, double dof, double radius_mm)
{
    enum { RAYS = 64 };
    struct tt_region axes = tt_cov2_region(cov, 1);
    double c = cos(axes.angle_rad), s = sin(axes.angle_rad), along = c * x + s * y,
           across = -s * x + c * y, sum = 0;

    for (size_t k = 0; k < RAYS; k++) {
        double angle = 2 * TT_PI * ((double)k + 0.5) / RAYS;
        double step_x = axes.semi_major_mm * cos(angle), step_y = axes.semi_minor_mm * sin(angle);
        double a = step_x * step_x + step_y * step_y, b = along * step_x + across * step_y;
        double rest = along * along + across * across - radius_mm * radius_mm,
               root2 = b * b - a * rest;
        if (!(a > 0)) {
            sum += rest < 0 ? 1 : 0;
        } else if (root2 > 0) {
            double root = sqrt(root2), near = fmax((-b - root) / a, 0),
                   far = fmax((-b + root) / a, 0);
            sum += tt_p_plane(near * near, dof) - tt_p_plane(far * far, dof);
        }
    }
    return sum / RAYS;
}
