/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The touches from above of a run, with the places where they were made. */
#include "config.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#include "adjust/heights.h"

/* Pads nearer to each other than this tell no slope. */
#define PADS_APART_MM 1.0
/* Rotations further apart than this are two. */
#define ROTATIONS_APART_RAD 0.02

static bool is_used(const struct tt_observation *o)
{
    return o->kind == TT_HEIGHT && o->use == TT_USE;
}

/* Index of @value in @list, entered if it is new. */
static size_t entered(size_t *list, size_t *n, size_t value)
{
    for (size_t i = 0; i < *n; i++) {
        if (list[i] == value) {
            return i;
        }
    }
    list[*n] = value;
    return (*n)++;
}

/* Tips and setups in the run's order, so that results do not depend on the order of touches. */
static void enter_all(struct tt_heights *h, size_t *pads)
{
    const struct tiptrue_run *run = h->run;
    size_t n = run->n_observations;

    for (size_t t = 0; t < run->n_tips; t++) {
        for (size_t i = 0; i < n; i++) {
            if (is_used(&run->observations[i]) && run->observations[i].tip == t) {
                (void)entered(h->tips, &h->n_tips, t);
                break;
            }
        }
    }
    for (size_t i = 0; i < n; i++) {
        if (is_used(&run->observations[i])) {
            (void)entered(h->setups, &h->n_setups, run->observations[i].setup);
            (void)entered(pads, &h->n_pads, run->observations[i].target);
        }
    }
}

/* Where @o was made, from the reference mark, machine's directions: the pad's stated place, else
 * the tip's by the head and its offset. */
static struct tt_machine_xy place_of(const struct tt_view *view, const struct tt_observation *o)
{
    const struct tt_model *model = view->model;
    const struct tt_pad *pad = &view->plate->pads[o->target];
    const double *pose = model->x + tt_at_pose(o->setup);
    size_t block = model->tip_block[o->tip];

    if (pad->has_at) {
        double c = cos(pose[2]), s = sin(pose[2]);
        return (struct tt_machine_xy){c * pad->at.x_mm - s * pad->at.y_mm,
                                      s * pad->at.x_mm + c * pad->at.y_mm};
    }
    if (block == TT_NONE) {
        return (struct tt_machine_xy){0, 0};
    }
    const double *tip = model->x + model->system.first[block];
    return (struct tt_machine_xy){o->h.x_mm + tip[TT_TIP_O_X] - pose[0],
                                  o->h.y_mm + tip[TT_TIP_O_Y] - pose[1]};
}

static void fill_rows(const struct tt_view *view, struct tt_heights *h, size_t *pads)
{
    const struct tiptrue_run *run = view->run;
    double first_rad = NAN;

    h->feeds_stated = true;
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (!is_used(o)) {
            continue;
        }
        double theta = view->machine->clockwise ? -o->rotation_rad : o->rotation_rad;
        struct tt_machine_xy at = place_of(view, o);
        struct tt_height_row *row = &h->rows[h->n_rows++];
        *row = (struct tt_height_row){.row = i,
                                      .z_mm = o->z_mm,
                                      .x_mm = at.x_mm,
                                      .y_mm = at.y_mm,
                                      .cosine = cos(theta),
                                      .sine = sin(theta),
                                      .feed_mm_s = o->feed_mm_s};
        row->tip = entered(h->tips, &h->n_tips, o->tip);
        row->setup = entered(h->setups, &h->n_setups, o->setup);
        row->pad = entered(pads, &h->n_pads, o->target);
        h->feeds_stated = h->feeds_stated && o->feed_mm_s > 0;
        h->feeds_differ = h->feeds_differ || row->feed_mm_s != h->rows[0].feed_mm_s;
        first_rad = isnan(first_rad) ? theta : first_rad;
        h->rotations_stated = h->rotations_stated || fabs(theta - first_rad) > ROTATIONS_APART_RAD;
    }
    h->feeds_differ = h->feeds_differ && h->feeds_stated;
    for (size_t i = 0; i < h->n_rows; i++) {
        h->rows[i].clock = h->n_rows > 1 ? (double)i / (double)(h->n_rows - 1) - 0.5 : 0;
    }
}

/* Whether the rows of setup @s are on two places that the plate states. */
static bool tells_slope(const struct tt_heights *h, size_t s)
{
    const struct tt_height_row *first = NULL;

    for (size_t i = 0; i < h->n_rows; i++) {
        const struct tt_height_row *row = &h->rows[i];
        if (row->setup != s || !h->pads[row->pad].has_at) {
            continue;
        }
        first = first == NULL ? row : first;
        if (hypot(row->x_mm - first->x_mm, row->y_mm - first->y_mm) > PADS_APART_MM) {
            return true;
        }
    }
    return false;
}

/* The mean of the pads with a place that were touched in the first setup, each once. */
static void find_middle(struct tt_heights *h)
{
    double n = 0;

    for (size_t p = 0; p < h->n_pads; p++) {
        for (size_t i = 0; i < h->n_rows && h->pads[p].has_at; i++) {
            if (h->rows[i].pad == p && h->rows[i].setup == 0) {
                h->middle_x_mm += h->rows[i].x_mm;
                h->middle_y_mm += h->rows[i].y_mm;
                n += 1;
                break;
            }
        }
    }
    h->middle_x_mm /= fmax(n, 1);
    h->middle_y_mm /= fmax(n, 1);
}

/* Where each tip's height is about: the median of its touches less the pads' heights. */
static void find_about(struct tt_heights *h, double *sorted)
{
    for (size_t t = 0; t < h->n_tips; t++) {
        size_t n = 0;
        for (size_t i = 0; i < h->n_rows; i++) {
            if (h->rows[i].tip == t) {
                sorted[n++] = h->rows[i].z_mm - h->pads[h->rows[i].pad].height_mm;
            }
        }
        gsl_sort(sorted, 1, n);
        h->tip_about_mm[t] = 0.5 * (sorted[(n - 1) / 2] + sorted[n / 2]);
    }
}

static void fill_noise(const struct tt_view *view, struct tt_heights *h)
{
    const struct tiptrue_machine *machine = view->machine;
    const struct tt_model *model = view->model;
    double step = fmax(view->run->height_quantum_mm, machine->resolution_mm), dof = TT_STATED_DOF;

    dof = machine->height_dof > 0 ? machine->height_dof : dof;
    h->stated_dof = machine->u_height_mm.stated ? dof : 0;
    h->stated_mm2 = machine->u_height_mm.value * machine->u_height_mm.value;
    h->digit_mm2 = step * step / 12;
    h->level_rad = machine->level_rad;
    if (model->at_latency != TT_NONE) {
        size_t at = model->at_latency;
        h->latency_s = (struct tt_stated){true, model->x[at]};
        h->u_latency_s = sqrt(fmax(model->system.c[at * model->n_border + at], 0));
    }
}

enum tiptrue_status tt_heights_collect(const struct tt_view *view, struct tt_heights *heights)
{
    struct tt_arena *arena = view->scratch;
    const struct tiptrue_run *run = view->run;
    size_t n = run->n_observations;
    size_t *pads = TT_ARENA_NEW(arena, view->plate->n_pads, size_t);
    double *sorted = TT_ARENA_NEW(arena, n, double);

    *heights = (struct tt_heights){.plate = view->plate, .run = run};
    heights->rows = TT_ARENA_NEW(arena, n, struct tt_height_row);
    heights->tips = TT_ARENA_NEW(arena, run->n_tips, size_t);
    heights->tip_about_mm = TT_ARENA_NEW(arena, run->n_tips, double);
    heights->setups = TT_ARENA_NEW(arena, run->n_setups, size_t);
    heights->has_slope = TT_ARENA_NEW(arena, run->n_setups, bool);
    heights->pads = TT_ARENA_NEW(arena, view->plate->n_pads, struct tt_height_pad);
    if (pads == NULL || sorted == NULL || heights->rows == NULL || heights->tips == NULL ||
        heights->tip_about_mm == NULL || heights->setups == NULL || heights->has_slope == NULL ||
        heights->pads == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    enter_all(heights, pads);
    for (size_t p = 0; p < heights->n_pads; p++) {
        const struct tt_pad *pad = &view->plate->pads[pads[p]];
        heights->pads[p] = (struct tt_height_pad){pads[p], pad->height_mm, pad->u_mm, pad->has_at};
    }
    fill_rows(view, heights, pads);
    for (size_t s = 0; s < heights->n_setups; s++) {
        heights->has_slope[s] = tells_slope(heights, s) || view->machine->level_rad.stated;
    }
    find_middle(heights);
    find_about(heights, sorted);
    fill_noise(view, heights);
    return TIPTRUE_OK;
}
