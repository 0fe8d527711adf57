/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The steps of a board, in their order. */
#include "config.h"

#include "placement/placement.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "placement/work.h"

/* Before any residual: a part is placed to some hundredths of a millimetre (common practice, no
 * source). The first rounds replace it. */
#define FIRST_REPEATABILITY_MM 0.02

/* What the result takes over from the board and the machine. */
static bool begin(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    const struct tiptrue_board *board = p->board;
    r->file = tt_arena_copy(&r->arena, board->file);
    r->machine =
        tt_arena_copy(&r->arena, board->machine != NULL ? board->machine : p->machine->name);
    r->started = tt_arena_copy(&r->arena, board->started);
    memcpy(r->id, board->id, sizeof(r->id));
    r->parts_not_found = board->n_not_found;
    r->n_tips = board->n_tips;
    r->tips = TT_ARENA_NEW(&r->arena, board->n_tips, struct tt_placed_tip);
    r->tip_names = TT_ARENA_NEW(&r->arena, board->n_tips, const char *);
    bool good = r->file != NULL && r->machine != NULL && r->tips != NULL && r->tip_names != NULL &&
                (board->started == NULL || r->started != NULL);
    for (size_t t = 0; good && t < board->n_tips; t++) {
        r->tip_names[t] = tt_arena_copy(&r->arena, board->tips[t]);
        good = r->tip_names[t] != NULL;
    }
    r->has_limit_mm = p->machine->limits.has_placement_mm;
    r->has_limit_rad = p->machine->limits.has_placement_rad;
    r->limit_mm = p->machine->limits.placement_mm;
    r->limit_rad = p->machine->limits.placement_rad;
    return good;
}

static enum tiptrue_status solve(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    double first = 1.0 / (FIRST_REPEATABILITY_MM * FIRST_REPEATABILITY_MM), dof;
    if (!tt_board_design_init(&p->design, p->board, &p->scratch) ||
        !tt_board_fit_init(&p->fit, &p->design, &p->scratch)) {
        return TIPTRUE_E_MEMORY;
    }
    p->fit.turn_free = p->board->own_frame;
    for (size_t i = 0; i < 2 * p->design.n_tips; i++) {
        p->design.precision[i] = first;
    }
    /* Fewer equations to spare than parts: a slipped part bends the fit instead of showing. */
    enum tiptrue_status status = p->design.n >= p->design.n_unknowns
                                     ? tt_board_fit_robust(&p->fit, &p->design, &p->scratch)
                                     : TIPTRUE_OK;
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (!tt_board_fit_scatter(&p->fit, &p->design, &r->by_axis, &r->by_tip)) {
        return TIPTRUE_E_DEGENERATE;
    }
    if ((status = tt_placing_order(p)) != TIPTRUE_OK) {
        return status;
    }
    double repeatability_mm = tt_placing_repeatability(p, &dof);
    return tt_board_terms_init(&p->terms, &p->design, &p->fit,
                               dof > TT_LEAST_PLACING_DOF
                                   ? fmax(repeatability_mm, TT_LEAST_PLACING_MM)
                                   : FIRST_REPEATABILITY_MM,
                               &p->scratch)
               ? tt_terms_weigh(&p->terms.problem, &p->scratch, &p->weighed)
               : TIPTRUE_E_MEMORY;
}

enum tiptrue_status tt_place(const struct tiptrue_board *board,
                             const struct tiptrue_machine *machine,
                             const struct tiptrue_solution *run,
                             struct tiptrue_placement **placement, struct tiptrue_error *error)
{
    struct tt_placing p = {.board = board, .machine = machine, .run = run};
    p.result = calloc(1, sizeof(*p.result));
    enum tiptrue_status status = p.result != NULL && begin(&p) ? solve(&p) : TIPTRUE_E_MEMORY;
    if (status == TIPTRUE_OK &&
        !(tt_placing_reading(&p) && tt_placing_angles(&p) && tt_placing_values(&p) &&
          tt_placing_join(&p) && tt_placing_capability(&p) && tt_placing_findings(&p) &&
          tt_placing_wanted(&p))) {
        status = TIPTRUE_E_MEMORY;
    }
    if (status == TIPTRUE_OK) {
        tt_placing_verdict(&p);
        *placement = p.result;
    }
    tt_arena_clear(&p.scratch);
    if (status == TIPTRUE_OK) {
        return status;
    }
    tiptrue_placement_free(p.result);
    return status == TIPTRUE_E_MEMORY
               ? tt_fail_memory(error)
               : tt_fail(error, status, board->file, 0, 0,
                         "check the wanted places of the parts and their tips",
                         "the places of the parts cannot be fitted");
}
