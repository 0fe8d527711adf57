/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "geometry/pose.h"

#include <math.h>

struct tt_pose tt_pose_make(struct tt_machine_xy mark, double yaw_rad)
{
    return (struct tt_pose){
        .mark = mark, .yaw_rad = yaw_rad, .cos_yaw = cos(yaw_rad), .sin_yaw = sin(yaw_rad)};
}

struct tt_machine_xy tt_pose_turn(const struct tt_pose *pose, struct tt_plate_xy v)
{
    return (struct tt_machine_xy){pose->cos_yaw * v.x_mm - pose->sin_yaw * v.y_mm,
                                  pose->sin_yaw * v.x_mm + pose->cos_yaw * v.y_mm};
}

struct tt_machine_xy tt_pose_place(const struct tt_pose *pose, double scale, struct tt_plate_xy at)
{
    struct tt_machine_xy arm = tt_pose_turn(pose, at);
    return (struct tt_machine_xy){pose->mark.x_mm + scale * arm.x_mm,
                                  pose->mark.y_mm + scale * arm.y_mm};
}

struct tt_plate_xy tt_pose_back(const struct tt_pose *pose, struct tt_machine_xy q)
{
    double x_mm = q.x_mm - pose->mark.x_mm, y_mm = q.y_mm - pose->mark.y_mm;

    return (struct tt_plate_xy){pose->cos_yaw * x_mm + pose->sin_yaw * y_mm,
                                -pose->sin_yaw * x_mm + pose->cos_yaw * y_mm};
}

enum tiptrue_status tt_pose_fit(const struct tt_plate_xy plate[],
                                const struct tt_machine_xy machine[], const double scales[],
                                size_t n, double resolution_mm, struct tt_pose *pose)
{
    struct tt_plate_xy u = {0, 0};
    struct tt_machine_xy q = {0, 0};
    double cross = 0, dot = 0, spread = 0, count = (double)n;

    if (n < 2) {
        return TIPTRUE_E_DEGENERATE;
    }
    for (size_t i = 0; i < n; i++) {
        u.x_mm += scales[i] * plate[i].x_mm / count;
        u.y_mm += scales[i] * plate[i].y_mm / count;
        q.x_mm += machine[i].x_mm / count;
        q.y_mm += machine[i].y_mm / count;
    }
    for (size_t i = 0; i < n; i++) {
        double a_x = scales[i] * plate[i].x_mm - u.x_mm, a_y = scales[i] * plate[i].y_mm - u.y_mm;
        double b_x = machine[i].x_mm - q.x_mm, b_y = machine[i].y_mm - q.y_mm;
        dot += a_x * b_x + a_y * b_y;
        cross += a_x * b_y - a_y * b_x;
        spread = fmax(spread, hypot(a_x, a_y));
    }
    if (!(spread > resolution_mm) || (dot == 0 && cross == 0)) {
        return TIPTRUE_E_DEGENERATE;
    }
    struct tt_pose turned = tt_pose_make((struct tt_machine_xy){0, 0}, atan2(cross, dot));
    struct tt_machine_xy arm = tt_pose_turn(&turned, u);
    turned.mark.x_mm = q.x_mm - arm.x_mm;
    turned.mark.y_mm = q.y_mm - arm.y_mm;
    *pose = turned;
    return TIPTRUE_OK;
}

double tt_angle_wrap(double angle_rad)
{
    double wrapped = remainder(angle_rad, 2 * TT_PI);
    return wrapped <= -TT_PI ? wrapped + 2 * TT_PI : wrapped;
}
