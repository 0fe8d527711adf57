/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/from_above.h"

#include <math.h>
#include <stdlib.h>

#include "adjust/height_search.h"
#include "planning/simulate_parts.h"

/* Rotations 30 degrees apart. */
#define ROTATIONS 12
/* Rounds of exchange; most plans stand still after one. */
#define ROUNDS 4
/* An exchange must be better by more than rounding. */
#define BETTER 1e-9
/* What is known beforehand, to begin with: of a height, of a slope, of face runout. */
#define WEAK_HEIGHT_MM 10.0
#define WEAK_SLOPE 0.02
#define WEAK_FACE_MM 0.1
#define LEAST_PAD_U_MM 1e-6
/* Repeatability where none is stated, as `check` takes it. */
#define USUAL_HEIGHT_MM 3e-3
/* Slope of a plate that is bolted down, standard, where no level is stated: 3 mm over 1 m, of which
 * a motion program must not be surprised (common practice, no source). */
#define USUAL_SLOPE 3e-3

/* Unknowns: height and face runout (2) of each tip, slope (2), pads. */
struct design {
    const struct tt_scene *scene;
    const size_t *tips, *pads;
    size_t n_tips, n_pads;
    struct tt_running *all; /* covariance of the unknowns; C times the row */
    struct tt_row *row;     /* of the design */
    double turns[ROTATIONS];
    size_t n_turns;
    double reach_mm, variance_mm2;
    struct tt_machine_xy *at;    /* of each pad, from the mark, machine's directions */
    struct tt_machine_xy middle; /* of the pads */
};

static size_t at_slope(const struct design *d)
{
    return 3 * d->n_tips;
}

static void put(const struct design *d, size_t place, double value)
{
    d->row->place[d->row->n] = (unsigned short)place;
    d->row->value[d->row->n++] = value;
}

/* The row of tip @t (of the planned ones) on pad @p at turn @k. */
static void set_row(const struct design *d, size_t t, size_t p, size_t k)
{
    d->row->n = 0;
    put(d, 3 * t, 1);
    put(d, 3 * t + 1, cos(d->turns[k]));
    put(d, 3 * t + 2, sin(d->turns[k]));
    put(d, at_slope(d), d->at[p].x_mm);
    put(d, at_slope(d) + 1, d->at[p].y_mm);
    put(d, at_slope(d) + 2 + p, 1);
}

/* With one touch of @row more (@sign 1) or less (-1). */
static void update(const struct design *d, double sign)
{
    double q = tt_running_multiply(d->all, d->row);
    tt_running_update(d->all, sign / (d->variance_mm2 + sign * q), 0, 1);
}

/* By how much the touch of @row lessens what is to be small for tip @t, mm2. */
static double gain_of(const struct design *d, size_t t)
{
    double divisor = d->variance_mm2 + tt_running_multiply(d->all, d->row), sum = 0,
           l2 = d->reach_mm * d->reach_mm;
    const double *k = d->all->column;
    for (size_t j = 3 * t; j < 3 * t + 3; j++) {
        sum += k[j] * k[j];
    }
    sum += l2 * (k[at_slope(d)] * k[at_slope(d)] + k[at_slope(d) + 1] * k[at_slope(d) + 1]);
    return sum / divisor;
}

/* The best touch of tip @t, not one that stands as @keep unless another is better: its pad (of
 * d->pads) and turn into keep. */
static void take_best(const struct design *d, size_t t, size_t keep[2])
{
    double best = -1;
    if (keep[0] != TT_NONE) {
        set_row(d, t, keep[0], keep[1]);
        best = gain_of(d, t);
    }
    for (size_t p = 0; p < d->n_pads; p++) {
        for (size_t k = 0; k < d->n_turns; k++) {
            set_row(d, t, p, k);
            double gain = gain_of(d, t);
            if (gain > best * (1 + BETTER)) {
                best = gain;
                keep[0] = p;
                keep[1] = k;
            }
        }
    }
    set_row(d, t, keep[0], keep[1]);
    update(d, 1);
}

static void set_turns(struct design *d)
{
    const struct tt_range *range = &d->scene->machine->motion.rotation_rad;
    for (size_t k = 0; k < ROTATIONS; k++) {
        double turn = 2 * TT_PI * (double)k / ROTATIONS;
        for (int back = 0; back < 2; back++) {
            double at = turn - 2 * TT_PI * back;
            if (!range->stated || (at >= range->low && at <= range->high)) {
                d->turns[d->n_turns++] = at;
                break;
            }
        }
    }
    if (d->n_turns == 0) {
        d->turns[d->n_turns++] = 0.5 * (range->low + range->high);
    }
}

static void set_priors(struct design *d)
{
    const struct tiptrue_machine *machine = d->scene->machine;
    double slope = machine->level_rad.stated ? machine->level_rad.value : WEAK_SLOPE;
    for (size_t t = 0; t < d->n_tips; t++) {
        d->all->c[(3 * t) * (d->all->n + 1)] = WEAK_HEIGHT_MM * WEAK_HEIGHT_MM;
        d->all->c[(3 * t + 1) * (d->all->n + 1)] = d->all->c[(3 * t + 2) * (d->all->n + 1)] =
            WEAK_FACE_MM * WEAK_FACE_MM;
    }
    d->all->c[at_slope(d) * (d->all->n + 1)] = d->all->c[(at_slope(d) + 1) * (d->all->n + 1)] =
        slope * slope;
    for (size_t p = 0; p < d->n_pads; p++) {
        double u = fmax(d->scene->plate->pads[d->pads[p]].u_mm, LEAST_PAD_U_MM);
        d->all->c[(at_slope(d) + 2 + p) * (d->all->n + 1)] = u * u;
    }
    double sigma = machine->u_height_mm.stated ? machine->u_height_mm.value : USUAL_HEIGHT_MM;
    d->variance_mm2 = sigma * sigma + machine->resolution_mm * machine->resolution_mm / 12;
}

/* ---- order ---- */

struct placed {
    struct tt_height_probe probe;
    size_t half, tip, pad;
};

static int compare(const void *left, const void *right)
{
    const struct placed *a = left, *b = right;
    const size_t by_a[] = {a->half, a->tip, a->pad}, by_b[] = {b->half, b->tip, b->pad};
    for (size_t i = 0; i < 3; i++) {
        if (by_a[i] != by_b[i]) {
            return by_a[i] < by_b[i] ? -1 : 1;
        }
    }
    double turn = a->probe.rotation_rad - b->probe.rotation_rad;
    return (turn > 0) - (turn < 0);
}

/* All tips over all pads, then back the same way with the other half of the touches of each, so
 * that a drift cancels. */
static void put_in_order(const struct design *d, struct placed placed[], size_t n)
{
    qsort(placed, n, sizeof *placed, compare);
    for (size_t first = 0, groups = 0; first < n; groups++) {
        size_t end = first;
        while (end < n && placed[end].tip == placed[first].tip &&
               placed[end].pad == placed[first].pad) {
            placed[end].half = (end - first + groups) % 2;
            end++;
        }
        first = end;
    }
    for (size_t i = 0; i < n; i++) {
        if (placed[i].half == 1) {
            placed[i].tip = d->n_tips - 1 - placed[i].tip;
            placed[i].pad = d->n_pads - 1 - placed[i].pad;
        }
    }
    qsort(placed, n, sizeof *placed, compare);
}

/* ---- the plan ---- */

/* Pads in use that have a place, with their places. */
static enum tiptrue_status find_pads(struct design *d, struct tt_arena *arena, size_t *pads,
                                     struct tiptrue_error *error)
{
    const struct tiptrue_plate *plate = d->scene->plate;
    struct tt_pose pose = tt_scene_pose(d->scene, 0);

    d->at = TT_ARENA_NEW(arena, plate->n_pads, struct tt_machine_xy);
    if (d->at == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t p = 0; p < plate->n_pads; p++) {
        if (plate->pads[p].has_at && !plate->pads[p].unused) {
            d->at[d->n_pads] = tt_pose_turn(&pose, plate->pads[p].at);
            d->middle.x_mm += d->at[d->n_pads].x_mm;
            d->middle.y_mm += d->at[d->n_pads].y_mm;
            pads[d->n_pads++] = p;
        }
    }
    if (d->n_pads == 0) {
        return tt_fail(error, TIPTRUE_E_DATA, plate->file, 0, 0,
                       "state \"pads\", each with its place 'at' and its 'height'",
                       "the plate has no pad in use whose place is stated: no height can be "
                       "planned");
    }
    d->middle.x_mm /= (double)d->n_pads;
    d->middle.y_mm /= (double)d->n_pads;
    for (size_t p = 0; p < d->n_pads; p++) {
        d->reach_mm = fmax(d->reach_mm,
                           hypot(d->at[p].x_mm - d->middle.x_mm, d->at[p].y_mm - d->middle.y_mm));
    }
    return TIPTRUE_OK;
}

/* @each touches of each tip; pad and turn of each into @taken. */
static void choose(const struct design *d, size_t each, size_t (*taken)[2])
{
    for (size_t i = 0; i < d->n_tips * each; i++) { /* one of each tip in turn */
        size_t t = i % d->n_tips, *one = taken[t * each + i / d->n_tips];
        one[0] = one[1] = TT_NONE;
        take_best(d, t, one);
    }
    for (size_t round = 0; round < ROUNDS; round++) {
        bool changed = false;
        for (size_t i = 0; i < d->n_tips * each; i++) {
            size_t before[2] = {taken[i][0], taken[i][1]};
            set_row(d, i / each, before[0], before[1]);
            update(d, -1);
            take_best(d, i / each, taken[i]);
            changed = changed || before[0] != taken[i][0] || before[1] != taken[i][1];
        }
        if (!changed) {
            return;
        }
    }
}

/* Whether the slope will be known, by the rule of adjust/height_worth.c. */
static bool tells_slope(const struct design *d)
{
    const double *c = d->all->c + at_slope(d) * (d->all->n + 1);
    double xx = c[0], xy = c[1], yy = c[d->all->n + 1];

    return d->scene->machine->level_rad.stated ||
           0.5 * (xx + yy) + hypot(0.5 * (xx - yy), xy) < TT_SLOPE_KNOWN_RAD * TT_SLOPE_KNOWN_RAD;
}

/* Variance of height @t, mm2: at the reference mark, or at the pads' middle where the slope is not
 * known. *held: what is left of it when the pads' own errors are known. */
static double height_variance(const struct design *d, size_t t, double *held)
{
    d->row->n = 0;
    put(d, 3 * t, 1);
    if (!tells_slope(d)) {
        put(d, at_slope(d), d->middle.x_mm);
        put(d, at_slope(d) + 1, d->middle.y_mm);
    }
    double variance = *held = tt_running_multiply(d->all, d->row);
    for (size_t p = 0; p < d->n_pads; p++) {
        double u = fmax(d->scene->plate->pads[d->pads[p]].u_mm, LEAST_PAD_U_MM);
        double gain = d->all->column[at_slope(d) + 2 + p] / u;
        *held -= gain * gain;
    }
    *held = fmax(*held, 0);
    return variance;
}

static void expect(const struct design *d, size_t each, struct tt_height_plan *plan)
{
    for (size_t t = 0; t < d->n_tips; t++) {
        const double *c = d->all->c + 3 * t * (d->all->n + 1);
        double held, variance = height_variance(d, t, &held);
        plan->expected[t] = (struct tt_planned_height){
            .tip = d->scene->tips[d->tips[t]],
            .touches = each,
            .u_mm = sqrt(variance),
            .same_plate_u_mm = sqrt(held),
            .u_face_mm = sqrt(fmax(c[d->all->n + 1], c[2 * (d->all->n + 1)]))};
    }
    plan->n_expected = d->n_tips;
    plan->u_slope_x = sqrt(d->all->c[at_slope(d) * (d->all->n + 1)]);
    plan->u_slope_y = sqrt(d->all->c[(at_slope(d) + 1) * (d->all->n + 1)]);
}

enum tiptrue_status tt_plan_heights(const struct tt_scene *scene, const struct tt_height_wish *wish,
                                    struct tt_arena *arena, struct tt_height_plan *plan,
                                    struct tiptrue_error *error)
{
    const size_t *tips = wish->tips;
    size_t n = wish->n, each = wish->each;
    size_t *pads = TT_ARENA_NEW(arena, scene->plate->n_pads, size_t);
    struct tt_running all = {.runout = 2}; /* the gains that it keeps for edges: none */
    struct tt_row row = {.n = 0};
    struct design d = {
        .scene = scene, .tips = tips, .n_tips = n, .pads = pads, .all = &all, .row = &row};
    enum tiptrue_status status =
        pads != NULL ? find_pads(&d, arena, pads, error) : tt_fail_memory(error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    all.n = 3 * n + 2 + d.n_pads;
    all.c = TT_ARENA_NEW(arena, all.n * all.n, double);
    all.column = TT_ARENA_NEW(arena, all.n, double);
    size_t(*taken)[2] = tt_arena_get(arena, n * each, sizeof *taken);
    struct placed *placed = TT_ARENA_NEW(arena, n * each, struct placed);
    plan->probes = TT_ARENA_NEW(arena, n * each, struct tt_height_probe);
    plan->expected = TT_ARENA_NEW(arena, n, struct tt_planned_height);
    if (all.c == NULL || all.column == NULL || taken == NULL || placed == NULL ||
        plan->probes == NULL || plan->expected == NULL) {
        return tt_fail_memory(error);
    }
    set_turns(&d);
    set_priors(&d);
    choose(&d, each, taken);
    for (size_t i = 0; i < n * each; i++) {
        placed[i] =
            (struct placed){.probe = {tips[i / each], pads[taken[i][0]], d.turns[taken[i][1]]},
                            .tip = i / each,
                            .pad = taken[i][0]};
    }
    put_in_order(&d, placed, n * each);
    for (size_t i = 0; i < n * each; i++) {
        plan->probes[plan->n++] = placed[i].probe;
    }
    expect(&d, each, plan);
    return TIPTRUE_OK;
}

double tt_height_probe_place(const struct tt_scene *scene, const struct tt_height_probe *probe,
                             struct tt_machine_xy *head, double *z_mm)
{
    const struct tt_tip *stated = &scene->machine->tips[probe->tip];
    const struct tt_pad *pad = &scene->plate->pads[probe->pad];
    const struct tt_truth_tip tip = {.offset = scene->offsets[probe->tip],
                                     .runout = stated->runout,
                                     .height_mm = stated->height_mm};
    struct tt_pose pose = tt_scene_pose(scene, 0);
    double level = scene->machine->level_rad.stated ? scene->machine->level_rad.value : USUAL_SLOPE;

    *z_mm = tt_descend(&(struct tt_descent){.tip = &tip,
                                            .pad = pad,
                                            .rotation_rad = (scene->machine->clockwise ? -1 : 1) *
                                                            probe->rotation_rad,
                                            .scale = 1},
                       &pose, head);
    return stated->height_mm.stated ? hypot(pad->u_mm, level * hypot(pad->at.x_mm, pad->at.y_mm))
                                    : HUGE_VAL;
}
