/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board and a run of touches say together, for a person. */
#include "config.h"

#include "output/text/placement_text.h"

#include <math.h>

#include "output/text/text_parts.h"
#include "output/text/words.h"

static void write_tip(struct tt_page *page, const struct tiptrue_placement *p, size_t at,
                      const struct tt_joined_tip *t)
{
    tt_page_puts(page, p->tip_names[t->tip]);
    tt_page_go(page, at);
    tt_cell_mm(page, 12, true, t->in_use_mm.x);
    tt_cell_mm(page, 12, true, t->in_use_mm.y);
    tt_cell_mm(page, 13, true, t->offset_mm.x);
    tt_cell_mm(page, 12, true, t->offset_mm.y);
    tt_cell_expanded(page, 10, true, fmax(t->expanded_mm.x, t->expanded_mm.y));
    tt_cell_expanded(page, 9, true, fmax(t->expanded_touched_mm.x, t->expanded_touched_mm.y));
    tt_page_line_end(page);
}

static void write_heading(struct tt_page *page, size_t at)
{
    tt_page_heads(page, "tip", at, "24 in use x, y|25 offset x, y|10 total|9 before");
    tt_page_heads(page, "", at,
                  "12 {length}|12 {length}|13 {length}|12 {length}|10 {small}|9 {small}");
}

void tt_text_joined_groups(struct tt_page *page, const struct tt_joined *j)
{
    for (size_t i = 0; i < j->n_groups; i++) {
        const struct tt_joined_group *g = &j->groups[i];
        tt_buffer_printf(&page->words, "The plate's group '%s' lies off its stated place by ",
                         g->name);
        tt_words_um(&page->words, g->shift_mm.x);
        tt_buffer_puts(&page->words, " in x and ");
        tt_words_um(&page->words, g->shift_mm.y);
        tt_buffer_puts(&page->words, " in y (plate's axes; u ");
        tt_words_um(&page->words, fmax(g->u_mm.x, g->u_mm.y));
        tt_buffer_puts(&page->words, ", stated u ");
        tt_words_um(&page->words, g->u_stated_mm);
        tt_buffer_puts(&page->words, ").");
        tt_page_say(page, 0);
    }
}

void tt_text_joined_run(struct tt_page *page, const struct tt_joined *j)
{
    tt_buffer_printf(&page->words, "Board and run %s%s%s together (offsets in use: %s):", j->run,
                     j->started != NULL ? " of " : "", j->started != NULL ? j->started : "",
                     j->in_use_from_run ? "taken to be the run's, the machine states none"
                                        : "the machine's");
    tt_page_say(page, 2);
}

bool tt_is_joined(const struct tiptrue_placement *p)
{
    return p->joined != NULL && p->joined->agrees && p->joined->equations > 0.0;
}

void tt_text_joined(struct tt_page *page, const struct tiptrue_placement *p, size_t at)
{
    const struct tt_joined *j = p->joined;
    if (!tt_is_joined(p)) {
        return;
    }
    tt_text_joined_run(page, j);
    write_heading(page, at);
    for (size_t i = 0; i < j->n_tips; i++) {
        write_tip(page, p, at, &j->tips[i]);
    }
    tt_page_line_end(page);
    tt_text_joined_groups(page, j);
    if (j->n_groups > 0) {
        tt_page_line_end(page);
    }
}
