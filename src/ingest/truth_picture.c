/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "ingest/truth_picture.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const struct tt_bounds per_px = {0.0, TT_LARGEST_PIXEL_MM * 1e3, true,
                                        "mm per pixel along the picture's axes, more than 0"};
static const struct tt_bounds any_angle_deg = {-360.0, 360.0, false,
                                               "degrees, counter-clockwise seen from above"};
static const struct tt_bounds kappa_bounds = {-1.0, 1.0, false,
                                              "the share by which the corner is off, -1 to 1"};
static const struct tt_bounds sigma_px = {0.0, 1000.0, false,
                                          "a standard deviation in pixels, 0 or more"};
static const struct tt_bounds ppm = {-1e5, 1e5, false, "parts in a million, -100000 to 100000"};
static const struct tt_bounds mm_per_m = {-100.0, 100.0, false, "mm per m, -100 to 100"};

/* An optional number; 0 unless stated. */
static double number(struct tt_fields *fields, const cJSON *object, const char *what,
                     const char *key, const struct tt_bounds *bounds)
{
    double value = 0.0;
    (void)tt_field_number(fields, object, what, key, TT_OPTIONAL, bounds, &value);
    return value;
}

void tt_truth_read_picture(struct tt_fields *fields, struct tt_truth_camera *camera)
{
    static const char *const known[] = {"scale_mm_per_px", "turn_deg", "shear_deg", "mirrored",
                                        "kappa",           "sigma_px", "note"};
    const cJSON *object =
        tt_field_object(fields, fields->json.root, "truth", "camera", TT_OPTIONAL);

    if (object == NULL) {
        return;
    }
    tt_field_unknown(fields, object, "camera", known, COUNT(known));
    camera->stated =
        tt_field(fields, object, "camera", "scale_mm_per_px", TT_REQUIRED) != NULL &&
        tt_field_pair(fields, object, "camera", "scale_mm_per_px", &per_px, camera->scale_mm);
    camera->turn_rad =
        tt_rad_from_deg(number(fields, object, "camera", "turn_deg", &any_angle_deg));
    camera->shear_rad =
        tt_rad_from_deg(number(fields, object, "camera", "shear_deg", &any_angle_deg));
    camera->kappa = number(fields, object, "camera", "kappa", &kappa_bounds);
    camera->sigma_px.stated = tt_field_number(fields, object, "camera", "sigma_px", TT_OPTIONAL,
                                              &sigma_px, &camera->sigma_px.value);
    const cJSON *mirrored = tt_field(fields, object, "camera", "mirrored", TT_OPTIONAL);
    if (mirrored != NULL && !cJSON_IsBool(mirrored)) {
        tt_field_tell_form(fields, mirrored, "camera", "mirrored", "true or false");
    }
    camera->mirrored = cJSON_IsTrue(mirrored);
}

void tt_truth_read_axes(struct tt_fields *fields, struct tt_truth_axes *axes)
{
    static const char *const known[] = {"scale_x_ppm", "scale_y_ppm", "square_mm_per_m", "note"};
    const cJSON *object = tt_field_object(fields, fields->json.root, "truth", "axes", TT_OPTIONAL);

    if (object == NULL) {
        return;
    }
    tt_field_unknown(fields, object, "axes", known, COUNT(known));
    axes->scale_x = number(fields, object, "axes", "scale_x_ppm", &ppm) * 1e-6;
    axes->scale_y = number(fields, object, "axes", "scale_y_ppm", &ppm) * 1e-6;
    axes->square_rad = number(fields, object, "axes", "square_mm_per_m", &mm_per_m) * 1e-3;
}
