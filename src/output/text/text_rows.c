/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The rows of the log in the text output: what was set aside and by how much it is off; edges and
 * all rows when asked for. */
#include "config.h"

#include "base/named.h"
#include "output/text/follow.h"
#include "output/text/text_parts.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "output/text/words.h"

/* Stretches of lines that one sentence names before it says how many more there are: about one line
 * of text. */
#define MOST_STRETCHES 8

void tt_text_lines(struct tt_buffer *words, const size_t lines[], size_t n)
{
    size_t at = 0;

    tt_buffer_puts(words, n == 1 ? "line " : "lines ");
    for (size_t stretches = 0; at < n && stretches < MOST_STRETCHES; stretches++) {
        size_t first = at;
        while (at + 1 < n && lines[at + 1] == lines[at] + 1) {
            at++;
        }
        tt_buffer_puts(words, first > 0 ? ", " : "");
        if (at > first) {
            tt_buffer_printf(words, "%zu-%zu", lines[first], lines[at]);
        } else {
            tt_buffer_printf(words, "%zu", lines[first]);
        }
        at++;
    }
    if (at < n) {
        tt_buffer_printf(words, " and %zu more", n - at);
    }
}

/* Touches set aside on one edge by one tip, on the same side of where they were expected. */
struct pile {
    size_t n, filled;
    size_t *lines;
    double least_mm, most_mm;
};

/* The piles of a solution: edge by edge, tip by tip, early before late. */
struct piles {
    const struct tiptrue_solution *solution;
    struct pile *all;
    struct tt_arena arena;
};

/* The pile that @row belongs to, NULL = it was not set aside. */
static struct pile *pile_of(const struct piles *piles, const struct tt_row_result *row)
{
    const struct tiptrue_solution *s = piles->solution;

    if (row->kind != TT_TOUCH || row->use != TT_USE || !row->set_aside) {
        return NULL;
    }
    size_t edge = TT_NAMED(s->edges, s->n_edges, row->target),
           tip = TT_NAMED(s->tips, s->n_tips, row->tip);
    if (edge == s->n_edges || tip == s->n_tips) {
        return NULL;
    }
    return &piles->all[2 * (edge * s->n_tips + tip) + (row->residual_mm < 0)];
}

static void add_to_pile(struct pile *pile, const struct tt_row_result *row)
{
    double off_mm = fabs(row->residual_mm);

    pile->least_mm = pile->filled == 0 ? off_mm : fmin(pile->least_mm, off_mm);
    pile->most_mm = fmax(pile->most_mm, off_mm);
    pile->lines[pile->filled++] = row->line;
}

/* Count, make room, fill: linear in the rows. False: out of memory. */
static bool gather(struct piles *piles, size_t n_piles)
{
    const struct tiptrue_solution *s = piles->solution;

    piles->all = TT_ARENA_NEW(&piles->arena, n_piles, struct pile);
    if (piles->all == NULL) {
        return false;
    }
    for (size_t i = 0; i < s->n_rows; i++) {
        struct pile *pile = pile_of(piles, &s->rows[i]);
        if (pile != NULL) {
            pile->n++;
        }
    }
    for (size_t i = 0; i < n_piles; i++) {
        piles->all[i].lines = TT_ARENA_NEW(&piles->arena, piles->all[i].n, size_t);
        if (piles->all[i].lines == NULL) {
            return false;
        }
    }
    for (size_t i = 0; i < s->n_rows; i++) {
        struct pile *pile = pile_of(piles, &s->rows[i]);
        if (pile != NULL) {
            add_to_pile(pile, &s->rows[i]);
        }
    }
    return true;
}

/* "  east, tip t1: lines 17, 31 triggered late (too deep) by 21 to 64 um" */
static void tell_pile(struct tt_page *page, const char *edge, const char *tip,
                      const struct pile *pile, bool late)
{
    struct tt_buffer *words = &page->words;

    if (pile->n == 0) {
        return;
    }
    tt_buffer_printf(words, "%s, tip %s: ", edge, tip);
    tt_text_lines(words, pile->lines, pile->n);
    tt_buffer_printf(words, " triggered %s by ", late ? "late (too deep)" : "early");
    bool small = pile->most_mm < 0.9995;
    double factor = small ? 1000 : 1;
    int decimals = small ? 0 : 3;
    tt_number_write_fixed(words, factor * pile->least_mm, decimals, false);
    struct tt_fixed most = tt_fixed(factor * pile->most_mm, decimals, false);
    if (strcmp(tt_fixed(factor * pile->least_mm, decimals, false).text, most.text) != 0) {
        tt_buffer_printf(words, " to %s", most.text);
    }
    tt_buffer_puts(words, small ? " " TT_UM : " mm");
    tt_page_go(page, 2);
    tt_page_say(page, 4);
}

void tt_text_set_aside(struct tt_page *page, const struct tiptrue_solution *s)
{
    size_t n_piles = 2 * s->n_edges * s->n_tips;
    struct piles piles = {.solution = s};

    if (s->touches_set_aside == 0 || (page->folded != NULL && tt_left_out_follow(s))) {
        return;
    }
    tt_page_heading(page, "Left out: they disagree with the other touches:");
    if (!gather(&piles, n_piles)) {
        page->out->failed = true;
        n_piles = 0;
    }
    for (size_t i = 0; i < n_piles; i++) {
        size_t pair = i / 2;
        tell_pile(page, s->edges[pair / s->n_tips].name, s->tips[pair % s->n_tips].name,
                  &piles.all[i], i % 2 == 1);
    }
    tt_page_line_end(page);
    tt_arena_clear(&piles.arena);
}

void tt_text_edges(struct tt_page *page, const struct tiptrue_solution *s)
{
    size_t name = 4;

    for (size_t i = 0; i < s->n_edges; i++) {
        name = tt_page_wider(page, name, s->edges[i].name, 0);
    }
    tt_page_heads(page, "edge", name,
                  "9 touches|6 used|9 mean/{small}|8 rms/{small}|10 shift/{small}|8 "
                  "u/{small}|" TT_UNSEEN_HEADS);
    for (size_t i = 0; i < s->n_edges; i++) {
        const struct tt_edge_result *e = &s->edges[i];
        tt_page_puts(page, e->name);
        tt_page_go(page, name);
        tt_page_cell_count(page, 9, e->touches);
        tt_page_cell_count(page, 6, e->used);
        if (e->used > 0) {
            tt_page_cell_small(page, 9, e->mean_residual_mm, 1, true);
            tt_page_cell_small(page, 8, e->rms_residual_mm, 1, false);
        } else {
            tt_page_go(page, page->column + 17);
        }
        tt_page_cell_small(page, 10, e->shift_mm, 1, true);
        tt_page_cell_small(page, 8, e->u_shift_mm, 1, false);
        tt_text_unseen_cells(page, e->unseen_shift_mm, e->unseen_effect_mm);
    }
    tt_page_line_end(page);
    if (s->n_marks > 0) {
        tt_text_marks(page, s, 0, name + 50);
        tt_page_line_end(page);
    }
}

void tt_text_straightness(struct tt_page *page, const struct tiptrue_solution *s)
{
    struct tt_buffer *words = &page->words;
    bool any = false;

    for (size_t i = 0; i < s->n_edges; i++) {
        if (isfinite(s->edges[i].straightness_mm)) {
            tt_buffer_puts(words, any ? ", "
                                      : "Straightness of the edges as touched (peak to valley "
                                        "about their line, repeatability included): ");
            tt_buffer_printf(words, "%s ", s->edges[i].name);
            tt_words_um(words, s->edges[i].straightness_mm);
            any = true;
        }
    }
    if (any) {
        tt_buffer_puts(words, ".");
        tt_page_say(page, 2);
        tt_page_line_end(page);
    }
}

/* The last column: why a row does not count in full, or nothing. */
static const char *remark(const struct tt_row_result *row)
{
    switch (row->use) {
    case TT_USE:
        return row->set_aside ? "left out" : "";
    case TT_USE_NO_CONTACT:
        return "no contact";
    case TT_USE_FIND:
        return "fast touch";
    case TT_USE_OTHER:
        return row->kind == TT_HEIGHT ? "height" : "warm-up";
    }
    return "";
}

static void tell_row(struct tt_page *page, const struct tt_row_result *row)
{
    tt_page_cell_count(page, 6, row->line);
    tt_page_tab(page, 8);
    tt_page_puts(page, tt_kind_words[row->kind]);
    tt_page_at(page, 15, row->target != NULL ? row->target : "");
    tt_page_tab(page, 27);
    tt_page_puts(page, row->tip != NULL ? row->tip : "");
    tt_page_go(page, 34);
    if (row->tip != NULL) {
        tt_page_cell_fixed(page, 9, tt_deg_from_rad(row->rotation_rad), 3, false);
    }
    tt_page_go(page, 43);
    if (row->use == TT_USE && tt_is_sighting(row->kind)) {
        tt_page_cell_small(page, 9, row->residual_mm, 1, true);
        tt_page_cell_small(page, 9, row->residual_y_mm, 1, true);
    } else if (row->use == TT_USE) {
        tt_page_cell_small(page, 9, row->residual_mm, 1, true);
    }
    tt_page_go(page, 61);
    if (row->use == TT_USE) {
        tt_page_cell_fixed(page, 7, row->weight, 2, false);
    }
    if (remark(row)[0] != '\0') {
        tt_page_tab(page, 69);
        tt_page_puts(page, remark(row));
    }
    tt_page_line_end(page);
}

void tt_text_rows(struct tt_page *page, const struct tiptrue_solution *s)
{
    tt_page_line(page, "  line  kind   target      tip     rotation residual  sight y  weight");
    tt_page_heads(page, "", 0, "43 " TT_DEGREE "|9 {small}|9 {small}");
    for (size_t i = 0; i < s->n_rows; i++) {
        tell_row(page, &s->rows[i]);
    }
    tt_page_line_end(page);
}
