/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The rotations of the parts that are used: a zero for each tip, one repeatability for all. */
#include "config.h"

#include <math.h>

#include "geometry/pose.h"
#include "placement/board_design.h"
#include "placement/work.h"

/* Means of the tips about their directions, on which a rotation and one that is a turn further are
 * the same. */
static void means(struct tt_placing *p, double *weights)
{
    struct tt_angles *a = &p->angles;
    for (size_t t = 0; t < p->design.n_tips; t++) {
        double sum = 0.0;
        for (size_t i = 0; i < p->design.n; i++) {
            bool in = p->design.rows[i].tip == t && p->board->parts[i].has_found_rotation;
            weights[i] = in ? p->design.weight[i] : 0.0;
            a->n_of[t] += weights[i];
        }
        double centre = tt_angle_mean(a->turned_rad, weights, p->design.n);
        for (size_t i = 0; i < p->design.n; i++) {
            sum += weights[i] * tt_angle_wrap(a->turned_rad[i] - centre);
        }
        a->mean_rad[t] = a->n_of[t] > 0.0 ? tt_angle_wrap(centre + sum / a->n_of[t]) : 0.0;
    }
}

/* The sum of squares about the tips' means, and about 0. */
static void squares(const struct tt_placing *p, double *about_means, double *about_zero)
{
    const struct tt_angles *a = &p->angles;
    *about_means = *about_zero = 0.0;
    for (size_t i = 0; i < p->design.n; i++) {
        double mean = a->mean_rad[p->design.rows[i].tip];
        if (p->board->parts[i].has_found_rotation && p->design.weight[i] > 0.0) {
            double rest = tt_angle_wrap(a->turned_rad[i] - mean);
            *about_means += rest * rest;
            *about_zero += (mean + rest) * (mean + rest);
        }
    }
}

bool tt_placing_angles(struct tt_placing *p)
{
    struct tt_angles *a = &p->angles;
    size_t n = p->design.n, tips = p->design.n_tips;
    double *weights = TT_ARENA_NEW(&p->scratch, n, double), about_means, about_zero;
    double *sums = TT_ARENA_NEW(&p->scratch, tips, double);
    a->turned_rad = TT_ARENA_NEW(&p->scratch, n, double);
    a->mean_rad = TT_ARENA_NEW(&p->scratch, tips, double);
    a->n_of = TT_ARENA_NEW(&p->scratch, tips, double);
    if (weights == NULL || sums == NULL || a->turned_rad == NULL || a->mean_rad == NULL ||
        a->n_of == NULL) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        const struct tt_part *part = &p->board->parts[i];
        a->turned_rad[i] = part->has_found_rotation
                               ? tt_angle_wrap(part->found_rotation_rad - part->rotation_rad)
                               : 0.0;
    }
    means(p, weights);
    squares(p, &about_means, &about_zero);
    for (size_t t = 0; t < tips; t++) {
        a->dof += fmax(a->n_of[t] - 1.0, 0.0);
        sums[t] = a->n_of[t] * a->mean_rad[t];
    }
    a->u_rad = a->dof > 0.0 ? sqrt(about_means / a->dof) : 0.0;
    if (!(a->u_rad > 0.0)) {
        a->dof = 0.0; /* no rotation was found, or all to the same digits: nothing to judge by */
        return true;
    }
    const struct tt_angle_sums of = {tips, sums, a->n_of, about_zero, a->u_rad};
    return tt_angle_terms_init(&a->problem, &of, &p->scratch) &&
           tt_terms_weigh(&a->problem, &p->scratch, &a->weighed) == TIPTRUE_OK;
}

double tt_angle_mean(const double angles_rad[], const double weights[], size_t n)
{
    double cosines = 0.0, sines = 0.0;
    for (size_t i = 0; i < n; i++) {
        cosines += weights[i] * cos(angles_rad[i]);
        sines += weights[i] * sin(angles_rad[i]);
    }
    return cosines == 0.0 && sines == 0.0 ? 0.0 : atan2(sines, cosines);
}
