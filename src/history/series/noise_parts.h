/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the two files of the noise share; nobody else includes this. */
#ifndef TT_HISTORY_SERIES_NOISE_PARTS_H
#define TT_HISTORY_SERIES_NOISE_PARTS_H

#include <math.h>

#include "history/series/noise.h"

/* The shared and the own part of the tips' places draw their autocorrelation to the common one with
 * as many prior degrees of freedom. */
#define TT_PHI_DOF 40.0
/* Variance of an autocorrelation from second differences, times the degrees of freedom; from
 * residuals it is 1. */
#define TT_PHI_SPREAD 2.2
/* Classes other than the tips' places are white unless it is plain: their spread counts this many
 * times. */
#define TT_WHITE 4.0
#define TT_MOST_RHO 0.8
#define TT_MOST_PHI 0.85
#define TT_LEAST_DOF 3.0

/* The columns of a class; its second axes follow `pair` columns later, where `d` is 2. */
struct tt_members {
    size_t first, n, pair, d;
};

/* Those of @c; none (n 0) where the runs have no such column. */
static inline struct tt_members tt_members_of(const struct tt_values *v, enum tt_class c)
{
    size_t t = v->tips, z = v->axes > 2;

    switch (c) {
    case TT_SHARED:
        return (struct tt_members){0, 1, t, 2};
    case TT_OWN:
        return (struct tt_members){0, t > 1 ? t : 0, t, 2};
    case TT_HEIGHT_SHARED:
        return (struct tt_members){2 * t, z, 0, 1};
    case TT_HEIGHT_OWN:
        return (struct tt_members){2 * t, z && t > 1 ? t : 0, 0, 1};
    case TT_RUNOUT:
        return (struct tt_members){tt_at_runout(v, 0, 0), t, t, 2};
    case TT_RADIUS:
        return (struct tt_members){tt_at_radius(v, 0), t, 0, 1};
    case TT_MARK:
        return (struct tt_members){tt_at_mark(v, 0), 1, 1, 2};
    case TT_YAW:
        return (struct tt_members){tt_at_yaw(v), 1, 0, 1};
    case TT_EDGES:
    case TT_CLASSES:
        break;
    }
    return (struct tt_members){tt_at_contrast(v, 0), v->contrasts, 0, 1};
}

/* The i-th column of a class. */
static inline size_t tt_member(const struct tt_members *m, size_t i)
{
    return m->first + i % m->n + i / m->n * m->pair;
}

/* Mean of what the runs state of a column; of a shared class the column tells the axis. */
static inline double tt_stated_of(const struct tt_values *v, enum tt_class c, size_t column)
{
    return tt_is_shared(c) ? v->mean_common[column / v->tips] : v->mean_stated[column];
}

/* Autocorrelation with the long-run variance of a white part of variance @white plus scatter whose
 * sum has variance @v and lag-1 correlation @rho: white measurement beside an autoregressive
 * process of first order is not one itself. */
static inline double tt_effective_phi(double rho, double v, double white)
{
    if (!(rho > 0)) {
        return 0;
    }
    double f = fmin(rho * v / fmax(v - white, 0.5 * v), 0.9);
    return fmin(rho / (1 - f + rho), TT_MOST_PHI);
}

/* Shrunk by what it is known with. */
static inline double tt_shrink_phi(double f, double se2)
{
    return f > 0 ? f * f * f / (f * f + se2) : 0;
}

#endif
