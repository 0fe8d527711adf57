/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Modes' prior probabilities and sizes, and the odds of a candidate of the table. */
#include "config.h"

#include <math.h>

#include "adjust/modes_parts.h"
#include "base/distribution.h"
#include "base/sums.h"

/* Of the touches' squared residuals a candidate takes away at most this share, rounding and all. */
#define MOST_TAKEN 0.98

/* Size of what is not off where one axis alone is: 5 nm over 50 mm. */
#define OTHER_AXES 1e-7

/* F and P are judgements of what happens on such machines (common practice, no source): a film on
 * an edge is the commonest fault and has the thickness of a film; a typing error is off by
 * anything. Ten times larger or smaller values shift the threshold of detection by half a standard
 * deviation. */
static const struct {
    double size, probability;
} priors[TT_MODE_KINDS] = {
    [TT_MODE_FILM] = {0.06, 0.03},       [TT_MODE_EDGE] = {5, 0.01},
    [TT_MODE_EDGE_OUT] = {0, 0.01},      [TT_MODE_SIGHT] = {0.05, 0.01},
    [TT_MODE_SIGHT_GROSS] = {2, 0.01},   [TT_MODE_MARK] = {0.05, 0.01},
    [TT_MODE_MARK_GROSS] = {3, 0.01},    [TT_MODE_RADIUS] = {0.1, 0.02},
    [TT_MODE_MOVED] = {0.03, 0.01},      [TT_MODE_SLIP] = {0.06, 0.01},
    [TT_MODE_DRIFT] = {0.02, 0.002},     [TT_MODE_LOST_MOTION] = {0.03, 0.02},
    [TT_MODE_LATENCY] = {0.005, 0.02},   [TT_MODE_SHAPE] = {0.015, 0.02},
    [TT_MODE_REVERSED] = {0.06, 0.01},   [TT_MODE_NOT_SQUARE] = {5e-4, 0.002},
    [TT_MODE_SCALE] = {5e-4, 0.002},     [TT_MODE_AXES] = {5e-4, 0.004},
    [TT_MODE_DISTORTION] = {0.01, 0.02}, [TT_MODE_TURNED] = {0, 0.01},
    [TT_MODE_RADII] = {0.1, 0.01},       [TT_MODE_MOVED_FAR] = {1, 0.003},
    [TT_MODE_SCALE_FAR] = {5e-3, 0.001}, [TT_MODE_AXIS_X] = {5e-3, 0.001},
    [TT_MODE_AXIS_Y] = {5e-3, 0.001},    [TT_MODE_CAMERA] = {0.1, 0.01},
    [TT_MODE_TIP] = {0.1, 0.003},
};

double tt_mode_size(enum tt_mode_kind kind)
{
    return priors[kind].size;
}

double tt_mode_axis_size(enum tt_mode_kind kind, size_t k)
{
    size_t alone = kind == TT_MODE_AXIS_X ? TT_AXIS_X : kind == TT_MODE_AXIS_Y ? TT_AXIS_Y : k;

    return k == alone ? priors[kind].size : OTHER_AXES;
}

double tt_mode_probability(enum tt_mode_kind kind)
{
    return priors[kind].probability;
}

double tt_mode_gained(double own_dof, double taken)
{
    return own_dof > 0 ? -0.5 * own_dof * log1p(-fmin(taken / own_dof, MOST_TAKEN)) : 0.5 * taken;
}

/* v_a . v_b over the border and @block (TT_NONE: all blocks). */
static double product(const struct tt_mode_table *t, unsigned a, unsigned b, size_t block)
{
    const struct tt_model *model = t->model;
    size_t first;

    if (block == TT_NONE) {
        return tt_dot(t->v[a], t->v[b], model->n_unknowns);
    }
    first = model->system.first[block];
    return tt_dot(t->v[a], t->v[b], model->n_border) +
           tt_dot(t->v[a] + first, t->v[b] + first, model->block_size[block]);
}

static double gained(const struct tt_mode_table *t, double taken)
{
    return tt_mode_gained(t->own_dof, taken);
}

static double log_odds_of_one(const struct tt_mode_table *t, size_t block, double size,
                              bool negative)
{
    double h = fmax(t->zz[0] - product(t, 0, 0, block), 0), denominator = h + 1 / (size * size);
    double odds = gained(t, t->g[0] * t->g[0] / denominator) - 0.5 * log1p(size * size * h);

    if (negative) { /* half-normal: only negative values are possible, and -g/denominator is the
                       estimate */
        odds += log(2 * tt_normal_lower(fmin(fmax(t->g[0] / sqrt(denominator), -30), 30)));
    }
    return odds;
}

static double log_odds_of_two(const struct tt_mode_table *t, size_t block, double size)
{
    double f2 = size * size, a = t->zz[0] - product(t, 0, 0, block),
           b = t->zz[1] - product(t, 0, 1, block), d = t->zz[2] - product(t, 1, 1, block);
    double da = a + 1 / f2, dd = d + 1 / f2, det = da * dd - b * b,
           whole = (1 + f2 * a) * (1 + f2 * d) - f2 * f2 * b * b;
    const double *g = t->g;

    if (!(det > 0)) {
        return -INFINITY;
    }
    return gained(t, (dd * g[0] * g[0] - 2 * b * g[0] * g[1] + da * g[1] * g[1]) / det) -
           0.5 * log(fmax(whole, 1));
}

void tt_mode_enter(struct tt_mode_table *t, struct tt_mode mode, unsigned m, size_t block,
                   double share)
{
    double size = priors[mode.kind].size;

    mode.log_prior = log(priors[mode.kind].probability / share);
    mode.log_odds =
        mode.log_prior + (m == 1 ? log_odds_of_one(t, block, size, mode.kind == TT_MODE_FILM)
                                 : log_odds_of_two(t, block, size));
    t->modes->mode[t->modes->n++] = mode;
}
