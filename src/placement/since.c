/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Two boards: what changed on each tip between them, from the scatter of the parts of both. */
#include "config.h"

#include "base/named.h"
#include "placement/placement.h"

#include <math.h>
#include <string.h>

#include "base/distribution.h"
#include "geometry/pose.h"

#define COVERAGE 0.975 /* one side of 95 % */

static const struct tt_placed_tip *find(const struct tiptrue_placement *p, const char *name)
{
    size_t t = TT_NAMED(p->tips, p->n_tips, name);

    return t < p->n_tips ? &p->tips[t] : NULL;
}

static bool is_usable(const struct tt_placed_tip *tip)
{
    return tip != NULL && tip->has_offset && tip->dof >= 1.0;
}

/* @change with the offset of @tip, which counts by @sign, in it; @cov: {xx, xy, yy}. */
static void add(struct tt_board_change *change, double cov[3], const struct tt_placed_tip *tip,
                double sign)
{
    change->offset_mm.x += sign * tip->offset_mm.x;
    change->offset_mm.y += sign * tip->offset_mm.y;
    cov[0] += tip->u_offset_mm.x * tip->u_offset_mm.x;
    cov[1] += tip->offset_cov_mm2;
    cov[2] += tip->u_offset_mm.y * tip->u_offset_mm.y;
}

static void weigh_offset(struct tt_board_change *change, const struct tt_placed_tip *const tips[],
                         size_t n)
{
    double cov[3] = {0, 0, 0}, share = 0;

    for (size_t i = 0; i < n; i++) { /* now, then; of the first tip now, then */
        add(change, cov, tips[i], i == 0 || i == 3 ? 1 : -1);
    }
    for (size_t i = 0; i < n; i++) {
        const double part[3] = {tips[i]->u_offset_mm.x * tips[i]->u_offset_mm.x,
                                tips[i]->offset_cov_mm2,
                                tips[i]->u_offset_mm.y * tips[i]->u_offset_mm.y};
        share += tt_satterthwaite(part, cov, tips[i]->dof);
    }
    double det = cov[0] * cov[2] - cov[1] * cov[1], x = change->offset_mm.x,
           y = change->offset_mm.y;
    change->dof = share > 0 ? 2 / share : HUGE_VAL;
    double factor = tt_student_quantile(COVERAGE, fmin(change->dof, 1e6));
    change->u_offset_mm = (struct tt_pair){sqrt(cov[0]), sqrt(cov[2])};
    change->expanded_offset_mm = (struct tt_pair){factor * sqrt(cov[0]), factor * sqrt(cov[2])};
    change->p_chance =
        det > 0 ? tt_plane_upper((cov[2] * x * x - 2 * cov[1] * x * y + cov[0] * y * y) / det,
                                 change->dof)
                : 1;
}

/* The angle of @now less that of @then. */
static void weigh_angle(struct tt_board_change *change, const struct tt_placed_tip *now,
                        const struct tt_placed_tip *then)
{
    double a = now->u_angle_rad * now->u_angle_rad, b = then->u_angle_rad * then->u_angle_rad;

    if (!now->has_angle || !then->has_angle || !(a + b > 0)) {
        return;
    }
    double dof = (a + b) * (a + b) / (a * a / now->angle_dof + b * b / then->angle_dof);
    change->has_angle = true;
    change->angle_rad = tt_angle_wrap(now->angle_rad - then->angle_rad);
    change->u_angle_rad = sqrt(a + b);
    change->expanded_angle_rad = tt_student_quantile(COVERAGE, dof) * change->u_angle_rad;
    change->p_angle_chance = 2 * tt_student_upper(fabs(change->angle_rad) / sqrt(a + b), dof);
}

/* The tips of both boards, each itself and then over the first one, into @since. */
static void fill(struct tt_board_since *since, const struct tiptrue_placement *now,
                 const struct tiptrue_placement *then)
{
    const struct tt_placed_tip *tips[4] = {NULL, NULL, NULL, NULL};

    for (int over = 0; over < 2; over++) {
        tips[2] = tips[3] = NULL;
        for (size_t t = 0; t < now->n_tips; t++) {
            tips[0] = &now->tips[t];
            tips[1] = find(then, tips[0]->name);
            if (!is_usable(tips[0]) || !is_usable(tips[1])) {
                continue;
            }
            if (over == 0 || tips[2] != NULL) {
                struct tt_board_change *change = &since->changes[since->n_changes++];
                change->tip = tips[0]->name;
                change->over = over == 0 ? NULL : tips[2]->name;
                weigh_offset(change, tips, over == 0 ? 2 : 4);
                if (over == 0) {
                    weigh_angle(change, tips[0], tips[1]);
                }
            } else {
                tips[2] = tips[0];
                tips[3] = tips[1];
            }
        }
    }
}

/* Where offsets count from the mean of the tips, it must be that of the same ones. */
static bool same_tips(const struct tiptrue_placement *now, const struct tiptrue_placement *then)
{
    bool same = now->n_tips == then->n_tips;
    for (size_t t = 0; t < now->n_tips; t++) {
        same = same && find(then, now->tips[t].name) != NULL;
    }
    return same;
}

enum tiptrue_status tiptrue_placement_since(struct tiptrue_placement *placement,
                                            const struct tiptrue_placement *earlier,
                                            struct tiptrue_error *error)
{
    struct tt_arena *arena = &placement->arena;
    struct tt_board_since *since = TT_ARENA_NEW(arena, 1, struct tt_board_since);

    if (placement->relative != earlier->relative || placement->own_frame != earlier->own_frame ||
        (placement->relative && !same_tips(placement, earlier))) {
        return tt_fail(error, TIPTRUE_E_DATA, placement->file, 0, 0,
                       "compare boards in the same frame and, in the frame 'board', with the same "
                       "tips",
                       "what changed since the earlier board cannot be told: offsets of the two do "
                       "not count from the same");
    }
    if (since != NULL) {
        since->changes = TT_ARENA_NEW(arena, 2 * placement->n_tips, struct tt_board_change);
        since->file = tt_arena_copy(arena, earlier->file);
        since->started = tt_arena_copy(arena, earlier->started);
    }
    if (since == NULL || since->changes == NULL || since->file == NULL ||
        (earlier->started != NULL && since->started == NULL)) {
        return tt_fail_memory(error);
    }
    fill(since, placement, earlier);
    placement->since = since;
    return TIPTRUE_OK;
}
