/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The circle through points. All work is done about the centroid in units of the points' root mean
 * square distance from it, so that neither the place on the machine nor the size costs digits. A
 * circle is carried as one of its points, the normal there and the curvature, in which a straight
 * line is nothing special (N. Chernov, Circular and Linear Regression, 2010, ch. 3): with centre
 * and radius the iteration would crawl on a short arc and never pass from one side of it to the
 * other. Both fits gather their equations row by row in a triangle by plane rotations: no normal
 * equations, whose squared condition a short arc would not survive. Linear in n; allocates nothing.
 */
#include "config.h"

#include "geometry/circle.h"

#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdbool.h>

#include "geometry/line.h"
#include "geometry/points.h"

/* Gauss-Newton steps before the points are refused: simulated arcs of 3 to 360 degrees took at most
 * 20 where the arc is five times as high as the points scatter, 75 at three times; only points that
 * are all scatter take longer. Doubled, a few more of those would get a circle that means nothing.
 */
#define MOST_STEPS 200

/* Halvings of a step that leads to no real circle: 2^-24 of it is no step any more. */
#define MOST_HALVINGS 24

/* The upper triangle of a least-squares system of three unknowns; column 3 is the right-hand side.
 */
struct triangle {
    double a[3][4];
};

static void triangle_add(struct triangle *triangle, const double new_row[4])
{
    double row[4] = {new_row[0], new_row[1], new_row[2], new_row[3]};
    for (size_t k = 0; k < 3; k++) {
        const double length = hypot(triangle->a[k][k], row[k]);
        if (length > 0) {
            const double c = triangle->a[k][k] / length;
            const double s = row[k] / length;
            for (size_t j = k; j < 4; j++) {
                const double kept = c * triangle->a[k][j] + s * row[j];
                row[j] = c * row[j] - s * triangle->a[k][j];
                triangle->a[k][j] = kept;
            }
        }
    }
}

/* *solution is not finite where the system is singular. */
static void triangle_solve(const struct triangle *triangle, double solution[3])
{
    for (size_t k = 3; k-- > 0;) {
        double sum = triangle->a[k][3];
        for (size_t j = k + 1; j < 3; j++) {
            sum -= triangle->a[k][j] * solution[j];
        }
        solution[k] = sum / triangle->a[k][k];
    }
}

/* jacobian * (normal matrix)^-1 * jacobian transposed, from the columns of the inverse triangle. */
static void triangle_cofactors(const struct triangle *triangle, const double jacobian[3][3],
                               double cofactors[3][3])
{
    double root[3][3];
    for (size_t k = 0; k < 3; k++) {
        struct triangle unit = *triangle;
        for (size_t j = 0; j < 3; j++) {
            unit.a[j][3] = j == k ? 1 : 0;
        }
        double column[3];
        triangle_solve(&unit, column);
        for (size_t i = 0; i < 3; i++) {
            root[i][k] = jacobian[i][0] * column[0] + jacobian[i][1] * column[1] +
                         jacobian[i][2] * column[2];
        }
    }
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            cofactors[i][j] =
                root[i][0] * root[j][0] + root[i][1] * root[j][1] + root[i][2] * root[j][2];
        }
    }
}

/* The points, and the frame in which they are fitted. */
struct task {
    const struct tt_machine_xy *points;
    size_t n;
    struct tt_points_summary about;
    double least_height_mm; /* of an arc that can be told from a straight line */
};

static struct task task_of(const struct tt_machine_xy points[], size_t n, double resolution_mm)
{
    struct task task = {.points = points, .n = n, .about = tt_points_summarize(points, n)};
    task.least_height_mm = fmax(resolution_mm, 4 * task.about.rounding_mm);
    return task;
}

/* Point @i in the task's frame. */
struct place {
    double x, y;
};

static struct place place_of(const struct task *task, size_t i)
{
    return (struct place){
        .x = (task->points[i].x_mm - task->about.centroid.x_mm) / task->about.rms_mm,
        .y = (task->points[i].y_mm - task->about.centroid.y_mm) / task->about.rms_mm,
    };
}

/* Whether the points lie within least_height_mm on one place or in a straight strip, or so far
 * apart that their squares overflow. Without a direction (evenly spread points, for one) they are
 * no strip. */
static bool is_flat(const struct task *task)
{
    if (task->about.reach_mm <= task->least_height_mm || !isfinite(task->about.rms_mm)) {
        return true;
    }
    struct tt_line line;
    if (tt_line_fit(task->points, task->n, 0, &line) != TIPTRUE_OK) {
        return false;
    }
    const double c = cos(line.normal_angle_rad);
    const double s = sin(line.normal_angle_rad);
    double lowest = HUGE_VAL;
    double highest = -HUGE_VAL;
    for (size_t i = 0; i < task->n; i++) {
        const struct place place = place_of(task, i);
        lowest = fmin(lowest, c * place.x + s * place.y);
        highest = fmax(highest, c * place.x + s * place.y);
    }
    return (highest - lowest) * task->about.rms_mm <= task->least_height_mm;
}

/* A circle in the task's frame: bend (u^2 + v^2) + u = 0 with u and v counted from @foot, along and
 * across the normal. */
struct arc {
    struct place foot;
    double normal_rad;
    double bend; /* half the curvature; the centre is at foot - normal / (2 bend) */
};

/* Whether the arc passes the points' own extent as straight as a line: its height there, extent^2 *
 * bend / 4, is less than a quarter of least_height_mm, which is_flat has tried the points
 * themselves against. */
static bool arc_is_line(const struct task *task, struct arc arc)
{
    const double reach = task->about.reach_mm / task->about.rms_mm;
    return 4 * reach * reach * fabs(arc.bend) * task->about.rms_mm < task->least_height_mm;
}

/* The circle @bend (x^2 + y^2) + @slope (x cos + y sin of @normal_rad) + @level = 0 about @origin,
 * where slope^2 - 4 bend level = 1: its foot is the point nearest to the origin. */
static struct arc arc_about(struct place origin, double bend, double slope, double normal_rad,
                            double level)
{
    const double off = 2 * level / (1 + slope);
    return (struct arc){
        .foot = {.x = origin.x - off * cos(normal_rad), .y = origin.y - off * sin(normal_rad)},
        .normal_rad = normal_rad,
        .bend = bend,
    };
}

/* Where a point lies with regard to an arc. */
struct bearing {
    double u, v;     /* from the foot, along and across the normal */
    double distance; /* from the arc, positive on the normal's side */
    double ratio;    /* distance from the centre, in units of the radius */
};

/* With P = bend (u^2 + v^2) + u = distance (1 + bend distance) and ratio = 1 + 2 bend distance:
 * stable for a line too. */
static struct bearing bearing_of(struct arc arc, struct place place)
{
    const double c = cos(arc.normal_rad);
    const double s = sin(arc.normal_rad);
    const double x = place.x - arc.foot.x;
    const double y = place.y - arc.foot.y;
    struct bearing bearing = {.u = c * x + s * y, .v = c * y - s * x};
    const double power = arc.bend * (x * x + y * y) + bearing.u;
    bearing.ratio = sqrt(fmax(0, 1 + 4 * arc.bend * power));
    bearing.distance = 2 * power / (1 + bearing.ratio);
    return bearing;
}

/* G. Taubin, IEEE Trans. PAMI 13 (1991) 1115-1138: a (z - 1) / 2 + b x + c y = 0, z = x^2 + y^2,
 * whose mean is 1 in this frame; the vector (a, b, c) of unit length that leaves the least sum of
 * squares is the last right singular vector. */
static bool fit_taubin(const struct task *task, struct arc *arc)
{
    struct triangle triangle = {0};
    for (size_t i = 0; i < task->n; i++) {
        const struct place place = place_of(task, i);
        triangle_add(&triangle, (const double[4]){(place.x * place.x + place.y * place.y - 1) / 2,
                                                  place.x, place.y, 0});
    }
    double square[9];
    for (size_t i = 0; i < 9; i++) {
        square[i] = triangle.a[i / 3][i % 3];
    }
    double right[9];
    double singular[3];
    gsl_matrix_view square_view = gsl_matrix_view_array(square, 3, 3);
    gsl_matrix_view right_view = gsl_matrix_view_array(right, 3, 3);
    gsl_vector_view singular_view = gsl_vector_view_array(singular, 3);
    if (gsl_linalg_SV_decomp_jacobi(&square_view.matrix, &right_view.matrix,
                                    &singular_view.vector) != GSL_SUCCESS) {
        return false;
    }
    const double a = right[2];
    const double b = right[5];
    const double c = right[8];
    *arc = arc_about((struct place){0}, a / 2, hypot(b, c), atan2(c, b), -a / 2);
    return true;
}

/* The distances linearised at @arc. The unknowns are what is to be added to the bend, to the level
 * at the foot (which is 0), and to the normal's angle. A point on the centre has no direction to it
 * and no say. */
static struct triangle linearise(const struct task *task, struct arc arc)
{
    struct triangle triangle = {0};
    for (size_t i = 0; i < task->n; i++) {
        const struct bearing at = bearing_of(arc, place_of(task, i));
        if (at.ratio > 0) {
            triangle_add(&triangle,
                         (const double[4]){
                             (at.u * at.u + at.v * at.v - at.distance * at.distance) / at.ratio,
                             (1 + 2 * arc.bend * at.u) / at.ratio, at.v / at.ratio, -at.distance});
        }
    }
    return triangle;
}

/* One Gauss-Newton step, halved until what it leads to is a real circle; no other control was
 * needed in a million sets of random points. Returns the length of the step made, NaN if there is
 * none. */
static double step_down(const struct task *task, struct arc *arc)
{
    const struct triangle triangle = linearise(task, *arc);
    double step[3];
    triangle_solve(&triangle, step);
    for (int halvings = 0; halvings < MOST_HALVINGS; halvings++) {
        const double bend = arc->bend + step[0];
        const double slope2 = 1 + 4 * bend * step[1];
        if (slope2 > 0) {
            *arc = arc_about(arc->foot, bend, sqrt(slope2), arc->normal_rad + step[2], step[1]);
            return hypot(hypot(step[0], step[1]), step[2]);
        }
        for (size_t i = 0; i < 3; i++) {
            step[i] /= 2;
        }
    }
    return (double)NAN;
}

/* From the algebraic circle to the geometric one, until the steps are rounding: n terms of relative
 * size epsilon, each from a handful of operations. */
static bool fit_geometric(const struct task *task, struct arc *arc)
{
    const double rounding = 16 * DBL_EPSILON * sqrt((double)task->n);
    double step = HUGE_VAL;
    for (int steps = 0; steps < MOST_STEPS && step > rounding; steps++) {
        step = step_down(task, arc);
    }
    return step <= rounding && !arc_is_line(task, *arc);
}

/* Centre and radius; the covariance is left 0. */
static struct tt_circle circle_of(const struct task *task, struct arc arc)
{
    const double scale_mm = task->about.rms_mm;
    const double radius = 1 / (2 * arc.bend);
    return (struct tt_circle){
        .centre.x_mm =
            task->about.centroid.x_mm + (arc.foot.x - radius * cos(arc.normal_rad)) * scale_mm,
        .centre.y_mm =
            task->about.centroid.y_mm + (arc.foot.y - radius * sin(arc.normal_rad)) * scale_mm,
        .radius_mm = fabs(radius) * scale_mm,
    };
}

static double sum_of_squares(const struct task *task, struct arc arc)
{
    double sum = 0;
    for (size_t i = 0; i < task->n; i++) {
        const double distance = bearing_of(arc, place_of(task, i)).distance;
        sum += distance * distance;
    }
    return sum;
}

/* From (bend, level, angle of the normal) to (x, y, radius), whose differentials follow from centre
 * = foot - normal * radius. */
static void enter_covariance(const struct task *task, struct arc arc, struct tt_circle *circle)
{
    const double scale_mm = task->about.rms_mm;
    const double c = cos(arc.normal_rad);
    const double s = sin(arc.normal_rad);
    const double radius = 1 / (2 * arc.bend);
    const double per_bend = -2 * radius * radius;
    const double jacobian[3][3] = {
        {-c * per_bend, -c, s * radius},
        {-s * per_bend, -s, -c * radius},
        {arc.bend > 0 ? per_bend : -per_bend, 0, 0},
    };
    const struct triangle triangle = linearise(task, arc);
    circle->rms_mm = scale_mm * sqrt(sum_of_squares(task, arc) / (double)(task->n - 3));
    triangle_cofactors(&triangle, jacobian, circle->cov_mm2);
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            circle->cov_mm2[i][j] *= circle->rms_mm * circle->rms_mm;
        }
    }
}

enum tiptrue_status tt_circle_fit_algebraic(const struct tt_machine_xy points[], size_t n,
                                            double resolution_mm, struct tt_circle *circle)
{
    if (n < 3) {
        return TIPTRUE_E_DEGENERATE;
    }
    const struct task task = task_of(points, n, resolution_mm);
    struct arc arc;
    if (is_flat(&task) || !fit_taubin(&task, &arc) || arc_is_line(&task, arc)) {
        return TIPTRUE_E_DEGENERATE;
    }
    *circle = circle_of(&task, arc);
    return TIPTRUE_OK;
}

enum tiptrue_status tt_circle_fit(const struct tt_machine_xy points[], size_t n,
                                  double resolution_mm, struct tt_circle *circle)
{
    if (n < 3) {
        return TIPTRUE_E_DEGENERATE;
    }
    const struct task task = task_of(points, n, resolution_mm);
    struct arc arc;
    if (is_flat(&task) || !fit_taubin(&task, &arc) || !fit_geometric(&task, &arc)) {
        return TIPTRUE_E_DEGENERATE;
    }
    struct tt_circle fit = circle_of(&task, arc);
    if (n > 3) {
        enter_covariance(&task, arc, &fit);
    }
    *circle = fit;
    return TIPTRUE_OK;
}
