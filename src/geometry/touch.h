/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The touch equation and its derivatives.
 *
 *   n_beta . (h + o + R(theta) e - m) = s d + shift + n . g + rho(psi),
 *   rho(psi) = r + lambda (n_x^2 - n_y^2)/2 - tau f + sum_k (a_k cos k psi + b_k sin k psi),  psi =
 * arg(-n_beta) - theta
 *
 * symbol    quantity                                        unit     frame
 * h         head position                                   mm       machine
 * o, e      offset, runout at rotation 0                    mm       machine, tip
 * m, beta   reference mark, yaw                             mm, rad  machine
 * n, d      edge normal to the free side, its distance      1, mm    plate (n_beta: turned into the
 * machine frame) s         thermal scale                                   1 shift, g  edge's own
 * shift along n, its group's shift     mm       plate r         contact radius mm lambda    contact
 * radius on X less that on Y              mm       machine tau, f    latch latency, feed s, mm/s
 * a_k, b_k  shape of the tip, k >= 2                        mm       tip
 *
 * The residual is the left side less the right side: negative is late (deeper into the conductor).
 * Linear in everything but beta.
 */
#ifndef TT_GEOMETRY_TOUCH_H
#define TT_GEOMETRY_TOUCH_H

#include <stddef.h>

#include "geometry/pose.h"

#define TT_MOST_ORDER 6 /* highest shape order k that is looked for */

/* What all touches on one edge in one pose share. */
struct tt_site {
    double n_x, n_y; /* n_beta */
    double plate_n_x, plate_n_y;
    double d_mm;
};

/* One touch. */
struct tt_touch {
    struct tt_machine_xy h;
    double cos_rotation,
        sin_rotation; /* theta, counter-clockwise seen from above (the machine's sense applied) */
    double scale;     /* s */
    double feed_mm_s; /* f, 0 = not stated */
};

/* The unknowns that a touch sees. */
struct tt_touch_state {
    struct tt_machine_xy mark, offset;
    struct tt_tip_xy runout;
    struct tt_plate_xy group_shift;
    double shift_mm, radius_mm, lost_motion_mm, latency_s;
    const double *shape_mm; /* a, b of each order in turn, or NULL */
    const unsigned *orders;
    size_t n_orders;
};

/* The derivatives that differ from touch to touch; those by o, m, g, shift, r, lambda, tau are
 * n_beta, -n_beta, -n, -1, -1,
 * -(n_x^2 - n_y^2)/2 and f: the same for all touches of a site. */
struct tt_touch_slope {
    double yaw_mm;             /* by beta, mm per rad */
    double runout_x, runout_y; /* by e */
    double *shape; /* by a, b of each order in turn: 2 n_orders numbers; NULL when n_orders is 0 */
};

struct tt_site tt_site_make(const struct tt_pose *pose, double plate_n_x, double plate_n_y,
                            double d_mm);

/* cos k psi and sin k psi of a touch at rotation theta, into *c and *s. */
void tt_touch_shape_angle(const struct tt_site *site, const struct tt_touch *touch, unsigned order,
                          double *c, double *s);

/* Residual in mm; *slope (its shape array the caller's) is filled. */
static inline double tt_touch_residual(const struct tt_site *site, const struct tt_touch *touch,
                                       const struct tt_touch_state *state,
                                       struct tt_touch_slope *slope)
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

#endif
