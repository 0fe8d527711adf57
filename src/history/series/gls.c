/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The weight matrix of all runs is block tridiagonal: run i against itself and against run i - 1. A
 * whitened value that follows one of the run before is (z_i - phi z_(i-1)) / sqrt(1 - phi^2), one
 * that follows none is z_i. */
#include "config.h"

#include "history/series/gls.h"

#include <math.h>
#include <string.h>

/* The places of the tips in a run along an axis, whitened: own[tips * tips], then shared[tips]
 * (noise.h). */
struct parts {
    double *own, *shared;
    bool there;
};

static struct parts parts_at(const struct tt_gls *g, double *all, const bool *there, size_t run,
                             size_t axis)
{
    size_t size = g->tips * (g->tips + 1), at = g->axes * run + axis;
    return (struct parts){all + at * size, all + at * size + g->tips * g->tips, there[at]};
}

/* Weight of a whitened value that follows one, and is followed by one. */
static double inner_weight(double phi, bool follows, bool followed)
{
    double kept = 1 - phi * phi;
    return (follows ? 1 / kept : 1) + (followed ? phi * phi / kept : 0);
}

/* Where the number of a column that is no tip's place stands in a block, and where one of a block
 * stands in its transpose. */
static size_t at_own(const struct tt_gls *g, size_t column)
{
    return g->axes * g->tips * g->tips + column - g->axes * g->tips;
}

static void fill_turned(struct tt_gls *g)
{
    size_t t = g->tips;

    for (size_t i = 0; i < g->block; i++) {
        size_t within = i < g->axes * t * t ? i % (t * t) : 0;
        g->turned[i] = i < g->axes * t * t ? i - within + within % t * t + within / t : i;
    }
}

static bool is_there(const struct tt_gls *g, size_t run, size_t column)
{
    return run < g->n && g->values->there[run * g->p + column];
}

/* Weight of the tips' places in a run along an axis against themselves. */
static void places_inner(const struct tt_gls *g, double *all, const bool *there, size_t run,
                         size_t axis, double *m)
{
    struct parts now = parts_at(g, all, there, run, axis);
    const double *phi = g->noise->phi;
    size_t t = g->tips;

    if (!now.there) {
        return;
    }
    bool before = run > 0 && there[g->axes * (run - 1) + axis],
         after = run + 1 < g->n && there[g->axes * (run + 1) + axis];
    double shared = inner_weight(phi[tt_shared_class(axis)], before, after);
    for (size_t k = 0; k < t; k++) {
        for (size_t l = 0; l < t; l++) {
            m[k * t + l] = shared * now.shared[k] * now.shared[l];
        }
    }
    for (size_t j = 0; j < t; j++) {
        double weight =
            inner_weight(phi[tt_own_class(axis)], run > 0 && is_there(g, run - 1, axis * t + j),
                         is_there(g, run + 1, axis * t + j));
        for (size_t k = 0; k < t; k++) {
            double of_k = now.own[k * t + j] * weight;
            for (size_t l = 0; l < t && of_k != 0; l++) {
                m[k * t + l] += of_k * now.own[l * t + j];
            }
        }
    }
}

/* Weight of them against those of the run before. */
static void places_across(const struct tt_gls *g, double *all, const bool *there, size_t run,
                          size_t axis, double *m)
{
    struct parts now = parts_at(g, all, there, run, axis),
                 then = parts_at(g, all, there, run - 1, axis);
    double own = g->noise->phi[tt_own_class(axis)], shared = g->noise->phi[tt_shared_class(axis)];
    size_t t = g->tips;

    if (!now.there || !then.there || (own == 0 && shared == 0)) {
        return;
    }
    own /= 1 - own * own;
    shared /= 1 - shared * shared;
    for (size_t k = 0; k < t; k++) {
        for (size_t l = 0; l < t; l++) {
            double sum = shared * now.shared[k] * then.shared[l];
            for (size_t j = 0; j < t && own != 0; j++) {
                bool linked = is_there(g, run, axis * t + j) && is_there(g, run - 1, axis * t + j);
                sum += linked ? own * now.own[k * t + j] * then.own[l * t + j] : 0;
            }
            m[k * t + l] = -sum;
        }
    }
}

/* The weight matrices of a run: against itself, and (run > 0) against the run before. */
static void weigh(const struct tt_gls *g, double *all, const bool *there, size_t run, double *inner,
                  double *across)
{
    size_t t = g->tips, t2 = t * t;

    memset(inner, 0, g->block * sizeof *inner);
    memset(across, 0, g->block * sizeof *across);
    for (size_t axis = 0; axis < g->axes; axis++) {
        places_inner(g, all, there, run, axis, inner + axis * t2);
        if (run > 0) {
            places_across(g, all, there, run, axis, across + axis * t2);
        }
    }
    for (size_t column = g->axes * t; column < g->p; column++) {
        size_t to = g->axes * t2 + column - g->axes * t;
        double phi = g->noise->phi[tt_class_of(g->values, column)];
        if (!is_there(g, run, column)) {
            continue;
        }
        double v = tt_noise_variance(g->noise, g->values, run, column);
        bool before = run > 0 && is_there(g, run - 1, column);
        inner[to] = inner_weight(phi, before, is_there(g, run + 1, column)) / v;
        if (before) {
            across[to] = -phi / (1 - phi * phi) /
                         sqrt(v * tt_noise_variance(g->noise, g->values, run - 1, column));
        }
    }
}

/* out += f * m v, or its transpose. */
static void multiply(const struct tt_gls *g, const double *m, bool transpose, double f,
                     const double *v, double *out)
{
    size_t t = g->tips;

    for (size_t axis = 0; axis < g->axes; axis++) {
        const double *b = m + axis * t * t, *in = v + axis * t;
        double *to = out + axis * t;
        size_t down = transpose ? 1 : t, along = transpose ? t : 1;
        bool none = true;
        for (size_t l = 0; l < t && none; l++) {
            none = in[l] == 0;
        }
        for (size_t k = 0; k < t && !none; k++) {
            const double *row = b + k * down;
            double sum = to[k];
            for (size_t l = 0; l < t; l++) {
                sum += f * row[l * along] * in[l];
            }
            to[k] = sum;
        }
    }
    for (size_t i = g->axes * t; i < g->p; i++) {
        out[i] += f * m[at_own(g, i)] * v[i];
    }
}

/* The same for a pattern. */
static void multiply_pattern(const struct tt_gls *g, const double *m, bool transpose, double f,
                             const struct tt_pattern *a, double *out)
{
    size_t t = g->tips;

    for (size_t i = 0; i < a->n; i++) {
        size_t column = a->column[i];
        double factor = f * a->factor[i];
        if (column >= g->axes * t) {
            out[column] += factor * m[at_own(g, column)];
            continue;
        }
        size_t axis = column / t, k = column % t;
        const double *b = m + axis * t * t;
        for (size_t l = 0; l < t; l++) {
            out[axis * t + l] += factor * (transpose ? b[k * t + l] : b[l * t + k]);
        }
    }
}

/* Sums from the last run back. */
static void sum_up(struct tt_gls *g, double *all, const bool *there, double *inner, double *across,
                   double *row)
{
    size_t n = g->n;
    double total = 0;

    for (size_t run = n; run-- > 0;) {
        double *later = g->later + run * g->block, *earlier = g->earlier + run * g->block;
        const double *next = g->later + (run + 1) * g->block,
                     *out = g->earlier + (run + 1) * g->block;
        const double *y = g->values->y + run * g->p;
        weigh(g, all, there, run, inner, across);
        /* later[run + 1] with what links the two, which is earlier[run + 1] less later[run + 1],
         * and its transpose */
        for (size_t i = 0; i < g->block; i++) {
            size_t turned = g->turned[i];
            double link = run + 1 < n ? out[i] - next[i] + out[turned] - next[turned] : 0;
            later[i] = inner[i] + next[i] + link;
            earlier[i] = later[i] + across[i];
        }
        /* values and regressors: this run's row, and its part in the row after it */
        memset(row, 0, g->p * sizeof *row);
        multiply(g, inner, false, 1, y, row);
        if (run > 0) {
            multiply(g, across, false, 1, y - g->p, row);
        }
        for (size_t c = 0; c < g->p; c++) {
            g->data[run * g->p + c] += row[c] + g->data[(run + 1) * g->p + c];
            total += y[c] * row[c];
        }
        if (run > 0) { /* and the row of the run before holds this run's values */
            memset(row, 0, g->p * sizeof *row);
            multiply(g, across, true, 1, y, row);
            for (size_t c = 0; c < g->p; c++) {
                g->data[(run - 1) * g->p + c] += row[c];
                total += *(y - g->p + c) * row[c];
            }
        }
        for (size_t r = 0; r < g->n_regressors; r++) {
            const double *x = g->regressor[r];
            double *m = g->mixed[r] + run * g->block, *above = run > 0 ? m - g->block : m;
            for (size_t i = 0; i < g->block; i++) {
                size_t turned = g->turned[i];
                m[i] +=
                    inner[i] * x[run] + (run > 0 ? across[i] * x[run - 1] : 0) + m[i + g->block];
                if (run > 0) {
                    above[i] += across[turned] * x[run];
                }
            }
        }
    }
    g->rss = total;
}

/* Regressors against regressors and values: from their own sums, summed over the runs. */
static void sum_regressors(struct tt_gls *g)
{
    for (size_t r = 0; r < g->n_regressors; r++) {
        for (size_t run = 0; run < g->n; run++) {
            for (size_t s = 0; s < g->n_regressors; s++) {
                double *to = g->both + (r * g->n_regressors + s) * g->block;
                const double *m = g->mixed[s] + run * g->block;
                for (size_t i = 0; i < g->block; i++) {
                    to[i] += g->regressor[r][run] * (m[i] - m[i + g->block]);
                }
            }
            for (size_t c = 0; c < g->p; c++) {
                g->data_of[r * g->p + c] += g->regressor[r][run] * (g->data[run * g->p + c] -
                                                                    g->data[(run + 1) * g->p + c]);
            }
        }
    }
}

/* The inverse of the levels' normal equations; a column without values has none. */
static void invert_levels(struct tt_gls *g, double *scratch)
{
    size_t t = g->tips;

    for (size_t axis = 0; axis < g->axes; axis++) {
        const double *m = g->later + axis * t * t;
        double *inverse = g->inverse + axis * t * t;
        /* Gauss-Jordan without pivoting: positive definite but for empty rows */
        memcpy(scratch, m, t * t * sizeof *scratch);
        for (size_t k = 0; k < t; k++) {
            inverse[k * t + k] = scratch[k * t + k] > 0 ? 1 : 0;
        }
        for (size_t k = 0; k < t; k++) {
            double pivot = scratch[k * t + k];
            if (!(pivot > 1e-12 * m[k * t + k])) {
                continue;
            }
            for (size_t l = 0; l < t; l++) {
                scratch[k * t + l] /= pivot;
                inverse[k * t + l] /= pivot;
            }
            for (size_t i = 0; i < t; i++) {
                double f = i != k ? scratch[i * t + k] : 0;
                for (size_t l = 0; l < t && f != 0; l++) {
                    scratch[i * t + l] -= f * scratch[k * t + l];
                    inverse[i * t + l] -= f * inverse[k * t + l];
                }
            }
        }
    }
    for (size_t i = g->axes * t * t; i < g->block; i++) {
        g->inverse[i] = g->later[i] > 0 ? 1 / g->later[i] : 0;
    }
}

static bool allocate(struct tt_gls *g, struct tt_arena *arena)
{
    size_t rows = g->n + 1, r = g->n_regressors;
    bool good = true;

    g->later = TT_ARENA_NEW(arena, rows * g->block, double);
    g->earlier = TT_ARENA_NEW(arena, rows * g->block, double);
    g->mixed = TT_ARENA_NEW(arena, r, double *);
    g->both = TT_ARENA_NEW(arena, r * r * g->block, double);
    g->data = TT_ARENA_NEW(arena, rows * g->p, double);
    g->data_of = TT_ARENA_NEW(arena, r * g->p, double);
    g->inverse = TT_ARENA_NEW(arena, g->block, double);
    g->turned = TT_ARENA_NEW(arena, g->block, size_t);
    for (size_t i = 0; g->mixed != NULL && i < r; i++) {
        g->mixed[i] = TT_ARENA_NEW(arena, rows * g->block, double);
        good = good && g->mixed[i] != NULL;
    }
    return good && g->later && g->earlier && g->mixed && g->both && g->data && g->data_of &&
           g->inverse && g->turned;
}

enum tiptrue_status tt_gls_make(struct tt_gls *g, const struct tt_values *values,
                                const struct tt_series_noise *noise, double **regressor,
                                size_t n_regressors, struct tt_arena *arena)
{
    size_t t = values->tips, parts = values->axes * values->n;

    *g = (struct tt_gls){.values = values,
                         .noise = noise,
                         .n = values->n,
                         .p = values->p,
                         .tips = t,
                         .axes = values->axes,
                         .regressor = regressor,
                         .n_regressors = n_regressors,
                         .block = values->axes * t * t + values->p - values->axes * t};
    double *all = TT_ARENA_NEW(arena, parts * t * (t + 1), double),
           *work = TT_ARENA_NEW(arena, 2 * g->block + 2 * g->p, double);
    bool *there = TT_ARENA_NEW(arena, parts, bool);
    if (!all || !work || !there || !allocate(g, arena)) {
        return TIPTRUE_E_MEMORY;
    }
    fill_turned(g);
    for (size_t run = 0; run < g->n; run++) {
        for (size_t axis = 0; axis < g->axes; axis++) {
            struct parts p = parts_at(g, all, there, run, axis);
            there[g->axes * run + axis] =
                tt_noise_offset_parts(noise, values, run, axis, p.own, p.shared);
        }
    }
    sum_up(g, all, there, work, work + g->block, work + 2 * g->block);
    sum_regressors(g);
    invert_levels(g, work);
    memset(work, 0, g->p * sizeof *work);
    multiply(g, g->inverse, false, 1, g->data, work);
    for (size_t c = 0; c < g->p; c++) {
        g->rss -= work[c] * g->data[c];
    }
    return TIPTRUE_OK;
}

/* out += f * weight of a step at @run against one at @from times the pattern. */
static void against_step(const struct tt_gls *g, size_t run, size_t from, double f,
                         const struct tt_pattern *a, double *out)
{
    if (from >= g->n || run >= g->n) {
        return;
    }
    if (run == from) {
        multiply_pattern(g, g->later + run * g->block, false, f, a, out);
    } else if (run > from) {
        multiply_pattern(g, g->earlier + run * g->block, false, f, a, out);
    } else {
        multiply_pattern(g, g->earlier + from * g->block, true, f, a, out);
    }
}

void tt_gls_against(const struct tt_gls *g, size_t run, const struct tt_course *course,
                    const struct tt_pattern *pattern, double *out)
{
    memset(out, 0, g->p * sizeof *out);
    if (course->regressor != TT_NONE) {
        multiply_pattern(g, g->mixed[course->regressor] + run * g->block, false, 1, pattern, out);
        return;
    }
    against_step(g, run, course->from, 1, pattern, out);
    against_step(g, run, course->to, -1, pattern, out);
}

void tt_gls_less_levels(const struct tt_gls *g, size_t run, const double *levels, double *out)
{
    multiply(g, (run == 0 ? g->later : g->earlier) + run * g->block, false, -1, levels, out);
}

void tt_gls_levels(const struct tt_gls *g, const double *in, double *out)
{
    memset(out, 0, g->p * sizeof *out);
    multiply(g, g->inverse, false, 1, in, out);
}

double tt_gls_block_product(const struct tt_gls *g, const double *m, const struct tt_pattern *of_a,
                            const struct tt_pattern *of_b, const double *v)
{
    size_t t = g->tips;
    double sum = 0;

    for (size_t i = 0; i < of_a->n; i++) {
        size_t c = of_a->column[i];
        for (size_t k = 0; k < (of_b != NULL ? of_b->n : 1); k++) {
            size_t d = of_b != NULL ? of_b->column[k] : c;
            double f = of_a->factor[i] * (of_b != NULL ? of_b->factor[k] : 1);
            if (c >= g->axes * t) {
                sum += c == d ? f * m[at_own(g, c)] * (of_b != NULL ? 1 : v[c]) : 0;
            } else if (of_b != NULL) {
                sum += d < g->axes * t && c / t == d / t ? f * m[c / t * t * t + c % t * t + d % t]
                                                         : 0;
            } else {
                for (size_t l = 0; l < t; l++) {
                    sum += f * m[c / t * t * t + c % t * t + l] * v[c / t * t + l];
                }
            }
        }
    }
    return sum;
}

double tt_gls_product(const struct tt_gls *g, const struct tt_course *a,
                      const struct tt_pattern *of_a, const struct tt_course *b,
                      const struct tt_pattern *of_b)
{
    double sum = 0;

    if (a->regressor != TT_NONE && b->regressor == TT_NONE) {
        return tt_gls_product(g, b, of_b, a, of_a);
    }
    for (size_t i = 0; i < of_a->n; i++) {
        size_t c = of_a->column[i], t = g->tips;
        for (size_t k = 0; k < of_b->n; k++) {
            size_t d = of_b->column[k], at;
            if (c >= g->axes * t || d >= g->axes * t) {
                if (c != d) {
                    continue;
                }
                at = at_own(g, c);
            } else if (c / t != d / t) {
                continue;
            } else {
                at = c / t * t * t + c % t * t + d % t;
            }
            double m;
            if (a->regressor != TT_NONE) {
                m = g->both[(a->regressor * g->n_regressors + b->regressor) * g->block + at];
            } else if (b->regressor != TT_NONE) {
                m = g->mixed[b->regressor][a->from * g->block + at] -
                    g->mixed[b->regressor][a->to * g->block + at];
            } else {
                m = 0;
                size_t turned = c < g->axes * t ? c / t * t * t + d % t * t + c % t : at;
                for (int s = 0; s < 4; s++) {
                    size_t x = s & 1 ? a->to : a->from, y = s & 2 ? b->to : b->from;
                    if (x < g->n && y < g->n) {
                        double part = x == y  ? g->later[x * g->block + at]
                                      : x > y ? g->earlier[x * g->block + at]
                                              : g->earlier[y * g->block + turned];
                        m += s == 1 || s == 2 ? -part : part;
                    }
                }
            }
            sum += of_a->factor[i] * of_b->factor[k] * m;
        }
    }
    return sum;
}

double tt_gls_right(const struct tt_gls *g, const struct tt_course *a,
                    const struct tt_pattern *of_a)
{
    if (a->regressor != TT_NONE) {
        return tt_pattern_dot(of_a, g->data_of + a->regressor * g->p);
    }
    return tt_pattern_dot(of_a, g->data + a->from * g->p) -
           tt_pattern_dot(of_a, g->data + a->to * g->p);
}

double tt_gls_course(const struct tt_gls *g, const struct tt_course *course, size_t run)
{
    if (course->regressor != TT_NONE) {
        return g->regressor[course->regressor][run];
    }
    return run >= course->from && run < course->to;
}
