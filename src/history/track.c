/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The covariance of a run is D + U M U', D of 2 x 2 blocks (own), U identities (shared): its inverse is W - W Q W with W = 1/D and
 * Q = M (1 + G M)^-1, G the sum of W (Woodbury's identity), so that nothing larger than 2 x 2 is ever inverted in it.
 */
#include "config.h"

#include "history/track.h"

#include <math.h>
#include <string.h>

#include "history/track_parts.h"

/* Turns of covariance and fit: the third changes the scatter by less than a hundredth of itself. */
#define TURNS 3
/* What is added to a variance to keep its inverse finite: this part of itself, and (10 pm)^2 or (10 nrad)^2. */
#define FLOOR_SHARE 1e-9
#define FLOOR 1e-16

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
    track->own_dof = TT_ARENA_NEW(arena, members, double);
    track->sums = TT_ARENA_NEW(arena, (n + 1) * (12 * all * all + 4 * all), double);
    bool good = track->there && track->value && track->stated && track->common && track->terms && track->fitted_terms &&
                track->coefficient && track->factor && track->x && track->scratch && track->residual && track->own &&
                track->weight && track->count && track->others && track->spread && track->next && track->own_dof && track->dof &&
                track->sums;
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

/* Covariance of a member's own deviation in a run. A floor keeps the inverse finite where a run states next to nothing. */
struct tt_sym2 tt_track_own_cov(const struct tt_track *t, size_t run, size_t member)
{
    struct tt_sym2 own = t->stated[run * t->members + member];

    if (t->members > 1) {
        own = tt_sym2_not_negative(tt_sym2_plus(own, t->common[run], -1));
    }
    own = tt_sym2_plus(own, t->own[member], 1);
    own.xx += FLOOR_SHARE * own.xx + FLOOR;
    own.yy += FLOOR_SHARE * own.yy + FLOOR;
    if (t->axes == 1) {
        own.xy = 0;
        own.yy = 1; /* anything: nothing is ever there */
    }
    return own;
}

struct tt_sym2 tt_track_shared_cov(const struct tt_track *t, size_t run)
{
    return t->members > 1 ? tt_sym2_plus(t->common[run], t->shared, 1) : (struct tt_sym2){0, 0, 0};
}

/* Where the suffix sums lie: weights by power (0, 1, 2), row and column member (the last one: all alike), then residuals. */
size_t tt_track_column(const struct tt_track *t, size_t member)
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
            sum = tt_sym2_plus(sum, t->weight[run * t->members + k], 1);
        }
    }
    struct tt_sym2 q = tt_sym2_shared_part(tt_track_shared_cov(t, run), sum);
    for (size_t a = 0; a < t->members; a++) {
        if (!t->there[run * t->members + a]) {
            continue;
        }
        w[0] = t->weight[run * t->members + a];
        struct tt_mat2 wq = tt_sym2_product(w[0], q);
        for (size_t b = 0; b < t->members; b++) {
            if (!t->there[run * t->members + b]) {
                continue;
            }
            w[1] = t->weight[run * t->members + b];
            struct tt_mat2 part = tt_mat2_product(wq, w[1]);
            struct tt_mat2 block = {-part.xx, -part.xy, -part.yx, -part.yy};
            if (a == b) {
                block = (struct tt_mat2){w[0].xx - part.xx, w[0].xy - part.xy, w[0].xy - part.yx, w[0].yy - part.yy};
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
            struct tt_pair v = tt_sym2_times(w, values[run * t->members + k]);
            sum = tt_sym2_plus(sum, w, 1);
            weighted.x += v.x;
            weighted.y += v.y;
        }
    }
    struct tt_pair back = tt_sym2_times(tt_sym2_shared_part(tt_track_shared_cov(t, run), sum), weighted);
    for (size_t k = 0; k < t->members; k++) {
        if (!t->there[run * t->members + k]) {
            continue;
        }
        struct tt_pair v = values[run * t->members + k];
        v = tt_sym2_times(t->weight[run * t->members + k], (struct tt_pair){v.x - back.x, v.y - back.y});
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
                t->weight[run * t->members + k] = tt_sym2_inverse(tt_track_own_cov(t, run, k));
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

struct tt_mat2 tt_track_product(const struct tt_track *t, const struct tt_term *a, const struct tt_term *b)
{
    struct tt_mat2 sum = {0, 0, 0, 0};

    for (size_t i = 0; i < a->n_pieces; i++) {
        for (size_t j = 0; j < b->n_pieces; j++) {
            const struct tt_piece *p = &a->piece[i], *q = &b->piece[j];
            size_t from = p->from > q->from ? p->from : q->from;
            const double *w = weight_sum(t, from < t->n ? from : t->n, p->power + q->power, tt_track_column(t, a->member),
                                         tt_track_column(t, b->member));
            double sign = p->sign * q->sign;
            sum = (struct tt_mat2){sum.xx + sign * w[0], sum.xy + sign * w[1], sum.yx + sign * w[2], sum.yy + sign * w[3]};
        }
    }
    return sum;
}

struct tt_pair tt_track_residual(const struct tt_track *t, const struct tt_term *a)
{
    struct tt_pair sum = {0, 0};

    for (size_t i = 0; i < a->n_pieces; i++) {
        const struct tt_piece *p = &a->piece[i];
        const double *v = residual_sum(t, p->from < t->n ? p->from : t->n, p->power, tt_track_column(t, a->member));
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
            struct tt_mat2 block = tt_track_product(t, &t->terms[a], &t->terms[b]);
            const struct tt_sym2 *prior = &t->terms[a].prior;
            if (a == b && prior->xx > 0 && prior->yy > 0) {
                struct tt_sym2 known = tt_sym2_inverse(*prior);
                block = (struct tt_mat2){block.xx + known.xx, block.xy + known.xy, block.yx + known.xy, block.yy + known.yy};
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
            } else if (sum > TT_TRACK_SINGULAR * whole) {
                l[i * size + i] = sqrt(sum);
            } else {
                t->singular = true;
            }
        }
    }
}

/* x = L^-1 x */
void tt_track_solve_lower(const struct tt_track *t, double *x)
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
void tt_track_solve_upper(const struct tt_track *t, double *x)
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
        struct tt_pair rhs = tt_track_residual(t, &t->terms[a]);
        t->x[2 * a] = rhs.x;
        t->x[2 * a + 1] = rhs.y;
    }
    tt_track_solve_lower(t, t->x);
    tt_track_solve_upper(t, t->x);
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

void tt_track_fit(struct tt_track *track)
{
    memcpy(track->fitted_terms, track->terms, track->n_terms * sizeof *track->terms);
    track->n_fitted = track->n_terms;
    memset(track->own, 0, track->members * sizeof *track->own);
    track->shared = (struct tt_sym2){0, 0, 0};
    track->prior_dof = 0;
    count_dof(track);
    memcpy(track->own_dof, track->dof, track->members * sizeof *track->own_dof);
    for (int turn = 0; turn < TURNS; turn++) {
        sum_weights(track);
        factor_normal(track);
        if (track->singular) {
            return;
        }
        solve_terms(track);
        if (turn + 1 < TURNS) {
            tt_track_scatter(track);
        }
    }
    track->persistence = tt_track_persistence(track);
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
    size_t all = track->members + 1, column = tt_track_column(track, member);

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
