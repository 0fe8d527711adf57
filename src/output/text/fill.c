/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Texts for the findings and reasons of a solution, kept in it. */
#include "config.h"

#include "output/text/sentences.h"

#include <string.h>

/* The text of @buffer, kept in the solution; NULL: out of memory. @buffer is emptied. */
static const char *keep(struct tiptrue_solution *s, struct tt_buffer *buffer)
{
    const char *text = buffer->failed || buffer->text == NULL
                           ? NULL
                           : tt_arena_copy_text(&s->arena, buffer->text, buffer->length);

    tt_buffer_reset(buffer);
    return text;
}

/* The text of one reason, for programs and for people who read one tip only. */
static bool give_reason(struct tiptrue_solution *s, const struct tt_tip_result *tip,
                        struct tt_reason *reason, struct tt_buffer *buffer)
{
    if (reason->text != NULL) {
        return true;
    }
    if (reason->code == TT_REASON_FINDING) {
        tt_buffer_printf(buffer, "%s: %s", tt_finding_name(reason->finding->code),
                         reason->finding->text);
    } else if (reason->finding != NULL) {
        tt_sentence(buffer, s, reason->finding);
    } else {
        tt_sentence_reason(buffer, s, tip, reason->code, true);
    }
    reason->text = keep(s, buffer);
    return reason->text != NULL;
}

enum tiptrue_status tt_sentences(struct tiptrue_solution *solution)
{
    struct tt_buffer buffer = {0};
    bool good = true;

    for (size_t i = 0; solution != NULL && i < solution->n_findings && good; i++) {
        struct tt_finding *finding = &solution->findings[i];
        if (finding->text == NULL) {
            tt_sentence(&buffer, solution, finding);
            finding->text = keep(solution, &buffer);
            good = finding->text != NULL;
        }
    }
    for (size_t i = 0; solution != NULL && i < solution->n_tips && good; i++) {
        struct tt_tip_result *tip = &solution->tips[i];
        for (size_t k = 0; k < tip->n_reasons && good; k++) {
            good = give_reason(solution, tip, &tip->reasons[k], &buffer);
        }
    }
    tt_buffer_clear(&buffer);
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

bool tt_sentence_fits(const struct tt_finding *finding, enum tt_finding_code code, const char *kind)
{
    const struct tt_value *what = tt_finding_value(finding, "what");

    what = what != NULL ? what : tt_finding_value(finding, "kind");
    return finding->code == code &&
           (kind == NULL || (what != NULL && what->text != NULL && strcmp(what->text, kind) == 0));
}
