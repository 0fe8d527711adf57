/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/findings.h"

#include "adjust/mirrored.h"
#include "adjust/plausible.h"

/* Worst first, otherwise in the order in which they were found. */
static void sort_findings(struct tiptrue_solution *s)
{
    for (size_t i = 1; i < s->n_findings; i++) {
        struct tt_finding moved = s->findings[i];
        size_t k = i;
        for (; k > 0 && s->findings[k - 1].severity < moved.severity; k--) {
            s->findings[k] = s->findings[k - 1];
        }
        s->findings[k] = moved;
    }
}

enum tiptrue_status tt_findings(struct tt_view *view)
{
    static tt_finder *const finders[] = {tt_findings_of_determinacy,  tt_findings_of_model,
                                         tt_findings_of_views,        tt_findings_of_explanation,
                                         tt_findings_of_past,         tt_findings_of_direct_fits,
                                         tt_findings_of_contacts,     tt_findings_of_limits,
                                         tt_findings_of_plausibility, tt_findings_of_other_ways};
    enum tiptrue_status status = tt_findings_of_units(view);

    if (status == TIPTRUE_OK && !view->meaningless) {
        status = tt_find_all(view, finders, sizeof finders / sizeof finders[0]);
    }
    if (status == TIPTRUE_OK) {
        status = tt_findings_of_completeness(view);
    }
    if (status == TIPTRUE_OK && !view->meaningless) {
        status = tt_findings_of_heights(view);
    }
    sort_findings(view->solution);
    return status;
}
