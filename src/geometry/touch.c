/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "geometry/touch.h"

struct tt_site tt_site_make(const struct tt_pose *pose, double plate_n_x, double plate_n_y,
                            double d_mm)
{
    struct tt_machine_xy n = tt_pose_turn(pose, (struct tt_plate_xy){plate_n_x, plate_n_y});
    return (struct tt_site){
        .n_x = n.x_mm, .n_y = n.y_mm, .plate_n_x = plate_n_x, .plate_n_y = plate_n_y, .d_mm = d_mm};
}

void tt_touch_shape_angle(const struct tt_site *site, const struct tt_touch *touch, unsigned order,
                          double *c, double *s)
{
    /* The contact lies from the tip's centre in the direction -n_beta; seen from the tip it has
     * turned back by theta. */
    double c1 = -(site->n_x * touch->cos_rotation + site->n_y * touch->sin_rotation);
    double s1 = -(site->n_y * touch->cos_rotation - site->n_x * touch->sin_rotation);
    double ck = c1, sk = s1;

    for (unsigned k = 1; k < order; k++) {
        double next = ck * c1 - sk * s1;
        sk = sk * c1 + ck * s1;
        ck = next;
    }
    *c = ck;
    *s = sk;
}
