/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How far the features of a plate lie off, by a truth. */
#include "config.h"

#include "planning/simulate_parts.h"

#include <string.h>

/* Features of one kind of the plate: @n of @size bytes each, whose first member is the name. */
struct features {
    const char *kind;
    const void *list;
    size_t n, size;
};

/* Index of the feature that the truth calls @name; TIPTRUE_E_DATA: there is none. */
static enum tiptrue_status find_feature(const struct tiptrue_truth *truth,
                                        const struct features *of, const char *name, size_t *found,
                                        struct tiptrue_error *error)
{
    for (size_t i = 0; i < of->n; i++) {
        const char *const *own = (const void *)((const char *)of->list + i * of->size);
        if (strcmp(*own, name) == 0) {
            *found = i;
            return TIPTRUE_OK;
        }
    }
    return tt_fail(error, TIPTRUE_E_DATA, truth->file, 0, 0, "the truth and the plate do not fit",
                   "the plate has no %s '%s', of which the truth speaks", of->kind, name);
}

/* Shifts of edges or pads into @shift_mm. */
static enum tiptrue_status place_shifts(const struct tiptrue_truth *truth,
                                        const struct features *of,
                                        const struct tt_truth_edge named[], size_t n,
                                        double shift_mm[], struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;
    for (size_t i = 0, found = 0; i < n && status == TIPTRUE_OK; i++) {
        status = find_feature(truth, of, named[i].name, &found, error);
        if (status == TIPTRUE_OK) {
            shift_mm[found] = named[i].shift_mm;
        }
    }
    return status;
}

/* The same of groups or marks. */
static enum tiptrue_status place_pairs(const struct tiptrue_truth *truth, const struct features *of,
                                       const struct tt_truth_shift named[], size_t n,
                                       struct tt_plate_xy shift[], struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;
    for (size_t i = 0, found = 0; i < n && status == TIPTRUE_OK; i++) {
        status = find_feature(truth, of, named[i].name, &found, error);
        if (status == TIPTRUE_OK) {
            shift[found] = named[i].shift;
        }
    }
    return status;
}

enum tiptrue_status tt_simulate_shifts(const struct tiptrue_plate *plate,
                                       const struct tiptrue_truth *truth, struct tt_arena *arena,
                                       struct tt_shifts *shifts, struct tiptrue_error *error)
{
    const struct features edges = {"edge", plate->edges, plate->n_edges, sizeof *plate->edges},
                          pads = {"pad", plate->pads, plate->n_pads, sizeof *plate->pads},
                          groups = {"group", plate->groups, plate->n_groups, sizeof *plate->groups},
                          marks = {"mark", plate->marks, plate->n_marks, sizeof *plate->marks};
    *shifts = (struct tt_shifts){TT_ARENA_NEW(arena, plate->n_edges, double),
                                 TT_ARENA_NEW(arena, plate->n_pads, double),
                                 TT_ARENA_NEW(arena, plate->n_groups, struct tt_plate_xy),
                                 TT_ARENA_NEW(arena, plate->n_marks, struct tt_plate_xy)};
    if (shifts->edge_mm == NULL || shifts->pad_mm == NULL || shifts->group == NULL ||
        shifts->mark == NULL) {
        return tt_fail_memory(error);
    }
    enum tiptrue_status status =
        place_shifts(truth, &edges, truth->edges, truth->n_edges, shifts->edge_mm, error);
    if (status == TIPTRUE_OK) {
        status = place_shifts(truth, &pads, truth->pads, truth->n_pads, shifts->pad_mm, error);
    }
    if (status == TIPTRUE_OK) {
        status = place_pairs(truth, &groups, truth->groups, truth->n_groups, shifts->group, error);
    }
    return status == TIPTRUE_OK
               ? place_pairs(truth, &marks, truth->marks, truth->n_marks, shifts->mark, error)
               : status;
}
