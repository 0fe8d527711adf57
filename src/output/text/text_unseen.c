/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a run would not see of its edges and marks, and what that does to the offsets, in the text
 * output. */
#include "config.h"

#include "output/text/text_parts.h"

#include <math.h>

#include "base/number.h"
#include "output/text/words.h"

#define WIDTH 11

static void cell(struct tt_page *page, double value_mm)
{
    if (isfinite(value_mm)) {
        tt_page_cell_small(page, WIDTH, value_mm, tt_um_decimals(value_mm), false);
    } else {
        tt_page_cell(page, WIDTH, "-");
    }
}

void tt_text_unseen_cells(struct tt_page *page, double shift_mm, double effect_mm)
{
    cell(page, shift_mm);
    cell(page, effect_mm);
    tt_page_line_end(page);
}

void tt_text_marks(struct tt_page *page, const struct tiptrue_solution *s, size_t indent, size_t at)
{
    for (size_t i = 0; i < s->n_marks; i++) {
        at = tt_page_wider(page, at, s->marks[i].name, indent);
    }
    if (s->n_marks == 0) {
        return;
    }
    tt_page_go(page, indent);
    tt_page_heads(page, "mark", at, TT_UNSEEN_HEADS);
    for (size_t i = 0; i < s->n_marks; i++) {
        tt_page_at(page, indent, s->marks[i].name);
        tt_page_go(page, at);
        tt_text_unseen_cells(page, s->marks[i].unseen_shift_mm, s->marks[i].unseen_effect_mm);
    }
}

void tt_text_unseen(struct tt_page *page, const struct tiptrue_solution *s)
{
    struct tt_buffer *words = &page->words;
    const char *kind = "edge", *name = NULL;
    double effect_mm = s->permitted_error_mm, shift_mm = 0;

    for (size_t i = 0; i < s->n_edges && s->has_permitted_error; i++) {
        if (s->edges[i].unseen_effect_mm > effect_mm) {
            name = s->edges[i].name;
            effect_mm = s->edges[i].unseen_effect_mm;
            shift_mm = s->edges[i].unseen_shift_mm;
        }
    }
    for (size_t i = 0; i < s->n_marks && s->has_permitted_error; i++) {
        if (s->marks[i].unseen_effect_mm > effect_mm) {
            kind = "mark";
            name = s->marks[i].name;
            effect_mm = s->marks[i].unseen_effect_mm;
            shift_mm = s->marks[i].unseen_shift_mm;
        }
    }
    if (name == NULL) {
        return;
    }
    tt_buffer_printf(words, "Unseen: a run like this shows a shift of %s '%s' only from ", kind,
                     name);
    tt_words_length(words, shift_mm);
    tt_buffer_puts(words, "; until then it moves the offset by up to ");
    tt_words_length(words, effect_mm);
    tt_buffer_puts(words, ", more than the permitted ");
    tt_number_write_rounded(words, 1000 * s->permitted_error_mm, 3);
    tt_buffer_puts(words, " " TT_UM ".");
    tt_page_say(page, 2);
    tt_page_line_end(page);
}
