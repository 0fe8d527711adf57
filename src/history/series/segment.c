/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A segment's cost, with filtered values w_i = (y_i - phi y_(i-1)) / sqrt(1 - phi^2) and b what a
 * level becomes under the filter, is sum w^2 + y_first^2 - (b sum w + y_first)^2 / ((length - 1)
 * b^2 + 1), so that it follows from sums up to its ends and one term for its first value.
 */
#include "config.h"

#include <math.h>

#include "history/series/problem.h"

/* Slack of the pruning: with an autocorrelation a split segment, whose filter begins anew, can cost
 * a little more than the whole.
 */
#define SLACK 6.0
#define MOST_AXES 3
/* More starts than this are thinned out: a quiet history of 10 000 runs would take minutes. */
#define MOST_ALIVE 3000

/* A first value of the last segment that could still be the best: what does not change with its
 * end. */
struct start {
    size_t from;
    double cost, offset[MOST_AXES], all;
};

/* Of the older half every second start is let go, the first one kept: a place so found is a few
 * runs off at most, and is placed anew later on. */
static size_t thin(struct start *alive, size_t n)
{
    size_t kept = 0;

    for (size_t i = 0; i < n; i++) {
        if (i >= n / 2 || i % 2 == 0) {
            alive[kept++] = alive[i];
        }
    }
    return kept;
}

/* Those that can still be the best; mostly that is all of them. */
static size_t prune(struct start *alive, size_t n, double each, double most)
{
    size_t kept = 0;

    for (size_t i = 0; i < n; i++) {
        if (alive[i].all - each < most) {
            if (kept != i) {
                alive[kept] = alive[i];
            }
            kept++;
        }
    }
    return kept;
}

/* The end of the last segment, and the sums up to it. */
struct end {
    size_t to;
    const double *sum;
    double squares, *over;
};

/* The cost with each start; the least of them, and the greatest; *back: the first run of the least.
 */
static inline double cheapest_of(struct start *alive, size_t n, size_t d, const struct end *end,
                                 double *back, double *greatest)
{
    double least = HUGE_VAL, most = -HUGE_VAL, squares = end->squares;
    size_t at = 0;

    for (size_t i = 0; i < n; i++) {
        struct start *s = &alive[i];
        double fit = 0;
        for (size_t a = 0; a < d; a++) {
            fit += (end->sum[a] + s->offset[a]) * (end->sum[a] + s->offset[a]);
        }
        s->all = s->cost + squares - fit * end->over[end->to - s->from];
        most = s->all > most ? s->all : most;
        if (s->all < least) {
            least = s->all;
            at = i;
        }
    }
    *greatest = most;
    *back = (double)alive[at].from;
    return least;
}

/* For each number of axes by itself: the innermost loop of a quiet history. */
static double cheapest(struct start *alive, size_t n, size_t d, const struct end *end, double *back,
                       double *greatest)
{
    const double sum[MOST_AXES] = {end->sum[0], end->sum[1], end->sum[2]};
    const struct end here = {end->to, sum, end->squares, end->over};

    return d == 1   ? cheapest_of(alive, n, 1, &here, back, greatest)
           : d == 2 ? cheapest_of(alive, n, 2, &here, back, greatest)
                    : cheapest_of(alive, n, MOST_AXES, &here, back, greatest);
}

size_t tt_segment_room(size_t n)
{
    return 3 * (n + 1) + (n + 1) * sizeof(struct start) / sizeof(double) + 1;
}

size_t tt_segment(const double *value, size_t n, size_t d, double phi, double price, double *work,
                  size_t place[])
{
    double *best = work, *back = best + n + 1, *over = back + n + 1;
    struct start *alive = (struct start *)(void *)(over + n + 1);
    double root = sqrt(1 - phi * phi), b = (1 - phi) / root, sum[MOST_AXES] = {0}, squares = 0,
           greatest;
    double each = price - (double)d * log(1 - phi * phi), slack = phi > 0 ? SLACK * (double)d : 0;
    size_t n_alive = 0, n_places = 0;

    for (size_t length = 1; length <= n; length++) {
        over[length] = 1 / ((double)(length - 1) * b * b + 1);
    }
    best[0] = -each;
    for (size_t to = 1; to <= n; to++) {
        const double *y = value + (to - 1) * d;
        struct start *new = &alive[n_alive++];
        *new = (struct start){.from = to - 1, .cost = best[to - 1] + each};
        for (size_t a = 0; a < d; a++) {
            double w = to > 1 ? (y[a] - phi * y[a - d]) / root : 0;
            sum[a] += b * w;
            squares += w * w;
            new->offset[a] = y[a] - sum[a];
            new->cost += y[a] * y[a];
        }
        new->cost -= squares;
        best[to] = cheapest(alive, n_alive, d, &(struct end){to, sum, squares, over}, &back[to],
                            &greatest);
        if (!(greatest - each < best[to] + slack)) {
            n_alive = prune(alive, n_alive, each, best[to] + slack);
        }
        n_alive = n_alive < MOST_ALIVE ? n_alive : thin(alive, n_alive);
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
