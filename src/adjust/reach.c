/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A permitted error that no run on this plate can show to be kept, since the plate's own errors
 * alone exceed it: a finding of check and plan before a run, a reason of the verdict after it. */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"
#include "model/words.h"

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

static const char *remedy(const struct tt_tip_result *tip)
{
    return tip->change_on_same_plate
               ? "state radius, yaw or place of the mark better, or sight marks and touch facing "
                 "edges"
               : "measure the plate, add a second setup with the plate turned by 180 deg, or state "
                 "'offset_plate' where the offset in use was found with this plate";
}

bool tt_is_out_of_reach(const struct tt_view *view, size_t index, struct tt_buffer *text)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;
    size_t block = view->model->tip_block[tt_run_tip(view, index)];

    if (!limits->has_permitted_error || block == TT_NONE || !tip->offset_determined_x ||
        !tip->offset_determined_y) {
        return false;
    }
    struct tt_cov2 least = floor_of(view, block, tip);
    if (tt_p_within(0, 0, least, HUGE_VAL, limits->permitted_error_mm) >= TT_CONFORMS) {
        return false;
    }
    tt_buffer_printf(
        text, "no run on this plate can show that the offset of '%s' is within the permitted ",
        tip->name);
    tt_words_um(text, limits->permitted_error_mm);
    tt_buffer_puts(text, ": what no touch lessens makes its uncertainty ");
    tt_words_um(text, tt_factor_line(HUGE_VAL) * sqrt(fmax(least.xx_mm2, least.yy_mm2)));
    tt_buffer_printf(text, " (95 %%); %s", remedy(tip));
    return true;
}

enum tiptrue_status tt_findings_of_reach(struct tt_view *view, struct tt_buffer *text)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        struct tt_about about = {TT_NONE, tt_run_tip(view, i), TT_NONE, NULL, 0};
        if (tt_is_out_of_reach(view, i, text)) {
            status =
                tt_finding_add(view, TT_FINDING_UNCERTAINTY_OVER, TIPTRUE_WARNING, about, text);
        }
    }
    return status;
}
