/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/resolve.h"

#include <string.h>

#include "base/named.h"

/* Index of @name, entered if it is new. */
static size_t enter(const char *names[], size_t *n, const char *name)
{
    size_t index = TT_NAME_AT(names, *n, name);

    if (index == *n) {
        names[(*n)++] = name;
    }
    return index;
}

static enum tiptrue_status refuse(const struct tiptrue_plan *plan, const struct tt_move *move,
                                  const char *what, const char *name, const char *hint,
                                  struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_DATA, plan->file, move->line, move->column, hint,
                   "%s '%s' is not known", what, name);
}

static enum tiptrue_status resolve_move(const struct tiptrue_plan *plan,
                                        const struct tiptrue_plate *plate,
                                        const struct tiptrue_machine *machine,
                                        struct tt_resolved *resolved, const struct tt_move *move,
                                        struct tiptrue_error *error)
{
    struct tt_resolved_move *out = &resolved->moves[resolved->n_moves++];

    *out = (struct tt_resolved_move){.move = move, .tip = TT_NONE, .at = move->at};
    out->setup =
        enter(resolved->setups, &resolved->n_setups, move->setup != NULL ? move->setup : "1");
    if (tt_is_sighting(move->kind)) {
        out->target = TT_NAMED(plate->marks, plate->n_marks, move->target);
        return out->target < plate->n_marks ? TIPTRUE_OK
                                            : refuse(plan, move, "mark", move->target,
                                                     "the plan and the plate do not fit", error);
    }
    bool from_above = move->kind == TT_HEIGHT;
    out->target = from_above ? TT_NAMED(plate->pads, plate->n_pads, move->target)
                             : TT_NAMED(plate->edges, plate->n_edges, move->target);
    if (out->target == (from_above ? plate->n_pads : plate->n_edges)) {
        return refuse(plan, move, from_above ? "pad" : "edge", move->target,
                      "the plan and the plate do not fit", error);
    }
    if (move->tip == NULL) {
        return refuse(plan, move, "tip", "", "say which tip comes down", error);
    }
    if (machine->n_tips > 0 &&
        TT_NAME_AT(resolved->tips, machine->n_tips, move->tip) == machine->n_tips) {
        return refuse(plan, move, "tip", move->tip,
                      "the machine file names its tips, and this is none of them", error);
    }
    out->tip = enter(resolved->tips, &resolved->n_tips, move->tip);
    if (from_above) {
        out->at = plate->pads[out->target].at;
    } else if (!move->has_at) {
        const struct tt_edge *edge = &plate->edges[out->target];
        out->at = (struct tt_plate_xy){0.5 * (edge->from.x_mm + edge->to.x_mm),
                                       0.5 * (edge->from.y_mm + edge->to.y_mm)};
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_plan_resolve(const struct tiptrue_plan *plan,
                                    const struct tiptrue_plate *plate,
                                    const struct tiptrue_machine *machine, struct tt_arena *arena,
                                    struct tt_resolved *resolved, struct tiptrue_error *error)
{
    *resolved =
        (struct tt_resolved){.moves = TT_ARENA_NEW(arena, plan->n_moves, struct tt_resolved_move)};
    resolved->tips = TT_ARENA_NEW(arena, machine->n_tips + plan->n_moves, const char *);
    resolved->setups = TT_ARENA_NEW(arena, plan->n_moves, const char *);
    resolved->turned_rad = TT_ARENA_NEW(arena, plan->n_moves, double);
    if (resolved->moves == NULL || resolved->tips == NULL || resolved->setups == NULL ||
        resolved->turned_rad == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t t = 0; t < machine->n_tips; t++) {
        resolved->tips[resolved->n_tips++] = machine->tips[t].name;
    }
    for (size_t i = 0; i < plan->n_moves; i++) {
        enum tiptrue_status status =
            resolve_move(plan, plate, machine, resolved, &plan->moves[i], error);
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    for (size_t s = 0; s < resolved->n_setups; s++) {
        for (size_t k = 0; k < plan->n_setups; k++) {
            if (strcmp(plan->setups[k].name, resolved->setups[s]) == 0) {
                resolved->turned_rad[s] = plan->setups[k].turned_rad;
            }
        }
    }
    return TIPTRUE_OK;
}
