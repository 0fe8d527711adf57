/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "ingest/camera.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const struct tt_bounds size_px = {1.0, TT_MOST_PIXELS, false, "pixels, 1 to 100000"};
static const struct tt_bounds place_px = {-TT_MOST_PIXELS, TT_MOST_PIXELS, false, "pixels"};
static const struct tt_bounds per_px = {0.0, 1e6, true,
                                        "length per pixel along the picture's axes, more than 0"};
static const struct tt_bounds any_turn_deg = {
    -360.0, 360.0, false,
    "degrees, counter-clockwise seen from above, of the picture's axis to the right"};
static const struct tt_bounds u_of_px = {0.0, 1000.0, true,
                                         "a standard uncertainty in pixels, more than 0"};
static const struct tt_bounds u_of_kappa = {
    0.0, 1.0, true, "a standard uncertainty of the share by which the corner is off, more than 0"};
static const struct tt_bounds dof_bounds = {1.0, 1e9, false, "degrees of freedom, 1 or more"};

/* The scale in mm per pixel, whatever the file's units; a pixel that is larger than any is warned
 * of. */
static void read_scale(struct tt_fields *fields, const cJSON *object, struct tt_camera *camera)
{
    camera->has_scale =
        tt_field_pair(fields, object, "camera", "scale_mm_per_px", &per_px, camera->scale_mm);
    for (int k = 0; k < 2 && camera->has_scale; k++) {
        tt_field_warn_large(fields, object, "camera", "scale_mm_per_px", camera->scale_mm[k],
                            TT_LARGEST_PIXEL_MM);
    }
}

void tt_camera_read(struct tt_fields *fields, const cJSON *root, struct tt_camera *camera)
{
    static const char *const known[] = {"size_px", "centre_px", "scale_mm_per_px", "turn_deg",
                                        "u_px",    "dof",       "kappa_u",         "note"};
    const cJSON *object = tt_field_object(fields, root, "machine", "camera", TT_OPTIONAL);
    double turn_deg = 0.0;

    if (object == NULL) {
        return;
    }
    tt_field_unknown(fields, object, "camera", known, COUNT(known));
    if (tt_field(fields, object, "camera", "size_px", TT_REQUIRED) != NULL) {
        camera->present =
            tt_field_pair(fields, object, "camera", "size_px", &size_px, camera->size_px);
    }
    if (!tt_field_pair(fields, object, "camera", "centre_px", &place_px, camera->centre_px)) {
        camera->centre_px[0] = 0.5 * camera->size_px[0];
        camera->centre_px[1] = 0.5 * camera->size_px[1];
    }
    read_scale(fields, object, camera);
    camera->has_turn = tt_field_number(fields, object, "camera", "turn_deg", TT_OPTIONAL,
                                       &any_turn_deg, &turn_deg);
    camera->turn_rad = tt_rad_from_deg(turn_deg);
    (void)tt_field_number(fields, object, "camera", "u_px", TT_OPTIONAL, &u_of_px, &camera->u_px);
    (void)tt_field_number(fields, object, "camera", "dof", TT_OPTIONAL, &dof_bounds, &camera->dof);
    (void)tt_field_number(fields, object, "camera", "kappa_u", TT_OPTIONAL, &u_of_kappa,
                          &camera->u_kappa);
}
