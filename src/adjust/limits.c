/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings against the limits that the machine file states. */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"
#include "model/words.h"

static enum tiptrue_status runout_over(struct tt_view *view, size_t index, struct tt_buffer *text)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;

    if (!limits->has_runout || !tip->runout_determined || !(tip->eccentricity_mm > limits->runout_mm)) {
        return TIPTRUE_OK;
    }
    tt_buffer_printf(text, "the runout of '%s' is ", tip->name);
    tt_words_um_over(text, tip->eccentricity_mm, limits->runout_mm);
    tt_buffer_puts(text, " (full indicator movement ");
    tt_words_um(text, 2 * tip->eccentricity_mm);
    tt_buffer_puts(text, "), over the limit of ");
    tt_words_um(text, limits->runout_mm);
    tt_buffer_puts(text, ": the tip is bent or not seated; seat or change it");
    return tt_finding_add(view, TT_FINDING_RUNOUT_OVER, TIPTRUE_WARNING,
                          (struct tt_about){TT_NONE, tt_run_tip(view, index), TT_NONE, NULL, 0}, text);
}

/* What of the largest budget line can be done about. */
static const char *advice(const struct tt_tip_result *tip)
{
    const struct tt_budget_line *largest = NULL;
    double most = 0;

    for (size_t i = 0; i < tip->n_budget; i++) {
        double size = hypot(tip->budget[i].u_x_mm, tip->budget[i].u_y_mm);
        if (size > most) {
            most = size;
            largest = &tip->budget[i];
        }
    }
    if (largest == NULL) {
        return "touch more often";
    }
    return largest->of_plate
               ? "most of it is the plate's own: measure the plate, or add a second setup with the plate turned by 180 deg"
           : largest->type == 'A' ? "most of it is scatter: touch more often, and clean tip and edges"
                                  : "most of it is a stated value: touch what would replace it, or state it better";
}

static enum tiptrue_status uncertainty_over(struct tt_view *view, size_t index, struct tt_buffer *text)
{
    const struct tt_tip_result *tip = &view->solution->tips[index];
    const struct tt_limits *limits = &view->machine->limits;
    double expanded = fmax(tip->expanded_x_mm, tip->expanded_y_mm);

    if (!limits->has_expanded || !tip->offset_determined_x || !tip->offset_determined_y || !(expanded > limits->expanded_mm)) {
        return TIPTRUE_OK;
    }
    tt_buffer_printf(text, "the expanded uncertainty of the offset of '%s' is ", tip->name);
    tt_words_um_over(text, expanded, limits->expanded_mm);
    tt_buffer_puts(text, ", over the limit of ");
    tt_words_um(text, limits->expanded_mm);
    tt_buffer_printf(text, "; %s", advice(tip));
    return tt_finding_add(view, TT_FINDING_UNCERTAINTY_OVER, TIPTRUE_ERROR,
                          (struct tt_about){TT_NONE, tt_run_tip(view, index), TT_NONE, NULL, 0}, text);
}

enum tiptrue_status tt_findings_of_limits(struct tt_view *view, struct tt_buffer *text)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips && status == TIPTRUE_OK; i++) {
        status = runout_over(view, i, text);
        if (status == TIPTRUE_OK) {
            status = uncertainty_over(view, i, text);
        }
    }
    return status;
}
