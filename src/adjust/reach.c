/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A permitted error that no run on this plate can show to be kept, since the plate's own errors
 * alone exceed it: a finding of check and plan before a run, a reason of the verdict after it. */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"

/* What of the covariance that the verdict uses no touch lessens: the plate's part and what was
 * stated of radius, yaw and place; on the plate that the offset in use was found with, the latter
 * alone. */
static struct tt_cov2 floor_of(const struct tt_view *view, size_t block,
                               const struct tt_tip_result *tip)
{
    const struct tt_cov2 *source = view->tips[block].source;
    static const enum tt_source sources[] = {TT_SOURCE_EDGE,   TT_SOURCE_GROUP, TT_SOURCE_MARK,
                                             TT_SOURCE_RADIUS, TT_SOURCE_YAW,   TT_SOURCE_PLACE};
    struct tt_cov2 sum = {0, 0, 0};

    if (tip->change_on_same_plate) {
        return view->held_tips[block].statement;
    }
    for (size_t i = 0; i < sizeof sources / sizeof sources[0]; i++) {
        sum.xx_mm2 += source[sources[i]].xx_mm2;
        sum.xy_mm2 += source[sources[i]].xy_mm2;
        sum.yy_mm2 += source[sources[i]].yy_mm2;
    }
    return sum;
}

bool tt_is_out_of_reach(const struct tt_view *view, size_t index, double *least_mm)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;
    size_t block = view->model->tip_block[tt_run_tip(view, index)];

    if (!limits->has_permitted_error || block == TT_NONE || !tip->offset_determined_x ||
        !tip->offset_determined_y) {
        return false;
    }
    struct tt_cov2 least = floor_of(view, block, tip);
    *least_mm = tt_factor_line(HUGE_VAL) * sqrt(fmax(least.xx_mm2, least.yy_mm2));
    return tt_p_within(0, 0, least, HUGE_VAL, limits->permitted_error_mm) < TT_CONFORMS;
}

/* What is said of the @index-th tip, into @values. */
enum { REACH_VALUES = 3 };
static void fill_values(const struct tt_view *view, size_t index, double least_mm,
                        struct tt_value values[REACH_VALUES])
{
    bool same = view->solution->tips[index].change_on_same_plate;

    values[0] = TT_TEXT("what", same ? "out-of-reach-on-plate" : "out-of-reach");
    values[1] = TT_IN_MM("permitted", view->machine->limits.permitted_error_mm);
    values[2] = TT_IN_MM("least", least_mm);
}

const struct tt_finding *tt_reach_finding(const struct tt_view *view, size_t index, double least_mm)
{
    struct tt_arena *arena = &view->solution->arena;
    struct tt_finding *made = TT_ARENA_NEW(arena, 1, struct tt_finding);
    struct tt_value *values = TT_ARENA_NEW(arena, REACH_VALUES, struct tt_value);

    if (made == NULL || values == NULL) {
        return NULL;
    }
    fill_values(view, index, least_mm, values);
    *made = (struct tt_finding){.code = TT_FINDING_UNCERTAINTY_OVER,
                                .severity = TIPTRUE_WARNING,
                                .edge = TT_NONE,
                                .tip = tt_run_tip(view, index),
                                .setup = TT_NONE,
                                .values = values,
                                .n_values = REACH_VALUES};
    return made;
}

enum tiptrue_status tt_findings_of_reach(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        struct tt_value values[REACH_VALUES];
        double least_mm;
        if (tt_is_out_of_reach(view, i, &least_mm)) {
            fill_values(view, i, least_mm, values);
            status = tt_finding_add_values(view, TT_FINDING_UNCERTAINTY_OVER, TIPTRUE_WARNING,
                                           TT_ABOUT_TIP(tt_run_tip(view, i)), values, REACH_VALUES);
        }
    }
    return status;
}
