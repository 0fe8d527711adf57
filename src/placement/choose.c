/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "placement/choose.h"

#include <math.h>
#include <string.h>

#include "placement/work.h"

/* Quarter turns: what every machine places, and what spreads a turning best. */
#define ROTATIONS 4

/* Parts whose gains differ by less than this share are as good: without it half turns alone would
 * be chosen, since they keep x and y apart by some per cent. Twice as much costs a board as much as
 * a part in fifty. */
#define SAME 0.03

/* One candidate's two rows times the covariance, and the covariance of its place. */
struct gain {
    double *x, *y; /* C a */
    double xx, xy, yy;
};

/* C a of both rows, and the 2 x 2 matrix u2 I + a^T C a. */
static void prepare(const struct tt_part_choice *choice, const struct tt_part_row *row,
                    struct gain *gain)
{
    size_t at[TT_PART_COLUMNS], p = choice->design->n_unknowns;
    double x[TT_PART_COLUMNS], y[TT_PART_COLUMNS];
    tt_part_columns(choice->design, row, at, x, y);
    memset(gain->x, 0, p * sizeof(*gain->x));
    memset(gain->y, 0, p * sizeof(*gain->y));
    for (size_t k = 0; k < TT_PART_COLUMNS; k++) {
        const double *line = &choice->covariance[at[k] * p];
        for (size_t i = 0; i < p; i++) {
            gain->x[i] += x[k] * line[i];
            gain->y[i] += y[k] * line[i];
        }
    }
    gain->xx = gain->yy = choice->u_mm * choice->u_mm;
    gain->xy = 0.0;
    for (size_t k = 0; k < TT_PART_COLUMNS; k++) {
        gain->xx += x[k] * gain->x[at[k]];
        gain->xy += x[k] * gain->y[at[k]];
        gain->yy += y[k] * gain->y[at[k]];
    }
}

/* By how much the part would lower the sum of the variances: of mm as they are, of the grid at
 * @reach_mm. */
static double lowered(const struct tt_part_choice *choice, const struct gain *gain, double reach_mm)
{
    double det = gain->xx * gain->yy - gain->xy * gain->xy, sum = 0.0;
    size_t grid = tt_at_grid(choice->design);
    for (size_t i = 0; i < choice->design->n_unknowns; i++) {
        double size = i < grid ? 1.0 : reach_mm * reach_mm, x = gain->x[i], y = gain->y[i];
        sum += size * (gain->yy * x * x - 2.0 * gain->xy * x * y + gain->xx * y * y) / det;
    }
    return sum;
}

static void take(struct tt_part_choice *choice, const struct gain *gain)
{
    double det = gain->xx * gain->yy - gain->xy * gain->xy;
    size_t p = choice->design->n_unknowns;
    for (size_t i = 0; i < p; i++) {
        double x = (gain->yy * gain->x[i] - gain->xy * gain->y[i]) / det;
        double y = (gain->xx * gain->y[i] - gain->xy * gain->x[i]) / det;
        for (size_t j = 0; j < p; j++) {
            choice->covariance[i * p + j] -= x * gain->x[j] + y * gain->y[j];
        }
    }
}

/* Candidate @k: tips vary fastest, then rotations, then places from the corners in. */
static struct tt_wanted_part candidate(const struct tt_part_choice *choice, size_t k)
{
    size_t tips = choice->design->n_tips, place = k / tips / ROTATIONS;
    double along_x = (double)(place % choice->steps) / (double)(choice->steps - 1);
    double along_y = (double)(place / choice->steps) / (double)(choice->steps - 1);
    return (struct tt_wanted_part){
        .tip = k % tips,
        .at = {choice->low.x_mm + along_x * (choice->high.x_mm - choice->low.x_mm),
               choice->low.y_mm + along_y * (choice->high.y_mm - choice->low.y_mm)},
        .rotation_rad = (double)(k / tips % ROTATIONS) * 0.5 * TT_PI};
}

static struct tt_part_row row_of(const struct tt_part_choice *choice,
                                 const struct tt_wanted_part *part)
{
    double turn = choice->clockwise ? -part->rotation_rad : part->rotation_rad;
    return (struct tt_part_row){.cosine = cos(turn),
                                .sine = sin(turn),
                                .along_x_mm = part->at.x_mm - choice->design->middle.x_mm,
                                .along_y_mm = part->at.y_mm - choice->design->middle.y_mm,
                                .tip = part->tip};
}

/* Whether a part of @parts has that place already. */
static bool is_taken(const struct tt_wanted_part parts[], size_t n,
                     const struct tt_wanted_part *part)
{
    bool taken = false;
    for (size_t i = 0; i < n; i++) {
        taken = taken || (parts[i].at.x_mm == part->at.x_mm && parts[i].at.y_mm == part->at.y_mm);
    }
    return taken;
}

/* How many of @parts have its tip and its rotation: of equal candidates the one with the fewest is
 * taken, so that every quarter turn is seen, and what the model does not know of shows. */
static size_t alike(const struct tt_wanted_part parts[], size_t n,
                    const struct tt_wanted_part *part)
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        count += parts[i].tip == part->tip && parts[i].rotation_rad == part->rotation_rad;
    }
    return count;
}

/* Whether a part that lowers by @less and has @fewer like it goes before one of @most and @least.
 * Of those that are alike in both the first one stays. */
static bool goes_before(double less, size_t fewer, double most, size_t least)
{
    return less > most * (1.0 + SAME) || (less > most * (1.0 - SAME) && fewer < least);
}

bool tt_parts_choose(struct tt_part_choice *choice, struct tt_wanted_part parts[], size_t n,
                     struct tt_arena *scratch)
{
    size_t p = choice->design->n_unknowns, places = choice->steps * choice->steps;
    struct gain gain = {.x = TT_ARENA_NEW(scratch, p, double),
                        .y = TT_ARENA_NEW(scratch, p, double)};
    double reach_mm =
        hypot(choice->high.x_mm - choice->low.x_mm, choice->high.y_mm - choice->low.y_mm) / 4.0;
    if (gain.x == NULL || gain.y == NULL) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        double most = -1.0;
        size_t least = 0;
        for (size_t k = 0; k < places * ROTATIONS * choice->design->n_tips; k++) {
            struct tt_wanted_part part = candidate(choice, k);
            if (i < places && is_taken(parts, i, &part)) {
                continue; /* two parts have no room in one place, while there are others */
            }
            struct tt_part_row row = row_of(choice, &part);
            prepare(choice, &row, &gain);
            double less = lowered(choice, &gain, reach_mm);
            size_t fewer = alike(parts, i, &part);
            if (goes_before(less, fewer, most, least)) {
                most = less;
                least = fewer;
                parts[i] = part;
            }
        }
        struct tt_part_row row = row_of(choice, &parts[i]);
        prepare(choice, &row, &gain);
        take(choice, &gain);
    }
    return true;
}

/* ---- what a board leaves open, and five parts more that would tell it ---- */

/* Four quarter turns and one part more, at places that are not in a line: the least that tells all
 * terms of a tip and leaves something to see the repeatability by. */
#define WANTED 5
/* The parts tell a term of the grid when they halve the variance that it has beforehand. */
#define TOLD 0.5
/* Parts that lie on less than this along an axis say nothing of a board: wanted ones go out so far.
 */
#define LEAST_SPAN_MM 40.0

bool tt_grid_is_told(const struct tt_placing *p)
{
    size_t at = tt_at_grid(&p->design);
    bool told = true;
    for (size_t k = 0; k < TT_GRID_COLUMNS; k++) {
        double u = tt_board_fit_u(&p->fit, at + k) / TT_PRIOR_GRID;
        told = told && (u * u <= TOLD || (k == TT_GRID_TURN && p->board->own_frame));
    }
    return told;
}

static bool is_open(const struct tt_placing *p)
{
    bool open = !tt_grid_is_told(p);
    for (size_t t = 0; t < p->result->n_tips; t++) {
        open = open || !p->result->tips[t].offset_apart;
    }
    return open;
}

/* The rectangle of the parts, widened where it is narrow. */
static void rectangle(const struct tt_placing *p, struct tt_machine_xy *low,
                      struct tt_machine_xy *high)
{
    *low = *high = p->board->parts[0].wanted;
    for (size_t i = 1; i < p->design.n; i++) {
        struct tt_machine_xy at = p->board->parts[i].wanted;
        low->x_mm = fmin(low->x_mm, at.x_mm);
        low->y_mm = fmin(low->y_mm, at.y_mm);
        high->x_mm = fmax(high->x_mm, at.x_mm);
        high->y_mm = fmax(high->y_mm, at.y_mm);
    }
    double short_x = fmax(0.0, LEAST_SPAN_MM - (high->x_mm - low->x_mm)) / 2.0;
    double short_y = fmax(0.0, LEAST_SPAN_MM - (high->y_mm - low->y_mm)) / 2.0;
    low->x_mm -= short_x;
    high->x_mm += short_x;
    low->y_mm -= short_y;
    high->y_mm += short_y;
}

bool tt_placing_wanted(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    struct tt_part_choice choice = {.design = &p->design,
                                    .steps = 3,
                                    .u_mm = r->repeatability_mm > 0.0 ? r->repeatability_mm : 0.01,
                                    .covariance = p->fit.covariance,
                                    .clockwise = p->board->clockwise};
    if (!is_open(p)) {
        return true;
    }
    r->wanted = TT_ARENA_NEW(&r->arena, WANTED, struct tt_wanted_part);
    rectangle(p, &choice.low, &choice.high);
    r->n_wanted = WANTED;
    return r->wanted != NULL && tt_parts_choose(&choice, r->wanted, WANTED, &p->scratch);
}
