/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings against the limits that the machine file states. */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"

static enum tiptrue_status runout_over(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;

    if (!limits->has_runout || !tip->runout_determined ||
        !(tip->eccentricity_mm > limits->runout_mm)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_RUNOUT_OVER, TIPTRUE_ERROR,
                                 TT_ABOUT_TIP(tt_run_tip(view, index)),
                                 TT_VALUES(TT_IN_MM("found", tip->eccentricity_mm),
                                           TT_IN_MM("indicator_movement", 2 * tip->eccentricity_mm),
                                           TT_IN_MM("limit", limits->runout_mm)));
}

/* What most of the uncertainty is of: the largest budget line; @same_plate: of those that are not
 * the plate's. */
static const char *largest_part(const struct tt_tip_result *tip, bool same_plate)
{
    const struct tt_budget_line *largest = NULL;
    double most = 0;

    for (size_t i = 0; i < tip->n_budget; i++) {
        double size = hypot(tip->budget[i].u_x_mm, tip->budget[i].u_y_mm);
        if (size > most && !(same_plate && tip->budget[i].of_plate)) {
            most = size;
            largest = &tip->budget[i];
        }
    }
    return largest == NULL        ? "nothing"
           : largest->of_plate    ? "plate"
           : largest->type == 'A' ? "scatter"
                                  : "stated";
}

static double same_plate_mm(const struct tt_tip_result *tip)
{
    return fmax(tip->same_plate_expanded_x_mm, tip->same_plate_expanded_y_mm);
}

/* What an uncertainty is held against. */
struct bound {
    bool same_plate; /* which one of the tip's is held against it */
    const char *name;
    double limit_mm;
    enum tiptrue_severity severity;
};

static double held_mm(const struct tt_tip_result *tip, bool same_plate)
{
    return same_plate ? same_plate_mm(tip) : fmax(tip->expanded_x_mm, tip->expanded_y_mm);
}

static enum tiptrue_status add_uncertainty(struct tt_view *view, size_t index, struct bound bound)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];

    return tt_finding_add_values(
        view, TT_FINDING_UNCERTAINTY_OVER, bound.severity, TT_ABOUT_TIP(tt_run_tip(view, index)),
        TT_VALUES(TT_TEXT("what", bound.name), TT_TEXT("on", bound.same_plate ? "plate" : ""),
                  TT_IN_MM("found", held_mm(tip, bound.same_plate)),
                  TT_IN_MM("limit", bound.limit_mm),
                  TT_TEXT("most_is", largest_part(tip, bound.same_plate))));
}

/* Whether it was said already that the offset rests on what was stated, and what would help. */
static bool is_prior_bound(const struct tt_view *view, size_t index)
{
    size_t run_tip = tt_run_tip(view, index);

    for (size_t i = 0; i < view->solution->n_findings; i++) {
        const struct tt_finding *finding = &view->solution->findings[i];
        if (finding->code == TT_FINDING_PRIOR_BOUND &&
            (finding->tip == run_tip || finding->tip == TT_NONE)) {
            return true;
        }
    }
    return false;
}

/* Over the stated limit, by the uncertainty that the verdict uses (on the same plate where the
 * offset in use is of it): an error. Over the permitted error even on the same plate: then no such
 * run can show an offset to be good enough, and no verdict is keep; that, and what would help, is a
 * warning. Where only the plate's own errors forbid it now, a run can show it once the offset in
 * use is of this plate. */
static enum tiptrue_status uncertainty_over(struct tt_view *view, size_t index)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;
    const struct bound limit = {tip->change_on_same_plate, "limit", limits->expanded_mm,
                                TIPTRUE_ERROR};
    const struct bound permitted = {true, "permitted-error", limits->permitted_error_mm,
                                    TIPTRUE_WARNING};

    if (!tip->offset_determined_x || !tip->offset_determined_y) {
        return TIPTRUE_OK;
    }
    if (limits->has_expanded && held_mm(tip, limit.same_plate) > limit.limit_mm) {
        return add_uncertainty(view, index, limit);
    }
    if (limits->has_permitted_error && held_mm(tip, true) > permitted.limit_mm &&
        !is_prior_bound(view, index)) {
        return add_uncertainty(view, index, permitted);
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_findings_of_limits(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        status = runout_over(view, i);
        if (status == TIPTRUE_OK) {
            status = uncertainty_over(view, i);
        }
    }
    return status;
}
