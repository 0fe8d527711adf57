/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The covariance of a run is D + U M U', D of 2 x 2 blocks (own), U identities (shared): its inverse is W - W Q W with W = 1/D and
 * Q = M (1 + G M)^-1, G the sum of W (Woodbury's identity), so that nothing larger than 2 x 2 is ever inverted in it.
 */
#include "config.h"

#include "history/track.h"

#include <gsl/gsl_sf_psi.h>
#include <math.h>
#include <string.h>

/* Turns of covariance and fit: the third changes the scatter by less than a hundredth of itself. */
#define TURNS 3
/* Turns of taking apart what members scatter: the last changes a covariance by less than a thousandth of itself. */
#define OWN_TURNS 12
/* A pivot of the normal equations below this part of its diagonal: the terms cannot be told apart. Doubles carry 16 digits. */
#define SINGULAR 1e-10
/* What is added to a variance to keep its inverse finite: this part of itself, and (10 pm)^2 or (10 nrad)^2. */
#define FLOOR_SHARE 1e-9
#define FLOOR 1e-16
/* From this share of all scatter on, what an effect explains is continued as a straight line: the score's estimate is at its end.
 */
#define STEEP 0.9

struct tt_term tt_term_step(size_t member, size_t from)
{
    return (struct tt_term){.member = member, .piece = {{1, 0, from}}, .n_pieces = 1};
}

struct tt_term tt_term_slope(size_t member)
{
    return (struct tt_term){.member = member, .piece = {{1, 1, 0}}, .n_pieces = 1};
}

struct tt_term tt_term_block(size_t member, size_t from, size_t to)
{
    return (struct tt_term){.member = member, .piece = {{1, 0, from}, {-1, 0, to}}, .n_pieces = 2};
}

struct tt_term tt_term_single(size_t member, size_t at)
{
    return tt_term_block(member, at, at + 1);
}

enum tiptrue_status tt_track_init(struct tt_track *track, struct tt_arena *arena, size_t n, size_t members, unsigned axes,
                                  size_t most_terms, const double *weeks)
{
    size_t values = n * members, all = members + 1;

    *track = (struct tt_track){.axes = axes, .n = n, .members = members, .weeks = weeks, .room_terms = most_terms, .arena = arena};
    track->there = TT_ARENA_NEW(arena, values, bool);
    track->value = TT_ARENA_NEW(arena, values, struct tt_pair);
    track->stated = TT_ARENA_NEW(arena, values, struct tt_sym2);
    track->common = TT_ARENA_NEW(arena, n, struct tt_sym2);
    track->terms = TT_ARENA_NEW(arena, most_terms, struct tt_term);
    track->fitted_terms = TT_ARENA_NEW(arena, most_terms, struct tt_term);
    track->coefficient = TT_ARENA_NEW(arena, most_terms, struct tt_pair);
    track->factor = TT_ARENA_NEW(arena, 4 * most_terms * most_terms, double);
    track->x = TT_ARENA_NEW(arena, 2 * most_terms, double);
    track->scratch = TT_ARENA_NEW(arena, 4 * most_terms, double);
    track->residual = TT_ARENA_NEW(arena, values, struct tt_pair);
    track->weight = TT_ARENA_NEW(arena, values, struct tt_sym2);
    track->count = TT_ARENA_NEW(arena, (n + 1) * all, size_t);
    track->others = TT_ARENA_NEW(arena, members * members, double);
    track->spread = TT_ARENA_NEW(arena, 2 * members, struct tt_sym2);
    track->own = TT_ARENA_NEW(arena, members, struct tt_sym2);
    track->next = TT_ARENA_NEW(arena, members, struct tt_sym2);
    track->dof = TT_ARENA_NEW(arena, all, double);
    track->sums = TT_ARENA_NEW(arena, (n + 1) * (12 * all * all + 4 * all), double);
    bool good = track->there && track->value && track->stated && track->common && track->terms && track->fitted_terms &&
                track->coefficient && track->factor && track->x && track->scratch && track->residual && track->own &&
                track->weight && track->count && track->others && track->spread && track->next && track->dof && track->sums;
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

/* A general 2 x 2, for products of symmetric ones. */
struct mat2 {
    double xx, xy, yx, yy;
};

static struct tt_sym2 plus(struct tt_sym2 a, struct tt_sym2 b, double times)
{
    return (struct tt_sym2){a.xx + times * b.xx, a.xy + times * b.xy, a.yy + times * b.yy};
}

/* @a without its negative part: the nearest covariance matrix. */
static struct tt_sym2 not_negative(struct tt_sym2 a)
{
    double middle = 0.5 * (a.xx + a.yy), half = 0.5 * (a.xx - a.yy), root = hypot(half, a.xy);
    double high = middle + root, low = middle - root;

    if (low >= 0) {
        return a;
    }
    if (high <= 0) {
        return (struct tt_sym2){0, 0, 0};
    }
    /* the part of the larger eigenvalue alone */
    double c = root > 0 ? (half + root) / (2 * root) : 0.5, s = root > 0 ? (root - half) / (2 * root) : 0.5;
    return (struct tt_sym2){high * c, high * a.xy / (2 * root), high * s};
}

static struct tt_sym2 inverse(struct tt_sym2 a)
{
    double det = a.xx * a.yy - a.xy * a.xy;
    return (struct tt_sym2){a.yy / det, -a.xy / det, a.xx / det};
}

static struct tt_pair times(struct tt_sym2 a, struct tt_pair v)
{
    return (struct tt_pair){a.xx * v.x + a.xy * v.y, a.xy * v.x + a.yy * v.y};
}

static struct mat2 product(struct tt_sym2 a, struct tt_sym2 b)
{
    return (struct mat2){a.xx * b.xx + a.xy * b.xy, a.xx * b.xy + a.xy * b.yy, a.xy * b.xx + a.yy * b.xy,
                         a.xy * b.xy + a.yy * b.yy};
}

static struct mat2 product_m(struct mat2 a, struct tt_sym2 b)
{
    return (struct mat2){a.xx * b.xx + a.xy * b.xy, a.xx * b.xy + a.xy * b.yy, a.yx * b.xx + a.yy * b.xy,
                         a.yx * b.xy + a.yy * b.yy};
}

/* Q = M (1 + G M)^-1; symmetric, since both are. */
static struct tt_sym2 shared_part(struct tt_sym2 m, struct tt_sym2 g)
{
    struct mat2 gm = product(g, m);
    double a = 1 + gm.xx, b = gm.xy, c = gm.yx, d = 1 + gm.yy, det = a * d - b * c;
    /* M times the inverse of [a b; c d] */
    return (struct tt_sym2){(m.xx * d - m.xy * c) / det, (m.xy * a - m.xx * b) / det, (m.yy * a - m.xy * b) / det};
}

/* Covariance of a member's own deviation in a run. A floor keeps the inverse finite where a run states next to nothing. */
static struct tt_sym2 own_cov(const struct tt_track *t, size_t run, size_t member)
{
    struct tt_sym2 own = t->stated[run * t->members + member];

    if (t->members > 1) {
        own = not_negative(plus(own, t->common[run], -1));
    }
    own = plus(own, t->own[member], 1);
    own.xx += FLOOR_SHARE * own.xx + FLOOR;
    own.yy += FLOOR_SHARE * own.yy + FLOOR;
    if (t->axes == 1) {
        own.xy = 0;
        own.yy = 1; /* anything: nothing is ever there */
    }
    return own;
}

static struct tt_sym2 shared_cov(const struct tt_track *t, size_t run)
{
    return t->members > 1 ? plus(t->common[run], t->shared, 1) : (struct tt_sym2){0, 0, 0};
}

/* Where the suffix sums lie: weights by power (0, 1, 2), row and column member (the last one: all alike), then residuals. */
static size_t all_index(const struct tt_track *t, size_t member)
{
    return member == TT_TRACK_ALL ? t->members : member;
}

static size_t stride(const struct tt_track *t)
{
    size_t all = t->members + 1;
    return 12 * all * all + 4 * all;
}

static double *weight_sum(const struct tt_track *t, size_t run, unsigned power, size_t a, size_t b)
{
    size_t all = t->members + 1;
    return t->sums + run * stride(t) + ((power * all + a) * all + b) * 4;
}

static double *residual_sum(const struct tt_track *t, size_t run, unsigned power, size_t a)
{
    size_t all = t->members + 1;
    return t->sums + run * stride(t) + 12 * all * all + (power * all + a) * 2;
}

/* The weights of one run, entered into the sums of @run, which hold those of the runs behind it. The weight of members a and b is
 * W_a (a = b) less W_a Q W_b: symmetric only for a = b. */
static void add_weights(struct tt_track *t, size_t run)
{
    struct tt_sym2 sum = {0, 0, 0}, w[2];
    double week = t->weeks[run], powers[] = {1, week, week * week};

    for (size_t k = 0; k < t->members; k++) {
        if (t->there[run * t->members + k]) {
            sum = plus(sum, t->weight[run * t->members + k], 1);
        }
    }
    struct tt_sym2 q = shared_part(shared_cov(t, run), sum);
    for (size_t a = 0; a < t->members; a++) {
        if (!t->there[run * t->members + a]) {
            continue;
        }
        w[0] = t->weight[run * t->members + a];
        struct mat2 wq = product(w[0], q);
        for (size_t b = 0; b < t->members; b++) {
            if (!t->there[run * t->members + b]) {
                continue;
            }
            w[1] = t->weight[run * t->members + b];
            struct mat2 part = product_m(wq, w[1]);
            struct mat2 block = {-part.xx, -part.xy, -part.yx, -part.yy};
            if (a == b) {
                block = (struct mat2){w[0].xx - part.xx, w[0].xy - part.xy, w[0].xy - part.yx, w[0].yy - part.yy};
            }
            for (unsigned p = 0; p < 3; p++) {
                double *to[] = {weight_sum(t, run, p, a, b), weight_sum(t, run, p, a, t->members),
                                weight_sum(t, run, p, t->members, b), weight_sum(t, run, p, t->members, t->members)};
                for (size_t i = 0; i < 4; i++) {
                    to[i][0] += powers[p] * block.xx;
                    to[i][1] += powers[p] * block.xy;
                    to[i][2] += powers[p] * block.yx;
                    to[i][3] += powers[p] * block.yy;
                }
            }
        }
    }
}

/* The weighted @values of one run likewise. */
static void add_values(struct tt_track *t, size_t run, const struct tt_pair *values)
{
    struct tt_sym2 sum = {0, 0, 0};
    struct tt_pair weighted = {0, 0};

    for (size_t k = 0; k < t->members; k++) {
        if (t->there[run * t->members + k]) {
            struct tt_sym2 w = t->weight[run * t->members + k];
            struct tt_pair v = times(w, values[run * t->members + k]);
            sum = plus(sum, w, 1);
            weighted.x += v.x;
            weighted.y += v.y;
        }
    }
    struct tt_pair back = times(shared_part(shared_cov(t, run), sum), weighted);
    for (size_t k = 0; k < t->members; k++) {
        if (!t->there[run * t->members + k]) {
            continue;
        }
        struct tt_pair v = values[run * t->members + k];
        v = times(t->weight[run * t->members + k], (struct tt_pair){v.x - back.x, v.y - back.y});
        for (unsigned p = 0; p < 2; p++) {
            double factor = p == 0 ? 1 : t->weeks[run], *own = residual_sum(t, run, p, k),
                   *all = residual_sum(t, run, p, t->members);
            own[0] += factor * v.x;
            own[1] += factor * v.y;
            all[0] += factor * v.x;
            all[1] += factor * v.y;
        }
    }
}

static void sum_weights(struct tt_track *t)
{
    size_t all = t->members + 1;

    for (size_t run = 0; run < t->n; run++) {
        for (size_t k = 0; k < t->members; k++) {
            if (t->there[run * t->members + k]) {
                t->weight[run * t->members + k] = inverse(own_cov(t, run, k));
            }
        }
    }
    memset(t->sums + t->n * stride(t), 0, stride(t) * sizeof *t->sums);
    for (size_t run = t->n; run-- > 0;) {
        memcpy(weight_sum(t, run, 0, 0, 0), weight_sum(t, run + 1, 0, 0, 0), 12 * all * all * sizeof *t->sums);
        add_weights(t, run);
    }
}

static void sum_values(struct tt_track *t, const struct tt_pair *values)
{
    size_t all = t->members + 1;

    for (size_t run = t->n; run-- > 0;) {
        memcpy(residual_sum(t, run, 0, 0), residual_sum(t, run + 1, 0, 0), 4 * all * sizeof *t->sums);
        add_values(t, run, values);
    }
}

static struct mat2 term_product(const struct tt_track *t, const struct tt_term *a, const struct tt_term *b)
{
    struct mat2 sum = {0, 0, 0, 0};

    for (size_t i = 0; i < a->n_pieces; i++) {
        for (size_t j = 0; j < b->n_pieces; j++) {
            const struct tt_piece *p = &a->piece[i], *q = &b->piece[j];
            size_t from = p->from > q->from ? p->from : q->from;
            const double *w =
                weight_sum(t, from < t->n ? from : t->n, p->power + q->power, all_index(t, a->member), all_index(t, b->member));
            double sign = p->sign * q->sign;
            sum = (struct mat2){sum.xx + sign * w[0], sum.xy + sign * w[1], sum.yx + sign * w[2], sum.yy + sign * w[3]};
        }
    }
    return sum;
}

static struct tt_pair term_residual(const struct tt_track *t, const struct tt_term *a)
{
    struct tt_pair sum = {0, 0};

    for (size_t i = 0; i < a->n_pieces; i++) {
        const struct tt_piece *p = &a->piece[i];
        const double *v = residual_sum(t, p->from < t->n ? p->from : t->n, p->power, all_index(t, a->member));
        sum.x += p->sign * v[0];
        sum.y += p->sign * v[1];
    }
    return sum;
}

/* The normal equations and their Cholesky factor (lower triangle). */
static void factor_normal(struct tt_track *t)
{
    size_t size = 2 * t->n_terms;
    double *l = t->factor;

    for (size_t a = 0; a < t->n_terms; a++) {
        for (size_t b = 0; b <= a; b++) {
            struct mat2 block = term_product(t, &t->terms[a], &t->terms[b]);
            const struct tt_sym2 *prior = &t->terms[a].prior;
            if (a == b && prior->xx > 0 && prior->yy > 0) {
                struct tt_sym2 known = inverse(*prior);
                block = (struct mat2){block.xx + known.xx, block.xy + known.xy, block.yx + known.xy, block.yy + known.yy};
            }
            l[(2 * a) * size + 2 * b] = block.xx;
            l[(2 * a) * size + 2 * b + 1] = block.xy;
            l[(2 * a + 1) * size + 2 * b] = block.yx;
            l[(2 * a + 1) * size + 2 * b + 1] = block.yy;
        }
    }
    t->singular = false;
    for (size_t i = 0; i < size && !t->singular; i++) {
        double whole = l[i * size + i];
        for (size_t j = 0; j <= i; j++) {
            double sum = l[i * size + j];
            for (size_t k = 0; k < j; k++) {
                sum -= l[i * size + k] * l[j * size + k];
            }
            if (j < i) {
                l[i * size + j] = sum / l[j * size + j];
            } else if (sum > SINGULAR * whole) {
                l[i * size + i] = sqrt(sum);
            } else {
                t->singular = true;
            }
        }
    }
}

/* x = L^-1 x */
static void solve_lower(const struct tt_track *t, double *x)
{
    size_t size = 2 * t->n_terms;

    for (size_t i = 0; i < size; i++) {
        double sum = x[i];
        for (size_t k = 0; k < i; k++) {
            sum -= t->factor[i * size + k] * x[k];
        }
        x[i] = sum / t->factor[i * size + i];
    }
}

/* x = L'^-1 x */
static void solve_upper(const struct tt_track *t, double *x)
{
    size_t size = 2 * t->n_terms;

    for (size_t i = size; i-- > 0;) {
        double sum = x[i];
        for (size_t k = i + 1; k < size; k++) {
            sum -= t->factor[k * size + i] * x[k];
        }
        x[i] = sum / t->factor[i * size + i];
    }
}

static double course(const struct tt_track *t, const struct tt_term *term, size_t run)
{
    double value = 0;

    for (size_t i = 0; i < term->n_pieces; i++) {
        const struct tt_piece *p = &term->piece[i];
        value += run >= p->from ? p->sign * (p->power == 0 ? 1 : t->weeks[run]) : 0;
    }
    return value;
}

static void solve_terms(struct tt_track *t)
{
    sum_values(t, t->value);
    for (size_t a = 0; a < t->n_terms; a++) {
        struct tt_pair rhs = term_residual(t, &t->terms[a]);
        t->x[2 * a] = rhs.x;
        t->x[2 * a + 1] = rhs.y;
    }
    solve_lower(t, t->x);
    solve_upper(t, t->x);
    memcpy(t->residual, t->value, t->n * t->members * sizeof *t->residual);
    for (size_t a = 0; a < t->n_terms; a++) {
        t->coefficient[a] = (struct tt_pair){t->x[2 * a], t->x[2 * a + 1]};
        for (size_t run = 0; run < t->n; run++) {
            double c = course(t, &t->terms[a], run);
            for (size_t k = 0; c != 0 && k < t->members; k++) {
                if (t->terms[a].member == TT_TRACK_ALL || t->terms[a].member == k) {
                    t->residual[run * t->members + k].x -= c * t->coefficient[a].x;
                    t->residual[run * t->members + k].y -= c * t->coefficient[a].y;
                }
            }
        }
    }
}

/* Runs less parameters; one that all members share counts for each by its part. */
static void count_dof(struct tt_track *t)
{
    double shared = 0;

    for (size_t a = 0; a < t->n_terms; a++) {
        shared += t->terms[a].member == TT_TRACK_ALL && !(t->terms[a].prior.xx > 0);
    }
    t->dof[t->members] = HUGE_VAL;
    for (size_t k = 0; k < t->members; k++) {
        double own = 0;
        for (size_t a = 0; a < t->n_terms; a++) {
            own += t->terms[a].member == k;
        }
        size_t runs = tt_track_count(t, k, 0, t->n);
        t->dof[k] = fmax((double)runs - own - shared / (double)t->members, 0);
        if (runs > 0) {
            t->dof[t->members] = fmin(t->dof[t->members], t->dof[k]);
        }
    }
}

/* What a member's residual in a run is against the mean of the others' there; false: there are none. */
static bool against_others(const struct tt_track *t, size_t run, size_t member, struct tt_pair *difference, double *others)
{
    struct tt_pair sum = {0, 0};

    *others = 0;
    for (size_t k = 0; k < t->members; k++) {
        if (k != member && t->there[run * t->members + k]) {
            sum.x += t->residual[run * t->members + k].x;
            sum.y += t->residual[run * t->members + k].y;
            (*others)++;
        }
    }
    const struct tt_pair *r = &t->residual[run * t->members + member];
    double n = fmax(*others, 1);
    *difference = (struct tt_pair){r->x - sum.x / n, r->y - sum.y / n};
    return *others > 0;
}

/* Covariance of each member's own deviation, into own[]: from its differences from the mean of the others in the same run, in which
 * what they share cancels. Such a difference has the member's own covariance and the others' over the square of their number; a few
 * turns of damped substitution take these apart. Members that are never seen with others: their whole one less the shared. */
static void gather_own(struct tt_track *t)
{
    size_t members = t->members;

    /* spread[k]: sum of squares of the differences; spread[members + k]: what is shared in those that are none; others[k, l]: how
     * much of l's own is in them */
    memset(t->others, 0, members * members * sizeof *t->others);
    memset(t->spread, 0, 2 * members * sizeof *t->spread);
    for (size_t run = 0; run < t->n; run++) {
        for (size_t k = 0; k < members; k++) {
            struct tt_pair d;
            double m;
            if (!t->there[run * members + k]) {
                continue;
            }
            if (!against_others(t, run, k, &d, &m)) {
                t->spread[members + k] = plus(t->spread[members + k], shared_cov(t, run), 1);
            }
            t->spread[k] = plus(t->spread[k], (struct tt_sym2){d.x * d.x, d.x * d.y, d.y * d.y}, 1);
            t->others[k * members + k]++;
            for (size_t l = 0; m > 0 && l < members; l++) {
                t->others[k * members + l] += l != k && t->there[run * members + l] ? 1 / (m * m) : 0;
            }
        }
    }
    for (int turn = 0; turn < OWN_TURNS; turn++) {
        for (size_t k = 0; k < members; k++) {
            double n = t->others[k * members + k], in_others = 0;
            if (!(t->dof[k] > 0) || !(n > 0)) {
                t->next[k] = (struct tt_sym2){0, 0, 0};
                continue;
            }
            struct tt_sym2 now = plus((struct tt_sym2){0, 0, 0}, t->spread[k], 1 / t->dof[k]);
            now = plus(now, t->spread[members + k], -1 / n);
            for (size_t l = 0; l < members; l++) {
                if (l != k) {
                    in_others += t->others[k * members + l];
                    now = turn > 0 ? plus(now, t->own[l], -t->others[k * members + l] / n) : now;
                }
            }
            /* the first turn begins where all are alike */
            t->next[k] = turn == 0 ? plus((struct tt_sym2){0, 0, 0}, now, n / (n + in_others))
                                   : plus(plus((struct tt_sym2){0, 0, 0}, t->own[k], 0.5), now, 0.5);
        }
        memcpy(t->own, t->next, members * sizeof *t->own);
    }
    for (size_t k = 0; k < members; k++) {
        t->own[k] = not_negative(t->own[k]);
    }
}

/* The same less what the runs themselves state of it. */
static struct tt_sym2 less_stated(const struct tt_track *t, size_t k)
{
    struct tt_sym2 sum = {0, 0, 0};
    double n = 0;

    for (size_t run = 0; run < t->n; run++) {
        if (t->there[run * t->members + k]) {
            sum = plus(sum, t->stated[run * t->members + k], 1);
            sum = plus(sum, t->common[run], t->members > 1 ? -1 : 0);
            n++;
        }
    }
    return n > 0 ? plus(t->own[k], sum, -1 / n) : t->own[k];
}

/* The root of trigamma(y) = @value, by Newton's method on 1/trigamma, which is nearly straight (Smyth 2004, appendix). */
static double inverse_trigamma(double value)
{
    double y = 0.5 + 1 / value;

    for (int i = 0; i < 50; i++) {
        double step = gsl_sf_psi_1(y) * (1 - gsl_sf_psi_1(y) / value) / gsl_sf_psi_n(2, y);
        y += step;
        if (fabs(step) < 1e-8 * y) {
            break;
        }
    }
    return y;
}

/* Few runs know a scatter badly, but members and axes that scatter alike know it together. Each covariance is drawn towards the one
 * they have in common, by as many degrees of freedom as their likeness bears out: none where they clearly differ. G. K. Smyth,
 * Linear models and empirical Bayes methods, Stat. Appl. Genet. Mol. Biol. 3 (2004), section 6.2; here of the variances along the
 * principal axes of all. Returns the degrees of freedom so won. */
static double moderate(struct tt_track *t)
{
    struct tt_sym2 mean = {0, 0, 0};
    double n = 0, sum = 0, sum2 = 0, expected = 0;

    if (t->axes != 2) {
        return 0;
    }
    for (size_t k = 0; k < t->members; k++) {
        if (t->dof[k] > 2 && t->own[k].xx > 0 && t->own[k].yy > 0) {
            mean = plus(mean, t->own[k], 1);
        }
    }
    double half = 0.5 * (mean.xx - mean.yy), root = hypot(half, mean.xy);
    double c2 = root > 0 ? half / root : 1, s2 = root > 0 ? mean.xy / root : 0; /* of twice the angle */
    for (size_t k = 0; k < t->members; k++) {
        const struct tt_sym2 *o = &t->own[k];
        if (!(t->dof[k] > 2 && o->xx > 0 && o->yy > 0)) {
            continue;
        }
        double middle = 0.5 * (o->xx + o->yy), along = 0.5 * (o->xx - o->yy) * c2 + o->xy * s2, d = 0.5 * t->dof[k];
        for (int axis = 0; axis < 2; axis++) {
            double variance = fmax(middle + (axis == 0 ? along : -along), 1e-9 * middle);
            double e = log(variance) - gsl_sf_psi(d) + log(d);
            sum += e;
            sum2 += e * e;
            expected += gsl_sf_psi_1(d);
            n++;
        }
    }
    if (n < 2) {
        return 0;
    }
    double excess = (sum2 - sum * sum / n) / (n - 1) - expected / n;
    /* what all know together is known no better than from all their runs */
    double most = 0.5 * n * t->dof[t->members], dof = excess > 1e-6 ? fmin(2 * inverse_trigamma(excess), most) : most;
    double variance = exp(sum / n + gsl_sf_psi(0.5 * dof) - log(0.5 * dof));
    for (size_t k = 0; k < t->members; k++) {
        struct tt_sym2 *o = &t->own[k];
        double own = t->dof[k] / (t->dof[k] + dof), other = (1 - own) * variance;
        *o = (struct tt_sym2){own * o->xx + other, own * o->xy, own * o->yy + other};
    }
    return dof;
}

/* Scatter between runs from the residuals, by moments: what members have in common from products of two of them, what is their own
 * from the rest. */
static void estimate_scatter(struct tt_track *t)
{
    struct tt_sym2 cross = {0, 0, 0}, common = {0, 0, 0};
    double pairs = 0, runs = 0, freed = 0;

    for (size_t run = 0; run < t->n; run++) {
        bool any = false;
        for (size_t a = 0; a < t->members; a++) {
            for (size_t b = 0; b < a; b++) {
                const struct tt_pair *r = &t->residual[run * t->members + a], *q = &t->residual[run * t->members + b];
                if (t->there[run * t->members + a] && t->there[run * t->members + b]) {
                    cross = plus(cross, (struct tt_sym2){r->x * q->x, 0.5 * (r->x * q->y + r->y * q->x), r->y * q->y}, 1);
                    pairs++;
                    any = true;
                }
            }
        }
        if (any) {
            common = plus(common, t->common[run], 1);
            runs++;
        }
    }
    t->shared = (struct tt_sym2){0, 0, 0};
    freed = t->dof[t->members];
    if (pairs > 0 && freed > 0) {
        cross = plus((struct tt_sym2){0, 0, 0}, cross, runs / freed / pairs);
        t->shared = not_negative(plus(cross, common, -1 / runs));
    }
    gather_own(t);
    t->prior_dof = moderate(t);
    for (size_t k = 0; k < t->members; k++) {
        t->own[k] = not_negative(less_stated(t, k));
    }
}

void tt_track_fit(struct tt_track *track)
{
    memcpy(track->fitted_terms, track->terms, track->n_terms * sizeof *track->terms);
    track->n_fitted = track->n_terms;
    memset(track->own, 0, track->members * sizeof *track->own);
    track->shared = (struct tt_sym2){0, 0, 0};
    track->prior_dof = 0;
    count_dof(track);
    for (int turn = 0; turn < TURNS; turn++) {
        sum_weights(track);
        factor_normal(track);
        if (track->singular) {
            return;
        }
        solve_terms(track);
        if (turn + 1 < TURNS) {
            estimate_scatter(track);
        }
    }
    sum_values(track, track->residual);
}

static bool same_term(const struct tt_term *a, const struct tt_term *b)
{
    bool same = a->member == b->member && a->n_pieces == b->n_pieces && a->prior.xx == b->prior.xx && a->prior.xy == b->prior.xy &&
                a->prior.yy == b->prior.yy;

    for (size_t i = 0; same && i < a->n_pieces; i++) {
        same =
            a->piece[i].sign == b->piece[i].sign && a->piece[i].power == b->piece[i].power && a->piece[i].from == b->piece[i].from;
    }
    return same;
}

void tt_track_fit_if_new(struct tt_track *track)
{
    bool same = track->n_terms == track->n_fitted;

    for (size_t i = 0; same && i < track->n_terms; i++) {
        same = same_term(&track->terms[i], &track->fitted_terms[i]);
    }
    if (!same) {
        tt_track_fit(track);
    }
}

size_t tt_track_count(const struct tt_track *track, size_t member, size_t from, size_t to)
{
    size_t all = track->members + 1, column = all_index(track, member);

    to = to < track->n ? to : track->n;
    return from < to ? track->count[to * all + column] - track->count[from * all + column] : 0;
}

void tt_track_filled(struct tt_track *track)
{
    size_t all = track->members + 1;

    for (size_t run = 0; run < track->n; run++) {
        bool any = false;
        for (size_t k = 0; k < track->members; k++) {
            bool there = track->there[run * track->members + k];
            track->count[(run + 1) * all + k] = track->count[run * all + k] + there;
            any = any || there;
        }
        track->count[(run + 1) * all + track->members] = track->count[run * all + track->members] + any;
    }
}

/* From a squared distance to chi-squared of the same probability: exact for Hotelling's T^2 in the plane, to a hundredth on a line.
 */
static double chi2_of(double t2, double dof, unsigned axes)
{
    double scale = dof - (axes == 2 ? 1 : 0.5);

    return scale > 0 && t2 > 0 ? scale * log1p(t2 / dof) : 0;
}

/* The degrees of freedom of the scatter that a term is judged by. What all members share is known from the runs alone, and likeness
 * of the members says nothing of it. */
static double dof_for(const struct tt_track *t, size_t member)
{
    return t->dof[all_index(t, member)] + (member == TT_TRACK_ALL && t->members > 1 ? 0 : t->prior_dof);
}

double tt_track_gain(const struct tt_track *t, const struct tt_term *term)
{
    size_t size = 2 * t->n_terms;
    double dof = dof_for(t, term->member);
    double *first = t->scratch, *second = t->scratch + size;

    if (t->singular || !(dof > 2) || !(dof < HUGE_VAL)) {
        return -1;
    }
    struct mat2 own = term_product(t, term, term);
    struct tt_pair score = term_residual(t, term);
    for (size_t a = 0; a < t->n_terms; a++) {
        struct mat2 block = term_product(t, term, &t->terms[a]);
        first[2 * a] = block.xx;
        first[2 * a + 1] = block.xy;
        second[2 * a] = block.yx;
        second[2 * a + 1] = block.yy;
    }
    solve_lower(t, first);
    solve_lower(t, second);
    struct tt_sym2 left = {own.xx, own.xy, own.yy};
    for (size_t i = 0; i < size; i++) {
        left.xx -= first[i] * first[i];
        left.xy -= first[i] * second[i];
        left.yy -= second[i] * second[i];
    }
    if (!(left.xx > SINGULAR * own.xx) || (t->axes == 2 && !(left.yy > SINGULAR * own.yy))) {
        return -1;
    }
    double t2 = t->axes == 2 ? (left.yy * score.x * score.x - 2 * left.xy * score.x * score.y + left.xx * score.y * score.y) /
                                   (left.xx * left.yy - left.xy * left.xy)
                             : score.x * score.x / left.xx;
    if (!(t2 >= 0)) {
        return -1;
    }
    /* the scatter still has the effect in it: taken out, the distance is larger */
    double share = t2 / dof, steep = 1 / (1 - STEEP);
    double without = share < STEEP ? share / (1 - share) : STEEP * steep + (share - STEEP) * steep * steep;
    return chi2_of((dof - 1) * without, dof - 1, t->axes);
}

struct tt_sym2 tt_track_cov(const struct tt_track *t, size_t index)
{
    size_t size = 2 * t->n_terms;
    double *x = t->scratch;
    struct tt_sym2 cov = {0, 0, 0};

    for (size_t axis = 0; axis < 2; axis++) {
        memset(x, 0, size * sizeof *x);
        x[2 * index + axis] = 1;
        solve_lower(t, x);
        solve_upper(t, x);
        if (axis == 0) {
            cov.xx = x[2 * index];
            cov.xy = x[2 * index + 1];
        } else {
            cov.yy = x[2 * index + 1];
        }
    }
    return cov;
}

void tt_track_predict(const struct tt_track *t, size_t member, double week, struct tt_pair *value, struct tt_sym2 *cov)
{
    size_t size = 2 * t->n_terms;
    double *first = t->scratch, *second = t->scratch + size;

    *value = (struct tt_pair){0, 0};
    for (size_t a = 0; a < t->n_terms; a++) {
        double c = 0;
        for (size_t i = 0; i < t->terms[a].n_pieces; i++) {
            const struct tt_piece *p = &t->terms[a].piece[i];
            c += p->from < t->n ? p->sign * (p->power == 0 ? 1 : week) : 0;
        }
        c = t->terms[a].member == member || t->terms[a].member == TT_TRACK_ALL ? c : 0;
        value->x += c * t->coefficient[a].x;
        value->y += c * t->coefficient[a].y;
        first[2 * a] = second[2 * a + 1] = c;
        first[2 * a + 1] = second[2 * a] = 0;
    }
    solve_lower(t, first);
    solve_lower(t, second);
    *cov = (struct tt_sym2){0, 0, 0};
    for (size_t i = 0; i < size; i++) {
        cov->xx += first[i] * first[i];
        cov->xy += first[i] * second[i];
        cov->yy += second[i] * second[i];
    }
}

double tt_track_worth(const struct tt_track *t, size_t index)
{
    struct tt_sym2 cov = tt_track_cov(t, index);
    struct tt_pair c = t->coefficient[index];
    double dof = dof_for(t, t->terms[index].member);
    double t2 = t->axes == 2
                    ? (cov.yy * c.x * c.x - 2 * cov.xy * c.x * c.y + cov.xx * c.y * c.y) / (cov.xx * cov.yy - cov.xy * cov.xy)
                    : c.x * c.x / cov.xx;

    return dof > 1 && dof < HUGE_VAL ? chi2_of(t2, dof, t->axes) : 0;
}

double tt_track_deviance(const struct tt_track *t)
{
    double sum = 0;

    for (size_t run = 0; run < t->n; run++) {
        struct tt_sym2 w_sum = {0, 0, 0};
        struct tt_pair weighted = {0, 0};
        for (size_t k = 0; k < t->members; k++) {
            if (!t->there[run * t->members + k]) {
                continue;
            }
            struct tt_sym2 own = own_cov(t, run, k), w = inverse(own);
            struct tt_pair r = t->residual[run * t->members + k], v = times(w, r);
            sum += t->axes == 2 ? log(own.xx * own.yy - own.xy * own.xy) : log(own.xx);
            sum += r.x * v.x + r.y * v.y;
            w_sum = plus(w_sum, w, 1);
            weighted.x += v.x;
            weighted.y += v.y;
        }
        struct tt_sym2 m = shared_cov(t, run);
        struct mat2 gm = product(w_sum, m);
        struct tt_pair back = times(shared_part(m, w_sum), weighted);
        sum += log((1 + gm.xx) * (1 + gm.yy) - gm.xy * gm.yx) - (weighted.x * back.x + weighted.y * back.y);
    }
    return sum;
}
