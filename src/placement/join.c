/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board and a run of touches as one measurement.
 *
 * The run, plate held:  h = o + E s + noise,   s ~ N(0, U) the plate's errors, E their effects
 * The board:            y = o + b + noise,     y = offset in use + correction, b what seat and
 *                                              device have in common for all parts
 * With nothing else known of o, (o, s) given h is normal with mean (h, 0), Cov(o) = A = S + E U E^T
 * and Cov(s, o) = -U E^T. The board then updates both (conditional normal distributions: T. W.
 * Anderson, An introduction to multivariate statistical analysis, 2003, 2.5). Where b is not known,
 * differences of tips take the place of y. Cost: tips^3 + tips^2 x features.
 */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/cholesky.h"
#include "base/distribution.h"
#include "base/named.h"
#include "placement/work.h"

/* Board and touches contradict each other where chance would part them so far once in a thousand
 * boards: the threshold of the board's own tests. */
#define CONTRADICTED_P 1e-3

struct join {
    struct tt_placing *p;
    const struct tiptrue_solution *run;
    struct tt_joined *out;
    const struct tt_tip_result **touched; /* of each joined tip */
    size_t m, f, e;      /* offsets' components; features; equations of the board */
    double *effects;     /* m x f */
    double *noise;       /* S, m x m */
    double *known;       /* A, m x m */
    double *scatter;     /* of the board's offsets, m x m */
    double *apart;       /* y - h, m */
    double *factor;      /* of V, e x e; V = G (A + scatter + seat) G^T */
    double *gain;        /* V^-1 G A, e x m: column j is of component j */
    double *innovations; /* V^-1 G (y - h), e */
    double *row;         /* scratch, m + e */
};

static bool is_usable(const struct tt_tip_result *tip)
{
    return tip->offset_determined_x && tip->offset_determined_y && tip->plate_effect_x != NULL &&
           tip->plate_effect_y != NULL &&
           (tip->offset_verdict == TIPTRUE_KEEP || tip->offset_verdict == TIPTRUE_UPDATE);
}

/* The run's usable result of the board's tip @t, or NULL. */
static const struct tt_tip_result *find_touched(const struct join *j, size_t t)
{
    const struct tt_tip_result *tip = tt_solution_tip(j->run, j->p->result->tips[t].name);

    return tip != NULL && is_usable(tip) ? tip : NULL;
}

static bool find_in_use(const struct join *j, const char *name, struct tt_pair *in_use)
{
    const struct tiptrue_machine *machine = j->p->machine;
    size_t i = TT_NAMED(machine->tips, machine->n_tips, name);
    bool found = i < machine->n_tips && machine->tips[i].has_offset;

    if (found) {
        const struct tt_machine_xy offset = machine->tips[i].offset;
        *in_use = (struct tt_pair){offset.x_mm, offset.y_mm};
    }
    return found;
}

/* The tips that both have, with the offsets that they were placed with. */
static bool choose_tips(struct join *j)
{
    struct tiptrue_placement *r = j->p->result;
    j->out->tips = TT_ARENA_NEW(&r->arena, r->n_tips, struct tt_joined_tip);
    j->touched = TT_ARENA_NEW(&j->p->scratch, r->n_tips, const struct tt_tip_result *);
    if (j->out->tips == NULL || j->touched == NULL) {
        return false;
    }
    for (size_t t = 0; t < r->n_tips; t++) {
        const struct tt_tip_result *touched = find_touched(j, t);
        if (touched != NULL && r->tips[t].used > 0) {
            struct tt_joined_tip *tip = &j->out->tips[j->out->n_tips];
            *tip = (struct tt_joined_tip){.tip = t,
                                          .touched_mm = {touched->held.x_mm, touched->held.y_mm}};
            if (!find_in_use(j, r->tips[t].name, &tip->in_use_mm)) {
                tip->in_use_mm = (struct tt_pair){touched->offset.x_mm, touched->offset.y_mm};
                j->out->in_use_from_run = true;
            }
            j->touched[j->out->n_tips++] = touched;
        }
    }
    j->m = 2 * j->out->n_tips;
    j->f = j->run->n_features;
    j->e = j->out->seat_known ? j->m : j->m >= 2 ? j->m - 2 : 0;
    return true;
}

static bool make_room(struct join *j)
{
    struct tt_arena *arena = &j->p->scratch;
    size_t m = j->m, e = j->e;
    j->effects = TT_ARENA_NEW(arena, m * j->f, double);
    j->noise = TT_ARENA_NEW(arena, m * m, double);
    j->known = TT_ARENA_NEW(arena, m * m, double);
    j->scatter = TT_ARENA_NEW(arena, m * m, double);
    j->apart = TT_ARENA_NEW(arena, m, double);
    j->factor = TT_ARENA_NEW(arena, e * e, double);
    j->gain = TT_ARENA_NEW(arena, e * m, double);
    j->innovations = TT_ARENA_NEW(arena, e, double);
    j->row = TT_ARENA_NEW(arena, m + e, double);
    return j->effects != NULL && j->noise != NULL && j->known != NULL && j->scatter != NULL &&
           j->apart != NULL && j->factor != NULL && j->gain != NULL && j->innovations != NULL &&
           j->row != NULL;
}

/* Noise of the touches: of each tip its own, of all tips together sightings and yaw. */
static void set_noise(struct join *j)
{
    for (size_t a = 0; a < j->m; a++) {
        const struct tt_tip_result *tip = j->touched[a / 2];
        double own = a % 2 == 0 ? tip->same_plate_cov.xx_mm2 : tip->same_plate_cov.yy_mm2;
        double common = a % 2 == 0 ? tip->common_u_x_mm : tip->common_u_y_mm;
        for (size_t b = a % 2; b < j->m; b += 2) {
            const struct tt_tip_result *other = j->touched[b / 2];
            double shared = a % 2 == 0 ? other->common_u_x_mm : other->common_u_y_mm;
            j->noise[a * j->m + b] = a == b ? own : common * shared;
        }
    }
    for (size_t t = 0; t < j->out->n_tips; t++) {
        size_t x = 2 * t, y = x + 1;
        /* what is common is told by axis only: the rest keeps its correlation as far as it can */
        const struct tt_tip_result *tip = j->touched[t];
        double most = sqrt(fmax(tip->same_plate_cov.xx_mm2 - pow(tip->common_u_x_mm, 2), 0.0) *
                           fmax(tip->same_plate_cov.yy_mm2 - pow(tip->common_u_y_mm, 2), 0.0));
        double xy = fmax(-most, fmin(most, tip->same_plate_cov.xy_mm2));
        j->noise[x * j->m + y] = j->noise[y * j->m + x] = xy;
    }
}

static double u2_of(const struct join *j, size_t feature)
{
    double u = j->run->features[feature].u_mm;
    return u * u;
}

static void set_known(struct join *j)
{
    set_noise(j);
    for (size_t a = 0; a < j->m; a++) {
        const struct tt_tip_result *tip = j->touched[a / 2];
        for (size_t k = 0; k < j->f; k++) {
            j->effects[a * j->f + k] = a % 2 == 0 ? tip->plate_effect_x[k] : tip->plate_effect_y[k];
        }
    }
    for (size_t a = 0; a < j->m; a++) {
        for (size_t b = 0; b < j->m; b++) {
            double sum = j->noise[a * j->m + b];
            for (size_t k = 0; k < j->f; k++) {
                sum += j->effects[a * j->f + k] * u2_of(j, k) * j->effects[b * j->f + k];
            }
            j->known[a * j->m + b] = sum;
        }
    }
}

/* What the board says of the offsets, before seat and device. */
static void set_board(struct join *j)
{
    const struct tt_board_fit *fit = &j->p->fit;
    size_t n = fit->sums.n_unknowns;
    for (size_t a = 0; a < j->m; a++) {
        const struct tt_joined_tip *tip = &j->out->tips[a / 2];
        size_t at = tt_at_offset(&j->p->design, tip->tip) + a % 2;
        double in_use = a % 2 == 0 ? tip->in_use_mm.x : tip->in_use_mm.y;
        double touched = a % 2 == 0 ? tip->touched_mm.x : tip->touched_mm.y;
        j->apart[a] = in_use + fit->unknowns[at] - touched;
        for (size_t b = 0; b < j->m; b++) {
            size_t with = tt_at_offset(&j->p->design, j->out->tips[b / 2].tip) + b % 2;
            j->scatter[a * j->m + b] = fit->variance * fit->covariance[at * n + with];
        }
    }
}

/* Equation @k of the board, G: the component itself, or less that of the first tip. */
static double of_equation(const struct join *j, size_t k, const double v[], size_t stride)
{
    return j->out->seat_known ? v[k * stride] : v[(k + 2) * stride] - v[k % 2 * stride];
}

static double between(const struct join *j, const double matrix[], size_t k, size_t l)
{
    return j->out->seat_known ? matrix[k * j->m + l]
                              : of_equation(j, l, &matrix[(k + 2) * j->m], 1) -
                                    of_equation(j, l, &matrix[k % 2 * j->m], 1);
}

static double seat(const struct join *j, size_t k, size_t l)
{
    const struct tiptrue_board *b = j->p->board;
    return j->out->seat_known && k % 2 == l % 2
               ? b->u_board_mm * b->u_board_mm + b->u_device_mm * b->u_device_mm
               : 0.0;
}

/* V^-1 applied to the innovations and to G A. */
static bool solve(struct join *j)
{
    for (size_t k = 0; k < j->e; k++) {
        for (size_t l = 0; l < j->e; l++) {
            j->factor[k * j->e + l] =
                between(j, j->known, k, l) + between(j, j->scatter, k, l) + seat(j, k, l);
        }
        j->innovations[k] = of_equation(j, k, j->apart, 1);
    }
    if (!tt_cholesky(j->factor, j->e)) {
        return false;
    }
    tt_cholesky_forward(j->factor, j->e, j->innovations);
    for (size_t k = 0; k < j->e; k++) {
        j->out->t2 += j->innovations[k] * j->innovations[k];
    }
    tt_cholesky_backward(j->factor, j->e, j->innovations);
    for (size_t a = 0; a < j->m; a++) {
        double *column = j->row + j->m;
        for (size_t k = 0; k < j->e; k++) {
            column[k] = of_equation(j, k, &j->known[a], j->m);
        }
        tt_cholesky_forward(j->factor, j->e, column);
        tt_cholesky_backward(j->factor, j->e, column);
        for (size_t k = 0; k < j->e; k++) {
            j->gain[k * j->m + a] = column[k];
        }
    }
    return true;
}

/* tr[(G part G^T V^-1)^2]: what a scatter adds to 2 / (degrees of freedom of V), times its own. */
static bool share_of(struct join *j, const double part[], double *share)
{
    size_t e = j->e;
    double *q = TT_ARENA_NEW(&j->p->scratch, e * e, double), *column = j->row + j->m;
    *share = 0.0;
    for (size_t l = 0; q != NULL && l < e; l++) {
        for (size_t k = 0; k < e; k++) {
            column[k] = between(j, part, k, l);
        }
        tt_cholesky_forward(j->factor, e, column);
        tt_cholesky_backward(j->factor, e, column);
        for (size_t k = 0; k < e; k++) {
            q[k * e + l] = column[k];
        }
    }
    for (size_t k = 0; q != NULL && k < e; k++) {
        for (size_t l = 0; l < e; l++) {
            *share += q[k * e + l] * q[l * e + k];
        }
    }
    return q != NULL;
}

/* The tip that is furthest off in units of what is known of it. */
static void find_worst(struct join *j)
{
    double most = -1.0;
    for (size_t a = 0; a < j->m; a++) {
        double v = j->known[a * j->m + a] + j->scatter[a * j->m + a] + seat(j, a, a);
        double z = j->apart[a] * j->apart[a] / v;
        if (z > most) {
            most = z;
            j->out->worst = j->out->tips[a / 2].tip;
            j->out->worst_apart_mm = (struct tt_pair){j->apart[a - a % 2], j->apart[a - a % 2 + 1]};
        }
    }
}

static double dof_touches(const struct join *j)
{
    double least = HUGE_VAL;
    for (size_t t = 0; t < j->out->n_tips; t++) {
        least = fmin(least, j->touched[t]->same_plate_dof);
    }
    return least;
}

static bool test(struct join *j)
{
    double of_board, of_touches;
    if (!share_of(j, j->scatter, &of_board) || !share_of(j, j->noise, &of_touches)) {
        return false;
    }
    double lost = of_board / fmax(j->p->fit.dof, 1.0) + of_touches / dof_touches(j);
    j->out->equations = (double)j->e;
    j->out->dof = lost > 0.0 ? (double)j->e / lost : HUGE_VAL;
    j->out->p = tt_fisher_upper(j->out->t2 / j->out->equations, j->out->equations, j->out->dof);
    j->out->agrees = j->out->p >= CONTRADICTED_P;
    find_worst(j);
    return true;
}

/* @row . matrix . @row */
static double variance(const struct join *j, const double row[], const double matrix[])
{
    double sum = 0.0;
    for (size_t a = 0; a < j->m; a++) {
        for (size_t b = 0; b < j->m; b++) {
            sum += row[a] * matrix[a * j->m + b] * row[b];
        }
    }
    return sum;
}

/* What remains of the covariance of components @a and @b. */
static double left(const struct join *j, size_t a, size_t b)
{
    double sum = j->known[a * j->m + b];
    for (size_t k = 0; k < j->e; k++) {
        sum -= of_equation(j, k, &j->known[a], j->m) * j->gain[k * j->m + b];
    }
    return sum;
}

/* Degrees of freedom of component @a by Welch and Satterthwaite (JCGM 100:2008 G.4.1): the weight
 * that the board has in it carries the board's scatter, the rest that of the touches. */
static double dof_of(struct join *j, size_t a, double u2)
{
    double *weight = j->row;
    memset(weight, 0, j->m * sizeof(*weight));
    for (size_t k = 0; k < j->e; k++) {
        weight[j->out->seat_known ? k : k + 2] += j->gain[k * j->m + a];
        weight[k % 2] -= j->out->seat_known ? 0.0 : j->gain[k * j->m + a];
    }
    double board = variance(j, weight, j->scatter);
    for (size_t b = 0; b < j->m; b++) {
        weight[b] = (a == b ? 1.0 : 0.0) - weight[b];
    }
    double touches = variance(j, weight, j->noise);
    double lost = board * board / fmax(j->p->fit.dof, 1.0) +
                  touches * touches / j->touched[a / 2]->same_plate_dof;
    return lost > 0.0 ? u2 * u2 / lost : HUGE_VAL;
}

/* Component @a of its tip, by the touches alone and by both. */
static void fill_component(struct join *j, size_t a)
{
    struct tt_joined_tip *tip = &j->out->tips[a / 2];
    bool is_x = a % 2 == 0;
    double own = j->noise[a * j->m + a], all = j->known[a * j->m + a], u2 = left(j, a, a);
    double dof_touched = all * all * j->touched[a / 2]->same_plate_dof / (own * own);
    double dof = dof_of(j, a, u2), value = is_x ? tip->touched_mm.x : tip->touched_mm.y;
    for (size_t k = 0; k < j->e; k++) {
        value += of_equation(j, k, &j->known[a], j->m) * j->innovations[k];
    }
    *(is_x ? &tip->u_touched_mm.x : &tip->u_touched_mm.y) = sqrt(all);
    *(is_x ? &tip->expanded_touched_mm.x : &tip->expanded_touched_mm.y) =
        tt_placed_factor(dof_touched) * sqrt(all);
    *(is_x ? &tip->offset_mm.x : &tip->offset_mm.y) = value;
    *(is_x ? &tip->u_mm.x : &tip->u_mm.y) = sqrt(u2);
    *(is_x ? &tip->expanded_mm.x : &tip->expanded_mm.y) = tt_placed_factor(dof) * sqrt(u2);
    tip->dof = is_x ? dof : fmin(tip->dof, dof);
    tip->dof_touched = is_x ? dof_touched : fmin(tip->dof_touched, dof_touched);
    tip->cov_mm2 = left(j, a - a % 2, a - a % 2 + 1);
}

/* The shift of a feature of the plate, and what remains of its variance. */
static void shift_of(struct join *j, size_t feature, double *shift, double *u)
{
    double *with = j->row, *weighed = j->row + j->m, sum = 0.0; /* G Cov(o, s), V^-1 of it */
    double gone = 0.0;
    for (size_t a = 0; a < j->m; a++) {
        with[a] = -j->effects[a * j->f + feature] * u2_of(j, feature);
    }
    for (size_t k = 0; k < j->e; k++) {
        weighed[k] = of_equation(j, k, with, 1);
        sum += weighed[k] * j->innovations[k];
    }
    tt_cholesky_forward(j->factor, j->e, weighed);
    for (size_t k = 0; k < j->e; k++) {
        gone += weighed[k] * weighed[k];
    }
    *shift = sum;
    *u = sqrt(fmax(u2_of(j, feature) - gone, 0.0));
}

static bool fill_groups(struct join *j)
{
    j->out->groups = TT_ARENA_NEW(&j->p->result->arena, j->f, struct tt_joined_group);
    for (size_t k = 0; j->out->groups != NULL && k < j->f; k++) {
        const struct tt_plate_feature *feature = &j->run->features[k];
        if (feature->kind == TT_FEATURE_GROUP) {
            size_t i = TT_NAMED(j->out->groups, j->out->n_groups, feature->name);
            struct tt_joined_group *group = &j->out->groups[i];
            if (i == j->out->n_groups) {
                j->out->n_groups++;
                *group = (struct tt_joined_group){
                    .name = tt_arena_copy(&j->p->result->arena, feature->name),
                    .u_stated_mm = feature->u_mm};
            }
            if (group->name == NULL) {
                return false;
            }
            bool is_x = feature->axis == 'x';
            shift_of(j, k, is_x ? &group->shift_mm.x : &group->shift_mm.y,
                     is_x ? &group->u_mm.x : &group->u_mm.y);
        }
    }
    return j->out->groups != NULL;
}

static bool describe(struct join *j)
{
    const struct tiptrue_solution *run = j->run;
    struct tt_joined *out = j->out;
    out->run = tt_arena_copy(&j->p->result->arena, run->run_id);
    out->plate = tt_arena_copy(&j->p->result->arena, run->plate);
    out->serial = tt_arena_copy(&j->p->result->arena, run->plate_serial);
    out->started = tt_arena_copy(&j->p->result->arena, run->started);
    return out->run != NULL && (run->plate == NULL || out->plate != NULL) &&
           (run->plate_serial == NULL || out->serial != NULL) &&
           (run->started == NULL || out->started != NULL);
}

bool tt_placing_join(struct tt_placing *p)
{
    const struct tiptrue_board *board = p->board;
    struct join j = {.p = p, .run = p->run};
    if (p->run == NULL) {
        return true;
    }
    j.out = p->result->joined = TT_ARENA_NEW(&p->result->arena, 1, struct tt_joined);
    if (j.out == NULL) {
        return false;
    }
    j.out->seat_known = board->has_u_board && board->has_u_device;
    if (!describe(&j) || !choose_tips(&j) || !make_room(&j)) {
        return false;
    }
    j.out->agrees = true;
    set_known(&j);
    set_board(&j);
    if (j.e > 0 && !solve(&j)) {
        j.e = 0; /* the board says nothing that could be added */
    }
    if (j.e > 0 && !test(&j)) {
        return false;
    }
    for (size_t a = 0; a < j.m && j.out->agrees; a++) {
        fill_component(&j, a);
    }
    return !j.out->agrees || fill_groups(&j);
}
