/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How far the features of a plate lie off, by a truth. */
#include "config.h"

#include "planning/simulate_parts.h"

#include <math.h>
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

/* ---- the digits that a simulated run is printed with ---- */

/* Coordinates are printed so that rounding does not show: a twentieth of the scatter, four to nine
 * decimals of a millimetre. */
#define DIGITS_PER_SCATTER 20.0
#define MOST_DECIMALS 9

int tt_simulate_decimals(double step_mm, double sigma_mm)
{
    int decimals = TT_LEAST_DECIMALS;

    while (decimals < MOST_DECIMALS && !(pow(10, -decimals) <= sigma_mm / DIGITS_PER_SCATTER) &&
           !(step_mm > 0)) {
        decimals++;
    }
    for (; decimals < MOST_DECIMALS && step_mm > 0; decimals++) {
        double scaled = step_mm * pow(10, decimals);
        if (fabs(scaled - round(scaled)) < 1e-6 && round(scaled) >= 1) {
            break;
        }
    }
    return decimals;
}

void tt_simulate_digits(struct tiptrue_run *run, int sighting_decimals, int touch_decimals,
                        int height_decimals)
{
    double z_unit = pow(10, height_decimals);
    for (size_t i = 0; i < run->n_observations; i++) {
        struct tt_observation *o = &run->observations[i];
        double unit = pow(10, tt_is_sighting(o->kind) ? sighting_decimals : touch_decimals);
        run->quantum_px = o->kind == TT_VIEW ? pow(10, -TT_PIXEL_DECIMALS) : run->quantum_px;
        o->h.x_mm = round(o->h.x_mm * unit) / unit;
        o->h.y_mm = round(o->h.y_mm * unit) / unit;
        o->z_mm = o->kind == TT_HEIGHT ? round(o->z_mm * z_unit) / z_unit : o->z_mm;
    }
    run->height_quantum_mm = 1 / z_unit;
    run->sighting_digits = (struct tt_digits){.quantum_mm = pow(10, -sighting_decimals)};
    run->touch_digits = (struct tt_digits){.quantum_mm = pow(10, -touch_decimals), .on_grid = true};
}

/* Where the head is when a tip that came down on a pad makes contact, by the equation of
 * adjust/height_model.h. */

double tt_descend(const struct tt_descent *descent, const struct tt_pose *pose,
                  struct tt_machine_xy *h)
{
    const struct tt_truth_tip *tip = descent->tip;
    struct tt_plate_xy at =
        descent->pad->has_at ? descent->pad->at : (struct tt_plate_xy){0.0, 0.0};
    struct tt_machine_xy q = tt_pose_place(pose, descent->scale, at);
    double c = cos(descent->rotation_rad), s = sin(descent->rotation_rad);
    struct tt_machine_xy e = tt_tip_turn(c, s, tip->runout);

    *h = (struct tt_machine_xy){q.x_mm - tip->offset.x_mm - e.x_mm,
                                q.y_mm - tip->offset.y_mm - e.y_mm};
    return tip->height_mm.value + descent->slope_x * (q.x_mm - pose->mark.x_mm) +
           descent->slope_y * (q.y_mm - pose->mark.y_mm) + descent->pad->height_mm +
           descent->pad_shift_mm + tip->face_runout.x_mm * c + tip->face_runout.y_mm * s -
           descent->latency_s * descent->feed_mm_s;
}
