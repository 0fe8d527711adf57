/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/series/problem.h"

/* Slack of the pruning: with an autocorrelation a split segment, whose filter begins anew, can cost a little more than the whole. */
#define SLACK 6.0

/* Sums over the values up to one: the cost of any segment follows from two of them. */
struct sums {
    const double *value;
    double *w, *w2; /* [(run + 1) * d], [run + 1]: of filtered values, and of their squares */
    size_t d;
    double b; /* what a level becomes under the filter */
};

static double segment_cost(const struct sums *s, size_t from, size_t to)
{
    double cost = s->w2[to] - s->w2[from + 1], level = (double)(to - from - 1) * s->b * s->b + 1;

    for (size_t a = 0; a < s->d; a++) {
        double y = s->value[from * s->d + a], sum = s->b * (s->w[to * s->d + a] - s->w[(from + 1) * s->d + a]) + y;
        cost += y * y - sum * sum / level;
    }
    return cost;
}

size_t tt_segment(const double *value, size_t n, size_t d, double phi, double price, double *work, size_t place[])
{
    struct sums s = {.value = value, .w = work, .w2 = work + (n + 1) * d, .d = d, .b = (1 - phi) / sqrt(1 - phi * phi)};
    double *best = s.w2 + n + 1, *back = best + n + 1, *alive = back + n + 1, *cost = alive + n + 1;
    double each = price - (double)d * log(1 - phi * phi), slack = phi > 0 ? SLACK * (double)d : 0;
    size_t n_alive = 0, n_places = 0;

    memset(work, 0, (d + 1) * sizeof *work);
    s.w2[0] = 0;
    for (size_t run = 0; run < n; run++) {
        s.w2[run + 1] = s.w2[run];
        for (size_t a = 0; a < d; a++) {
            double w = run > 0 ? (value[run * d + a] - phi * value[(run - 1) * d + a]) / sqrt(1 - phi * phi) : 0;
            s.w[(run + 1) * d + a] = s.w[run * d + a] + w;
            s.w2[run + 1] += w * w;
        }
    }
    best[0] = -each;
    for (size_t to = 1; to <= n; to++) {
        alive[n_alive++] = (double)(to - 1);
        best[to] = HUGE_VAL;
        for (size_t i = 0; i < n_alive; i++) {
            size_t from = (size_t)alive[i];
            cost[i] = best[from] + segment_cost(&s, from, to);
            if (cost[i] + each < best[to]) {
                best[to] = cost[i] + each;
                back[to] = alive[i];
            }
        }
        size_t kept = 0;
        for (size_t i = 0; i < n_alive; i++) {
            if (cost[i] < best[to] + slack) {
                alive[kept++] = alive[i];
            }
        }
        n_alive = kept;
    }
    for (size_t to = n; to > 0 && back[to] > 0; to = (size_t)back[to]) {
        place[n_places++] = (size_t)back[to];
    }
    for (size_t i = 0; i < n_places / 2; i++) {
        size_t swap = place[i];
        place[i] = place[n_places - 1 - i];
        place[n_places - 1 - i] = swap;
    }
    return n_places;
}
