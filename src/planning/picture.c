/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* By the definitions of docs/method.md, section 2: A has the columns (scale x) at the turn and
 * (scale y) at the turn, 90 degrees and the shear, the latter turned round where the picture is
 * mirrored.
 */
#include "config.h"

#include "planning/picture.h"

#include <math.h>

/* Steps in which a distortion is undone: each takes the error times some 3 kappa, so that 40 reach
 * the last digit for any kappa of less than a third. */
#define UNBEND_STEPS 40

bool tt_axes_are_off(const struct tt_truth_axes *axes)
{
    return axes->scale_x != 0 || axes->scale_y != 0 || axes->square_rad != 0;
}

struct tt_machine_xy tt_axes_truth(const struct tt_truth_axes *axes, struct tt_machine_xy reported,
                                   struct tt_machine_xy from)
{
    double x = reported.x_mm - from.x_mm, y = reported.y_mm - from.y_mm;

    return (struct tt_machine_xy){from.x_mm + (1 + axes->scale_x) * x - axes->square_rad * y,
                                  from.y_mm + (1 + axes->scale_y) * y};
}

struct tt_machine_xy tt_axes_report(const struct tt_truth_axes *axes, struct tt_machine_xy place,
                                    struct tt_machine_xy from)
{
    double y = (place.y_mm - from.y_mm) / (1 + axes->scale_y),
           x = (place.x_mm - from.x_mm + axes->square_rad * y) / (1 + axes->scale_x);

    return (struct tt_machine_xy){from.x_mm + x, from.y_mm + y};
}

/* a, b, c, d of A = [[a, b], [c, d]]. */
static void matrix_of(const struct tt_truth_camera *truth, double a[4])
{
    double up = truth->turn_rad + TT_PI / 2 + truth->shear_rad,
           y = truth->mirrored ? -truth->scale_mm[1] : truth->scale_mm[1];

    a[0] = truth->scale_mm[0] * cos(truth->turn_rad);
    a[1] = y * cos(up);
    a[2] = truth->scale_mm[0] * sin(truth->turn_rad);
    a[3] = y * sin(up);
}

static double bend(const struct tt_truth_camera *truth, const struct tt_camera *camera, double x,
                   double y)
{
    double rho2 =
        0.25 * (camera->size_px[0] * camera->size_px[0] + camera->size_px[1] * camera->size_px[1]);
    return 1 + truth->kappa * (x * x + y * y) / rho2;
}

struct tt_truth_camera tt_camera_stated(const struct tt_camera *camera)
{
    return (struct tt_truth_camera){.scale_mm = {camera->scale_mm[0], camera->scale_mm[1]},
                                    .turn_rad = camera->turn_rad,
                                    .mirrored = camera->mirrored};
}

struct tt_machine_xy tt_picture_place(const struct tt_truth_camera *truth,
                                      const struct tt_camera *camera, double px, double py)
{
    double a[4], x = px - camera->centre_px[0], y = camera->centre_px[1] - py,
                 factor = bend(truth, camera, x, y);

    matrix_of(truth, a);
    return (struct tt_machine_xy){factor * (a[0] * x + a[1] * y), factor * (a[2] * x + a[3] * y)};
}

void tt_picture_pixel(const struct tt_truth_camera *truth, const struct tt_camera *camera,
                      struct tt_machine_xy place, double *px, double *py)
{
    double a[4];

    matrix_of(truth, a);
    double det = a[0] * a[3] - a[1] * a[2];
    double bent_x = (a[3] * place.x_mm - a[1] * place.y_mm) / det,
           bent_y = (a[0] * place.y_mm - a[2] * place.x_mm) / det, x = bent_x, y = bent_y;
    for (int k = 0; k < UNBEND_STEPS; k++) {
        double factor = bend(truth, camera, x, y);
        x = bent_x / factor;
        y = bent_y / factor;
    }
    *px = camera->centre_px[0] + x;
    *py = camera->centre_px[1] - y;
}
