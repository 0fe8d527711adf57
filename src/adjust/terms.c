/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The terms of an explanation, with arrays of their own; what modes add to them. */
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

/* ---- modes ---- */

/* What each kind of mode adds to the terms. */
typedef void add_of(struct tt_terms *terms, const struct tt_model *model,
                    const struct tt_mode *mode);

/* What is stated of an edge, a mark, a radius or a sighting is widened. */
static void add_extra(struct tt_terms *terms, const struct tt_model *model,
                      const struct tt_mode *mode)
{
    double *const extra[TT_MODE_KINDS] = {
        [TT_MODE_FILM] = terms->edge_extra_mm,    [TT_MODE_EDGE] = terms->edge_extra_mm,
        [TT_MODE_SIGHT] = terms->sight_extra_mm,  [TT_MODE_SIGHT_GROSS] = terms->sight_extra_mm,
        [TT_MODE_MARK] = terms->mark_extra_mm,    [TT_MODE_MARK_GROSS] = terms->mark_extra_mm,
        [TT_MODE_RADIUS] = terms->radius_extra_mm};

    (void)model;
    extra[mode->kind][mode->index] = tt_mode_size(mode->kind);
}

static void add_radii(struct tt_terms *terms, const struct tt_model *model,
                      const struct tt_mode *mode)
{
    for (size_t b = 0; b < model->n_blocks; b++) {
        terms->radius_extra_mm[model->block_tip[b]] = tt_mode_size(mode->kind);
    }
}

static void add_edge_out(struct tt_terms *terms, const struct tt_model *model,
                         const struct tt_mode *mode)
{
    (void)model;
    terms->edge_out[mode->index] = true;
}

static void add_moved(struct tt_terms *terms, const struct tt_model *model,
                      const struct tt_mode *mode)
{
    (void)model;
    terms->moved_at = mode->index;
    terms->mover = mode->kind == TT_MODE_MOVED_FAR ? TT_MOVER_PLATE_FAR
                   : mode->kind == TT_MODE_CAMERA  ? TT_MOVER_CAMERA
                   : mode->kind == TT_MODE_TIP     ? TT_MOVER_TIP
                                                   : TT_MOVER_PLATE;
    terms->moved_tip = mode->tip;
}

static void add_slip(struct tt_terms *terms, const struct tt_model *model,
                     const struct tt_mode *mode)
{
    (void)model;
    terms->slipped_at = mode->index;
    terms->slipped_tip = mode->tip;
}

static void add_shape(struct tt_terms *terms, const struct tt_model *model,
                      const struct tt_mode *mode)
{
    terms->orders[model->tip_block[mode->index]] |= 1U << mode->order;
}

static void add_turned(struct tt_terms *terms, const struct tt_model *model,
                       const struct tt_mode *mode)
{
    (void)model;
    terms->yaw_free[mode->index] = true;
    terms->turned_rad[mode->index] = mode->order * TT_PI / 2;
}

/* Modes that are on or off. */
static void add_whole(struct tt_terms *terms, const struct tt_model *model,
                      const struct tt_mode *mode)
{
    (void)model;
    terms->drift = terms->drift || mode->kind == TT_MODE_DRIFT;
    terms->lost_motion = terms->lost_motion || mode->kind == TT_MODE_LOST_MOTION;
    terms->latency = terms->latency || mode->kind == TT_MODE_LATENCY;
    terms->reversed = terms->reversed || mode->kind == TT_MODE_REVERSED;
    terms->distortion = terms->distortion || mode->kind == TT_MODE_DISTORTION;
}

static void add_axes(struct tt_terms *terms, const struct tt_model *model,
                     const struct tt_mode *mode)
{
    (void)model;
    bool alone = mode->kind == TT_MODE_AXIS_X || mode->kind == TT_MODE_AXIS_Y,
         scale = mode->kind == TT_MODE_SCALE || mode->kind == TT_MODE_SCALE_FAR;

    terms->axes_far = alone || mode->kind == TT_MODE_SCALE_FAR;
    terms->far_axis = mode->kind == TT_MODE_AXIS_Y ? TT_AXIS_Y : TT_AXIS_X;
    terms->axes = mode->kind == TT_MODE_NOT_SQUARE ? TT_AXES_NOT_SQUARE
                  : scale                          ? TT_AXES_SCALE
                                                   : TT_AXES_ALL;
}

void tt_mode_add(struct tt_terms *terms, const struct tt_model *model, const struct tt_mode *mode)
{
    static add_of *const ADD[TT_MODE_KINDS] = {
        [TT_MODE_FILM] = add_extra,        [TT_MODE_EDGE] = add_extra,
        [TT_MODE_EDGE_OUT] = add_edge_out, [TT_MODE_SIGHT] = add_extra,
        [TT_MODE_MARK] = add_extra,        [TT_MODE_SIGHT_GROSS] = add_extra,
        [TT_MODE_MARK_GROSS] = add_extra,  [TT_MODE_RADIUS] = add_extra,
        [TT_MODE_MOVED] = add_moved,       [TT_MODE_SLIP] = add_slip,
        [TT_MODE_DRIFT] = add_whole,       [TT_MODE_LOST_MOTION] = add_whole,
        [TT_MODE_LATENCY] = add_whole,     [TT_MODE_SHAPE] = add_shape,
        [TT_MODE_REVERSED] = add_whole,    [TT_MODE_NOT_SQUARE] = add_axes,
        [TT_MODE_SCALE] = add_axes,        [TT_MODE_AXES] = add_axes,
        [TT_MODE_DISTORTION] = add_whole,  [TT_MODE_TURNED] = add_turned,
        [TT_MODE_RADII] = add_radii,       [TT_MODE_MOVED_FAR] = add_moved,
        [TT_MODE_SCALE_FAR] = add_axes,    [TT_MODE_AXIS_X] = add_axes,
        [TT_MODE_AXIS_Y] = add_axes,       [TT_MODE_CAMERA] = add_moved,
        [TT_MODE_TIP] = add_moved,
    };

    ADD[mode->kind](terms, model, mode);
}
