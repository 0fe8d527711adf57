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

/* Residual in mm; *slope (its shape array the caller's) is filled. */
double tt_touch_residual(const struct tt_site *site, const struct tt_touch *touch,
                         const struct tt_touch_state *state, struct tt_touch_slope *slope);

/* cos k psi and sin k psi of a touch at rotation theta, into *c and *s. */
void tt_touch_shape_angle(const struct tt_site *site, const struct tt_touch *touch, unsigned order,
                          double *c, double *s);

#endif
