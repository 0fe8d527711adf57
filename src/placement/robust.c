/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which parts slipped: each is of a good board, normal about the model with one repeatability, or
 * slipped, anywhere between one and a thousand repeatabilities away, every power of ten alike. That
 * has no scale of its own to be stated wrongly. A part may slip in place, in rotation, or in both.
 *
 * The start knows only the tips' medians, so that everything else is first taken for scatter; as
 * the terms are fitted the repeatability shrinks, and what stays far away shows.
 */
#include "config.h"

#include "base/order.h"
#include "placement/board_fit.h"

#include <math.h>
#include <stdlib.h>

#include "geometry/pose.h"
#include "placement/board_design.h"

/* ln of how many repeatabilities away a slipped part may be (1000). It enters by its logarithm: the
 * limit at which a part is left out, some four repeatabilities, hardly depends on it. */
#define LN_FARTHEST 6.907755278982137
/* Slipped parts before any is seen: one in twenty, with the weight of ten parts. */
#define SLIPPED_BEFORE 0.5
#define PARTS_BEFORE 10.0
/* A tip's own repeatability starts from that of all, with the weight of this many degrees of
 * freedom. */
#define SHARED_DOF 20.0
/* The probabilities move by less than this on average when nothing will change any more. */
#define SETTLED 1e-5
#define MOST_ROUNDS 80
/* A narrow start's end is taken where it is likelier by this, in ln: of less, parts in the good
 * ones' tails would be taken for slipped. */
#define CLEARLY_LN 3.0

struct mixture {
    struct tt_board_fit *fit;
    struct tt_board_design *design;
    double *slipped;    /* probability, of each part */
    double *turned_rad; /* found - wanted rotation; 0 without */
    double *centre_rad; /* of each tip's rotations */
    double *scratch;
    double share;     /* of slipped parts */
    double angle_rad; /* repeatability of the rotation, 0: none was found */
};

double tt_placing_median(double values[], size_t n)
{
    qsort(values, n, sizeof(*values), tt_by_value);
    return n == 0 ? 0.0 : n % 2 == 1 ? values[n / 2] : 0.5 * (values[n / 2 - 1] + values[n / 2]);
}

/* What @middle makes of a tip's parts, as @pick reads them. */
static double middle_of(struct mixture *m, size_t tip,
                        double (*pick)(const struct mixture *, size_t),
                        double (*middle)(double[], size_t))
{
    size_t n = 0;
    for (size_t i = 0; i < m->design->n; i++) {
        if (tip == TT_NONE || m->design->rows[i].tip == tip) {
            m->scratch[n++] = pick(m, i);
        }
    }
    return middle(m->scratch, n);
}

static double pick_x(const struct mixture *m, size_t i)
{
    return m->design->rows[i].dx_mm;
}

static double pick_y(const struct mixture *m, size_t i)
{
    return m->design->rows[i].dy_mm;
}

static double pick_turned(const struct mixture *m, size_t i)
{
    return tt_angle_wrap(m->turned_rad[i] - m->centre_rad[m->design->rows[i].tip]);
}

static double squared(const struct mixture *m, size_t i)
{
    double x, y;
    tt_part_residual(m->design, m->fit->unknowns, i, &x, &y);
    return x * x + y * y;
}

static double turned(const struct mixture *m, size_t i)
{
    return fabs(pick_turned(m, i));
}

/* Where a climb starts. */
enum start {
    WIDE,   /* the tips' medians, and what the parts scatter about them */
    NARROW, /* the middles of the tips' shortest halves, and little scatter: where many parts
               slipped one way, the others */
    STARTS
};
/* Of the scatter about the medians, in a narrow start. */
#define NARROWER 9.0

/* The middle of the shortest interval that holds half of the values (P. J. Rousseeuw, A. M. Leroy,
 * Robust Regression and Outlier Detection, 1987, ch. 4). */
static double shortest_half(double values[], size_t n)
{
    size_t half = n / 2 + 1, best = 0;
    qsort(values, n, sizeof(*values), tt_by_value);
    for (size_t i = 1; i + half <= n; i++) {
        best = values[i + half - 1] - values[i] < values[best + half - 1] - values[best] ? i : best;
    }
    return n == 0 ? 0.0 : n == 1 ? values[0] : 0.5 * (values[best] + values[best + half - 1]);
}

/* Of chi squared with 2 degrees of freedom the median is ln 4, of a normal deviate's size 0.6745.
 */
static void begin(struct mixture *m, enum start from)
{
    double (*middle)(double[], size_t) = from == WIDE ? tt_placing_median : shortest_half;
    struct tt_board_design *design = m->design;
    for (size_t i = 0; i < design->n_unknowns; i++) {
        m->fit->unknowns[i] = 0.0;
    }
    for (size_t t = 0; t < design->n_tips; t++) {
        m->fit->unknowns[tt_at_offset(design, t)] = middle_of(m, t, pick_x, middle);
        m->fit->unknowns[tt_at_offset(design, t) + 1] = middle_of(m, t, pick_y, middle);
        for (size_t i = 0; i < design->n; i++) {
            m->scratch[i] = design->rows[i].tip == t ? 1.0 : 0.0;
        }
        m->centre_rad[t] = tt_angle_mean(m->turned_rad, m->scratch, design->n);
        m->centre_rad[t] += middle_of(m, t, pick_turned, tt_placing_median);
    }
    double variance = middle_of(m, TT_NONE, squared, tt_placing_median) / log(4.0);
    variance /= from == WIDE ? 1.0 : NARROWER;
    for (size_t i = 0; i < 2 * design->n_tips; i++) {
        design->precision[i] = variance > 0.0 ? 1.0 / variance : 1e12;
    }
    m->angle_rad = middle_of(m, TT_NONE, turned, tt_placing_median) / 0.6745;
    m->share = SLIPPED_BEFORE / PARTS_BEFORE;
}

/* How much likelier a slipped part lies this far from the model than a good one, @ratio2 in squared
 * repeatabilities: in the plane, and on a line. */
static double ln_plane(double ratio2)
{
    return 0.5 * ratio2 - log(fmax(ratio2, 1.0)) - log(LN_FARTHEST);
}

static double ln_line(double ratio2)
{
    return 0.5 * ratio2 - 0.5 * log(fmax(ratio2, 1.0)) - log(LN_FARTHEST) + 0.5 * log(TT_PI / 2.0);
}

/* ln of the likelihood of all places: good parts and slipped ones together. */
static double ln_likelihood(const struct mixture *m)
{
    double ln = 0.0;
    for (size_t i = 0; i < m->design->n; i++) {
        double precision = m->design->precision[2 * m->design->rows[i].tip];
        double ratio2 = squared(m, i) * precision;
        double good = log1p(-m->share) - 0.5 * ratio2,
               bad = log(m->share) - 0.5 * ratio2 + ln_plane(ratio2);
        ln += log(precision) + fmax(good, bad) + log1p(exp(-fabs(good - bad)));
    }
    return ln;
}

/* The probability that each part slipped; the mean change. */
static double expect(struct mixture *m)
{
    double change = 0.0;
    for (size_t i = 0; i < m->design->n; i++) {
        double angle = m->angle_rad > 0.0 ? pick_turned(m, i) / m->angle_rad : 0.0;
        double place = exp(fmin(
            600.0, ln_plane(squared(m, i) * m->design->precision[2 * m->design->rows[i].tip])));
        double rotation = m->angle_rad > 0.0 && m->design->board->parts[i].has_found_rotation
                              ? exp(fmin(80.0, ln_line(angle * angle)))
                              : 0.0;
        /* place, rotation or both, alike likely beforehand */
        double odds = m->share / (1.0 - m->share) * (place + rotation + place * rotation) / 3.0;
        double slipped = odds / (1.0 + odds);
        change += fabs(slipped - m->slipped[i]) / (double)m->design->n;
        m->slipped[i] = slipped;
        m->design->weight[i] = 1.0 - slipped;
    }
    return change;
}

/* Repeatabilities of the tips, shrunk towards that of all; of the rotations; the share. */
static void maximise_scatter(struct mixture *m)
{
    struct tt_board_design *design = m->design;
    double all[2], parts, turned2 = 0.0, weight = 0.0, slipped = 0.0;
    tt_board_fit_squares(m->fit, design, TT_NONE, all, &parts);
    double pooled = (all[0] + all[1]) / fmax(m->fit->dof, 1.0);
    for (size_t t = 0; t < design->n_tips; t++) {
        double own[2], own_parts;
        tt_board_fit_squares(m->fit, design, t, own, &own_parts);
        double dof = m->fit->dof * own_parts / parts;
        double variance = (SHARED_DOF * pooled + own[0] + own[1]) / (SHARED_DOF + dof);
        variance = fmax(variance, TT_LEAST_PLACING_MM * TT_LEAST_PLACING_MM);
        design->precision[2 * t] = design->precision[2 * t + 1] = 1.0 / variance;
    }
    for (size_t i = 0; i < design->n; i++) {
        double angle = pick_turned(m, i);
        turned2 += design->weight[i] * angle * angle;
        weight += design->weight[i];
        slipped += m->slipped[i];
    }
    m->angle_rad = sqrt(turned2 / fmax(weight - (double)design->n_tips, 1.0));
    m->share = (slipped + SLIPPED_BEFORE) / ((double)design->n + PARTS_BEFORE);
}

/* Centres of the tips' rotations: means about the present ones. */
static void maximise_angles(struct mixture *m)
{
    for (size_t t = 0; t < m->design->n_tips; t++) {
        double sum = 0.0, weight = 0.0;
        for (size_t i = 0; i < m->design->n; i++) {
            if (m->design->rows[i].tip == t) {
                sum += m->design->weight[i] * pick_turned(m, i);
                weight += m->design->weight[i];
            }
        }
        m->centre_rad[t] += weight > 0.0 ? sum / weight : 0.0;
    }
}

static bool mixture_init(struct mixture *m, struct tt_arena *arena)
{
    size_t n = m->design->n;
    m->slipped = TT_ARENA_NEW(arena, n, double);
    m->turned_rad = TT_ARENA_NEW(arena, n, double);
    m->scratch = TT_ARENA_NEW(arena, n, double);
    m->centre_rad = TT_ARENA_NEW(arena, m->design->n_tips, double);
    if (m->slipped == NULL || m->turned_rad == NULL || m->scratch == NULL ||
        m->centre_rad == NULL) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        const struct tt_part *part = &m->design->board->parts[i];
        m->turned_rad[i] = part->has_found_rotation
                               ? tt_angle_wrap(part->found_rotation_rad - part->rotation_rad)
                               : 0.0;
    }
    return true;
}

/* Climb from a start. false: not solvable. */
static bool climb(struct mixture *m, enum start from)
{
    double change = 1.0;
    bool solved = true;
    begin(m, from);
    for (int round = 0; round < MOST_ROUNDS && change >= SETTLED && solved; round++) {
        change = expect(m);
        solved = tt_board_fit_solve(m->fit, m->design);
        maximise_angles(m);
        maximise_scatter(m);
    }
    m->fit->ln_likelihood = solved ? ln_likelihood(m) : -HUGE_VAL;
    return solved;
}

enum tiptrue_status tt_board_fit_robust(struct tt_board_fit *fit, struct tt_board_design *design,
                                        struct tt_arena *arena)
{
    struct mixture m = {.fit = fit, .design = design};
    if (!mixture_init(&m, arena)) {
        return TIPTRUE_E_MEMORY;
    }
    bool solved = climb(&m, NARROW);
    double narrow = fit->ln_likelihood;
    solved = climb(&m, WIDE) || solved;
    if (narrow > fit->ln_likelihood + CLEARLY_LN) {
        (void)climb(&m, NARROW);
    }
    if (!solved) {
        return TIPTRUE_E_DEGENERATE;
    }
    for (size_t i = 0; i < design->n; i++) {
        design->weight[i] = m.slipped[i] < 0.5 ? 1.0 : 0.0;
    }
    return tt_board_fit_solve(fit, design) ? TIPTRUE_OK : TIPTRUE_E_DEGENERATE;
}
