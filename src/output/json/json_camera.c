/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The picture and the axes of a solution. */
#include "config.h"

#include "output/json/json_camera.h"

#include <math.h>

/* {"x": ..., "y": ...}, or null where @good is false. */
static void put_pair(struct tt_json *json, const char *key, bool good, double x, double y)
{
    tt_json_key(json, key);
    if (!good) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_number(json, "x", x);
    tt_json_key_number(json, "y", y);
    tt_json_close(json, '}');
}

static void put_distortion(struct tt_json *json, const struct tt_camera_result *camera)
{
    tt_json_key(json, "distortion");
    if (!camera->has_distortion) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_number(json, "kappa", camera->kappa);
    tt_json_key_number(json, "u", camera->u_kappa);
    tt_json_key_number(json, "at_corner_px", camera->at_corner_px);
    tt_json_close(json, '}');
}

void tt_json_camera(struct tt_json *json, const struct tt_camera_result *camera)
{
    bool good = camera->determined;

    tt_json_key(json, "camera");
    if (camera->views == 0) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_count(json, "views", camera->views);
    put_pair(json, "scale_mm_per_px", good, camera->scale_x_mm, camera->scale_y_mm);
    put_pair(json, "u_scale_mm_per_px", good, camera->u_scale_x_mm, camera->u_scale_y_mm);
    tt_json_key_fixed_if(json, "turn_deg", good, tt_deg_from_rad(camera->turn_rad));
    tt_json_key_fixed_if(json, "u_turn_deg", good, tt_deg_from_rad(camera->u_turn_rad));
    tt_json_key_fixed_if(json, "shear_deg", good, tt_deg_from_rad(camera->shear_rad));
    tt_json_key_fixed_if(json, "u_shear_deg", good, tt_deg_from_rad(camera->u_shear_rad));
    tt_json_key(json, "mirrored");
    if (good) {
        tt_json_bool(json, camera->mirrored);
    } else {
        tt_json_null(json);
    }
    tt_json_key_fixed_if(json, "dof", good && camera->dof < HUGE_VAL, camera->dof);
    put_distortion(json, camera);
    tt_json_key_fixed_if(json, "rms_px", good, camera->rms_px);
    tt_json_key_fixed_if(json, "off_at_corner_mm", camera->has_off, camera->off_at_corner_mm);
    tt_json_key_fixed_if(json, "u_off_at_corner_mm", camera->has_off, camera->u_off_at_corner_mm);
    tt_json_close(json, '}');
}

/* Shares of one million. */
static void put_ppm(struct tt_json *json, const char *key, double share)
{
    double ppm = share * 1e6;
    tt_json_key_fixed(json, key, ppm);
}

void tt_json_axes(struct tt_json *json, const struct tt_axes_result *axes)
{
    tt_json_key(json, "axes");
    if (!axes->found) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    put_ppm(json, "scale_x_ppm", axes->scale_x);
    put_ppm(json, "u_scale_x_ppm", axes->u_scale_x);
    put_ppm(json, "scale_y_ppm", axes->scale_y);
    put_ppm(json, "u_scale_y_ppm", axes->u_scale_y);
    double square = axes->square_rad * 1e3, u_square = axes->u_square_rad * 1e3; /* mm per m */
    tt_json_key_fixed(json, "square_mm_per_m", square);
    tt_json_key_fixed(json, "u_square_mm_per_m", u_square);
    tt_json_close(json, '}');
}
