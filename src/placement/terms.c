/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "placement/terms.h"

#include <math.h>
#include <stdlib.h>

#include "base/cholesky.h"

/* Sizes of a term beforehand, in repeatabilities: half of one is the least that some tens of parts
 * show; eight is what nobody would miss. */
static const double sizes[] = {0.5, 2.0, 8.0};
#define N_SIZES (sizeof(sizes) / sizeof(sizes[0]))
/* Places of the table of what was looked at, a power of two, and how full it may get: a board of
 * two tips has 1024 sets, one of many is searched along its likely ones. */
#define TABLE 8192
#define MOST_VISITED 6000
/* Columns of a set at most: the fixed ones, twelve terms of two, and one more of a move. A board on
 * which more than twelve things are off is repaired before it is explained. */
#define MOST_TERMS 12
#define MOST_IN_SET 28

struct search {
    const struct tt_term_problem *problem;
    uint64_t *keys; /* set + 1; 0 = free */
    double *ln;     /* ln of prior and marginal likelihood */
    size_t visited;
    uint64_t offsets, turnings, common, scale, scales; /* candidates by kind */
    double *work;                                      /* MOST_IN_SET squared, and one row */
};

static uint64_t bit(size_t k)
{
    return (uint64_t)1 << k;
}

static int count_bits(uint64_t set)
{
    int n = 0;
    for (; set != 0; set &= set - 1) {
        n++;
    }
    return n;
}

/* Whether the set says nothing twice: all tips alike beside every tip, one scale beside two. */
static bool is_allowed(const struct search *s, uint64_t set)
{
    size_t offsets = (size_t)count_bits(set & s->offsets);
    bool full = offsets + 1 >= s->problem->n_tips;
    if ((set & s->common) != 0 && full) {
        return false;
    }
    if (s->problem->origin_free && offsets >= s->problem->n_tips) {
        return false;
    }
    return ((set & s->scale) == 0 || (set & s->scales) == 0) && count_bits(set) <= MOST_TERMS;
}

/* The columns of a set, and their precisions for terms of @size. */
static size_t columns_of(const struct search *s, uint64_t set, double size,
                         size_t columns[MOST_IN_SET], double precision[MOST_IN_SET])
{
    const struct tt_term_problem *p = s->problem;
    size_t n = 0;
    for (; n < p->n_fixed; n++) {
        columns[n] = n;
        precision[n] = p->precision[n];
    }
    for (size_t k = 0; k < p->n_candidates; k++) {
        for (size_t j = 0; (set & bit(k)) != 0 && j < p->candidates[k].count; j++) {
            columns[n] = p->candidates[k].first + j;
            precision[n] = 1.0 / (size * size * p->unit[columns[n]] * p->unit[columns[n]]);
            n++;
        }
    }
    return n;
}

static double ln_likelihood(const struct search *s, uint64_t set, double size)
{
    const struct tt_term_problem *p = s->problem;
    size_t columns[MOST_IN_SET];
    double precision[MOST_IN_SET];
    size_t n = columns_of(s, set, size, columns, precision);
    double *a = s->work, *r = s->work + MOST_IN_SET * MOST_IN_SET, ln = 0.0, rest = p->square;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            a[i * n + j] = p->gram[columns[i] * p->n_columns + columns[j]];
        }
        a[i * n + i] += precision[i];
        r[i] = p->right[columns[i]];
        ln += i >= p->n_fixed ? 0.5 * log(precision[i]) : 0.0;
    }
    if (!tt_cholesky(a, n)) {
        return -HUGE_VAL; /* the parts do not tell these columns from the fixed ones */
    }
    tt_cholesky_forward(a, n, r);
    for (size_t i = 0; i < n; i++) {
        rest -= r[i] * r[i];
    }
    return ln - 0.5 * tt_cholesky_ln_det(a, n) -
           0.5 * p->n * log(fmax(rest, 1e-12 * p->square + 1e-300));
}

static double evaluate(const struct search *s, uint64_t set)
{
    double ln[N_SIZES], most = -HUGE_VAL, sum = 0.0, prior = 0.0;
    for (size_t i = 0; i < N_SIZES; i++) {
        ln[i] = ln_likelihood(s, set, sizes[i]);
        most = fmax(most, ln[i]);
    }
    for (size_t i = 0; i < N_SIZES; i++) {
        sum += exp(ln[i] - most) / (double)N_SIZES;
    }
    for (size_t k = 0; k < s->problem->n_candidates; k++) {
        prior += (set & bit(k)) != 0 ? s->problem->candidates[k].ln_odds : 0.0;
    }
    return most > -HUGE_VAL ? most + log(sum) + prior : -HUGE_VAL;
}

/* Its ln probability but for a constant; it is looked at once. */
static double look(struct search *s, uint64_t set)
{
    size_t at = (size_t)((set * 0x9E3779B97F4A7C15u) >> 40) & (TABLE - 1);
    if (!is_allowed(s, set)) {
        return -HUGE_VAL;
    }
    while (s->keys[at] != 0 && s->keys[at] != set + 1) {
        at = (at + 1) & (TABLE - 1);
    }
    if (s->keys[at] == 0) {
        if (s->visited == MOST_VISITED) {
            return -HUGE_VAL;
        }
        s->visited++;
        s->keys[at] = set + 1;
        s->ln[at] = evaluate(s, set);
    }
    return s->ln[at];
}

static void better(struct search *s, uint64_t set, uint64_t *best, double *best_ln)
{
    double ln = look(s, set);
    if (ln > *best_ln) {
        *best = set;
        *best_ln = ln;
    }
}

/* The likeliest set one step away: a term more, one less, one for another; and whole kinds for each
 * other, which single steps would pass through a valley to reach. */
static uint64_t step(struct search *s, uint64_t set, double *best_ln)
{
    size_t n = s->problem->n_candidates;
    uint64_t best = set, tips = s->offsets | s->turnings;
    for (size_t k = 0; k < n; k++) {
        better(s, set ^ bit(k), &best, best_ln);
        for (size_t j = 0; (set & bit(k)) != 0 && j < n; j++) {
            if ((set & bit(j)) == 0) {
                better(s, (set ^ bit(k)) | bit(j), &best, best_ln);
            }
        }
    }
    better(s, (set & ~tips) | s->common, &best, best_ln);
    better(s, (set & ~s->offsets) | s->common, &best, best_ln);
    better(s, (set & ~(tips | s->common)) | s->offsets, &best, best_ln);
    better(s, (set & ~(tips | s->common)) | s->turnings, &best, best_ln);
    better(s, (set & ~s->scale) | s->scales, &best, best_ln);
    better(s, (set & ~s->scales) | s->scale, &best, best_ln);
    return best;
}

static void walk(struct search *s, uint64_t set)
{
    double ln = look(s, set), before = -HUGE_VAL;
    while (ln > before) {
        before = ln;
        set = step(s, set, &ln);
    }
}

static int likeliest_first(const void *a, const void *b)
{
    const double *x = a, *y = b;
    return x[0] < y[0] ? 1 : x[0] > y[0] ? -1 : (x[1] > y[1]) - (x[1] < y[1]);
}

/* From the table to probabilities. Sets whose share is below 1e-9 are left out. */
static bool collect(const struct search *s, struct tt_arena *arena, struct tt_weighed *weighed)
{
    double most = -HUGE_VAL, sum = 0.0;
    double(*rows)[2] = tt_arena_get(arena, s->visited, sizeof(*rows));
    weighed->sets = TT_ARENA_NEW(arena, s->visited, uint64_t);
    weighed->probabilities = TT_ARENA_NEW(arena, s->visited, double);
    if (rows == NULL || weighed->sets == NULL || weighed->probabilities == NULL) {
        return false;
    }
    for (size_t i = 0; i < TABLE; i++) {
        most = s->keys[i] != 0 ? fmax(most, s->ln[i]) : most;
    }
    for (size_t i = 0; i < TABLE; i++) {
        double share = s->keys[i] != 0 ? exp(s->ln[i] - most) : 0.0;
        sum += share;
        if (share > 1e-9) {
            rows[weighed->n][0] = share;
            rows[weighed->n++][1] = (double)(s->keys[i] - 1); /* exact below 2^53 */
        }
    }
    qsort(rows, weighed->n, sizeof(*rows), likeliest_first);
    for (size_t i = 0; i < weighed->n; i++) {
        weighed->sets[i] = (uint64_t)rows[i][1];
        weighed->probabilities[i] = rows[i][0] / sum;
        for (size_t k = 0; k < s->problem->n_candidates; k++) {
            weighed->of[k] += (weighed->sets[i] & bit(k)) != 0 ? weighed->probabilities[i] : 0.0;
        }
    }
    return true;
}

static void sort_kinds(struct search *s)
{
    for (size_t k = 0; k < s->problem->n_candidates; k++) {
        enum tt_term_kind kind = s->problem->candidates[k].term.kind;
        s->offsets |= kind == TT_TERM_OFFSET || kind == TT_TERM_ANGLE ? bit(k) : 0;
        s->turnings |= kind == TT_TERM_TURNING ? bit(k) : 0;
        s->common |= kind == TT_TERM_COMMON || kind == TT_TERM_ANGLE_COMMON ? bit(k) : 0;
        s->scale |= kind == TT_TERM_SCALE ? bit(k) : 0;
        s->scales |= kind == TT_TERM_SCALE_X || kind == TT_TERM_SCALE_Y ? bit(k) : 0;
    }
}

enum tiptrue_status tt_terms_weigh(const struct tt_term_problem *problem, struct tt_arena *arena,
                                   struct tt_weighed *weighed)
{
    struct search s = {.problem = problem};
    s.keys = TT_ARENA_NEW(arena, TABLE, uint64_t);
    s.ln = TT_ARENA_NEW(arena, TABLE, double);
    s.work = TT_ARENA_NEW(arena, MOST_IN_SET * (MOST_IN_SET + 1), double);
    *weighed = (struct tt_weighed){0};
    if (s.keys == NULL || s.ln == NULL || s.work == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    sort_kinds(&s);
    walk(&s, 0);
    walk(&s, s.offsets);
    walk(&s, s.offsets | s.turnings);
    return collect(&s, arena, weighed) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

double tt_terms_any(const struct tt_weighed *weighed, uint64_t candidates)
{
    double sum = 0.0;
    for (size_t i = 0; i < weighed->n; i++) {
        sum += (weighed->sets[i] & candidates) != 0 ? weighed->probabilities[i] : 0.0;
    }
    return sum;
}

/* The probability of exactly this set, 0 where it was not looked at. */
static double of_set(const struct tt_weighed *weighed, uint64_t set)
{
    for (size_t i = 0; i < weighed->n; i++) {
        if (weighed->sets[i] == set) {
            return weighed->probabilities[i];
        }
    }
    return 0.0;
}

size_t tt_terms_rival(const struct tt_weighed *weighed, size_t from)
{
    uint64_t best = weighed->n > 0 ? weighed->sets[0] : 0;
    for (size_t i = from; i < weighed->n; i++) {
        uint64_t set = weighed->sets[i], both = set & best;
        if (!(weighed->probabilities[i] >= weighed->probabilities[0] * exp(-TT_RIVAL_LN))) {
            return TT_NONE;
        }
        /* in the place of some of its terms, and better than leaving these out */
        if (both != best && both != set && weighed->probabilities[i] > of_set(weighed, both)) {
            return i;
        }
    }
    return TT_NONE;
}
