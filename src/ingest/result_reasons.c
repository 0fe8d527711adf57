/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Why a tip has its verdict, of a result that was read: it has no more than the texts. */
#include "config.h"

#include "ingest/result.h"

#include <string.h>

/* What the numbers say of a tip that need not be measured again. */
static enum tt_reason_code reason_by_numbers(const struct tt_tip_result *tip)
{
    bool keep = tip->offset_verdict == TIPTRUE_KEEP;

    if (!tip->has_present) {
        return TT_REASON_NOTHING_PRESENT;
    }
    if (tip->has_conformity) {
        return keep ? TT_REASON_WITHIN : TT_REASON_NOT_WITHIN;
    }
    return keep ? TT_REASON_UNCHANGED : TT_REASON_CHANGED;
}

static enum tt_reason_code reason_by_height(const struct tt_height_result *height)
{
    bool keep = height->verdict == TIPTRUE_KEEP;

    if (!height->has_present) {
        return TT_REASON_NO_HEIGHT_PRESENT;
    }
    if (height->has_conformity) {
        return keep ? TT_REASON_HEIGHT_WITHIN : TT_REASON_HEIGHT_NOT_WITHIN;
    }
    return keep ? TT_REASON_HEIGHT_UNCHANGED : TT_REASON_HEIGHT_CHANGED;
}

/* The next error finding about @tip or about no tip, from the @from-th on, of heights or not; NULL:
 * there is none. */
static const struct tt_finding *next_error(const struct tiptrue_solution *s,
                                           const struct tt_tip_result *tip, bool of_heights,
                                           size_t *from)
{
    while (*from < s->n_findings) {
        const struct tt_finding *finding = &s->findings[(*from)++];
        if (finding->severity == TIPTRUE_ERROR && tt_finding_is_of_heights(finding) == of_heights &&
            (finding->tip == TT_NONE || strcmp(s->tip_names[finding->tip], tip->name) == 0)) {
            return finding;
        }
    }
    return NULL;
}

/* What the @at-th reason says that is of no finding; @last: the last one, and a height counts. */
static enum tt_reason_code code_at(const struct tt_tip_result *tip, size_t at, bool last)
{
    bool repeat = tip->offset_verdict == TIPTRUE_REPEAT;

    if (at == 0 && !repeat) {
        return reason_by_numbers(tip);
    }
    return last ? reason_by_height(tip->height) : TT_REASON_OUT_OF_REACH;
}

static void sort_reasons(const struct tiptrue_solution *solution, struct tt_tip_result *tip)
{
    bool counts = tip->height != NULL && tip->height->has_verdict;
    bool repeat = tip->offset_verdict == TIPTRUE_REPEAT,
         repeat_height = counts && tip->height->verdict == TIPTRUE_REPEAT;
    size_t at = 0, at_height = 0;

    for (size_t i = 0; i < tip->n_reasons; i++) {
        struct tt_reason *reason = &tip->reasons[i];
        reason->finding = repeat ? next_error(solution, tip, false, &at) : NULL;
        if (reason->finding == NULL && repeat_height && (repeat || i > 0)) {
            reason->finding = next_error(solution, tip, true, &at_height);
        }
        bool last = counts && !repeat_height && i + 1 == tip->n_reasons;
        reason->code = reason->finding != NULL ? TT_REASON_FINDING : code_at(tip, i, last);
    }
}

void tt_result_sort_reasons(struct tiptrue_solution *solution)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        sort_reasons(solution, &solution->tips[i]);
    }
}
