/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The terms of an explanation, with arrays of their own. */
#include "config.h"

#include <string.h>

#include "adjust/explain.h"

static void *copy_array(struct tt_arena *arena, const void *from, size_t n, size_t size,
                        bool *failed)
{
    void *to = tt_arena_get(arena, n, size);
    *failed = *failed || to == NULL;
    if (to != NULL && from != NULL) {
        memcpy(to, from, n * size);
    }
    return to;
}

enum tiptrue_status tt_terms_new(const struct tt_search *search, const struct tt_terms *terms,
                                 struct tt_terms *copy)
{
    const struct tiptrue_plate *plate = search->plate;
    const struct tiptrue_run *run = search->run;
    struct tt_terms from =
        terms != NULL ? *terms : (struct tt_terms){.moved_at = TT_NONE, .slipped_at = TT_NONE};
    struct tt_arena *arena = search->arena;
    bool failed = false;

    *copy = from;
    copy->orders = copy_array(arena, from.orders, run->n_tips, sizeof *from.orders, &failed);
    copy->edge_extra_mm =
        copy_array(arena, from.edge_extra_mm, plate->n_edges, sizeof(double), &failed);
    copy->edge_out = copy_array(arena, from.edge_out, plate->n_edges, sizeof(bool), &failed);
    copy->mark_extra_mm =
        copy_array(arena, from.mark_extra_mm, plate->n_marks, sizeof(double), &failed);
    copy->radius_extra_mm =
        copy_array(arena, from.radius_extra_mm, run->n_tips, sizeof(double), &failed);
    copy->sight_extra_mm =
        copy_array(arena, from.sight_extra_mm, run->n_observations, sizeof(double), &failed);
    copy->yaw_free = copy_array(arena, from.yaw_free, run->n_setups, sizeof(bool), &failed);
    copy->turned_rad = copy_array(arena, from.turned_rad, run->n_setups, sizeof(double), &failed);
    return failed ? TIPTRUE_E_MEMORY : TIPTRUE_OK;
}
