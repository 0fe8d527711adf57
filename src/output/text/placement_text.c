/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board says, for a person: verdict, what is off, the numbers, the findings, what next. */
#include "config.h"

#include "output/text/placement_text.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "output/output.h"
#include "output/text/sentences.h"
#include "output/text/text_parts.h"
#include "output/text/words.h"
#include "output/verdict.h"

static const char *verdict_sentence(const struct tiptrue_placement *p)
{
    switch (p->verdict) {
    case TIPTRUE_KEEP:
        return p->has_limit_mm || p->has_limit_rad
                   ? ": nothing is shown to be off by more than permitted"
                   : ": nothing is shown to be off";
    case TIPTRUE_UPDATE:
        return p->has_limit_mm || p->has_limit_rad ? ": more is off than permitted"
                                                   : ": something is off; no limits are stated";
    case TIPTRUE_REPEAT:
    case TIPTRUE_NOT_MEASURED:
        break;
    }
    return ": this board cannot be trusted; fix what is listed below, then place another";
}

void tt_text_board_verdict(struct tt_page *page, const struct tiptrue_placement *p)
{
    static const enum tt_colour colours[] = {[TIPTRUE_KEEP] = TT_GREEN,
                                             [TIPTRUE_UPDATE] = TT_YELLOW,
                                             [TIPTRUE_REPEAT] = TT_RED,
                                             [TIPTRUE_NOT_MEASURED] = TT_RED};
    tt_page_colour(page, colours[p->verdict]);
    tt_page_puts(page, tt_verdict_shout(p->verdict));
    tt_page_colour(page, TT_PLAIN);
    tt_buffer_puts(&page->words, verdict_sentence(p));
    tt_page_say(page, 2);
    tt_page_line_end(page);
}

void tt_text_board(struct tt_page *page, const struct tiptrue_placement *p)
{
    tt_buffer_printf(&page->words, "%s: machine '%s'%s%s", p->file, p->machine,
                     p->started != NULL ? ", " : "", p->started != NULL ? p->started : "");
    tt_page_say(page, 2);
    tt_buffer_printf(&page->words, "%zu of %zu parts used, %zu left out", p->parts_used,
                     p->parts_read, p->n_set_aside);
    if (p->parts_not_found > 0) {
        tt_buffer_printf(&page->words, ", %zu not found", p->parts_not_found);
    }
    if (p->repeatability_mm > 0.0) {
        tt_buffer_puts(&page->words, "; a part repeats to ");
        tt_words_um(&page->words, p->repeatability_mm);
    }
    if (p->has_repeatability_angle) {
        tt_buffer_puts(&page->words, " and ");
        tt_words_deg(&page->words, p->repeatability_rad, 2);
    }
    tt_page_say(page, 2);
}

void tt_text_board_likeliest(struct tt_page *page, const struct tiptrue_placement *p)
{
    if (p->n_explanations == 0) {
        return;
    }
    tt_buffer_puts(&page->words, "Likeliest: ");
    if (p->explanations[0].n_terms == 0) {
        tt_buffer_puts(&page->words, "nothing is off in place");
    } else {
        tt_words_explanation(&page->words, p, &p->explanations[0]);
    }
    tt_buffer_puts(&page->words, " (probability ");
    tt_words_percent(&page->words, p->explanations[0].probability);
    tt_buffer_puts(&page->words, ")");
    tt_page_say(page, 2);
}

static size_t name_width(const struct tt_page *page, const struct tiptrue_placement *p)
{
    size_t at = 8;
    for (size_t i = 0; i < p->n_tips; i++) {
        at = tt_page_wider(page, at, p->tip_names[i], 2);
    }
    return at;
}

/* "0.3 %", "100 %". */
static void cell_percent(struct tt_page *page, size_t width, double share)
{
    struct tt_buffer words = {0};
    tt_words_percent(&words, share);
    tt_page_cell(page, width, words.text != NULL ? words.text : "");
    tt_buffer_clear(&words);
}

static void pair_cells(struct tt_page *page, bool known, struct tt_pair value, struct tt_pair u)
{
    if (known) {
        tt_cell_um(page, 9, value.x, u.x, true);
        tt_cell_um(page, 9, value.y, u.y, true);
        tt_cell_expanded(page, 9, true, fmax(u.x, u.y));
    } else {
        tt_page_cell(page, 27, "-");
    }
}

/* Tips in rows: what to add to the offset in use, what turns; each with its larger ± and its
 * probability. */
static void write_tips(struct tt_page *page, const struct tiptrue_placement *p)
{
    size_t at = name_width(page, p);
    tt_page_heads(page, "tip", at,
                  p->relative ? "7 parts|27 offset - mean x, y|8 off"
                              : "7 parts|27 add to offset x, y|8 off");
    tt_page_heads(page, "", at + 7, "9 {small}|9 {small}|9 " TT_PLUS_MINUS);
    for (size_t i = 0; i < p->n_tips; i++) {
        const struct tt_placed_tip *t = &p->tips[i];
        tt_page_puts(page, t->name);
        tt_page_go(page, at);
        tt_page_cell_count(page, 7, t->used);
        pair_cells(page, t->has_offset && t->dof >= 1.0, t->offset_mm, t->expanded_offset_mm);
        cell_percent(page, 8, t->p_offset);
        tt_page_line_end(page);
        if (t->turning_shown) {
            tt_page_go(page, at);
            tt_page_cell(page, 7, "turns");
            pair_cells(page, true, t->turning_mm, t->expanded_turning_mm);
            cell_percent(page, 8, t->p_turning);
            tt_page_line_end(page);
        }
    }
    if (p->common_shown) {
        tt_page_puts(page, "all");
        tt_page_go(page, at + 7);
        pair_cells(page, true, p->common_mm,
                   (struct tt_pair){2.0 * p->u_common_mm.x, 2.0 * p->u_common_mm.y});
        cell_percent(page, 8, p->p_common);
        tt_page_line_end(page);
    }
    tt_page_line_end(page);
    tt_page_prose(page, 0,
                  "Every " TT_PLUS_MINUS " is an expanded uncertainty (95 %), the larger one of x "
                  "and y. 'off': the probability that it is not 0; 90 % counts as shown.");
    tt_page_line_end(page);
}

/* What changed since an earlier board. */
static void write_since(struct tt_page *page, const struct tt_board_since *since, size_t at)
{
    if (since == NULL) {
        return;
    }
    tt_buffer_printf(&page->words, "Since %s%s%s:", since->file, since->started != NULL ? ", " : "",
                     since->started != NULL ? since->started : "");
    tt_page_say(page, 2);
    for (size_t i = 0; i < since->n_changes; i++) {
        const struct tt_board_change *c = &since->changes[i];
        size_t width = tt_page_width(page, c->tip) + 2;
        width += c->over != NULL ? tt_page_width(page, c->over) + strlen(" over ") : 0;
        at = width > at ? width : at;
    }
    tt_page_heads(page, "tip", at, "27 offset changed x, y|18 by chance in");
    for (size_t i = 0; i < since->n_changes; i++) {
        const struct tt_board_change *c = &since->changes[i];
        tt_page_puts(page, c->tip);
        tt_page_puts(page, c->over != NULL ? " over " : "");
        tt_page_puts(page, c->over != NULL ? c->over : "");
        tt_page_go(page, at);
        pair_cells(page, true, c->offset_mm, c->expanded_offset_mm);
        cell_percent(page, 18, c->p_chance);
        tt_page_line_end(page);
    }
    tt_page_prose(page, 0,
                  since->n_changes == 0
                      ? "No tip has enough parts on both boards to say what changed."
                      : "By chance: how often parts that scatter so would show as large a change; "
                        "5 % or less is a change. Between tips the board's seat cancels.");
    tt_page_line_end(page);
}

static void axis_row(struct tt_page *page, size_t at, const char *tip, const char *axis,
                     const struct tt_capability_axis *a)
{
    tt_page_puts(page, tip);
    tt_page_at(page, at, axis);
    tt_page_go(page, at + 10);
    if (a->normal) {
        tt_page_cell_fixed(page, 6, a->cp, 2, false);
        tt_page_cell_fixed(page, 6, a->cpk, 2, false);
        tt_page_cell_fixed(page, 8, a->cpk_low, 2, false);
        tt_page_cell_fixed(page, 6, a->cpk_high, 2, false);
    } else {
        tt_page_cell(page, 26, "not normal");
    }
    tt_page_cell_count(page, 8, a->within);
    tt_page_cell_count(page, 6, a->parts);
    cell_percent(page, 11, a->share_low);
    tt_page_line_end(page);
}

static void write_capability(struct tt_page *page, const struct tiptrue_placement *p)
{
    size_t at = name_width(page, p);
    if (p->n_capability == 0) {
        return;
    }
    tt_page_heads(page, "tip", at - 1,
                  "7 within|10 Cp|6 Cpk|14 Cpk 95 %|14 parts within|11 at least");
    for (size_t k = 0; k < p->n_capability; k++) {
        const struct tt_capability *c = &p->capability[k];
        const char *name = c->tip == TT_NONE ? "all" : p->tip_names[c->tip];
        if (c->has_place) {
            axis_row(page, at, name, "x", &c->x);
            axis_row(page, at, name, "y", &c->y);
        }
        if (c->has_rotation) {
            axis_row(page, at, name, "rotation", &c->rotation);
        }
    }
    tt_page_line_end(page);
}

void tt_text_board_findings(struct tt_page *page, const struct tiptrue_placement *p)
{
    if (p->n_findings > 0) {
        tt_page_heading(page, "Findings:");
    }
    for (size_t i = 0; i < p->n_findings; i++) {
        const struct tt_finding *f = &p->findings[i];
        tt_page_puts(page, "  ");
        tt_buffer_printf(&page->words, "%s, %s: %s", tt_severity_word(f->severity),
                         tt_finding_name(f->code), f->text);
        tt_page_say(page, 4);
    }
    if (p->n_findings > 0) {
        tt_page_line_end(page);
    }
}

static void write_wanted(struct tt_page *page, const struct tiptrue_placement *p)
{
    if (p->n_wanted == 0) {
        return;
    }
    const struct tt_units *units = tt_page_units(page);
    int decimals = tt_units_length_decimals(units, 3);

    tt_page_line(page, "Place these parts to tell what is open:");
    if (units->per_mm != 1) {
        tt_page_printf(page, "  # units: %s", units->word);
        tt_page_line_end(page);
    }
    tt_page_line(page, "  tip,rotation,x,y");
    for (size_t i = 0; i < p->n_wanted; i++) {
        const struct tt_wanted_part *w = &p->wanted[i];
        tt_page_printf(page, "  %s,%s,%s,%s", p->tip_names[w->tip],
                       tt_fixed(tt_deg_from_rad(w->rotation_rad), 0, false).text,
                       tt_fixed(units->per_mm * w->at.x_mm, decimals, false).text,
                       tt_fixed(units->per_mm * w->at.y_mm, decimals, false).text);
        tt_page_line_end(page);
    }
}

/* ---- what a board and a run of touches say together, for a person ---- */

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

/* A table of tips, numbers from column @at on, and the groups; nothing where nothing was joined. */
static void text_joined(struct tt_page *page, const struct tiptrue_placement *p, size_t at)
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

void tt_output_placement_text(const struct tiptrue_placement *p,
                              const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 40, 100);

    page.own[0] = (struct tt_own_names){p->tip_names, p->n_tips, sizeof p->tip_names[0]};
    tt_text_board_verdict(&page, p);
    tt_text_board(&page, p);
    tt_text_board_likeliest(&page, p);
    tt_page_line_end(&page);
    write_tips(&page, p);
    write_since(&page, p->since, name_width(&page, p));
    text_joined(&page, p, name_width(&page, p));
    write_capability(&page, p);
    tt_text_board_findings(&page, p);
    write_wanted(&page, p);
    tt_page_end(&page);
}
