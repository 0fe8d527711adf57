/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From the fit and the weighed explanations to the numbers of a result. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/distribution.h"
#include "placement/work.h"

/* An explanation with less of the likeliest one's share is not listed; so many at most are. */
#define LEAST_LISTED 0.01
#define MOST_LISTED 8
/* A tip's offset is told apart from its turning while its uncertainty is at most this many times
 * that of the mean of its parts: with rotations spread evenly it is once. */
#define APART 3.0

double tt_placing_repeatability(const struct tt_placing *p, double *dof)
{
    double squares[2], parts;
    tt_board_fit_squares(&p->fit, &p->design, TT_NONE, squares, &parts);
    *dof = p->fit.dof;
    return p->fit.dof > 0.0 ? sqrt((squares[0] + squares[1]) / p->fit.dof) : 0.0;
}

double tt_placed_factor(double dof)
{
    return tt_student_quantile(0.5 + 0.5 * TT_PLACED_COVERAGE, dof);
}

/* Covariance of two sums of unknowns. */
static double cov(const struct tt_board_fit *fit, const double a[], const double b[])
{
    return fit->variance * tt_board_fit_form(fit, a, b);
}

static double dot(const struct tt_board_fit *fit, const double a[])
{
    double sum = 0.0;
    for (size_t i = 0; i < fit->sums.n_unknowns; i++) {
        sum += a[i] * fit->unknowns[i];
    }
    return sum;
}

/* The offset of @tip on @axis as a sum of unknowns: itself, or less the mean of all. */
static void offset_row(const struct tt_placing *p, size_t tip, size_t axis, double row[])
{
    size_t tips = p->design.n_tips;
    memset(row, 0, p->design.n_unknowns * sizeof(*row));
    for (size_t t = 0; p->result->relative && t < tips; t++) {
        row[tt_at_offset(&p->design, t) + axis] = -1.0 / (double)tips;
    }
    row[tt_at_offset(&p->design, tip) + axis] += 1.0;
}

static double of_candidate(const struct tt_placing *p, enum tt_term_kind kind, size_t tip)
{
    size_t k = tt_candidate_find(&p->terms.problem, kind, tip);
    return k != TT_NONE ? p->weighed.of[k] : 0.0;
}

/* What is not known of where board and device are, for an offset by itself. */
static double seat_variance(const struct tt_placing *p)
{
    const struct tiptrue_board *board = p->board;
    return p->result->relative
               ? 0.0
               : board->u_board_mm * board->u_board_mm + board->u_device_mm * board->u_device_mm;
}

static void fill_offset(const struct tt_placing *p, size_t t, struct tt_placed_tip *tip,
                        double rows[2][4 * TT_MOST_BOARD_TIPS + TT_GRID_COLUMNS])
{
    double seat = seat_variance(p), k = tt_placed_factor(tip->dof);
    offset_row(p, t, 0, rows[0]);
    offset_row(p, t, 1, rows[1]);
    tip->offset_mm = (struct tt_pair){dot(&p->fit, rows[0]), dot(&p->fit, rows[1])};
    tip->u_offset_mm = (struct tt_pair){sqrt(cov(&p->fit, rows[0], rows[0]) + seat),
                                        sqrt(cov(&p->fit, rows[1], rows[1]) + seat)};
    tip->offset_cov_mm2 = cov(&p->fit, rows[0], rows[1]);
    tip->expanded_offset_mm = (struct tt_pair){k * tip->u_offset_mm.x, k * tip->u_offset_mm.y};
    tip->p_offset = of_candidate(p, TT_TERM_OFFSET, t);
}

static void fill_tip(struct tt_placing *p, size_t t, struct tt_placed_tip *tip)
{
    double rows[2][4 * TT_MOST_BOARD_TIPS + TT_GRID_COLUMNS], squares[2], used, all_dof;
    double all = tt_placing_repeatability(p, &all_dof);
    size_t c = tt_at_turning(&p->design, t);
    tip->name = p->result->tip_names[t];
    for (size_t i = 0; i < p->design.n; i++) {
        tip->parts += p->design.rows[i].tip == t;
    }
    tt_board_fit_squares(&p->fit, &p->design, t, squares, &used);
    tip->used = (size_t)lround(used);
    double own_dof = p->fit.sums.weight > 0.0 ? all_dof * used / p->fit.sums.weight : 0.0;
    tip->dof = fmax(p->result->by_tip ? own_dof : all_dof, 0.0);
    tip->repeatability_mm = own_dof >= 1.0 ? sqrt((squares[0] + squares[1]) / own_dof) : all;
    tip->has_offset =
        tip->used > 0 && !(p->design.n_tips == 1 && p->board->own_frame && !p->board->has_u_board);
    fill_offset(p, t, tip, rows);
    double k = tt_placed_factor(tip->dof);
    tip->p_turning = of_candidate(p, TT_TERM_TURNING, t);
    tip->turning_shown = tip->p_turning >= TT_TERM_SHOWN;
    tip->turning_mm = (struct tt_pair){p->fit.unknowns[c], p->fit.unknowns[c + 1]};
    tip->u_turning_mm =
        (struct tt_pair){tt_board_fit_u(&p->fit, c), tt_board_fit_u(&p->fit, c + 1)};
    tip->expanded_turning_mm = (struct tt_pair){k * tip->u_turning_mm.x, k * tip->u_turning_mm.y};
    double least = fmax(tip->repeatability_mm, all) / sqrt(fmax(used, 1.0));
    size_t o = tt_at_offset(&p->design, t);
    tip->offset_apart =
        fmax(tt_board_fit_u(&p->fit, o), tt_board_fit_u(&p->fit, o + 1)) <= APART * least;
}

static void fill_angle(const struct tt_placing *p, size_t t, struct tt_placed_tip *tip)
{
    const struct tt_angles *a = &p->angles;
    size_t own = tt_candidate_find(&a->problem, TT_TERM_ANGLE, t);
    size_t common = tt_candidate_find(&a->problem, TT_TERM_ANGLE_COMMON, TT_NONE);
    tip->has_angle = own != TT_NONE && a->dof > 0.0;
    if (tip->has_angle) {
        uint64_t either = (uint64_t)1 << own;
        either |= common != TT_NONE ? (uint64_t)1 << common : 0;
        tip->p_angle = tt_terms_any(&a->weighed, either);
        tip->angle_shown = tip->p_angle >= TT_TERM_SHOWN;
        tip->angle_rad = p->board->clockwise ? -a->mean_rad[t] : a->mean_rad[t];
        tip->u_angle_rad = a->u_rad / sqrt(a->n_of[t]);
        tip->angle_dof = a->dof;
        tip->expanded_angle_rad = tt_placed_factor(a->dof) * tip->u_angle_rad;
    }
}

static uint64_t grid_set(const struct tt_term_problem *problem)
{
    uint64_t set = 0;
    for (size_t k = 0; k < problem->n_candidates; k++) {
        enum tt_term_kind kind = problem->candidates[k].term.kind;
        set |= kind >= TT_TERM_SCALE && kind <= TT_TERM_TURN ? (uint64_t)1 << k : 0;
    }
    return set;
}

static void fill_grid(struct tt_placing *p)
{
    const double *x = &p->fit.unknowns[tt_at_grid(&p->design)];
    size_t at = tt_at_grid(&p->design);
    double p_grid = tt_terms_any(&p->weighed, grid_set(&p->terms.problem));
    p->result->grid = (struct tt_board_grid){
        .shown = p_grid >= TT_TERM_SHOWN,
        .turn_known = !p->board->own_frame,
        .p = p_grid,
        .scale_x = x[TT_GRID_SCALE_X],
        .scale_y = x[TT_GRID_SCALE_Y],
        .shear = x[TT_GRID_SHEAR],
        .turn = x[TT_GRID_TURN],
        .u_scale_x = tt_board_fit_u(&p->fit, at + TT_GRID_SCALE_X),
        .u_scale_y = tt_board_fit_u(&p->fit, at + TT_GRID_SCALE_Y),
        .u_shear = tt_board_fit_u(&p->fit, at + TT_GRID_SHEAR),
        .u_turn = tt_board_fit_u(&p->fit, at + TT_GRID_TURN),
    };
}

/* Whether the candidate is fitted beside what all tips share: the offsets of the likeliest
 * explanation, and all that is not chosen among; *u: what is known of it beforehand, 0 = nothing.
 */
static bool beside_common(const struct tt_placing *p, size_t candidate, double *u)
{
    enum tt_term_kind kind = p->terms.problem.candidates[candidate].term.kind;
    *u = kind == TT_TERM_TURNING ? TT_PRIOR_TURNING_MM : kind > TT_TERM_SCALE ? TT_PRIOR_GRID : 0.0;
    return kind == TT_TERM_COMMON || *u > 0.0 ||
           (kind == TT_TERM_OFFSET && (p->weighed.sets[0] >> candidate & 1) != 0);
}

/* What all tips share, where it is shown. */
static bool fill_common(struct tt_placing *p)
{
    const struct tt_term_problem *problem = &p->terms.problem;
    size_t k = tt_candidate_find(problem, TT_TERM_COMMON, TT_NONE), n = 0;
    size_t columns[8 + 4 * TT_MOST_BOARD_TIPS];
    double precision[8 + 4 * TT_MOST_BOARD_TIPS];
    p->result->has_common = k != TT_NONE;
    p->result->p_common = k != TT_NONE ? p->weighed.of[k] : 0.0;
    p->result->common_shown = p->result->p_common >= TT_TERM_SHOWN;
    if (!p->result->common_shown) {
        return true;
    }
    for (size_t c = 0; c < problem->n_candidates; c++) {
        const struct tt_term_candidate *candidate = &problem->candidates[c];
        double u;
        bool in = beside_common(p, c, &u);
        for (size_t j = 0; in && j < candidate->count; j++) {
            columns[n] = candidate->first + j;
            precision[n++] = u > 0.0 ? 1.0 / (u * u) : 0.0;
        }
    }
    double *values = TT_ARENA_NEW(&p->scratch, n + 2 * n * n, double);
    if (values == NULL) {
        return false;
    }
    if (!tt_board_terms_solve(problem, columns, precision, n, values, values + n)) {
        p->result->common_shown = false;
        return true;
    }
    size_t x = 0;
    while (columns[x] != problem->candidates[k].first) {
        x++;
    }
    double seat = seat_variance(p);
    p->result->common_mm = (struct tt_pair){values[x], values[x + 1]};
    p->result->u_common_mm = (struct tt_pair){sqrt(values[n + x * n + x] + seat),
                                              sqrt(values[n + (x + 1) * n + x + 1] + seat)};
    return true;
}

bool tt_placing_any_shown(const struct tt_placing *p)
{
    return p->weighed.n > 0 && tt_terms_any(&p->weighed, ~(uint64_t)0) >= TT_TERM_SHOWN;
}

/* The largest distance by which the likeliest explanation puts a part off, if something is shown.
 */
static bool fill_systematic(struct tt_placing *p)
{
    const struct tt_term_problem *problem = &p->terms.problem;
    size_t n = 0, columns[8 + 4 * TT_MOST_BOARD_TIPS], m = p->design.n_unknowns;
    double precision[8 + 4 * TT_MOST_BOARD_TIPS];
    for (; n < problem->n_fixed; n++) {
        columns[n] = n;
        precision[n] = problem->precision[n];
    }
    for (size_t c = 0; c < problem->n_candidates; c++) {
        const struct tt_term_candidate *candidate = &problem->candidates[c];
        for (size_t j = 0; (p->weighed.sets[0] >> c & 1) != 0 && j < candidate->count; j++) {
            columns[n] = candidate->first + j;
            precision[n++] = 0.0;
        }
    }
    double *values = TT_ARENA_NEW(&p->scratch, n + 2 * n * n + m, double);
    if (values == NULL) {
        return false;
    }
    double *unknowns = values + n + 2 * n * n;
    if (!tt_placing_any_shown(p) ||
        !tt_board_terms_solve(problem, columns, precision, n, values, values + n)) {
        return true;
    }
    for (size_t i = problem->n_fixed; i < n; i++) {
        struct tt_unknown_span span = p->terms.spans[columns[i]];
        for (size_t k = 0; k < span.count; k++) {
            unknowns[span.first + k * span.stride] += values[i];
        }
    }
    for (size_t i = 0; i < p->design.n; i++) {
        double x, y;
        tt_part_residual(&p->design, unknowns, i, &x, &y);
        p->result->systematic_mm =
            fmax(p->result->systematic_mm,
                 hypot(p->design.rows[i].dx_mm - x, p->design.rows[i].dy_mm - y));
    }
    return true;
}

static bool fill_explanations(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    const struct tt_term_problem *problem = &p->terms.problem;
    r->explanations = TT_ARENA_NEW(&r->arena, MOST_LISTED, struct tt_board_explanation);
    for (size_t i = 0; r->explanations != NULL && i < p->weighed.n && i < MOST_LISTED; i++) {
        struct tt_board_explanation *e = &r->explanations[i];
        struct tt_term *terms = TT_ARENA_NEW(&r->arena, problem->n_candidates, struct tt_term);
        if (terms == NULL) {
            return false;
        }
        if (p->weighed.probabilities[i] < LEAST_LISTED * p->weighed.probabilities[0]) {
            break;
        }
        for (size_t k = 0; k < problem->n_candidates; k++) {
            if ((p->weighed.sets[i] >> k & 1) != 0) {
                terms[e->n_terms++] = problem->candidates[k].term;
            }
        }
        e->terms = terms;
        e->probability = p->weighed.probabilities[i];
        r->n_explanations = i + 1;
    }
    return r->explanations != NULL;
}

static bool fill_set_aside(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    r->set_aside = TT_ARENA_NEW(&r->arena, p->design.n, size_t);
    for (size_t i = 0; r->set_aside != NULL && i < p->design.n; i++) {
        if (p->design.weight[i] == 0.0) {
            r->set_aside[r->n_set_aside++] = p->board->parts[i].line;
        }
    }
    r->parts_read = p->design.n;
    r->parts_used = p->design.n - r->n_set_aside;
    return r->set_aside != NULL;
}

/* Each part by itself. What distance alone explains is left in apart_mm, with the scatter. */
static bool fill_parts(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    const double *grid = &p->fit.unknowns[tt_at_grid(&p->design)];
    double sense = p->board->clockwise ? -1.0 : 1.0;
    struct tt_pair mean = {0};
    r->parts = TT_ARENA_NEW(&r->arena, p->design.n, struct tt_placed_part);
    for (size_t t = 0; r->relative && t < r->n_tips; t++) {
        size_t at = tt_at_offset(&p->design, t);
        mean.x += p->fit.unknowns[at] / (double)r->n_tips;
        mean.y += p->fit.unknowns[at + 1] / (double)r->n_tips;
    }
    for (size_t i = 0; r->parts != NULL && i < p->design.n; i++) {
        const struct tt_part_row *row = &p->design.rows[i];
        const struct tt_part *from = &p->board->parts[i];
        struct tt_pair rest;
        tt_part_residual(&p->design, p->fit.unknowns, i, &rest.x, &rest.y);
        rest.x += grid[TT_GRID_SCALE_X] * row->along_x_mm +
                  (grid[TT_GRID_SHEAR] - grid[TT_GRID_TURN]) * row->along_y_mm;
        rest.y += grid[TT_GRID_TURN] * row->along_x_mm + grid[TT_GRID_SCALE_Y] * row->along_y_mm;
        r->parts[i] = (struct tt_placed_part){.line = from->line,
                                              .tip = row->tip,
                                              .wanted = from->wanted,
                                              .off_mm = {row->dx_mm - mean.x, row->dy_mm - mean.y},
                                              .apart_mm = rest,
                                              .rotation_rad = from->rotation_rad,
                                              .used = p->design.weight[i] > 0.0,
                                              .has_turned = from->has_found_rotation,
                                              .turned_rad = sense * p->angles.turned_rad[i]};
    }
    return r->parts != NULL;
}

bool tt_placing_values(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    r->relative = p->board->own_frame && !p->board->has_u_board && p->design.n_tips > 1;
    r->own_frame = p->board->own_frame;
    r->clockwise = p->board->clockwise;
    r->middle = p->design.middle;
    r->repeatability_mm = tt_placing_repeatability(p, &r->repeatability_dof);
    r->has_repeatability_angle = p->angles.dof > 0.0;
    r->repeatability_rad = p->angles.u_rad;
    for (size_t t = 0; t < p->design.n_tips; t++) {
        fill_tip(p, t, &r->tips[t]);
        fill_angle(p, t, &r->tips[t]);
    }
    fill_grid(p);
    return fill_common(p) && fill_systematic(p) && fill_explanations(p) && fill_set_aside(p) &&
           fill_parts(p);
}
