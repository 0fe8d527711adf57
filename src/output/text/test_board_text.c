/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board to be placed, for a person: what it will tell, and what it cannot. */
#include "config.h"

#include "output/output.h"

#include <math.h>

#include "output/text/text_parts.h"
#include "output/text/words.h"

static void write_tips(struct tt_page *page, const struct tiptrue_test_board *b)
{
    size_t at = 8;
    bool known = b->dof >= 1.0;
    for (size_t t = 0; t < b->n_tips; t++) {
        at = tt_page_wider(page, at, b->tips[t].name, 2);
    }
    tt_page_heads(page, "tip", at, "7 parts|13 offset, " TT_UM "|20 turns with it, " TT_UM);
    for (size_t t = 0; t < b->n_tips; t++) {
        const struct tt_test_tip *tip = &b->tips[t];
        tt_page_puts(page, tip->name);
        tt_page_go(page, at);
        tt_page_cell_count(page, 7, tip->parts);
        tt_cell_expanded(page, 13, known && tip->apart, fmax(tip->offset_mm.x, tip->offset_mm.y));
        tt_cell_expanded(page, 20, known && tip->apart, fmax(tip->turning_mm.x, tip->turning_mm.y));
        tt_page_line_end(page);
    }
    tt_page_line_end(page);
}

static void write_grid(struct tt_page *page, const struct tiptrue_test_board *b)
{
    if (b->dof < 1.0 || !b->grid_told) {
        return;
    }
    tt_buffer_puts(&page->words, "Over 100 mm: scale " TT_PLUS_MINUS " ");
    tt_words_um(&page->words, 100.0 * fmax(b->scale_x, b->scale_y));
    tt_buffer_puts(&page->words, ", shear " TT_PLUS_MINUS " ");
    tt_words_um(&page->words, 100.0 * b->shear);
    tt_buffer_puts(&page->words, ", turn " TT_PLUS_MINUS " ");
    tt_words_um(&page->words, 100.0 * b->turn);
    tt_buffer_puts(&page->words, ".");
    tt_page_say(page, 0);
}

static void write_limits(struct tt_page *page, const struct tiptrue_test_board *b)
{
    size_t unknowns = 4 * b->n_tips + 4;
    if (b->dof < 1.0) {
        tt_page_prose(page, 0,
                      "Too few parts to see how well parts repeat: nothing has a " TT_PLUS_MINUS
                      ". Place more.");
    }
    for (size_t t = 0; t < b->n_tips; t++) {
        if (!b->tips[t].apart) {
            tt_buffer_printf(
                &page->words,
                "The offset of '%s' is not told from what turns with the part: it takes two parts "
                "of it at opposite rotations, and more for a good value.",
                b->tips[t].name);
            tt_page_say(page, 0);
        }
    }
    if (!b->grid_told) {
        tt_page_prose(
            page, 0,
            "Scale, shear and turn are not told: place more parts, or use a larger board.");
    }
    if (b->n_parts < unknowns) {
        tt_buffer_printf(&page->words, "A part that slipped cannot be seen among fewer than %zu.",
                         unknowns);
        tt_page_say(page, 0);
    }
    if (b->n_tips == 1) {
        tt_page_prose(page, 0,
                      "With one tip its offset is not told from the camera and the board's seat: "
                      "state '# board_u:' and '# device_u:', or place parts with a second tip.");
    }
}

void tt_output_test_board_text(const struct tiptrue_test_board *b,
                               const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 80, 80);

    tt_buffer_printf(&page.words, "BOARD: %zu parts at quarter turns; --csv writes the table",
                     b->n_parts);
    tt_page_say(&page, 2);
    tt_page_line_end(&page);
    tt_buffer_puts(&page.words, "Expected " TT_PLUS_MINUS " (95 %) for parts that repeat to ");
    tt_words_um(&page.words, b->u_mm);
    tt_buffer_puts(&page.words, "; they grow in proportion:");
    tt_page_say(&page, 0);
    write_tips(&page, b);
    write_grid(&page, b);
    write_limits(&page, b);
    tt_page_end(&page);
}
