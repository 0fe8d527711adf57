/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The noise from what a fit leaves. */
#include "config.h"

#include <math.h>

#include "history/series/noise_parts.h"

/* Residual lag products are blended with the differences' ratio by the runs of a segment over
 * themselves plus this. */
#define SEGMENT_RUNS 12.0

/* Whitened residuals of one class: @wide of them each run, 0 where not there. */
struct white {
    double *z;
    size_t wide;
    bool *there; /* [run * wide + k] */
};

static void whiten(const struct tt_series_noise *noise, const struct tt_values *v, enum tt_class c,
                   const double *residual, double *scratch, struct white *white)
{
    struct tt_members m = tt_members_of(v, c);
    size_t t = v->tips;

    white->wide = m.n * m.d;
    for (size_t run = 0; run < v->n; run++) {
        const double *r = residual + run * v->p;
        for (size_t a = 0; a < m.d && tt_is_place(c) && m.n > 0; a++) {
            size_t axis = m.first / t + a;
            bool any = tt_noise_offset_parts(noise, v, run, axis, scratch, scratch + t * t);
            for (size_t k = 0; k < m.n; k++) {
                size_t to = run * white->wide + a * m.n + k;
                white->z[to] = 0;
                for (size_t l = 0; l < t && any; l++) {
                    double weight = tt_is_shared(c) ? scratch[t * t + l] : scratch[l * t + k];
                    white->z[to] += weight * r[axis * t + l];
                }
                white->there[to] = any && (tt_is_shared(c) || v->there[run * v->p + axis * t + k]);
            }
        }
        for (size_t k = 0; k < white->wide && !tt_is_place(c); k++) {
            size_t column = tt_member(&m, k), to = run * white->wide + k;
            white->there[to] = v->there[run * v->p + column];
            white->z[to] =
                white->there[to] ? r[column] / sqrt(tt_noise_variance(noise, v, run, column)) : 0;
        }
    }
}

/* Runs that say nothing of the scatter; returns the share of the others. */
static double leave_doubted_out(const struct tt_values *v, struct white *white)
{
    double share = 1;

    for (size_t run = 0; run < v->n; run++) {
        for (size_t k = 0; k < white->wide && v->doubted[run]; k++) {
            white->there[run * white->wide + k] = false;
        }
        share -= v->doubted[run] ? 1 / (double)v->n : 0;
    }
    return share;
}

/* Scale and correlation of the whitened residuals of a class. */
struct settled {
    double s2, rho, dof, runs; /* runs of a segment */
    double known;              /* 1 / variance of rho: dof, where the segments are long */
};

/* A segment's mean takes of a lag-1 correlation, and short segments of all of it: where they are
 * short, the ratio of second to first differences speaks. */
static struct settled settle(const struct tt_values *v, enum tt_class c, const struct white *w,
                             double parameters, const bool *boundary)
{
    struct settled s = {.s2 = 1, .runs = (double)v->n};
    double sum = 0, lag = 0, d1 = 0, d2 = 0, n = 0, n1 = 0, n2 = 0, wide = (double)w->wide, own = 0;
    double axes = tt_is_own(c) && w->wide > 0 ? (double)tt_members_of(v, c).d : 0;

    for (size_t run = 0; run < v->n; run++) {
        bool here = false;
        for (size_t k = 0; k < w->wide; k++) {
            size_t at = run * w->wide + k;
            if (!w->there[at]) {
                continue;
            }
            here = true;
            sum += w->z[at] * w->z[at];
            n += 1;
            bool one = run > 0 && !boundary[run] && w->there[at - w->wide];
            if (one) {
                lag += w->z[at] * w->z[at - w->wide];
                d1 += (w->z[at] - w->z[at - w->wide]) * (w->z[at] - w->z[at - w->wide]);
                n1 += 1;
            }
            if (one && run > 1 && !boundary[run - 1] && w->there[at - 2 * w->wide]) {
                d2 += (w->z[at] - w->z[at - 2 * w->wide]) * (w->z[at] - w->z[at - 2 * w->wide]);
                n2 += 1;
            }
        }
        own += here ? axes : 0; /* the columns of a run's own parts add up to nothing */
    }
    if (!(n > 0)) {
        return s;
    }
    double levels = wide - axes, free = n - own;
    s.dof = fmax(free - levels - parameters, TT_LEAST_DOF);
    s.s2 = sum / s.dof;
    s.runs = (n / wide) / (1 + parameters / fmax(levels, 1));
    double share = s.runs / (s.runs + SEGMENT_RUNS),
           l = n1 > 0 && sum > 0 ? lag / n1 / (sum / n) : 0;
    double ratio = n2 > 0 && d1 > 0 ? (d2 / n2) / (d1 / n1) - 1 : 0;
    s.rho = share * (l + 1 / s.runs) / (1 - 3 / fmax(s.runs, 6)) + (1 - share) * ratio;
    s.rho = fmin(fmax(s.rho, -0.5), TT_MOST_RHO);
    s.known = 1 / (share * share / s.dof +
                   (1 - share) * (1 - share) * TT_PHI_SPREAD / fmax(n2 * free / n, 1));
    return s;
}

/* Means over the columns of a class: of what is stated, and with the scatter between runs, in the
 * noise before and in that made. */
struct own_part {
    double stated, before, after;
};

/* What all residuals say, and the noise that is made of it. */
struct remade {
    const struct tt_values *v;
    const struct tt_series_noise *before;
    const struct settled *s; /* [class] */
    struct tt_series_noise made;
};

/* The correlation of a class, and the variance that it leaves: scale of what was before. */
static double remake_phi(struct remade *r, enum tt_class c)
{
    const struct settled *s = &r->s[c], *first = &r->s[c / 2 * 2], *second = first + tt_is_place(c);
    double both = first->known + second->known;
    double common = both > 0 ? (first->rho * first->known + second->rho * second->known) / both : 0;
    double w = tt_is_place(c) ? s->known / (s->known + TT_PHI_DOF) : 1;
    double se2 =
        tt_is_place(c) ? 1 / fmax(s->known + (1 - w) * both, 1) : TT_WHITE / fmax(s->known, 1);
    double f = tt_shrink_phi(w * s->rho + (1 - w) * common, se2), known = f * f / (f * f + se2),
           runs = fmax(s->runs, 2);
    /* the mean that was taken out of correlated runs */
    double scale = s->s2 * (1 + 2 * f / (1 - f) / runs * (1 - 1 / runs));
    double share = fmin(1, (double)r->v->n / 20 * (double)r->v->n / 20);

    r->made.nu[c] = fmax(s->dof / (1 + share * known * (1 + f) / (1 - f)), TT_LEAST_DOF);
    r->made.phi[c] = f;
    return scale;
}

/* The columns of a class that is not shared. */
static struct own_part remake_columns(struct remade *r, enum tt_class c, double scale)
{
    struct tt_members m = tt_members_of(r->v, c);
    struct own_part own = {0};

    for (size_t k = 0; k < m.n * m.d; k++) {
        size_t column = tt_member(&m, k);
        double stated = tt_stated_of(r->v, c, column), total = stated + r->before->between[column];
        r->made.between[column] = fmax(scale * total - stated, 0);
        own.before += total / (double)(m.n * m.d);
        own.after += (stated + r->made.between[column]) / (double)(m.n * m.d);
        own.stated += stated / (double)(m.n * m.d);
    }
    if (tt_is_own(c) && r->v->tips > 1) {
        r->made.phi[c] = tt_effective_phi(r->made.phi[c], own.after, own.stated);
    }
    return own;
}

/* What all tips share: what the mean has beyond the tips' own. */
static void remake_shared(struct remade *r, enum tt_class c, double scale, struct own_part own)
{
    const struct tt_values *v = r->v;
    struct tt_members m = tt_members_of(v, c);
    double tips = (double)v->tips, white = 0, all = 0;

    if (v->tips == 1 && m.n > 0) {
        double stated = v->mean_stated[m.first];
        own = (struct own_part){stated, stated, stated};
    }
    for (size_t a = 0; a < m.d && m.n > 0; a++) {
        size_t column = m.first + a * v->tips, axis = column / v->tips;
        double stated = tt_stated_of(v, c, column);
        double total = scale * (stated + r->before->shared[axis] + own.before / tips);
        r->made.shared[axis] = fmax(total - own.after / tips - stated, 0);
        white += (stated + own.stated / tips) / (double)m.d;
        all += total / (double)m.d;
    }
    r->made.phi[c] = tt_effective_phi(r->made.phi[c], fmax(all, white), white);
}

enum tiptrue_status tt_noise_from_residuals(struct tt_series_noise *noise,
                                            const struct tt_series_noise *before,
                                            const struct tt_values *v, const double *residual,
                                            const double parameters[TT_CLASSES],
                                            const bool *boundary, struct tt_arena *arena)
{
    size_t widest = 2 * (v->tips > v->contrasts ? v->tips : v->contrasts) + 2;
    struct white white = {.z = TT_ARENA_NEW(arena, v->n * widest, double),
                          .there = TT_ARENA_NEW(arena, v->n * widest, bool)};
    double *scratch = TT_ARENA_NEW(arena, v->tips * (v->tips + 1), double);
    struct settled s[TT_CLASSES];
    struct remade r = {v, before, s, {.between = TT_ARENA_NEW(arena, v->p, double)}};
    struct own_part own = {0};

    if (!white.z || !white.there || !scratch || !r.made.between) {
        return TIPTRUE_E_MEMORY;
    }
    for (int c = 0; c < TT_CLASSES; c++) {
        whiten(before, v, (enum tt_class)c, residual, scratch, &white);
        double share = leave_doubted_out(v, &white);
        s[c] = settle(v, (enum tt_class)c, &white, share * parameters[c], boundary);
    }
    for (int c = TT_CLASSES - 1; c >= 0; c--) { /* what is shared after what is the tips' own */
        double scale = remake_phi(&r, (enum tt_class)c);
        if (tt_is_shared((enum tt_class)c)) {
            remake_shared(&r, (enum tt_class)c, scale, own);
        } else {
            own = remake_columns(&r, (enum tt_class)c, scale);
        }
    }
    *noise = r.made;
    return TIPTRUE_OK;
}
