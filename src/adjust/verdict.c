/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From findings and numbers to keep, update or repeat, with the reasons. */
#include "config.h"

#include <string.h>

#include "adjust/findings.h"
#include "model/words.h"

#define UNCHANGED 0.05

static bool add_reason(struct tt_view *view, struct tt_tip_result *tip, struct tt_buffer *text)
{
    char *copy =
        text->failed ? NULL : tt_arena_copy_text(&view->solution->arena, text->text, text->length);

    if (copy == NULL) {
        return false;
    }
    tip->reasons[tip->n_reasons++] = copy; /* there is room: tt_verdict */
    tt_buffer_reset(text);
    return true;
}

/* Error findings that are about this tip or about no tip in particular. */
static bool distrust(struct tt_view *view, size_t run_tip, struct tt_tip_result *tip,
                     struct tt_buffer *text)
{
    const struct tiptrue_solution *s = view->solution;

    for (size_t i = 0; i < s->n_findings; i++) {
        const struct tt_finding *finding = &s->findings[i];
        if (finding->severity != TIPTRUE_ERROR ||
            (finding->tip != TT_NONE && finding->tip != run_tip)) {
            continue;
        }
        tip->verdict = TIPTRUE_REPEAT;
        if (finding->text == NULL) {
            continue; /* output makes its sentence, and the reason of it */
        }
        tt_buffer_printf(text, "%s: %s", tt_finding_name(finding->code), finding->text);
        if (!add_reason(view, tip, text)) {
            return false;
        }
    }
    return true;
}

bool tt_would_keep(const struct tt_tip_result *tip)
{
    return tip->has_present && tip->offset_determined_x && tip->offset_determined_y &&
           (tip->has_conformity ? tip->p_conforming >= TT_CONFORMS : tip->p_unchanged >= UNCHANGED);
}

static bool judge_change(struct tt_view *view, size_t index, struct tt_tip_result *tip,
                         struct tt_buffer *text)
{
    bool good;

    if (!tip->has_present) {
        tip->verdict = TIPTRUE_UPDATE;
        tt_buffer_puts(text, "there is no present offset to compare with");
    } else if (tip->has_conformity) {
        tip->verdict = tt_would_keep(tip) ? TIPTRUE_KEEP : TIPTRUE_UPDATE;
        tt_buffer_printf(text, "the present offset is %sshown to be within ",
                         tip->verdict == TIPTRUE_KEEP ? "" : "not ");
        tt_words_um(text, view->solution->permitted_error_mm);
        tt_buffer_printf(text, " of the true one (probability ");
        tt_words_percent(text, tip->p_conforming);
        tt_buffer_puts(text, ", 95 % is asked)");
    } else {
        tip->verdict = tt_would_keep(tip) ? TIPTRUE_KEEP : TIPTRUE_UPDATE;
        tt_buffer_printf(text,
                         "no permitted error is stated; the change is %ssignificant (probability ",
                         tip->verdict == TIPTRUE_KEEP ? "not " : "");
        tt_words_percent(text, tip->p_unchanged);
        tt_buffer_puts(text, " by chance)");
    }
    good = add_reason(view, tip, text);
    if (good && tip->has_conformity && tip->verdict != TIPTRUE_KEEP &&
        tt_is_out_of_reach(view, index, text)) {
        good = add_reason(view, tip, text);
    }
    return good;
}

enum tiptrue_status tt_verdict(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    struct tt_buffer text = {0};
    bool good = true;

    if (s->least_squares) { /* a comparison, no measurement: nobody looked for touches that lie */
        s->verdict = TIPTRUE_REPEAT;
        for (size_t i = 0; i < s->n_tips; i++) {
            s->tips[i].verdict = TIPTRUE_REPEAT;
        }
        return TIPTRUE_OK;
    }
    s->verdict = TIPTRUE_KEEP;
    for (size_t i = 0; i < s->n_tips && good; i++) {
        struct tt_tip_result *tip = &s->tips[i];
        tip->reasons = TT_ARENA_NEW(&s->arena, s->n_findings + 1,
                                    const char *); /* each finding, or that of the change */
        tip->verdict = TIPTRUE_KEEP;
        good = tip->reasons != NULL && distrust(view, tt_run_tip(view, i), tip, &text) &&
               (tip->verdict == TIPTRUE_REPEAT || judge_change(view, i, tip, &text));
        bool counts = tt_is_wanted(view->options, tip->name);
        s->verdict = counts && tip->verdict > s->verdict ? tip->verdict : s->verdict;
    }
    tt_buffer_clear(&text);
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
