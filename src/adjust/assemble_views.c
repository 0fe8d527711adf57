/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a fit says of the terms of the run, of the picture and of the axes. */
#include "config.h"

#include "adjust/assemble.h"

#include <math.h>

#include "adjust/views.h"

/* A picture whose scale is known worse than this share of itself is not determined: what of it is
 * then known comes from what was assumed (views.c), not from the views. */
#define UNDETERMINED_SHARE 0.03

/* The covariance of two linear functions of unknowns of the border, @f and @g at @at and on. */
static double covariance(const struct tt_model *model, size_t at, size_t n, const double f[],
                         const double g[])
{
    const double *c = model->system.c;
    double sum = 0;

    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            sum += f[i] * c[(at + i) * model->n_border + at + j] * g[j];
        }
    }
    return sum;
}

static double u_of(const struct tt_model *model, size_t at, size_t n, const double f[])
{
    return sqrt(fmax(covariance(model, at, n, f, f), 0));
}

/* Scales and directions of the picture's two axes, with the derivatives by the four numbers. */
static void fill_matrix(const struct tt_model *model, struct tt_camera_result *camera)
{
    size_t at = model->picture.at;
    struct tt_picture_matrix m = tt_picture_matrix(model->x + at);
    double a = m.a[0][0], b = m.a[0][1], c = m.a[1][0], d = m.a[1][1];
    double x = hypot(a, c), y = hypot(b, d);
    const double by_x[4] = {a / x, c / x, a / x, c / x}, by_y[4] = {d / y, -b / y, -d / y, b / y};
    const double by_turn[4] = {-c / (x * x), a / (x * x), -c / (x * x), a / (x * x)};
    /* atan2(d, b): (b dd - d db) / y^2 */
    double up[4] = {b / (y * y), d / (y * y), -b / (y * y), -d / (y * y)};

    camera->scale_x_mm = x;
    camera->scale_y_mm = y;
    camera->u_scale_x_mm = u_of(model, at, 4, by_x);
    camera->u_scale_y_mm = u_of(model, at, 4, by_y);
    camera->turn_rad = atan2(c, a);
    camera->u_turn_rad = u_of(model, at, 4, by_turn);
    camera->mirrored = a * d - b * c < 0;
    double square = camera->mirrored ? -TT_PI / 2 : TT_PI / 2;
    camera->shear_rad = tt_angle_wrap(atan2(d, b) - square - camera->turn_rad);
    for (size_t k = 0; k < 4; k++) {
        up[k] -= by_turn[k];
    }
    camera->u_shear_rad = u_of(model, at, 4, up);
    double share = fmax(camera->u_scale_x_mm / x, camera->u_scale_y_mm / y);
    camera->determined = share < UNDETERMINED_SHARE && camera->u_turn_rad < UNDETERMINED_SHARE;
}

/* How far the stated scale and turn misplace the corner at @v, pixels from the picture's centre. */
static double off_at(const struct tt_view *view, const struct tt_camera_result *camera,
                     const double v[2], double *u_mm)
{
    const struct tt_camera *stated = &view->machine->camera;
    const struct tt_model *model = view->model;
    const struct tt_picture_model *picture = &model->picture;
    struct tt_picture_matrix m = tt_picture_matrix(model->x + picture->at);
    double turn = stated->has_turn ? stated->turn_rad : camera->turn_rad;
    double bend = (v[0] * v[0] + v[1] * v[1]) / (picture->rho_px * picture->rho_px) * camera->kappa;
    double x = stated->scale_mm[0] * v[0],
           y = (stated->mirrored ? -stated->scale_mm[1] : stated->scale_mm[1]) * v[1];
    double off_x =
               (m.a[0][0] * v[0] + m.a[0][1] * v[1]) * (1 + bend) - (cos(turn) * x - sin(turn) * y),
           off_y =
               (m.a[1][0] * v[0] + m.a[1][1] * v[1]) * (1 + bend) - (sin(turn) * x + cos(turn) * y);
    double off = hypot(off_x, off_y), e_x = off > 0 ? off_x / off : 1,
           e_y = off > 0 ? off_y / off : 0;
    double slope[2][4], by[4];

    tt_picture_slope(v[0], v[1], slope);
    for (size_t k = 0; k < 4; k++) {
        by[k] = e_x * slope[0][k] + e_y * slope[1][k];
    }
    *u_mm = u_of(model, picture->at, 4, by);
    return off;
}

/* At the corner where the stated scale and turn are worst, and how well corners are known. */
static void fill_off(const struct tt_view *view, struct tt_camera_result *camera)
{
    const struct tt_camera *stated = &view->machine->camera;

    for (size_t k = 0; k < 4; k++) {
        double v[2], slope[2][4];
        tt_picture_corner(stated, k, v);
        tt_picture_slope(v[0], v[1], slope);
        for (size_t axis = 0; axis < 2; axis++) {
            camera->u_corner_mm = fmax(camera->u_corner_mm,
                                       u_of(view->model, view->model->picture.at, 4, slope[axis]));
        }
        if (!stated->has_scale || !camera->determined) {
            continue;
        }
        double u_mm, off = off_at(view, camera, v, &u_mm);
        if (k == 0 || off > camera->off_at_corner_mm) {
            camera->off_at_corner_mm = off;
            camera->u_off_at_corner_mm = u_mm;
        }
        camera->has_off = true;
    }
}

/* Root mean square of the used views' residuals, in pixels per axis. */
static double rms_px(const struct tt_model *model)
{
    struct tt_picture_matrix m = tt_picture_matrix(model->x + model->picture.at);
    double det = m.a[0][0] * m.a[1][1] - m.a[0][1] * m.a[1][0], sum = 0, n = 0;

    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        const double *r = sight->residual;
        if (sight->view && !(sight->extra_mm2 > 0)) {
            double x = (m.a[1][1] * r[0] - m.a[0][1] * r[1]) / det,
                   y = (m.a[0][0] * r[1] - m.a[1][0] * r[0]) / det;
            sum += x * x + y * y;
            n += 2;
        }
    }
    return n > 0 ? sqrt(sum / n) : 0;
}

static void fill_camera(const struct tt_view *view)
{
    struct tt_camera_result *camera = &view->solution->camera;
    const struct tt_model *model = view->model;
    const struct tt_fit *fit = view->fit;
    size_t at = model->picture.at_kappa;

    if (model->picture.n == 0) {
        return;
    }
    camera->views = model->picture.n;
    fill_matrix(model, camera);
    camera->dof = fmax(fit->dof_view, 1) + (fit->view_scattered ? 0 : fit->noise->view_dof);
    if (at != TT_NONE) {
        camera->kappa = model->x[at];
        camera->u_kappa = sqrt(fmax(model->system.c[at * model->n_border + at], 0));
        camera->at_corner_px = camera->kappa * model->picture.rho_px;
        camera->has_distortion =
            model->terms.distortion || fabs(camera->kappa) > TT_DISTORTION_SHOWN * camera->u_kappa;
    }
    camera->rms_px = camera->determined ? rms_px(model) : 0;
    fill_off(view, camera);
}

/* The value and u of an unknown of the border; false: the model does not hold it. */
static bool fill_term(const struct tt_model *model, size_t at, double *value, double *u)
{
    if (at != TT_NONE) {
        *value = model->x[at];
        *u = sqrt(fmax(model->system.c[at * model->n_border + at], 0));
    }
    return at != TT_NONE;
}

/* The reference mark of setup @k where the machine's own coordinates have it. */
static void report_mark(const struct tt_model *model, const struct tt_axes_result *axes, size_t k,
                        struct tt_pose_result *pose)
{
    size_t nb = model->n_border, at = tt_at_pose(k);
    double y = (pose->mark.y_mm - model->middle.y_mm) / (1 + axes->scale_y),
           x = (pose->mark.x_mm - model->middle.x_mm + axes->square_rad * y) / (1 + axes->scale_x);
    const size_t of[2][3] = {{at, model->at_axis + TT_AXIS_X, model->at_axis + TT_AXIS_SQUARE},
                             {at + 1, model->at_axis + TT_AXIS_Y, at + 1}};
    const double by[2][3] = {{1, -x, y}, {1, -y, 0}};
    double variance[2] = {0, 0};

    for (size_t i = 0; i < 18; i++) {
        size_t axis = i / 9, row = i / 3 % 3, column = i % 3;
        variance[axis] += by[axis][row] * by[axis][column] *
                          model->system.c[of[axis][row] * nb + of[axis][column]];
    }
    pose->mark = (struct tt_machine_xy){model->middle.x_mm + x, model->middle.y_mm + y};
    pose->u_mark_x_mm = sqrt(fmax(variance[0], 0));
    pose->u_mark_y_mm = sqrt(fmax(variance[1], 0));
}

static void fill_axes(const struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    struct tt_axes_result *axes = &s->axes;
    const struct tt_model *model = view->model;

    axes->found = model->terms.axes == TT_AXES_ALL;
    if (axes->found) {
        size_t at = model->at_axis;
        (void)fill_term(model, at + TT_AXIS_X, &axes->scale_x, &axes->u_scale_x);
        (void)fill_term(model, at + TT_AXIS_Y, &axes->scale_y, &axes->u_scale_y);
        (void)fill_term(model, at + TT_AXIS_SQUARE, &axes->square_rad, &axes->u_square_rad);
    }
    for (size_t k = 0; k < s->n_poses && axes->found; k++) {
        report_mark(model, axes, k, &s->poses[k]);
    }
}

void tt_assemble_terms(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    struct tiptrue_solution *s = view->solution;

    s->has_lost_motion =
        fill_term(model, model->at_lost_motion, &s->lost_motion_mm, &s->u_lost_motion_mm);
    s->has_latency = fill_term(model, model->at_latency, &s->latency_s, &s->u_latency_s);
    fill_camera(view);
    fill_axes(view);
}
