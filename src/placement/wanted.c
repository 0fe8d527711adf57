/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board leaves open, and five parts more that would tell it. */
#include "config.h"

#include <math.h>

#include "placement/choose.h"
#include "placement/work.h"

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
