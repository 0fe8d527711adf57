/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the order of a board's parts in its file shows: from a part on all lie elsewhere, or they
 * lie further and further off. Board, camera or device moved while parts were placed or measured;
 * no term of the model is that, and any of them takes a part of it.
 *
 * About a fit that holds every part (P. J. Huber, Ann. Math. Stat. 35 (1964) 73-101) each shift z
 * along the order is scored: s = z^T W r, H = z^T W z - (A^T W z)^T C (A^T W z), largest s^T H^-1 s
 * first. The parts less that shift are fitted as the board was, and their likelihood is compared
 * with the board's, with Occam's factor of a shift of unknown size (as in adjust/modes.h). And the
 * shift is weighed as one more term beside all others (terms.h).
 * Cost: parts times squared unknowns. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/cholesky.h"
#include "placement/work.h"

/* Huber's constant, in standard deviations of an axis: 95 % efficient for normal parts. */
#define HUBER 1.345
#define HUBER_ROUNDS 12
/* Newton steps of the shift, each on the parts less what is known of it. */
#define SHIFT_ROUNDS 4
/* Odds beforehand that something moved, and that it crept. */
#define ODDS_ORDER 0.15
/* The same beside all terms: two of the grid off together (board_terms.c), which look like a move
 * where rows follow places, are as likely. */
#define ODDS_BESIDE 0.0036
/* Size of a shift beforehand, in repeatabilities: of the largest terms (terms.c). */
#define SIZE 8.0
/* What the parts tell of a move, beside all terms, is worth so many parts at least (four on either
 * side, three at an end): slipped ones are as likely as a step that fewer show, at a file's end or
 * at a tip's. */
#define LEAST_WORTH 2.0
/* A turn has this size at most, radians: it keeps one that hardly any part tells from growing. */
#define MOST_TURN 0.01

/* A move: along x, along y, and a turn about the parts' middle. */
#define MOVE 3

/* A move along the order: its share z of the parts before @from is 0 and 1 from there on; with
 * @creeps it grows from -1/2 to 1/2 over all parts. */
struct shift {
    bool creeps;
    size_t from;
    double s[MOVE], h[MOVE * MOVE]; /* as told above; h by rows */
    double step[MOVE];              /* H^-1 s */
    double gain;                    /* s^T H^-1 s / 2 */
};

struct order {
    struct tt_board_design design;
    struct tt_board_fit fit;
    double *worth;   /* parts that a step from each part on is worth */
    double *c[MOVE]; /* A^T W z of a move */
};

static double z_of(const struct order *o, const struct shift *shift, size_t part)
{
    return shift->creeps ? (double)part / (double)(o->design.n - 1) - 0.5
                         : (double)(part >= shift->from);
}

/* By what a move of 1 takes a part along x and along y. */
static void move_columns(const struct tt_part_row *row, double x[MOVE], double y[MOVE])
{
    const double of_x[MOVE] = {1.0, 0.0, -row->along_y_mm},
                 of_y[MOVE] = {0.0, 1.0, row->along_x_mm};
    memcpy(x, of_x, sizeof(of_x));
    memcpy(y, of_y, sizeof(of_y));
}

/* The fit that holds every part, from where it stands. */
static bool hold_all(struct order *o)
{
    struct tt_board_design *design = &o->design;
    bool solved = true;
    for (int round = 0; round < HUBER_ROUNDS && solved; round++) {
        for (size_t i = 0; i < design->n; i++) {
            double x, y;
            size_t t = design->rows[i].tip;
            tt_part_residual(design, o->fit.unknowns, i, &x, &y);
            double size =
                sqrt(x * x * design->precision[2 * t] + y * y * design->precision[2 * t + 1]);
            design->weight[i] = size > HUBER ? HUBER / size : 1.0;
        }
        solved = tt_board_fit_solve(&o->fit, design);
    }
    return solved;
}

/* Add part @i with the share @z to the sums of @shift. */
static void add_part(struct order *o, struct shift *shift, size_t i, double z)
{
    const struct tt_board_design *design = &o->design;
    size_t at[TT_PART_COLUMNS], t = design->rows[i].tip;
    double x[TT_PART_COLUMNS], y[TT_PART_COLUMNS], rx, ry, mx[MOVE], my[MOVE];
    double wx = design->weight[i] * design->precision[2 * t] * z,
           wy = design->weight[i] * design->precision[2 * t + 1] * z;
    tt_part_columns(design, &design->rows[i], at, x, y);
    tt_part_residual(design, o->fit.unknowns, i, &rx, &ry);
    move_columns(&design->rows[i], mx, my);
    for (size_t a = 0; a < MOVE; a++) {
        shift->s[a] += wx * mx[a] * rx + wy * my[a] * ry;
        for (size_t b = 0; b < MOVE; b++) {
            shift->h[a * MOVE + b] += z * (wx * mx[a] * mx[b] + wy * my[a] * my[b]);
        }
        for (size_t k = 0; k < TT_PART_COLUMNS; k++) {
            o->c[a][at[k]] += wx * mx[a] * x[k] + wy * my[a] * y[k];
        }
    }
}

/* H, the step and the gain, from the sums over the parts; a gain of 0: the terms take the move. */
static void finish(const struct order *o, struct shift *shift)
{
    double factor[MOVE * MOVE];
    for (size_t a = 0; a < MOVE; a++) {
        for (size_t b = 0; b < MOVE; b++) {
            shift->h[a * MOVE + b] -= tt_board_fit_form(&o->fit, o->c[a], o->c[b]);
        }
    }
    memcpy(factor, shift->h, sizeof(factor));
    factor[MOVE * MOVE - 1] += 1.0 / (MOST_TURN * MOST_TURN);
    memcpy(shift->step, shift->s, sizeof(shift->step));
    shift->gain = 0.0;
    if ((shift->creeps || o->worth[shift->from] >= LEAST_WORTH) && tt_cholesky(factor, MOVE)) {
        tt_cholesky_forward(factor, MOVE, shift->step);
        tt_cholesky_backward(factor, MOVE, shift->step);
        for (size_t a = 0; a < MOVE; a++) {
            shift->gain += 0.5 * shift->s[a] * shift->step[a];
        }
    }
}

static void forget(struct order *o)
{
    for (size_t a = 0; a < MOVE; a++) {
        memset(o->c[a], 0, o->design.n_unknowns * sizeof(*o->c[a]));
    }
}

/* The move that creeps, or the step from a part on. */
static struct shift score(struct order *o, bool creeps, size_t from)
{
    struct shift shift = {.creeps = creeps, .from = from};
    forget(o);
    for (size_t i = 0; i < o->design.n; i++) {
        double z = z_of(o, &shift, i);
        if (z != 0.0) {
            add_part(o, &shift, i, z);
        }
    }
    finish(o, &shift);
    return shift;
}

/* The step with the largest gain; what each is worth, in squares of mm^-1, into @worth if not NULL.
 */
static struct shift best_step(struct order *o, double worth[])
{
    struct shift best = {0}, sums = {0};
    forget(o);
    for (size_t k = o->design.n - 1; k > 0; k--) {
        add_part(o, &sums, k, 1.0);
        struct shift step = sums;
        step.from = k;
        finish(o, &step);
        best = step.gain > best.gain ? step : best;
        if (worth != NULL) {
            worth[k] = fmin(step.h[0], step.h[MOVE + 1]);
        }
    }
    return best;
}

/* What each move is worth where all parts are good, and repeat alike. */
static bool weigh_moves(struct order *o, const struct tt_placing *p)
{
    double dof, u = fmax(tt_placing_repeatability(p, &dof), TT_LEAST_PLACING_MM);
    for (size_t i = 0; i < o->design.n; i++) {
        o->design.weight[i] = 1.0;
    }
    for (size_t i = 0; i < 2 * o->design.n_tips; i++) {
        o->design.precision[i] = 1.0 / (u * u);
    }
    if (!tt_board_fit_solve(&o->fit, &o->design)) {
        return false;
    }
    (void)best_step(o, o->worth);
    for (size_t i = 0; i < o->design.n; i++) {
        o->worth[i] *= u * u;
    }
    return true;
}

/* Put @times a move on the parts. */
static void put_on(struct order *o, const struct shift *shift, const double by[MOVE], double times)
{
    for (size_t i = 0; i < o->design.n; i++) {
        double x[MOVE], y[MOVE], z = times * z_of(o, shift, i);
        move_columns(&o->design.rows[i], x, y);
        for (size_t a = 0; a < MOVE; a++) {
            o->design.rows[i].dx_mm += z * x[a] * by[a];
            o->design.rows[i].dy_mm += z * y[a] * by[a];
        }
    }
}

/* Newton steps of the move @first, into @move, on the parts less what is known of it; the parts are
 * left without it. */
static bool take_off(struct order *o, const struct shift *first, double move[MOVE])
{
    struct shift shift = *first;
    bool solved = true;
    memset(move, 0, MOVE * sizeof(*move));
    for (int round = 0; round < SHIFT_ROUNDS && solved && shift.gain > 0.0; round++) {
        for (size_t a = 0; a < MOVE; a++) {
            move[a] += shift.step[a];
        }
        put_on(o, first, shift.step, -1.0);
        solved = hold_all(o);
        shift = score(o, first->creeps, first->from);
    }
    return solved;
}

/* Occam's factor: half of ln det(1 + F^2 H), with F the size of a move beforehand. */
static double ln_occam(const struct order *o, const struct shift *shift, double repeatability_mm)
{
    double f = SIZE * repeatability_mm, reach_mm = fmax(o->design.reach_mm, 1.0);
    const double size[MOVE] = {f, f, f / reach_mm};
    double matrix[MOVE * MOVE];
    for (size_t a = 0; a < MOVE; a++) {
        for (size_t b = 0; b < MOVE; b++) {
            matrix[a * MOVE + b] =
                (a == b ? 1.0 : 0.0) + size[a] * size[b] * shift->h[a * MOVE + b];
        }
    }
    return tt_cholesky(matrix, MOVE) ? 0.5 * tt_cholesky_ln_det(matrix, MOVE) : HUGE_VAL;
}

/* ln of the odds that the board has @shift in it, taken off already. Its design is fitted anew. */
static enum tiptrue_status compare(struct tt_placing *p, struct order *o, const struct shift *shift,
                                   double *ln_odds)
{
    double dof, u = fmax(tt_placing_repeatability(p, &dof), TT_LEAST_PLACING_MM);
    double rows = shift->creeps ? 1.0 : (double)(o->design.n - 1);
    double occam = ln_occam(o, shift, u);
    enum tiptrue_status status = tt_board_fit_robust(&o->fit, &o->design, &p->scratch);
    *ln_odds = status != TIPTRUE_OK
                   ? -HUGE_VAL
                   : o->fit.ln_likelihood - p->fit.ln_likelihood - occam + log(ODDS_ORDER / rows);
    return status == TIPTRUE_E_MEMORY ? status : TIPTRUE_OK;
}

/* The probability of the move beside all terms, where the fewest explain the parts: those that are
 * good with the move, @by, and without. TIPTRUE_E_MEMORY is the only failure. */
static enum tiptrue_status weigh(struct tt_placing *p, struct order *o, const struct shift *shift,
                                 const double by[MOVE], double *probability)
{
    double dof, u = fmax(tt_placing_repeatability(p, &dof), TT_LEAST_PLACING_MM);
    struct shift sums = {.creeps = shift->creeps, .from = shift->from};
    struct tt_board_terms terms;
    struct tt_weighed weighed;
    for (size_t i = 0; i < 2 * o->design.n_tips; i++) {
        o->design.precision[i] = 1.0 / (u * u);
    }
    for (size_t i = 0; i < o->design.n; i++) {
        o->design.weight[i] = fmin(o->design.weight[i], p->design.weight[i]);
    }
    put_on(o, shift, by, 1.0);
    tt_sums_make(&o->fit.sums, &o->design);
    memset(o->fit.unknowns, 0, o->design.n_unknowns * sizeof(*o->fit.unknowns));
    forget(o);
    for (size_t i = 0; i < o->design.n; i++) {
        add_part(o, &sums, i, z_of(o, &sums, i));
    }
    double reach_mm = fmax(o->design.reach_mm, 1.0);
    const double unit[MOVE] = {u, u, u / reach_mm}, *const cross[MOVE] = {o->c[0], o->c[1],
                                                                          o->c[2]};
    const struct tt_more_columns more = {MOVE,
                                         cross,
                                         sums.h,
                                         sums.s,
                                         unit,
                                         {TT_TERM_MOVE, TT_NONE},
                                         ODDS_BESIDE /
                                             (shift->creeps ? 1.0 : (double)(o->design.n - 1))};
    if (!tt_board_terms_init(&terms, &o->design, &o->fit, u, &p->scratch) ||
        !tt_board_terms_append(&terms, &more, &p->scratch)) {
        return TIPTRUE_E_MEMORY;
    }
    enum tiptrue_status status = tt_terms_weigh(&terms.problem, &p->scratch, &weighed);
    *probability = status == TIPTRUE_OK ? weighed.of[terms.problem.n_candidates - 1] : 0.0;
    return status;
}

static bool order_init(struct order *o, struct tt_placing *p)
{
    size_t n = p->design.n_unknowns;
    bool good = tt_board_design_init(&o->design, p->board, &p->scratch) &&
                tt_board_fit_init(&o->fit, &o->design, &p->scratch);
    for (size_t a = 0; a < MOVE; a++) {
        o->c[a] = TT_ARENA_NEW(&p->scratch, n, double);
        good = good && o->c[a] != NULL;
    }
    o->worth = TT_ARENA_NEW(&p->scratch, p->design.n, double);
    o->fit.turn_free = p->fit.turn_free;
    return good && o->worth != NULL;
}

/* All parts held, from the board's own fit. */
static bool start(struct order *o, const struct tt_placing *p)
{
    size_t n = p->design.n_unknowns, tips = p->design.n_tips;
    memcpy(o->fit.unknowns, p->fit.unknowns, n * sizeof(*o->fit.unknowns));
    memcpy(o->design.precision, p->design.precision, 2 * tips * sizeof(*o->design.precision));
    return hold_all(o);
}

/* Try a creeping move or the best step; into p->order where it is shown, the likeliest so far. */
static enum tiptrue_status attempt(struct tt_placing *p, bool creeps)
{
    struct order o = {0};
    if (!order_init(&o, p)) {
        return TIPTRUE_E_MEMORY;
    }
    if (!weigh_moves(&o, p) || !start(&o, p)) {
        return TIPTRUE_OK;
    }
    struct shift shift = creeps ? score(&o, true, 0) : best_step(&o, NULL);
    double move[MOVE], ln_odds = -HUGE_VAL;
    if (!(shift.gain > 0.0) || !take_off(&o, &shift, move)) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = compare(p, &o, &shift, &ln_odds);
    double probability = 1.0 / (1.0 + exp(-ln_odds)), beside = 0.0;
    if (status == TIPTRUE_OK && ln_odds > -HUGE_VAL) {
        status = weigh(p, &o, &shift, move, &beside);
    }
    if (beside > probability) {
        probability = beside;
        ln_odds = log(beside) - log1p(-fmin(beside, 1.0 - 1e-15));
    }
    if (status == TIPTRUE_OK && ln_odds > p->order.ln_odds && probability >= TT_TERM_SHOWN) {
        p->order = (struct tt_order_shown){.found = true,
                                           .creeps = creeps,
                                           .line = p->board->parts[shift.from].line,
                                           .size_mm = {move[0], move[1]},
                                           .turn_rad = move[2],
                                           .ln_odds = ln_odds,
                                           .probability = probability};
    }
    return status;
}

enum tiptrue_status tt_placing_order(struct tt_placing *p)
{
    p->order = (struct tt_order_shown){.ln_odds = -HUGE_VAL};
    if (p->design.n < p->design.n_unknowns) {
        return TIPTRUE_OK; /* no likelihood to compare with */
    }
    enum tiptrue_status status = attempt(p, false);
    return status == TIPTRUE_OK ? attempt(p, true) : status;
}
