/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Heights and surfaces of tiptrue.result/1. Results of earlier versions have none. */
#include "config.h"

#include "ingest/result.h"

#include <math.h>

static void read_face(struct tt_fields *fields, const cJSON *object, const char *what,
                      struct tt_height_result *height)
{
    const cJSON *face = tt_field_object(fields, object, what, "face_runout", TT_OPTIONAL);

    height->has_face_runout = face != NULL;
    if (face == NULL) {
        return;
    }
    tt_result_number_in(fields, face, what, "amplitude_mm", 0, HUGE_VAL,
                        &height->face_amplitude_mm);
    tt_result_number_in(fields, face, what, "u_mm", 0, HUGE_VAL, &height->u_face_amplitude_mm);
    height->face_angle_rad = tt_result_angle(fields, face, what, "angle_deg");
    height->face_runout =
        (struct tt_tip_xy){height->face_amplitude_mm * cos(height->face_angle_rad),
                           height->face_amplitude_mm * sin(height->face_angle_rad)};
}

static void read_judged(struct tt_fields *fields, const cJSON *object, const char *what,
                        struct tt_height_result *height)
{
    const cJSON *conformity = tt_field_object(fields, object, what, "conformity", TT_OPTIONAL);

    height->has_present = tt_result_number(fields, object, what, "present_mm", &height->present_mm);
    tt_result_number(fields, object, what, "change_mm", &height->change_mm);
    tt_result_number_in(fields, object, what, "p_unchanged", 0, 1, &height->p_unchanged);
    if (conformity != NULL) {
        height->has_conformity = tt_result_number(fields, conformity, what, "permitted_error_mm",
                                                  &height->permitted_error_mm);
        tt_result_number_in(fields, conformity, what, "probability", 0, 1, &height->p_conforming);
    }
    const cJSON *verdict = tt_field(fields, object, what, "verdict", TT_OPTIONAL);
    height->has_verdict = verdict != NULL;
    height->verdict = height->has_verdict
                          ? tt_result_verdict(fields, object, "verdict", what, false)
                          : TIPTRUE_KEEP;
}

void tt_result_read_height(struct tt_fields *fields, const cJSON *tip, const char *what,
                           struct tt_tip_result *made)
{
    const cJSON *object = tt_field_object(fields, tip, what, "height", TT_OPTIONAL);

    if (object == NULL) {
        return;
    }
    struct tt_height_result *height = TT_ARENA_NEW(fields->arena, 1, struct tt_height_result);
    made->height = height;
    if (height == NULL) {
        fields->out_of_memory = true;
        return;
    }
    height->determined = tt_result_number(fields, object, what, "value_mm", &height->value_mm);
    tt_result_number_in(fields, object, what, "u_mm", 0, HUGE_VAL, &height->u_mm);
    tt_result_number_in(fields, object, what, "expanded_mm", 0, HUGE_VAL, &height->expanded_mm);
    height->dof = HUGE_VAL;
    tt_result_number(fields, object, what, "dof", &height->dof);
    tt_result_number(fields, object, what, "factor", &height->factor);
    const cJSON *same = tt_field_object(fields, object, what, "same_plate", TT_OPTIONAL);
    if (same != NULL) {
        tt_result_number_in(fields, same, what, "u_mm", 0, HUGE_VAL, &height->same_plate_u_mm);
        tt_result_number_in(fields, same, what, "expanded_mm", 0, HUGE_VAL,
                            &height->same_plate_expanded_mm);
    }
    const cJSON *touches = tt_field_object(fields, object, what, "touches", TT_OPTIONAL);
    if (touches != NULL) {
        height->touches = tt_result_count(fields, touches, what, "read");
        height->used = tt_result_count(fields, touches, what, "used");
    }
    read_face(fields, object, what, height);
    read_judged(fields, object, what, height);
}

static void read_pads(struct tt_fields *fields, const cJSON *object,
                      struct tt_surface_result *surface)
{
    const char *what = "pad of the result";
    size_t n;
    const cJSON *array = tt_result_array(fields, object, "surface", "pads", &n);

    surface->pads = TT_ARENA_NEW(fields->arena, n, struct tt_pad_result);
    fields->out_of_memory = fields->out_of_memory || surface->pads == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL && surface->pads != NULL;
         item = item->next) {
        struct tt_pad_result *pad = &surface->pads[surface->n_pads++];
        pad->name = tt_field_text(fields, item, what, "pad", TT_REQUIRED);
        pad->touches = tt_result_count(fields, item, what, "touches");
        pad->used = tt_result_count(fields, item, what, "used");
        tt_result_number(fields, item, what, "mean_residual_mm", &pad->mean_residual_mm);
        tt_result_number(fields, item, what, "shift_mm", &pad->shift_mm);
        tt_result_number_in(fields, item, what, "u_shift_mm", 0, HUGE_VAL, &pad->u_shift_mm);
    }
}

void tt_result_read_surface(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const char *what = "surface of the result";
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "surface", &n);

    solution->surface = TT_ARENA_NEW(fields->arena, n, struct tt_surface_result);
    fields->out_of_memory = fields->out_of_memory || solution->surface == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL && solution->surface != NULL;
         item = item->next) {
        struct tt_surface_result *surface = &solution->surface[solution->n_surface++];
        struct tt_result_xy slope = tt_result_xy(fields, item, what, "slope_mm_per_m"),
                            u = tt_result_xy(fields, item, what, "u_slope_mm_per_m");
        surface->setup = tt_field_text(fields, item, what, "setup", TT_REQUIRED);
        surface->slope_determined = slope.has_x && slope.has_y;
        surface->slope_x = 1e-3 * slope.x;
        surface->slope_y = 1e-3 * slope.y;
        surface->u_slope_x = 1e-3 * u.x;
        surface->u_slope_y = 1e-3 * u.y;
        read_pads(fields, item, surface);
    }
}
