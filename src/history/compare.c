/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "history/compare.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/distribution.h"
#include "base/number.h"
#include "history/series.h"
#include "history/words.h"

/* A difference is called real when one as large comes by chance in fewer cases than this; the level of p_unchanged in a result. */
#define REAL_P 0.05

static bool same_text(const char *a, const char *b)
{
    return a != NULL && b != NULL && strcmp(a, b) == 0;
}

static struct tt_cov2 sum(struct tt_cov2 a, struct tt_cov2 b)
{
    return (struct tt_cov2){a.xx_mm2 + b.xx_mm2, a.xy_mm2 + b.xy_mm2, a.yy_mm2 + b.yy_mm2};
}

static double trace(struct tt_cov2 a)
{
    return a.xx_mm2 + a.yy_mm2;
}

/* Effective degrees of freedom of a sum of two scatters with their own. */
static double sum_dof(struct tt_cov2 a, double dof_a, struct tt_cov2 b, double dof_b)
{
    double whole = trace(a) + trace(b), part = trace(a) * trace(a) / dof_a + trace(b) * trace(b) / dof_b;
    return part > 0 ? whole * whole / part : HUGE_VAL;
}

/* Student's distribution in the plane; for infinite degrees of freedom the normal one. */
static double p_plane(double t2, double dof)
{
    return dof < 1e6 ? exp(-0.5 * dof * log1p(t2 / dof)) : exp(-0.5 * t2);
}

static struct tt_difference in_plane(double x, double y, struct tt_cov2 cov, double dof)
{
    struct tt_difference d = {.known = true, .x = x, .y = y, .cov = cov, .dof = dof};
    double det = cov.xx_mm2 * cov.yy_mm2 - cov.xy_mm2 * cov.xy_mm2;

    if (!(det > 0)) {
        return (struct tt_difference){0};
    }
    d.t2 = (cov.yy_mm2 * x * x - 2 * cov.xy_mm2 * x * y + cov.xx_mm2 * y * y) / det;
    d.p = p_plane(d.t2, dof);
    d.significant = d.p < REAL_P;
    return d;
}

static struct tt_difference on_line(double x, double u_a, double u_b)
{
    struct tt_difference d = {.known = true, .x = x, .cov = {u_a * u_a + u_b * u_b, 0, 0}, .dof = HUGE_VAL};

    if (!(d.cov.xx_mm2 > 0)) {
        return (struct tt_difference){0};
    }
    d.t2 = x * x / d.cov.xx_mm2;
    d.p = tt_chi2_upper(d.t2, 1);
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

static const struct tt_tip_result *result_of(const struct tiptrue_solution *solution, const char *name)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        if (strcmp(solution->tips[i].name, name) == 0) {
            return &solution->tips[i];
        }
    }
    return NULL;
}

static void add_between(const struct tiptrue_trend *trend, struct tt_tip_comparison *c, struct tt_cov2 *cov, double *dof)
{
    for (size_t i = 0; trend != NULL && i < trend->n_tips; i++) {
        const struct tt_axis_scatter *between = &trend->tips[i].between;
        if (strcmp(trend->tips[i].name, c->name) == 0 && trend->tips[i].runs >= TT_FEWEST_TREND_RUNS) {
            c->has_between = true;
            c->between_x_mm = between->x_mm;
            c->between_y_mm = between->y_mm;
            /* both runs scatter; how much is known no better than from the runs there are */
            struct tt_cov2 both = {2 * between->x_mm * between->x_mm, 0, 2 * between->y_mm * between->y_mm};
            *dof = sum_dof(*cov, *dof, both, fmax(between->dof_x + between->dof_y, 2) / 2);
            *cov = sum(*cov, both);
        }
    }
}

static void put_pair(struct tt_buffer *b, const struct tt_difference *d)
{
    tt_words_shift(b, d->x, d->y, sqrt(d->cov.xx_mm2), sqrt(d->cov.yy_mm2));
}

static void put_p(struct tt_buffer *b, double p)
{
    if (p < 0.001) {
        tt_buffer_puts(b, "under 0.1 %");
    } else {
        tt_number_write_fixed(b, 100 * p, p < 0.0995 ? 1 : 0, false);
        tt_buffer_puts(b, " %");
    }
}

static const char *say(struct tiptrue_comparison *comparison, const struct tt_tip_comparison *c)
{
    struct tt_buffer b = {0};

    if (!c->offset.known) {
        tt_buffer_printf(&b, "%s: one of the runs does not determine its offset", c->name);
    } else {
        tt_buffer_printf(&b, "%s: ", c->name);
        tt_buffer_puts(&b, c->offset.significant ? "its offset moved by " : "no real difference of its offset: ");
        put_pair(&b, &c->offset);
        tt_buffer_puts(&b, c->offset.significant ? "; by chance a difference as large comes in " : " or more comes by chance in ");
        put_p(&b, c->offset.p);
        tt_buffer_puts(&b, " of pairs of runs");
        if (c->runout.known && c->runout.significant) {
            tt_buffer_puts(&b, "; its runout moved by ");
            put_pair(&b, &c->runout);
        }
        if (c->radius.known && c->radius.significant) {
            tt_buffer_puts(&b, "; its contact radius changed by ");
            tt_words_um_pm(&b, c->radius.x, sqrt(c->radius.cov.xx_mm2));
            tt_buffer_puts(&b, " \xc2\xb5m");
        }
    }
    const char *text = b.failed ? NULL : tt_arena_copy_text(&comparison->arena, b.text, b.length);
    tt_buffer_clear(&b);
    return text;
}

/* @a and @b: the tip in one run and in the other, the scatter between runs that a history added taken out again. */
static bool compare_tip(struct tiptrue_comparison *comparison, const struct tt_series_tip *a, const struct tt_series_tip *b,
                        const struct tt_tip_result *of_a, const struct tt_tip_result *of_b, const struct tiptrue_trend *trend,
                        struct tt_tip_comparison *c)
{
    bool plate = comparison->same_plate;

    c->name = tt_arena_copy_text(&comparison->arena, of_a->name, strlen(of_a->name));
    if (c->name == NULL) {
        return false;
    }
    if (a->has_offset && b->has_offset) {
        struct tt_cov2 cov_a = plate ? a->same_plate_cov : a->cov, cov_b = plate ? b->same_plate_cov : b->cov;
        double dof = sum_dof(cov_a, plate ? of_a->same_plate_dof : of_a->dof, cov_b, plate ? of_b->same_plate_dof : of_b->dof);
        struct tt_cov2 cov = sum(cov_a, cov_b);
        add_between(trend, c, &cov, &dof);
        c->offset = in_plane(b->offset.x_mm - a->offset.x_mm, b->offset.y_mm - a->offset.y_mm, cov, dof);
    }
    if (a->has_runout && b->has_runout) {
        c->runout =
            in_plane(b->runout.x_mm - a->runout.x_mm, b->runout.y_mm - a->runout.y_mm, sum(a->runout_cov, b->runout_cov), HUGE_VAL);
    }
    if (a->has_radius && b->has_radius) {
        c->radius = on_line(b->radius_mm - a->radius_mm, plate ? a->u_radius_mm : of_a->u_contact_radius_mm,
                            plate ? b->u_radius_mm : of_b->u_contact_radius_mm);
    }
    c->text = say(comparison, c);
    return c->text != NULL;
}

static bool copy_run(struct tt_arena *arena, const struct tiptrue_solution *from, struct tt_compared_run *run)
{
    const char *const texts[] = {from->run_id, from->file, from->machine, from->plate, from->plate_serial, from->started};
    const char **to[] = {&run->id, &run->file, &run->machine, &run->plate, &run->plate_serial, &run->started};

    run->verdict = from->verdict;
    run->least_squares = from->least_squares;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        *to[i] = texts[i] != NULL ? tt_arena_copy_text(arena, texts[i], strlen(texts[i])) : NULL;
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
        if (result_of(not_in, in->tips[i].name) == NULL) {
            (*names)[*n] = tt_arena_copy_text(&comparison->arena, in->tips[i].name, strlen(in->tips[i].name));
            if ((*names)[(*n)++] == NULL) {
                return false;
            }
        }
    }
    return *names != NULL;
}

static bool compare_poses(struct tiptrue_comparison *comparison, const struct tiptrue_solution *a, const struct tiptrue_solution *b)
{
    comparison->poses = TT_ARENA_NEW(&comparison->arena, a->n_poses, struct tt_pose_comparison);
    for (size_t i = 0; comparison->poses != NULL && i < a->n_poses; i++) {
        const struct tt_pose_result *p = &a->poses[i];
        for (size_t k = 0; k < b->n_poses; k++) {
            const struct tt_pose_result *q = &b->poses[k];
            if (strcmp(p->setup, q->setup) != 0) {
                continue;
            }
            struct tt_pose_comparison *pose = &comparison->poses[comparison->n_poses++];
            pose->setup = tt_arena_copy_text(&comparison->arena, p->setup, strlen(p->setup));
            if (pose->setup == NULL) {
                return false;
            }
            if (p->mark_determined && q->mark_determined) {
                struct tt_cov2 cov = {p->u_mark_x_mm * p->u_mark_x_mm + q->u_mark_x_mm * q->u_mark_x_mm, 0,
                                      p->u_mark_y_mm * p->u_mark_y_mm + q->u_mark_y_mm * q->u_mark_y_mm};
                pose->mark = in_plane(q->mark.x_mm - p->mark.x_mm, q->mark.y_mm - p->mark.y_mm, cov, HUGE_VAL);
            }
            if (p->yaw_determined && q->yaw_determined) {
                pose->yaw = on_line(remainder(q->yaw_rad - p->yaw_rad, 2 * TT_PI), p->u_yaw_rad, q->u_yaw_rad);
            }
        }
    }
    return comparison->poses != NULL;
}

static bool compare_tips(struct tiptrue_comparison *comparison, const struct tiptrue_solution *a, const struct tiptrue_solution *b,
                         const struct tiptrue_trend *trend, struct tt_arena *work)
{
    struct tt_series of_a = {.arena = work}, of_b = {.arena = work};

    comparison->tips = TT_ARENA_NEW(&comparison->arena, a->n_tips, struct tt_tip_comparison);
    if (comparison->tips == NULL || tt_series_add(&of_a, a, 0, NULL) != TIPTRUE_OK ||
        tt_series_add(&of_b, b, 0, NULL) != TIPTRUE_OK) {
        return false;
    }
    for (size_t i = 0; i < a->n_tips; i++) {
        const struct tt_tip_result *other = result_of(b, a->tips[i].name);
        if (other == NULL) {
            continue;
        }
        size_t in_a = tt_series_tip_index(&of_a, a->tips[i].name), in_b = tt_series_tip_index(&of_b, a->tips[i].name);
        if (in_a == TT_NONE || in_b == TT_NONE ||
            !compare_tip(comparison, tip_of(&of_a, in_a), tip_of(&of_b, in_b), &a->tips[i], other, trend,
                         &comparison->tips[comparison->n_tips++])) {
            return false;
        }
    }
    return true;
}

enum tiptrue_status tt_compare(const struct tiptrue_solution *a, const struct tiptrue_solution *b,
                               const struct tiptrue_trend *trend, struct tiptrue_comparison **comparison,
                               struct tiptrue_error *error)
{
    struct tiptrue_comparison *made = calloc(1, sizeof *made);
    struct tt_arena work = {0};
    bool good = made != NULL && copy_run(&made->arena, a, &made->a) && copy_run(&made->arena, b, &made->b);

    if (good) {
        made->same_run = same_text(a->run_id, b->run_id);
        made->same_machine = same_text(a->machine, b->machine);
        made->plate_by_name = a->plate_serial == NULL && b->plate_serial == NULL;
        made->same_plate = same_text(a->plate_serial, b->plate_serial) || (made->plate_by_name && same_text(a->plate, b->plate));
        made->plate_by_name = made->plate_by_name && made->same_plate;
        good = compare_tips(made, a, b, trend, &work) && list_only(made, a, b, &made->only_a, &made->n_only_a) &&
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
