/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The circle through a tip's centres over rotation, against the adjustment. See direct.h. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/difference.h"
#include "adjust/direct.h"
#include "adjust/findings.h"
#include "geometry/circle.h"

/* A circle is told from its points' scatter from this many standard deviations of a centre on: its
 * radius is then biased by 1/60 of one (N. Chernov, Circular and Linear Regression, 2010, 6.11). */
#define LEAST_CIRCLE 30.0
/* Rotations that leave this mean direction or less go round far enough: 0.7 is 160 degrees. */
#define MOST_ONE_SIDED 0.7
/* Edges touched at one rotation are not parallel if the smaller information on the centre is at
 * least a fortieth of the larger: 18 degrees. */
#define LEAST_CROSSED 0.1
/* Rotations closer than this, as a chord, are one: 0.07 degrees. */
#define SAME_ROTATION 1.3e-3
#define MOST_ROTATIONS 72 /* of a circle: more tell it no better */

/* What the touches at one rotation, on edges that cross, tell of the tip's centre. */
struct rotation {
    double c, s;       /* cosine, sine */
    double xx, xy, yy; /* sum of n n^T */
    double x_mm, y_mm; /* sum of n v */
    double inverse[3]; /* of the matrix: xx, xy, yy; of no use where not crossed */
    double u_x, u_y;   /* direction of the runout there */
    bool crossed;
};

/* A tip's centres over rotation, about where the adjustment has their circle's centre. */
struct centres {
    struct rotation rotations[MOST_ROTATIONS];
    size_t n_rotations, n; /* all; of them crossed */
    struct tt_machine_xy at[MOST_ROTATIONS];
    double radius_mm, u_centre_mm; /* adjusted eccentricity; standard, of one centre */
};

static struct rotation *rotation_at(struct centres *centres, double c, double s)
{
    for (size_t k = 0; k < centres->n_rotations; k++) {
        struct rotation *r = &centres->rotations[k];
        if (fabs(r->c - c) < SAME_ROTATION && fabs(r->s - s) < SAME_ROTATION) {
            return r;
        }
    }
    if (centres->n_rotations == MOST_ROTATIONS) {
        return NULL;
    }
    centres->rotations[centres->n_rotations] = (struct rotation){.c = c, .s = s};
    return &centres->rotations[centres->n_rotations++];
}

static void sum_rotations(const struct tt_fit *fit, size_t block, struct centres *centres)
{
    const struct tt_model *model = fit->model;

    centres->n_rotations = 0;
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const struct tt_touch *touch = &model->touch[i];
        struct rotation *r = cell->block == block && fit->good[i] > 0
                                 ? rotation_at(centres, touch->cos_rotation, touch->sin_rotation)
                                 : NULL;
        if (r != NULL) {
            double n_x = cell->site.n_x, n_y = cell->site.n_y, v = model->residual[i];
            r->xx += n_x * n_x;
            r->xy += n_x * n_y;
            r->yy += n_y * n_y;
            r->x_mm += n_x * v;
            r->y_mm += n_y * v;
        }
    }
}

/* Whether a runout can be large enough: a centre is at best known from a third of the touches, half
 * of them for each axis. */
static bool may_have_circle(const struct tt_fit *fit, const struct tt_tip_result *tip)
{
    double least_u_mm = sqrt(6 * fit->touch_var_mm2 / fmax((double)tip->used, 1));

    return tip->eccentricity_mm > LEAST_CIRCLE * least_u_mm;
}

/* The centres that the touches put right where the adjustment's leave residuals v: by
 * -(sum n n^T)^-1 sum n v. False: they span no circle. */
static bool find_centres(const struct tt_fit *fit, size_t block, struct centres *centres)
{
    const double *e = fit->model->x + fit->model->system.first[block] + TT_TIP_E_X;
    double variance = 0, sum_x = 0, sum_y = 0;

    sum_rotations(fit, block, centres);
    centres->n = 0;
    centres->radius_mm = hypot(e[0], e[1]);
    for (size_t k = 0; k < centres->n_rotations; k++) {
        struct rotation *r = &centres->rotations[k];
        double det = r->xx * r->yy - r->xy * r->xy, half = 0.5 * (r->xx + r->yy);
        r->crossed = det > LEAST_CROSSED * half * half;
        if (!r->crossed) {
            continue;
        }
        const double inverse[3] = {r->yy / det, -r->xy / det, r->xx / det};
        memcpy(r->inverse, inverse, sizeof inverse);
        double x = r->c * e[0] - r->s * e[1], y = r->s * e[0] + r->c * e[1];
        r->u_x = x / centres->radius_mm;
        r->u_y = y / centres->radius_mm;
        sum_x += r->u_x;
        sum_y += r->u_y;
        variance += fit->touch_var_mm2 * half / det;
        centres->at[centres->n++] =
            (struct tt_machine_xy){x - inverse[0] * r->x_mm - inverse[1] * r->y_mm,
                                   y - inverse[1] * r->x_mm - inverse[2] * r->y_mm};
    }
    double n = (double)centres->n;
    if (centres->n < 3) {
        return false;
    }
    centres->u_centre_mm = sqrt(variance / n);
    return centres->radius_mm > LEAST_CIRCLE * centres->u_centre_mm &&
           hypot(sum_x, sum_y) <= MOST_ONE_SIDED * n;
}

/* @inverse of the symmetric @a. */
static void invert3(double a[3][3], double inverse[3][3])
{
    double det = 0;

    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            size_t p = (i + 1) % 3, q = (i + 2) % 3, r = (j + 1) % 3, s = (j + 2) % 3;
            inverse[j][i] = a[p][r] * a[q][s] - a[p][s] * a[q][r];
        }
        det += i == 0 ? a[0][0] * inverse[0][0] + a[0][1] * inverse[1][0] + a[0][2] * inverse[2][0]
                      : 0;
    }
    for (size_t k = 0; k < 9; k++) {
        inverse[k / 3][k % 3] /= det;
    }
}

/* z: what each touch does to the circle's centre and radius, linear: a centre is moved by @r's
 * inverse times n, of which the circle takes what is along the radius. */
static void functions_of_circle(const struct tt_fit *fit, size_t block, struct centres *centres,
                                struct tt_difference *f)
{
    const struct tt_model *model = fit->model;
    double normal[3][3] = {{0}}, inverse[3][3];

    for (size_t k = 0; k < centres->n_rotations; k++) {
        const struct rotation *r = &centres->rotations[k];
        const double row[3] = {r->u_x, r->u_y, 1};
        for (size_t a = 0; a < 9 && r->crossed; a++) {
            normal[a / 3][a % 3] += row[a / 3] * row[a % 3];
        }
    }
    invert3(normal, inverse);
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        const struct tt_touch *touch = &model->touch[i];
        const struct rotation *r =
            cell->block == block && fit->good[i] > 0
                ? rotation_at(centres, touch->cos_rotation, touch->sin_rotation)
                : NULL;
        if (r == NULL || !r->crossed) {
            continue;
        }
        double moved_x = r->inverse[0] * cell->site.n_x + r->inverse[1] * cell->site.n_y,
               moved_y = r->inverse[1] * cell->site.n_x + r->inverse[2] * cell->site.n_y;
        double along = r->u_x * moved_x + r->u_y * moved_y;
        for (size_t a = 0; a < 3; a++) {
            f->z[a][i] = -along * (inverse[a][0] * r->u_x + inverse[a][1] * r->u_y + inverse[a][2]);
        }
    }
}

/* Whether a circle is where the adjustment has it, within the expanded uncertainties that go with
 * the variances @mm2 of its centre's x, y and of its radius. */
static bool is_near(const double d[3], const double mm2[3])
{
    const double k2 = TT_DIRECT_EXPANDED * TT_DIRECT_EXPANDED;

    return d[0] * d[0] <= k2 * mm2[0] && d[1] * d[1] <= k2 * mm2[1] && d[2] * d[2] <= k2 * mm2[2];
}

/* The algebraic circle comes first, which is quick and lies as near as the geometric one where
 * nothing is wrong. */
enum tiptrue_status tt_direct_check_circle(struct tt_view *view, size_t index,
                                           struct tt_difference *f, double most_p)
{
    size_t run_tip = tt_run_tip(view, index), block = view->model->tip_block[run_tip];
    struct centres centres;
    struct tt_circle circle;

    if (block == TT_NONE || !may_have_circle(view->fit, &view->solution->tips[index]) ||
        !find_centres(view->fit, block, &centres) ||
        tt_circle_fit_algebraic(centres.at, centres.n, centres.u_centre_mm, &circle) !=
            TIPTRUE_OK) {
        return TIPTRUE_OK;
    }
    double u2 = centres.u_centre_mm * centres.u_centre_mm / (double)centres.n;
    if (is_near((const double[]){circle.centre.x_mm, circle.centre.y_mm,
                                 circle.radius_mm - centres.radius_mm},
                (const double[]){2 * u2, 2 * u2, u2}) ||
        tt_circle_fit(centres.at, centres.n, centres.u_centre_mm, &circle) != TIPTRUE_OK) {
        return TIPTRUE_OK;
    }
    double d[3] = {circle.centre.x_mm, circle.centre.y_mm, circle.radius_mm - centres.radius_mm};
    if (is_near(d, (const double[]){circle.cov_mm2[0][0], circle.cov_mm2[1][1],
                                    circle.cov_mm2[2][2]})) {
        return TIPTRUE_OK;
    }
    tt_difference_clear(f, view->model, 3);
    functions_of_circle(view->fit, block, &centres, f);
    tt_difference_find(f, view->fit);
    double u_mm = sqrt(fmax(fmax(f->left[0][0], f->left[1][1]), 0));
    if (!(tt_difference_chance(f, d, view->scatters.touch.dof) < most_p)) {
        return TIPTRUE_OK;
    }
    struct tt_effect effect = {0, 0};
    tt_effect_add(&effect, &view->solution->tips[index], circle.centre.x_mm, circle.centre.y_mm);
    return tt_finding_add_values(view, TT_FINDING_FIT_DISAGREES, tt_effect_severity(effect),
                                 (struct tt_about){TT_NONE, run_tip, TT_NONE, NULL, 0},
                                 TT_VALUES(TT_TEXT("what", "circle"),
                                           TT_PLAIN("rotations", centres.n),
                                           TT_IN_MM("apart", effect.mm), TT_IN_MM("u", u_mm),
                                           TT_IN_MM("radius", circle.radius_mm),
                                           TT_IN_MM("eccentricity", centres.radius_mm)));
}
