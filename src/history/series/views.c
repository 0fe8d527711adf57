/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the table changes, by exact segmentation of views that share nothing, and what changed
 * there, by the means before and after, every other place left free: so nothing masks anything. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/series/search.h"

/* A segmentation that pays less than a step finds more places; what does not stand is dropped. 0.6
 * and 0.9 do as well. */
#define VIEW_SHARE 0.75
/* Hypotheses at one place, and their columns. */
#define MOST_HERE 3
#define MOST_COLUMNS 18
/* Less of an atom left beside the others is another name for them. */
#define SAME 1e-3

/* Values with what is missing put in: the last value of the column there was, for offsets by the
 * shared move since; smooth terms of the present fit taken out. */
static void fill_in(const struct tt_search *s, double *y)
{
    const struct tt_values *v = s->p->values;

    tt_events_solve(&s->now, s->theta, NULL);
    tt_events_residuals(&s->now, s->theta, y);
    for (int back = 0; back < 2; back++) {
        for (size_t i = 1; i < v->n; i++) {
            size_t run = back ? v->n - 1 - i : i, from = back ? run + 1 : run - 1;
            for (size_t c = 0; c < v->p; c++) {
                if (!v->there[run * v->p + c] && (!back || y[run * v->p + c] == 0)) {
                    y[run * v->p + c] = y[from * v->p + c];
                }
            }
        }
    }
}

/* Segment one view: columns of unit variance, @d of them in value[]. Places are added to place[].
 */
static size_t view(const struct tt_search *s, double *value, size_t d, enum tt_class c,
                   size_t place[], size_t n)
{
    const struct tt_problem *p = s->p;
    const struct tt_series_noise *noise = p->gls.noise;
    double price =
        VIEW_SHARE * tt_f_price(d, noise->nu[c], p->alpha / p->looks / (double)p->n_steps);

    return n + tt_segment(value, p->values->n, d, noise->phi[c], price, s->work, place + n);
}

/* The views of the tips' places along @d axes from @first on: what all tips share, and each tip
 * against that. */
static size_t place_views(const struct tt_search *s, size_t first, size_t d, const double *y,
                          double *value, size_t place[])
{
    const struct tt_values *v = s->p->values;
    const struct tt_series_noise *noise = s->p->gls.noise;
    size_t n = 0;

    for (size_t who = 0; who <= v->tips && (who == 0 || v->tips > 1); who++) {
        for (size_t a = 0; a < d; a++) {
            size_t axis = first + a;
            double g = 0, own = 0;
            for (size_t k = 0; k < v->tips; k++) {
                double w = 1 / tt_noise_mean_variance(noise, v, tt_at_offset(v, k, axis));
                g += w;
                own = k + 1 == who ? 1 / w : own;
            }
            double variance =
                who == 0 ? 1 / g + noise->shared[axis] + v->mean_common[axis] : own - 1 / g;
            for (size_t run = 0; run < v->n; run++) {
                double sum = 0;
                for (size_t k = 0; k < v->tips; k++) {
                    size_t column = tt_at_offset(v, k, axis);
                    sum += y[run * v->p + column] / tt_noise_mean_variance(noise, v, column) / g;
                }
                double x = who == 0 ? sum : y[run * v->p + tt_at_offset(v, who - 1, axis)] - sum;
                value[d * run + a] = x / sqrt(variance);
            }
        }
        n = view(s, value, d, who == 0 ? tt_shared_class(first) : tt_own_class(first), place, n);
    }
    return n;
}

/* A view of columns that follow one another by @stride. */
static size_t plain_view(const struct tt_search *s, const double *y, const size_t column[],
                         size_t d, size_t place[], double *value)
{
    const struct tt_values *v = s->p->values;

    for (size_t a = 0; a < d; a++) {
        double variance = tt_noise_mean_variance(s->p->gls.noise, v, column[a]);
        for (size_t run = 0; run < v->n; run++) {
            value[run * d + a] = y[run * v->p + column[a]] / sqrt(variance);
        }
    }
    return view(s, value, d, tt_class_of(v, column[0]), place, 0);
}

/* The views of what is no tip's place. */
static size_t other_views(const struct tt_search *s, const double *y, double *value, size_t place[])
{
    const struct tt_values *v = s->p->values;
    size_t n = 0;

    for (size_t k = 0; k < v->tips; k++) {
        const size_t form[] = {tt_at_runout(v, k, 0), tt_at_runout(v, k, 1), tt_at_radius(v, k)};
        n += plain_view(s, y, form, 3, place + n, value);
    }
    const size_t pose[] = {tt_at_mark(v, 0), tt_at_mark(v, 1), tt_at_yaw(v)};
    n += plain_view(s, y, pose, 3, place + n, value);
    for (size_t k = 0; k < v->contrasts; k++) {
        n += plain_view(s, y, (size_t[]){tt_at_contrast(v, k)}, 1, place + n, value);
    }
    return n;
}

/* Whether the present smooth terms act on more than the tips' places. */
static bool concerns_others(const struct tt_search *s)
{
    for (size_t i = 0; i < s->now.n_events; i++) {
        enum tt_hypothesis what = s->p->hypothesis[s->now.event[i].hypothesis].what;
        if (!tt_is_fixed(&s->now.event[i]) && what != TT_CAMERA && what != TT_SEAT &&
            what != TT_ALL_HEIGHTS && what != TT_ONE_HEIGHT) {
            return true;
        }
    }
    return false;
}

/* The places where any view changes, each once. The first start, without any smooth term, leaves
 * those of the other views behind.
 */
size_t tt_views_segment(struct tt_search *s, size_t place[])
{
    const struct tt_values *v = s->p->values;
    double *y = s->residual, *value = y + (v->n + 2) * v->p;
    size_t n;

    fill_in(s, y);
    n = place_views(s, 0, 2, y, value, place);
    n += v->axes > 2 ? place_views(s, 2, 1, y, value, place + n) : 0;
    if (concerns_others(s)) {
        n += other_views(s, y, value, place + n);
    } else {
        if (!s->has_others) {
            s->n_others = other_views(s, y, value, s->others);
            s->has_others = true;
        }
        memcpy(place + n, s->others, s->n_others * sizeof *place);
        n += s->n_others;
    }
    return tt_places_sort(place, n);
}
/* Differences of the columns' means before and after a place, and the weight of such a difference.
 */
struct difference {
    const struct tt_search *s;
    double *d, *weight;
};

/* Residuals of the runs from @before to @after, with the place @at between; a model of these runs
 * alone, in which nothing else changes. The weight is that of one run over 1/m1 + 1/m2,
 * correlations between runs counted. */
static struct difference difference_at(const struct tt_search *s, size_t before, size_t at,
                                       size_t after)
{
    const struct tt_values *v = s->p->values;
    const struct tt_gls *g = &s->p->gls;
    double m1 = (double)(at - before), m2 = (double)(after - at),
           share = m1 * m2 / (m1 + m2) / (m1 + m2);
    struct difference diff = {s, s->residual + (v->n + 2) * v->p, s->residual + (v->n + 3) * v->p};

    for (size_t c = 0; c < v->p; c++) {
        double sum1 = 0, sum2 = 0, n1 = 0, n2 = 0;
        for (size_t run = before; run < after; run++) {
            bool there = v->there[run * v->p + c];
            *(run < at ? &sum1 : &sum2) += there ? s->residual[run * v->p + c] : 0;
            *(run < at ? &n1 : &n2) += there;
        }
        diff.d[c] = n1 > 0 && n2 > 0 ? sum2 / n2 - sum1 / n1 : 0;
    }
    for (size_t i = 0; i < g->block; i++) {
        diff.weight[i] = share * (g->later[before * g->block + i] - g->later[after * g->block + i]);
    }
    return diff;
}

/* How much of the difference @q atoms explain; false: one is as good as the others together. */
static bool explain(const struct difference *diff, const size_t atom[], size_t q, double *gain)
{
    const struct tt_problem *p = diff->s->p;
    double normal[MOST_COLUMNS * MOST_COLUMNS], right[MOST_COLUMNS];

    *gain = 0;
    for (size_t i = 0; i < q; i++) {
        const struct tt_pattern *a = &p->atom[atom[i]];
        double *row = normal + i * MOST_COLUMNS;
        right[i] = tt_gls_block_product(&p->gls, diff->weight, a, NULL, diff->d);
        for (size_t k = 0; k <= i; k++) {
            row[k] = tt_gls_block_product(&p->gls, diff->weight, a, &p->atom[atom[k]], NULL);
        }
        double alone = row[i], left = row[i];
        for (size_t k = 0; k < i; k++) {
            const double *other = normal + k * MOST_COLUMNS;
            for (size_t j = 0; j < k; j++) {
                row[k] -= row[j] * other[j];
            }
            row[k] /= other[k];
            left -= row[k] * row[k];
            right[i] -= row[k] * right[k];
        }
        if (!(left > SAME * alone)) {
            return false;
        }
        row[i] = sqrt(left);
        right[i] /= row[i];
        *gain += right[i] * right[i];
    }
    return true;
}

/* Whether @h may stand beside those chosen. */
static bool may_join(const struct tt_problem *p, size_t h, const size_t chosen[], size_t n,
                     size_t q)
{
    for (size_t i = 0; i < n; i++) {
        if (tt_hypotheses_exclude(&p->hypothesis[h], &p->hypothesis[chosen[i]])) {
            return false;
        }
    }
    return q + p->hypothesis[h].q <= MOST_COLUMNS;
}

void tt_views_name(struct tt_search *s, size_t before, size_t at, size_t after)
{
    const struct tt_problem *p = s->p;
    const struct difference diff = difference_at(s, before, at, after);
    size_t chosen[MOST_HERE], n = 0, q = 0, atom[MOST_COLUMNS], best = 0;
    double gained = 0;

    while (n < MOST_HERE && best != TT_NONE) {
        double most = 0, best_gain = 0, gain;
        best = TT_NONE;
        for (size_t h = 0; h < p->n_steps; h++) {
            const struct tt_hypothesis_of *of = &p->hypothesis[h];
            double price = n == 0 ? VIEW_SHARE * of->price : of->price_same;
            if (!may_join(p, h, chosen, n, q)) {
                continue;
            }
            memcpy(atom + q, of->atom, of->q * sizeof *atom);
            if (explain(&diff, atom, q + of->q, &gain) && gain - gained - price > most) {
                most = gain - gained - price;
                best = h;
                best_gain = gain;
            }
        }
        if (best != TT_NONE) {
            memcpy(atom + q, p->hypothesis[best].atom, p->hypothesis[best].q * sizeof *atom);
            q += p->hypothesis[best].q;
            gained = best_gain;
            chosen[n++] = best;
        }
    }
    for (size_t i = 0; i < n; i++) {
        struct tt_event e = tt_step_at(s, at, chosen[i]);
        (void)tt_events_append(&s->trial, &e);
    }
}
