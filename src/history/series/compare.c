/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/series/compare.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/distribution.h"
#include "history/series/series.h"

/* A difference is called real when one as large comes by chance in fewer cases than this; the level
 * of p_unchanged in a result. */
#define REAL_P 0.05

static bool same_text(const char *a, const char *b)
{
    return a != NULL && b != NULL && strcmp(a, b) == 0;
}

static struct tt_cov2 sum(struct tt_cov2 a, struct tt_cov2 b)
{
    return (struct tt_cov2){a.xx_mm2 + b.xx_mm2, a.xy_mm2 + b.xy_mm2, a.yy_mm2 + b.yy_mm2};
}

/* Effective degrees of freedom of a sum of two scatters with their own. */
static double sum_dof(struct tt_cov2 a, double dof_a, struct tt_cov2 b, double dof_b)
{
    const double whole[] = {a.xx_mm2 + b.xx_mm2, a.xy_mm2 + b.xy_mm2, a.yy_mm2 + b.yy_mm2};
    double share = tt_satterthwaite((double[]){a.xx_mm2, a.xy_mm2, a.yy_mm2}, whole, dof_a) +
                   tt_satterthwaite((double[]){b.xx_mm2, b.xy_mm2, b.yy_mm2}, whole, dof_b);
    return share > 0 ? fmax(2 / share, fmin(dof_a, dof_b)) : HUGE_VAL;
}

/* Degrees of freedom of a radius: its part on the plate is known as the touches' scatter is, the
 * plate's own part is stated. */
static double radius_dof(double u_mm, double same_plate_u_mm, double dof_touch)
{
    double share = u_mm > 0 ? fmin(same_plate_u_mm / u_mm, 1) : 1;
    return dof_touch / pow(share, 4); /* JCGM 100:2008 G.4.1, of one part that is an estimate */
}

/* Degrees of freedom of the touches' scatter in a result; HUGE_VAL = stated. */
static double dof_of_touches(const struct tiptrue_solution *solution)
{
    return solution->has_u_touch ? fmax(solution->dof_touch, 1) : 1;
}

/* Likewise of the touches from above. */
static double dof_of_heights(const struct tiptrue_solution *solution)
{
    return solution->has_u_height ? fmax(solution->dof_height, 1) : 1;
}

static struct tt_difference in_plane(double x, double y, struct tt_cov2 cov, double dof)
{
    struct tt_difference d = {.known = true, .x = x, .y = y, .cov = cov, .dof = dof};
    double det = cov.xx_mm2 * cov.yy_mm2 - cov.xy_mm2 * cov.xy_mm2;

    if (!(det > 0)) {
        return (struct tt_difference){0};
    }
    d.t2 = (cov.yy_mm2 * x * x - 2 * cov.xy_mm2 * x * y + cov.xx_mm2 * y * y) / det;
    d.p = tt_plane_upper(d.t2, dof);
    d.significant = d.p < REAL_P;
    return d;
}

static struct tt_difference on_line(double x, double u_a, double dof_a, double u_b, double dof_b)
{
    double a = u_a * u_a, b = u_b * u_b,
           part = a * a / dof_a + b * b / dof_b; /* JCGM 100:2008 G.4.1 */
    struct tt_difference d = {.known = true,
                              .x = x,
                              .cov = {a + b, 0, 0},
                              .dof = part > 0 ? (a + b) * (a + b) / part : HUGE_VAL};

    if (!(d.cov.xx_mm2 > 0)) {
        return (struct tt_difference){0};
    }
    d.t2 = x * x / d.cov.xx_mm2;
    d.p = 2 * tt_student_upper(sqrt(d.t2), d.dof);
    d.significant = d.p < REAL_P;
    return d;
}

static const struct tt_series_tip *tip_of(const struct tt_series *series, size_t tip)
{
    const struct tt_series_run *run = &series->runs[0];

    for (size_t i = 0; i < run->n_tips; i++) {
        if (run->tips[i].tip == tip) {
            return &run->tips[i];
        }
    }
    return NULL;
}

/* What @solution says of the tip @name; NULL: nothing, since it was not touched. */
static const struct tt_tip_result *result_of(const struct tiptrue_solution *solution,
                                             const char *name)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        if (solution->tips[i].verdict != TIPTRUE_NOT_MEASURED &&
            strcmp(solution->tips[i].name, name) == 0) {
            return &solution->tips[i];
        }
    }
    return NULL;
}

static void add_between(const struct tiptrue_trend *trend, struct tt_tip_comparison *c,
                        struct tt_cov2 *cov, double *dof)
{
    for (size_t i = 0; trend != NULL && i < trend->n_tips; i++) {
        const struct tt_axis_scatter *between = &trend->tips[i].between;
        if (strcmp(trend->tips[i].name, c->name) == 0 &&
            trend->tips[i].runs >= TT_FEWEST_TREND_RUNS) {
            c->has_between = true;
            c->between_x_mm = between->x_mm;
            c->between_y_mm = between->y_mm;
            /* both runs scatter; how much is known no better than from the runs there are */
            struct tt_cov2 both = {2 * between->x_mm * between->x_mm, 0,
                                   2 * between->y_mm * between->y_mm};
            *dof = sum_dof(*cov, *dof, both, fmax(between->dof_x + between->dof_y, 2) / 2);
            *cov = sum(*cov, both);
        }
    }
}

/* A tip in one of the runs. */
struct side {
    const struct tt_series_tip
        *tip; /* the scatter between runs that a history added taken out again */
    const struct tt_tip_result *result;
    double dof_touch, dof_height;
};

/* Two offsets and their covariances as they are compared: both with the plate held, or both in
 * full, never one of each. */
struct pair {
    struct tt_machine_xy a, b;
    struct tt_cov2 cov_a, cov_b, apart;
    double dof_a, dof_b;
};

static struct tt_cov2 less_between(const struct tt_series_tip *run, const struct tt_tip_result *tip)
{
    struct tt_cov2 with = tip->same_plate_cov,
                   without = run->same_plate_cov; /* both of the held solution */

    return (struct tt_cov2){tip->cov.xx_mm2 - (with.xx_mm2 - without.xx_mm2), tip->cov.xy_mm2,
                            tip->cov.yy_mm2 - (with.yy_mm2 - without.yy_mm2)};
}

static struct pair pair_of(const struct tiptrue_solution *of_run_a,
                           const struct tiptrue_solution *of_run_b, const struct side *side_a,
                           const struct side *side_b, bool same_plate)
{
    const struct tt_series_tip *a = side_a->tip, *b = side_b->tip;
    const struct tt_tip_result *of_a = side_a->result, *of_b = side_b->result;

    if (same_plate && of_a->has_held == of_b->has_held) {
        return (struct pair){
            .a = of_a->held,
            .b = of_b->held,
            .cov_a = a->same_plate_cov,
            .cov_b = b->same_plate_cov,
            .apart = tt_plate_apart(tt_effects_of(of_run_a, of_a), tt_effects_of(of_run_b, of_b)),
            .dof_a = of_a->same_plate_dof,
            .dof_b = of_b->same_plate_dof};
    }
    return (struct pair){.a = of_a->offset,
                         .b = of_b->offset,
                         .cov_a = less_between(a, of_a),
                         .cov_b = less_between(b, of_b),
                         .dof_a = of_a->dof,
                         .dof_b = of_b->dof};
}

static struct tt_difference compare_runouts(const struct side *a, const struct side *b)
{
    struct tt_cov2 cov = sum(a->tip->runout_cov, b->tip->runout_cov);

    return in_plane(b->tip->runout.x_mm - a->tip->runout.x_mm,
                    b->tip->runout.y_mm - a->tip->runout.y_mm, cov,
                    sum_dof(a->tip->runout_cov, a->dof_touch, b->tip->runout_cov, b->dof_touch));
}

static struct tt_difference compare_radii(const struct side *a, const struct side *b,
                                          bool same_plate)
{
    double u[2], dof[2];

    for (int k = 0; k < 2; k++) {
        const struct side *side = k == 0 ? a : b;
        u[k] = same_plate ? side->tip->u_radius_mm : side->result->u_contact_radius_mm;
        dof[k] = radius_dof(u[k], side->tip->u_radius_mm, side->dof_touch);
    }
    return on_line(b->tip->radius_mm - a->tip->radius_mm, u[0], dof[0], u[1], dof[1]);
}

/* A height's variance in a run, and its degrees of freedom, the scatter between runs in it. */
static double height_u(const struct side *side, bool same_plate, const struct tt_height_trend *h,
                       double *dof)
{
    double u = same_plate ? side->tip->u_height_mm : side->tip->full_u_height_mm;
    double of_run = radius_dof(u, side->tip->u_height_mm, side->dof_height);

    *dof = of_run;
    if (h == NULL || !(h->between_mm > 0)) {
        return u;
    }
    double between = h->between_mm * h->between_mm, all = u * u + between,
           known = 0.5 * between / (h->u_between_mm * h->u_between_mm),
           part = pow(u, 4) / of_run + between * between / fmax(known, 1);
    *dof = part > 0 ? all * all / part : HUGE_VAL;
    return sqrt(all);
}

static struct tt_difference compare_heights(const struct side *a, const struct side *b,
                                            bool same_plate, const struct tiptrue_trend *trend)
{
    const struct tt_height_trend *h = NULL;
    double dof_a, dof_b;

    if (!a->tip->has_height || !b->tip->has_height || !tt_series_same_place(a->tip, b->tip) ||
        (a->tip->pads != NULL && !same_plate)) {
        return (struct tt_difference){0};
    }
    for (size_t i = 0; trend != NULL && i < trend->n_tips; i++) {
        const struct tt_trend_tip *t = &trend->tips[i];
        bool enough = t->height.n_points >= TT_FEWEST_TREND_RUNS;
        h = enough && strcmp(t->name, a->result->name) == 0 ? &t->height : h;
    }
    double u_a = height_u(a, same_plate, h, &dof_a), u_b = height_u(b, same_plate, h, &dof_b);
    return on_line(b->tip->height_mm - a->tip->height_mm, u_a, dof_a, u_b, dof_b);
}

static bool compare_tip(struct tiptrue_comparison *comparison, const struct pair *pair,
                        const struct side *side_a, const struct side *side_b,
                        const struct tiptrue_trend *trend, struct tt_tip_comparison *c)
{
    const struct tt_series_tip *a = side_a->tip, *b = side_b->tip;
    const struct tt_tip_result *of_a = side_a->result;
    bool plate = comparison->same_plate;

    c->name = tt_arena_copy(&comparison->arena, of_a->name);
    if (c->name == NULL) {
        return false;
    }
    if (a->has_offset && b->has_offset) {
        struct tt_cov2 cov = sum(pair->cov_a, pair->cov_b);
        double dof = sum_dof(pair->cov_a, pair->dof_a, pair->cov_b, pair->dof_b);
        dof = sum_dof(cov, dof, pair->apart, HUGE_VAL);
        cov = sum(cov, pair->apart);
        add_between(trend, c, &cov, &dof);
        c->offset = in_plane(pair->b.x_mm - pair->a.x_mm, pair->b.y_mm - pair->a.y_mm, cov, dof);
    }
    if (a->has_runout && b->has_runout) {
        c->runout = compare_runouts(side_a, side_b);
    }
    if (a->has_radius && b->has_radius) {
        c->radius = compare_radii(side_a, side_b, plate);
    }
    c->height = compare_heights(side_a, side_b, plate, trend);
    return true;
}

static bool copy_run(struct tt_arena *arena, const struct tiptrue_solution *from,
                     struct tt_compared_run *run)
{
    const char *const texts[] = {from->run_id, from->file,         from->machine,
                                 from->plate,  from->plate_serial, from->started};
    const char **to[] = {&run->id,    &run->file,         &run->machine,
                         &run->plate, &run->plate_serial, &run->started};

    run->verdict = from->verdict;
    run->least_squares = from->least_squares;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        *to[i] = tt_arena_copy(arena, texts[i]);
        if (texts[i] != NULL && *to[i] == NULL) {
            return false;
        }
    }
    return true;
}

static bool list_only(struct tiptrue_comparison *comparison, const struct tiptrue_solution *in,
                      const struct tiptrue_solution *not_in, const char ***names, size_t *n)
{
    *names = TT_ARENA_NEW(&comparison->arena, in->n_tips, const char *);
    for (size_t i = 0; *names != NULL && i < in->n_tips; i++) {
        if (in->tips[i].verdict != TIPTRUE_NOT_MEASURED &&
            result_of(not_in, in->tips[i].name) == NULL) {
            (*names)[*n] = tt_arena_copy(&comparison->arena, in->tips[i].name);
            if ((*names)[(*n)++] == NULL) {
                return false;
            }
        }
    }
    return *names != NULL;
}

static bool compare_poses(struct tiptrue_comparison *comparison, const struct tiptrue_solution *a,
                          const struct tiptrue_solution *b)
{
    double dof_a = a->has_u_sighting ? fmax(a->dof_sighting, 1) : 1,
           dof_b = b->has_u_sighting ? fmax(b->dof_sighting, 1) : 1;

    comparison->poses = TT_ARENA_NEW(&comparison->arena, a->n_poses, struct tt_pose_comparison);
    for (size_t i = 0; comparison->poses != NULL && i < a->n_poses; i++) {
        const struct tt_pose_result *p = &a->poses[i];
        for (size_t k = 0; k < b->n_poses; k++) {
            const struct tt_pose_result *q = &b->poses[k];
            if (strcmp(p->setup, q->setup) != 0) {
                continue;
            }
            struct tt_pose_comparison *pose = &comparison->poses[comparison->n_poses++];
            pose->setup = tt_arena_copy(&comparison->arena, p->setup);
            if (pose->setup == NULL) {
                return false;
            }
            if (p->mark_determined && q->mark_determined) {
                struct tt_cov2 of_p = {p->u_mark_x_mm * p->u_mark_x_mm, 0,
                                       p->u_mark_y_mm * p->u_mark_y_mm};
                struct tt_cov2 of_q = {q->u_mark_x_mm * q->u_mark_x_mm, 0,
                                       q->u_mark_y_mm * q->u_mark_y_mm};
                pose->mark = in_plane(q->mark.x_mm - p->mark.x_mm, q->mark.y_mm - p->mark.y_mm,
                                      sum(of_p, of_q), sum_dof(of_p, dof_a, of_q, dof_b));
            }
            if (p->yaw_determined && q->yaw_determined) {
                pose->yaw = on_line(remainder(q->yaw_rad - p->yaw_rad, 2 * TT_PI), p->u_yaw_rad,
                                    dof_a, q->u_yaw_rad, dof_b);
            }
            break; /* one of each name, whatever the document holds */
        }
    }
    return comparison->poses != NULL;
}

static bool compare_tips(struct tiptrue_comparison *comparison, const struct tiptrue_solution *a,
                         const struct tiptrue_solution *b, const struct tiptrue_trend *trend,
                         struct tt_arena *work)
{
    struct tt_series of_a = {.arena = work}, of_b = {.arena = work};

    comparison->tips = TT_ARENA_NEW(&comparison->arena, a->n_tips, struct tt_tip_comparison);
    if (comparison->tips == NULL || tt_series_add(&of_a, a, 0, NULL) != TIPTRUE_OK ||
        tt_series_add(&of_b, b, 0, NULL) != TIPTRUE_OK) {
        return false;
    }
    for (size_t i = 0; i < a->n_tips; i++) {
        const struct tt_tip_result *other = result_of(b, a->tips[i].name);
        if (other == NULL || a->tips[i].verdict == TIPTRUE_NOT_MEASURED) {
            continue;
        }
        size_t in_a = tt_series_tip_index(&of_a, a->tips[i].name),
               in_b = tt_series_tip_index(&of_b, a->tips[i].name);
        if (in_a == TT_NONE || in_b == TT_NONE) {
            return false;
        }
        struct side side_a = {tip_of(&of_a, in_a), &a->tips[i], dof_of_touches(a),
                              dof_of_heights(a)};
        struct side side_b = {tip_of(&of_b, in_b), other, dof_of_touches(b), dof_of_heights(b)};
        struct pair pair = pair_of(a, b, &side_a, &side_b, comparison->same_plate);
        if (!compare_tip(comparison, &pair, &side_a, &side_b, trend,
                         &comparison->tips[comparison->n_tips++])) {
            return false;
        }
    }
    return true;
}

enum tiptrue_status tt_compare(const struct tiptrue_solution *a, const struct tiptrue_solution *b,
                               const struct tiptrue_trend *trend,
                               struct tiptrue_comparison **comparison, struct tiptrue_error *error)
{
    struct tiptrue_comparison *made = calloc(1, sizeof *made);
    struct tt_arena work = {0};
    bool good =
        made != NULL && copy_run(&made->arena, a, &made->a) && copy_run(&made->arena, b, &made->b);

    if (good) {
        made->same_run = same_text(a->run_id, b->run_id);
        made->same_machine = same_text(a->machine, b->machine);
        made->plate_by_name = a->plate_serial == NULL && b->plate_serial == NULL;
        made->same_plate = same_text(a->plate_serial, b->plate_serial) ||
                           (made->plate_by_name && same_text(a->plate, b->plate));
        made->plate_by_name = made->plate_by_name && made->same_plate;
        good = compare_tips(made, a, b, trend, &work) &&
               list_only(made, a, b, &made->only_a, &made->n_only_a) &&
               list_only(made, b, a, &made->only_b, &made->n_only_b) && compare_poses(made, a, b);
    }
    tt_arena_clear(&work);
    if (!good) {
        tiptrue_comparison_free(made);
        return tt_fail_memory(error);
    }
    *comparison = made;
    return TIPTRUE_OK;
}

void tiptrue_comparison_free(struct tiptrue_comparison *comparison)
{
    if (comparison != NULL) {
        tt_arena_clear(&comparison->arena);
        free(comparison);
    }
}
