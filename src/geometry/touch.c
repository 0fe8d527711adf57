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

double tt_touch_residual(const struct tt_site *site, const struct tt_touch *touch,
                         const struct tt_touch_state *state, struct tt_touch_slope *slope)
{
    double n_x = site->n_x, n_y = site->n_y, c = touch->cos_rotation, s = touch->sin_rotation;
    struct tt_machine_xy e = tt_tip_turn(c, s, state->runout);
    double v_x = touch->h.x_mm + state->offset.x_mm + e.x_mm - state->mark.x_mm;
    double v_y = touch->h.y_mm + state->offset.y_mm + e.y_mm - state->mark.y_mm;
    double rho = state->radius_mm + 0.5 * state->lost_motion_mm * (n_x * n_x - n_y * n_y) -
                 state->latency_s * touch->feed_mm_s;
    double rho_by_psi = 0;

    for (size_t k = 0; k < state->n_orders; k++) {
        double ck, sk, a = state->shape_mm[2 * k], b = state->shape_mm[2 * k + 1];
        tt_touch_shape_angle(site, touch, state->orders[k], &ck, &sk);
        rho += a * ck + b * sk;
        rho_by_psi += state->orders[k] * (b * ck - a * sk);
        slope->shape[2 * k] = -ck;
        slope->shape[2 * k + 1] = -sk;
    }
    /* d n_beta / d beta = (-n_y, n_x); psi turns with beta; (n_x^2 - n_y^2)/2 changes by -2 n_x
     * n_y. */
    slope->yaw_mm = -n_y * v_x + n_x * v_y - rho_by_psi + 2 * state->lost_motion_mm * n_x * n_y;
    slope->runout_x = n_x * c + n_y * s;
    slope->runout_y = n_y * c - n_x * s;
    return n_x * v_x + n_y * v_y - touch->scale * site->d_mm - state->shift_mm -
           site->plate_n_x * state->group_shift.x_mm - site->plate_n_y * state->group_shift.y_mm -
           rho;
}
