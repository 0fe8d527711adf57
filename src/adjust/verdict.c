/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From findings and numbers to keep, update or repeat, with the reasons. */
#include "config.h"


#include "adjust/findings.h"

#define UNCHANGED 0.05

/* There is room: tt_verdict. */
static void add_reason(struct tt_tip_result *tip, enum tt_reason_code code,
                       const struct tt_finding *finding)
{
    tip->reasons[tip->n_reasons++] = (struct tt_reason){.code = code, .finding = finding};
}

/* Error findings that are about this tip or about no tip in particular. */
static void distrust(const struct tiptrue_solution *s, size_t run_tip, struct tt_tip_result *tip)
{
    for (size_t i = 0; i < s->n_findings; i++) {
        const struct tt_finding *finding = &s->findings[i];
        if (finding->severity == TIPTRUE_ERROR && !tt_finding_is_of_heights(finding) &&
            (finding->tip == TT_NONE || finding->tip == run_tip)) {
            tip->verdict = TIPTRUE_REPEAT;
            add_reason(tip, TT_REASON_FINDING, finding);
        }
    }
}

bool tt_would_keep(const struct tt_tip_result *tip)
{
    return tip->has_present && tip->offset_determined_x && tip->offset_determined_y &&
           (tip->has_conformity ? tip->p_conforming >= TT_CONFORMS : tip->p_unchanged >= UNCHANGED);
}

static bool judge_change(struct tt_view *view, size_t index, struct tt_tip_result *tip)
{
    bool keep = tt_would_keep(tip);
    double least_mm;

    tip->verdict = keep ? TIPTRUE_KEEP : TIPTRUE_UPDATE;
    if (!tip->has_present) {
        add_reason(tip, TT_REASON_NOTHING_PRESENT, NULL);
    } else if (tip->has_conformity) {
        add_reason(tip, keep ? TT_REASON_WITHIN : TT_REASON_NOT_WITHIN, NULL);
    } else {
        add_reason(tip, keep ? TT_REASON_UNCHANGED : TT_REASON_CHANGED, NULL);
    }
    if (tip->has_conformity && !keep && tt_is_out_of_reach(view, index, &least_mm)) {
        const struct tt_finding *reach = tt_reach_finding(view, index, least_mm);
        add_reason(tip, TT_REASON_OUT_OF_REACH, reach);
        return reach != NULL;
    }
    return true;
}

/* Kept or not, as an offset is. */
static void judge_height_change(struct tt_tip_result *tip, struct tt_height_result *height)
{
    bool kept = height->has_conformity ? height->p_conforming >= TT_CONFORMS
                                       : height->p_unchanged >= UNCHANGED;
    enum tt_reason_code within = kept ? TT_REASON_HEIGHT_WITHIN : TT_REASON_HEIGHT_NOT_WITHIN;
    enum tt_reason_code changed = kept ? TT_REASON_HEIGHT_UNCHANGED : TT_REASON_HEIGHT_CHANGED;

    height->verdict = kept && height->has_present ? TIPTRUE_KEEP : TIPTRUE_UPDATE;
    add_reason(tip,
               !height->has_present     ? TT_REASON_NO_HEIGHT_PRESENT
               : height->has_conformity ? within
                                        : changed,
               NULL);
}

/* A height that counts: refused by an error about it, else kept or not as an offset is. */
static void judge_height(const struct tiptrue_solution *s, size_t run_tip,
                         struct tt_tip_result *tip)
{
    struct tt_height_result *height = tip->height;

    if (height == NULL || !height->has_verdict) {
        return;
    }
    height->verdict = TIPTRUE_KEEP;
    for (size_t i = 0; i < s->n_findings; i++) {
        const struct tt_finding *finding = &s->findings[i];
        if (finding->severity == TIPTRUE_ERROR && tt_finding_spoils_heights(finding) &&
            (finding->tip == TT_NONE || finding->tip == run_tip)) {
            height->verdict = TIPTRUE_REPEAT;
            if (tt_finding_is_of_heights(finding)) { /* else it is the offset's reason already */
                add_reason(tip, TT_REASON_FINDING, finding);
            }
        }
    }
    if (height->verdict == TIPTRUE_KEEP) {
        judge_height_change(tip, height);
    }
    tip->verdict = height->verdict > tip->verdict ? height->verdict : tip->verdict;
}

enum tiptrue_status tt_verdict(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    bool good = true;

    if (s->least_squares) { /* a comparison, no measurement: nobody looked for touches that lie */
        s->verdict = TIPTRUE_REPEAT;
        for (size_t i = 0; i < s->n_tips; i++) {
            s->tips[i].verdict = s->tips[i].offset_verdict = TIPTRUE_REPEAT;
        }
        return TIPTRUE_OK;
    }
    s->verdict = TIPTRUE_KEEP;
    for (size_t i = 0; i < s->n_tips && good; i++) {
        struct tt_tip_result *tip = &s->tips[i];
        /* each finding; or those of the changes, and that one is out of reach */
        tip->reasons = TT_ARENA_NEW(&s->arena, s->n_findings + 3, struct tt_reason);
        if (tip->reasons == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        tip->verdict = TIPTRUE_KEEP;
        distrust(s, tt_run_tip(view, i), tip);
        good = tip->verdict == TIPTRUE_REPEAT || judge_change(view, i, tip);
        tip->offset_verdict = tip->verdict;
        judge_height(s, tt_run_tip(view, i), tip);
        bool counts = tt_is_wanted(view->options, tip->name);
        s->verdict = counts && tip->verdict > s->verdict ? tip->verdict : s->verdict;
    }
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
