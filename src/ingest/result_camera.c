/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The terms of the run, the camera and the axes of a result. One of an older program has none of
 * the latter. */
#include "config.h"

#include "ingest/result.h"

#include <math.h>

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* What a scale, an angle in degrees, parts in a million and a plain number may be. */
#define MOST_SCALE_MM 1e3
#define MOST_PPM 1e6
#define MOST_NUMBER 1e9

static void read_distortion(struct tt_fields *fields, const cJSON *camera,
                            struct tt_camera_result *to)
{
    static const char *const known[] = {"kappa", "u", "at_corner_px"};
    const cJSON *d = tt_field_object(fields, camera, "camera", "distortion", TT_OPTIONAL);

    if (d == NULL) {
        return;
    }
    tt_field_unknown(fields, d, "distortion", known, COUNT(known));
    to->has_distortion = tt_result_number_in(fields, d, "distortion", "kappa", -MOST_NUMBER,
                                             MOST_NUMBER, &to->kappa);
    (void)tt_result_number_in(fields, d, "distortion", "u", 0, MOST_NUMBER, &to->u_kappa);
    (void)tt_result_number_in(fields, d, "distortion", "at_corner_px", -MOST_NUMBER, MOST_NUMBER,
                              &to->at_corner_px);
}

/* A pair of scales; false where it is null or not whole. */
static bool read_scales(struct tt_fields *fields, const cJSON *camera, const char *key, double *x,
                        double *y)
{
    const cJSON *pair = tt_field_object(fields, camera, "camera", key, TT_OPTIONAL);
    bool good = pair != NULL && tt_result_number_in(fields, pair, key, "x", 0, MOST_SCALE_MM, x);

    return good && tt_result_number_in(fields, pair, key, "y", 0, MOST_SCALE_MM, y);
}

static void read_camera(struct tt_fields *fields, const cJSON *camera, struct tt_camera_result *to)
{
    static const char *const known[] = {
        "views",     "scale_mm_per_px",  "u_scale_mm_per_px", "turn_deg", "u_turn_deg",
        "shear_deg", "u_shear_deg",      "mirrored",          "dof",      "distortion",
        "rms_px",    "off_at_corner_mm", "u_off_at_corner_mm"};

    tt_field_unknown(fields, camera, "camera", known, COUNT(known));
    to->views = tt_result_count(fields, camera, "camera", "views");
    to->determined =
        read_scales(fields, camera, "scale_mm_per_px", &to->scale_x_mm, &to->scale_y_mm) &&
        read_scales(fields, camera, "u_scale_mm_per_px", &to->u_scale_x_mm, &to->u_scale_y_mm);
    to->turn_rad = tt_result_angle(fields, camera, "camera", "turn_deg");
    to->u_turn_rad = tt_result_angle(fields, camera, "camera", "u_turn_deg");
    to->shear_rad = tt_result_angle(fields, camera, "camera", "shear_deg");
    to->u_shear_rad = tt_result_angle(fields, camera, "camera", "u_shear_deg");
    const cJSON *mirrored = tt_field(fields, camera, "camera", "mirrored", TT_OPTIONAL);
    to->mirrored = cJSON_IsTrue(mirrored);
    to->dof = HUGE_VAL;
    (void)tt_result_number_in(fields, camera, "camera", "dof", 0, MOST_NUMBER, &to->dof);
    read_distortion(fields, camera, to);
    (void)tt_result_number_in(fields, camera, "camera", "rms_px", 0, MOST_NUMBER, &to->rms_px);
    to->has_off = tt_result_number_in(fields, camera, "camera", "off_at_corner_mm", 0, MOST_NUMBER,
                                      &to->off_at_corner_mm);
    (void)tt_result_number_in(fields, camera, "camera", "u_off_at_corner_mm", 0, MOST_NUMBER,
                              &to->u_off_at_corner_mm);
}

static void read_axes(struct tt_fields *fields, const cJSON *axes, struct tt_axes_result *to)
{
    static const char *const known[] = {"scale_x_ppm",   "u_scale_x_ppm",   "scale_y_ppm",
                                        "u_scale_y_ppm", "square_mm_per_m", "u_square_mm_per_m"};
    const struct {
        double *value, unit;
    } places[COUNT(known)] = {{&to->scale_x, 1e-6},    {&to->u_scale_x, 1e-6},
                              {&to->scale_y, 1e-6},    {&to->u_scale_y, 1e-6},
                              {&to->square_rad, 1e-3}, {&to->u_square_rad, 1e-3}};

    tt_field_unknown(fields, axes, "axes", known, COUNT(known));
    to->found = true;
    for (size_t k = 0; k < COUNT(known); k++) {
        double read = 0;
        to->found = tt_result_number_in(fields, axes, "axes", known[k], k % 2 == 0 ? -MOST_PPM : 0,
                                        MOST_PPM, &read) &&
                    to->found;
        *places[k].value = read * places[k].unit;
    }
}

static bool read_effect(struct tt_fields *fields, const char *key, const char *value_key,
                        double *value, const char *u_key, double *u)
{
    const cJSON *item = tt_field_object(fields, fields->json.root, "result", key, TT_OPTIONAL);

    return item != NULL && tt_result_number(fields, item, key, value_key, value) &&
           tt_result_number(fields, item, key, u_key, u);
}

void tt_result_read_terms(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const cJSON *root = fields->json.root;
    const cJSON *camera = tt_field_object(fields, root, "result", "camera", TT_OPTIONAL),
                *axes = tt_field_object(fields, root, "result", "axes", TT_OPTIONAL);

    solution->has_lost_motion =
        read_effect(fields, "lost_motion", "value_mm", &solution->lost_motion_mm, "u_mm",
                    &solution->u_lost_motion_mm);
    solution->has_latency = read_effect(fields, "latency", "value_s", &solution->latency_s, "u_s",
                                        &solution->u_latency_s);
    if (camera != NULL) {
        read_camera(fields, camera, &solution->camera);
    }
    if (axes != NULL) {
        read_axes(fields, axes, &solution->axes);
    }
}
