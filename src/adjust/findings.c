/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/findings.h"

#include "adjust/mirrored.h"
#include "adjust/plausible.h"

/* Wrong files, then what names a mistake in them, and then what no contact explains, stand before
 * what follows from them: with most touches left out nearly everything is undetermined. */
static int rank(const struct tt_finding *finding)
{
    if (finding->severity != TIPTRUE_ERROR) {
        return 0;
    }
    switch ((int)finding->code) {
    case TT_FINDING_OTHER_MACHINE:
    case TT_FINDING_OTHER_PLATE:
        return 3;
    case TT_FINDING_MIRRORED:
    case TT_FINDING_TIPS_EXCHANGED:
        return 2;
    case TT_FINDING_DOES_NOT_FIT:
        return 1;
    default:
        return 0;
    }
}

/* Does @a stand before @b? Worst first, then by rank. */
static bool comes_before(const struct tt_finding *a, const struct tt_finding *b)
{
    return a->severity != b->severity ? a->severity > b->severity : rank(a) > rank(b);
}

/* Otherwise in the order in which they were found. */
static void sort_findings(struct tiptrue_solution *s)
{
    for (size_t i = 1; i < s->n_findings; i++) {
        struct tt_finding moved = s->findings[i];
        size_t k = i;
        for (; k > 0 && comes_before(&moved, &s->findings[k - 1]); k--) {
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
