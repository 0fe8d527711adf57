/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "placement/board_terms.h"

#include <math.h>
#include <string.h>

#include "base/cholesky.h"

/* Odds beforehand that a thing is off. A board is measured where something is suspected, so that
 * about every second one has something; offsets and turnings share theirs among the tips. */
#define ODDS_COMMON 0.15
#define ODDS_OFFSETS 0.4
#define ODDS_TURNINGS 0.3
#define ODDS_GRID 0.06 /* each of the five ways */
#define ODDS_ANGLES 0.3

/* Columns: seat and turn of the board (fixed) 3, common 2, offsets and turnings 2 T each, grid 5.
 */
static size_t most_columns(const struct tt_board_design *design)
{
    return 3 + 2 + 4 * design->n_tips + 5;
}

/* Add the column that is the sum of @span's unknowns. */
static void add_column(struct tt_board_terms *terms, struct tt_unknown_span span, double unit)
{
    size_t k = terms->problem.n_columns++;
    terms->spans[k] = span;
    terms->problem.unit[k] = unit;
}

static void add_candidate(struct tt_term_problem *problem, enum tt_term_kind kind, size_t tip,
                          size_t count, double odds)
{
    problem->candidates[problem->n_candidates++] =
        (struct tt_term_candidate){{kind, tip}, problem->n_columns - count, count, log(odds)};
}

/* Where the board lies, as far as it is not known: in every explanation. */
static void add_seat(struct tt_board_terms *terms, const struct tt_board_design *design)
{
    const struct tiptrue_board *board = design->board;
    struct tt_term_problem *p = &terms->problem;
    double u2 = board->u_board_mm * board->u_board_mm + board->u_device_mm * board->u_device_mm;
    p->origin_free = board->own_frame && !board->has_u_board;
    for (size_t axis = 0; (p->origin_free || u2 > 0.0) && axis < 2; axis++) {
        p->precision[p->n_columns] = p->origin_free ? 0.0 : 1.0 / u2;
        add_column(terms, (struct tt_unknown_span){axis, 2, design->n_tips}, 1.0);
    }
    if (board->own_frame && design->reach_mm > 0.0) {
        p->precision[p->n_columns] = 0.0;
        add_column(terms, (struct tt_unknown_span){tt_at_grid(design) + TT_GRID_TURN, 1, 1}, 1.0);
    }
    p->n_fixed = p->n_columns;
}

static void add_tips(struct tt_board_terms *terms, const struct tt_board_design *design,
                     double u_mm)
{
    struct tt_term_problem *p = &terms->problem;
    size_t tips = design->n_tips;
    if (tips > 1 && !p->origin_free) {
        add_column(terms, (struct tt_unknown_span){0, 2, tips}, u_mm);
        add_column(terms, (struct tt_unknown_span){1, 2, tips}, u_mm);
        add_candidate(p, TT_TERM_COMMON, TT_NONE, 2, ODDS_COMMON);
    }
    for (size_t t = 0; t < tips && !(tips == 1 && p->origin_free); t++) {
        add_column(terms, (struct tt_unknown_span){tt_at_offset(design, t), 1, 1}, u_mm);
        add_column(terms, (struct tt_unknown_span){tt_at_offset(design, t) + 1, 1, 1}, u_mm);
        add_candidate(p, TT_TERM_OFFSET, t, 2, ODDS_OFFSETS / (double)tips);
    }
    for (size_t t = 0; t < tips; t++) {
        add_column(terms, (struct tt_unknown_span){tt_at_turning(design, t), 1, 1}, u_mm);
        add_column(terms, (struct tt_unknown_span){tt_at_turning(design, t) + 1, 1, 1}, u_mm);
        add_candidate(p, TT_TERM_TURNING, t, 2, ODDS_TURNINGS / (double)tips);
    }
}

static void add_grid(struct tt_board_terms *terms, const struct tt_board_design *design,
                     double u_mm)
{
    size_t grid = tt_at_grid(design);
    const struct {
        enum tt_term_kind kind;
        struct tt_unknown_span span;
    } ways[] = {{TT_TERM_SCALE, {grid, 1, 2}},
                {TT_TERM_SCALE_X, {grid + TT_GRID_SCALE_X, 1, 1}},
                {TT_TERM_SCALE_Y, {grid + TT_GRID_SCALE_Y, 1, 1}},
                {TT_TERM_SHEAR, {grid + TT_GRID_SHEAR, 1, 1}},
                {TT_TERM_TURN, {grid + TT_GRID_TURN, 1, 1}}};
    for (size_t i = 0; design->reach_mm > 0.0 && i < sizeof(ways) / sizeof(ways[0]); i++) {
        if (!(ways[i].kind == TT_TERM_TURN && design->board->own_frame)) {
            add_column(terms, ways[i].span, u_mm / design->reach_mm);
            add_candidate(&terms->problem, ways[i].kind, TT_NONE, 1, ODDS_GRID);
        }
    }
}

/* Sums of the columns from those of the unknowns. */
static void sum_columns(struct tt_board_terms *terms, const struct tt_sums *sums)
{
    struct tt_term_problem *p = &terms->problem;
    for (size_t i = 0; i < p->n_columns; i++) {
        struct tt_unknown_span a = terms->spans[i];
        for (size_t k = 0; k < a.count; k++) {
            p->right[i] += sums->right[a.first + k * a.stride];
        }
        for (size_t j = 0; j < p->n_columns; j++) {
            struct tt_unknown_span b = terms->spans[j];
            for (size_t k = 0; k < a.count * b.count; k++) {
                p->gram[i * p->n_columns + j] +=
                    sums->normal[(a.first + k / b.count * a.stride) * sums->n_unknowns + b.first +
                                 k % b.count * b.stride];
            }
        }
    }
    p->square = sums->square;
    p->n = 2.0 * sums->weight;
}

/* Arrays for @most columns. */
static bool make_room(struct tt_term_problem *problem, size_t most, struct tt_arena *arena)
{
    problem->gram = TT_ARENA_NEW(arena, most * most, double);
    problem->right = TT_ARENA_NEW(arena, most, double);
    problem->unit = TT_ARENA_NEW(arena, most, double);
    problem->precision = TT_ARENA_NEW(arena, most, double);
    return problem->gram != NULL && problem->right != NULL && problem->unit != NULL &&
           problem->precision != NULL;
}

bool tt_board_terms_init(struct tt_board_terms *terms, const struct tt_board_design *design,
                         const struct tt_board_fit *fit, double repeatability_mm,
                         struct tt_arena *arena)
{
    *terms = (struct tt_board_terms){.problem = {.n_tips = design->n_tips}};
    terms->spans = TT_ARENA_NEW(arena, most_columns(design), struct tt_unknown_span);
    if (terms->spans == NULL || !make_room(&terms->problem, most_columns(design), arena)) {
        return false;
    }
    add_seat(terms, design);
    add_tips(terms, design, repeatability_mm);
    add_grid(terms, design, repeatability_mm);
    sum_columns(terms, &fit->sums);
    return true;
}

bool tt_board_terms_append(struct tt_board_terms *terms, const struct tt_more_columns *more,
                           struct tt_arena *arena)
{
    struct tt_term_problem old = terms->problem, *p = &terms->problem;
    size_t n = old.n_columns, all = n + more->count;
    if (!make_room(p, all, arena)) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        struct tt_unknown_span span = terms->spans[i];
        memcpy(p->gram + i * all, old.gram + i * n, n * sizeof(*p->gram));
        p->right[i] = old.right[i];
        p->unit[i] = old.unit[i];
        p->precision[i] = old.precision[i];
        for (size_t a = 0; a < more->count; a++) {
            double sum = 0.0;
            for (size_t k = 0; k < span.count; k++) {
                sum += more->cross[a][span.first + k * span.stride];
            }
            p->gram[i * all + n + a] = p->gram[(n + a) * all + i] = sum;
        }
    }
    for (size_t a = 0; a < more->count; a++) {
        memcpy(p->gram + (n + a) * all + n, more->gram + a * more->count,
               more->count * sizeof(*p->gram));
        p->right[n + a] = more->right[a];
        p->unit[n + a] = more->unit[a];
    }
    p->n_columns = all;
    add_candidate(p, more->term.kind, more->term.tip, more->count, more->odds);
    return true;
}

bool tt_board_terms_solve(const struct tt_term_problem *problem, const size_t columns[],
                          const double precision[], size_t n, double values[], double covariance[])
{
    double *factor = covariance + n * n; /* the caller's room is twice n squared */
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            factor[i * n + j] = problem->gram[columns[i] * problem->n_columns + columns[j]];
        }
        factor[i * n + i] += precision[i];
        values[i] = problem->right[columns[i]];
    }
    if (!tt_cholesky(factor, n)) {
        return false;
    }
    tt_cholesky_forward(factor, n, values);
    tt_cholesky_backward(factor, n, values);
    tt_cholesky_invert(factor, n, covariance);
    return true;
}

size_t tt_candidate_find(const struct tt_term_problem *problem, enum tt_term_kind kind, size_t tip)
{
    for (size_t k = 0; k < problem->n_candidates; k++) {
        if (problem->candidates[k].term.kind == kind && problem->candidates[k].term.tip == tip) {
            return k;
        }
    }
    return TT_NONE;
}

bool tt_angle_terms_init(struct tt_term_problem *problem, const struct tt_angle_sums *sums,
                         struct tt_arena *arena)
{
    size_t n_tips = sums->n_tips;
    size_t m = n_tips > 1 ? n_tips + 1 : n_tips; /* the last one: all tips */
    double w = 1.0 / (sums->u_rad * sums->u_rad);
    *problem =
        (struct tt_term_problem){.n_columns = m, .square = w * sums->square, .n_tips = n_tips};
    if (!make_room(problem, m, arena)) {
        return false;
    }
    for (size_t t = 0; t < n_tips; t++) {
        problem->gram[t * m + t] = w * sums->n_of[t];
        problem->right[t] = w * sums->sum[t];
        problem->n += sums->n_of[t];
        problem->unit[t] = sums->u_rad;
        if (m > n_tips) {
            problem->gram[t * m + n_tips] = problem->gram[n_tips * m + t] = w * sums->n_of[t];
            problem->gram[n_tips * m + n_tips] += w * sums->n_of[t];
            problem->right[n_tips] += w * sums->sum[t];
            problem->unit[n_tips] = sums->u_rad;
        }
        if (sums->n_of[t] > 0.0) {
            problem->candidates[problem->n_candidates++] = (struct tt_term_candidate){
                {TT_TERM_ANGLE, t}, t, 1, log(ODDS_ANGLES / (double)n_tips)};
        }
    }
    if (m > n_tips) {
        problem->candidates[problem->n_candidates++] = (struct tt_term_candidate){
            {TT_TERM_ANGLE_COMMON, TT_NONE}, n_tips, 1, log(ODDS_ANGLES / (double)n_tips)};
    }
    return true;
}
