/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A proposal of moves, for a person. */
#include "config.h"

#include "base/number.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "base/status.h"
#include "output/output.h"
#include "output/text/sentences.h"
#include "output/text/text_parts.h"
#include "output/text/words.h"

/* 95 % of a normal distribution. */
#define EXPANDED_FACTOR 1.96

/* Largest same-plate expanded uncertainty of the axes. */
static double same_plate_mm(const struct tt_tip_result *tip)
{
    return fmax(tip->same_plate_expanded_x_mm, tip->same_plate_expanded_y_mm);
}

static bool is_determined(const struct tt_tip_result *tip)
{
    return tip->offset_determined_x && tip->offset_determined_y;
}

static void put_um(struct tt_page *page, double value_mm)
{
    tt_page_puts(page, TT_PLUS_MINUS " ");
    tt_page_small(page, value_mm, tt_um_decimals(value_mm), false);
    tt_page_printf(page, " %s", tt_page_units(page)->small);
}

static void put_count(struct tt_page *page, size_t n, const char *one, const char *many)
{
    tt_page_printf(page, "%zu%s", n, n == 1 ? one : many);
}

/* "12 touches, 6 heights and 2 sightings"; of a next step "12 more touches", without what is none.
 */
static void say_counts(struct tt_page *page, const struct tiptrue_proposal *p)
{
    const struct {
        size_t n;
        const char *one, *many;
    } parts[] = {{p->touches, "touch", "touches"},
                 {p->from_above, "height", "heights"},
                 {p->sightings, "sighting", "sightings"},
                 {p->views, "view", "views"}};
    size_t n = sizeof parts / sizeof parts[0], left = 0;
    bool first = true;

    for (size_t i = 0; i < n; i++) {
        left += parts[i].n > 0;
    }
    for (size_t i = 0; i < n; i++) {
        if (parts[i].n > 0) {
            tt_page_puts(page, first ? "" : left == 1 ? " and " : ", ");
            tt_page_printf(page, "%zu%s%s", parts[i].n, p->next ? " more " : " ",
                           parts[i].n == 1 ? parts[i].one : parts[i].many);
            first = false;
            left--;
        }
    }
    tt_page_puts(page, first ? "no further touches" : "");
}

/* Whether it reaches its targets, of a whole plan. */
static void say_targets(struct tt_page *page, const struct tiptrue_proposal *p)
{
    bool corner = p->target_view_mm > 0;

    if (!p->has_target && !corner) {
        return;
    }
    bool one = p->touches + p->from_above + p->views + p->sightings == 1;
    tt_page_puts(page, p->met && p->view_met ? (one ? " reaches " : " reach ")
                       : one                 ? " does not reach "
                                             : " do not reach ");
    if (p->has_target && corner) {
        tt_page_puts(page, "both targets");
        return;
    }
    tt_page_puts(page, "the target of ");
    put_um(page, corner ? p->target_view_mm : p->target_mm);
    tt_page_puts(page, corner ? " at the corner" : " change");
}

/* Nothing is left to do. */
static void say_done(struct tt_page *page, const struct tiptrue_proposal *p)
{
    bool corner = p->target_view_mm > 0;

    tt_page_puts(page, "DONE: the target of ");
    put_um(page, p->has_target ? p->target_mm : p->target_view_mm);
    tt_page_line(page, !corner         ? " on this plate is met; no further touch is needed"
                       : p->has_target ? " on this plate and that at the corner are met"
                                       : " at the corner of the picture is met; no further view is "
                                         "needed");
}

static void say_head(struct tt_page *page, const struct tiptrue_proposal *p)
{
    if (p->next && p->met && p->view_met && p->plan.n_moves == 0) {
        say_done(page, p);
        return;
    }
    tt_page_puts(page, p->next ? "NEXT: " : "PLAN: ");
    say_counts(page, p);
    if (p->has_target && p->next) {
        tt_page_puts(page, " (target of ");
        put_um(page, p->target_mm);
        tt_page_puts(page, p->met ? " change reached then)" : " change not reached yet)");
    } else if (!p->next || p->target_view_mm > 0) {
        say_targets(page, p);
    }
    tt_page_line_end(page);
    if (p->default_touches) {
        tt_page_prose(page, 2,
                      "24 touches for each tip, since neither --target-u nor --touches was given");
    }
}

/* "  wide     24 touches   ± 2.3 µm change, ± 13 µm total" */
static void say_tip(struct tt_page *page, const struct tt_tip_result *tip)
{
    tt_page_at(page, 2, tip->name);
    tt_page_tab(page, 16);
    put_count(page, tip->touches, " touch", " touches");
    tt_page_tab(page, 30);
    if (!is_determined(tip)) {
        tt_page_puts(page, "offset not determined");
    } else {
        put_um(page, same_plate_mm(tip));
        tt_page_puts(page, " change, ");
        put_um(page, fmax(tip->expanded_x_mm, tip->expanded_y_mm));
        tt_page_puts(page, " total");
    }
    tt_page_line_end(page);
}

/* "  wide      12 heights   ± 2.3 µm change, ± 13 µm total" */
static void say_heights(struct tt_page *page, const struct tiptrue_proposal *p)
{
    for (size_t i = 0; i < p->n_heights; i++) {
        const struct tt_planned_height *height = &p->heights[i];
        tt_page_at(page, 2, height->tip);
        tt_page_tab(page, 16);
        put_count(page, height->touches, " height", " heights");
        tt_page_tab(page, 30);
        put_um(page, EXPANDED_FACTOR * height->same_plate_u_mm);
        tt_page_puts(page, " change, ");
        put_um(page, EXPANDED_FACTOR * height->u_mm);
        tt_page_line(page, " total");
    }
}

/* "  camera        8 views       ± 2.3 µm at the corner of the picture" */
static void say_camera(struct tt_page *page, const struct tiptrue_proposal *p)
{
    if (p->views == 0) {
        return;
    }
    tt_page_at(page, 2, "camera");
    tt_page_tab(page, 16);
    put_count(page, p->views, " view", " views");
    tt_page_tab(page, 30);
    if (p->corner_mm < HUGE_VAL) {
        put_um(page, p->corner_mm);
        tt_page_puts(page, " at the corner of the picture");
        if (p->permitted_view_mm > 0) {
            tt_page_puts(page, p->corner_mm <= p->permitted_view_mm ? ", within the permitted "
                                                                    : ", more than the permitted ");
            tt_page_small(page, p->permitted_view_mm, 0, false);
            tt_page_printf(page, " %s", tt_page_units(page)->small);
        }
    } else {
        tt_page_puts(page, "scale and turn not determined");
    }
    tt_page_line_end(page);
    tt_text_picture_expected(page, &p->expected->camera);
}

/* A move of a pass: its rotation, its place in the picture, its mark. */
static void say_move(struct tt_buffer *words, const struct tt_move *move, bool first)
{
    if (move->kind == TT_VIEW) {
        tt_buffer_printf(words, "%s(%g, %g)", first ? " at " : ", ", move->px, move->py);
    } else if (move->kind == TT_SIGHT) {
        tt_buffer_puts(words, first ? "" : ", ");
        tt_buffer_puts(words, first ? "" : move->target);
    } else if (!move->is_find) {
        tt_buffer_putc(words, ' ');
        tt_number_write_rounded(words, tt_deg_from_rad(move->rotation_rad), 1);
    }
}

/* "  east, setup 1, tip wide at 0, 36, 72 degrees": a line for each pass over an edge. */
static void say_passes(struct tt_page *page, const struct tiptrue_proposal *p)
{
    static const char *const WORDS[TT_KINDS] = {[TT_SIGHT] = "sight ",
                                                [TT_TOUCH] = "touch ",
                                                [TT_HEIGHT] = "come down on ",
                                                [TT_WARMUP] = "",
                                                [TT_VIEW] = "view "};
    struct tt_buffer *words = &page->words;

    for (size_t i = 0; i < p->plan.n_moves;) {
        const struct tt_move *first = &p->plan.moves[i];
        bool touch = !tt_is_sighting(first->kind);
        tt_page_go(page, 2);
        tt_buffer_puts(words, WORDS[first->kind]);
        tt_buffer_puts(words, first->target);
        if (touch) {
            tt_buffer_puts(words, " with ");
            tt_buffer_puts(words, first->tip);
            tt_buffer_puts(words, " at");
        }
        for (; i < p->plan.n_moves; i++) {
            const struct tt_move *move = &p->plan.moves[i];
            bool same = move->kind == first->kind && strcmp(move->setup, first->setup) == 0;
            same = same && (first->kind == TT_SIGHT ||
                            (move->target == first->target && move->tip == first->tip));
            if (!same) {
                break;
            }
            say_move(words, move, move == first);
        }
        if (touch) {
            tt_buffer_puts(words, TT_DEGREE);
        }
        if (p->plan.n_setups > 0) {
            tt_buffer_puts(words, " (setup ");
            tt_buffer_puts(words, first->setup);
            tt_buffer_putc(words, ')');
        }
        tt_page_say(page, 6);
    }
}

void tt_output_proposal_text(const struct tiptrue_proposal *p,
                             const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 1, SIZE_MAX);

    say_head(&page, p);
    for (size_t i = 0; p->expected != NULL && i < p->expected->n_tips; i++) {
        say_tip(&page, &p->expected->tips[i]);
    }
    say_heights(&page, p);
    say_camera(&page, p);
    for (size_t i = 0; i < p->n_left_out; i++) {
        tt_page_go(&page, 2);
        tt_buffer_printf(&page.words, "left out for tip '%s': edge '%s' %s", p->left_out[i].tip,
                         p->left_out[i].edge, p->left_out[i].reason);
        tt_page_say(&page, 4);
    }
    for (size_t i = 0; i < p->n_notes; i++) {
        tt_page_go(&page, 2);
        tt_sentence_note(&page.words, p, &p->notes[i]);
        tt_page_say(&page, 4);
    }
    for (size_t i = 0; i < p->plan.n_setups; i++) {
        tt_page_go(&page, 2);
        tt_buffer_printf(&page.words, "setup %s: the plate turned by ", p->plan.setups[i].name);
        tt_number_write_rounded(&page.words, tt_deg_from_rad(p->plan.setups[i].turned_rad), 3);
        tt_buffer_puts(&page.words, TT_DEGREE);
        tt_page_say(&page, 4);
    }
    if (p->plan.n_moves > 0) {
        tt_page_line(&page, "In this order:");
        say_passes(&page, p);
    }
    tt_page_end(&page);
}

/* ---- what limits a plan, in words ---- */

static void note_plate(struct tt_buffer *buffer, const struct tt_note *note)
{
    tt_words_um(buffer, note->u_mm);
    tt_buffer_printf(buffer, " (standard) of the full uncertainty of tip '%s' is ", note->tip);
    if (note->group != NULL) {
        tt_buffer_printf(buffer, "the shift of the plate's group '%s'", note->group);
    } else {
        tt_buffer_puts(buffer, note->source == TT_BUDGET_GROUPS ? "the shift of the plate's groups"
                               : note->source == TT_BUDGET_EDGES
                                   ? "the places of the plate's edges"
                                   : "the places of the plate's marks");
    }
    tt_buffer_puts(buffer, note->second_setup_helps
                               ? ": more touches do not help; a second setup turned by 180 degrees "
                                 "does (--setups 2), or measuring the plate"
                               : ": more touches do not help; measuring the plate does");
}

void tt_sentence_note(struct tt_buffer *buffer, const struct tiptrue_proposal *proposal,
                      const struct tt_note *note)
{
    switch (note->code) {
    case TT_NOTE_FINDING:
        tt_buffer_puts(buffer, proposal->expected->findings[note->index].text);
        break;
    case TT_NOTE_UNUSABLE:
        tt_buffer_puts(buffer, proposal->solved->findings[note->index].text);
        break;
    case TT_NOTE_SIGHTINGS:
    case TT_NOTE_STATED:
        tt_buffer_printf(buffer, "the target is not reached for tip '%s': %s limits it (",
                         note->tip, tt_budget_source(note->source));
        tt_words_um(buffer, note->u_mm);
        tt_buffer_printf(buffer, " standard): %smore touches will not%s",
                         note->code == TT_NOTE_SIGHTINGS ? "more sightings will help, " : "",
                         note->code == TT_NOTE_SIGHTINGS ? "" : " help");
        break;
    case TT_NOTE_PLATE:
        note_plate(buffer, note);
        break;
    }
}

enum tiptrue_status tt_output_refusal(const struct tiptrue_proposal *proposal, const char *file,
                                      struct tiptrue_error *error)
{
    const struct tiptrue_solution *expected = proposal->expected;
    const char *why =
        expected->n_findings > 0 ? expected->findings[0].text : "its edges do not suffice";

    if (proposal->refusal == TT_REFUSED_UNUSED) {
        return tt_fail(error, TIPTRUE_E_DEGENERATE, file, 0, 0, "more edges, or better known ones",
                       "no run on this plate would be used: %s", why);
    }
    return tt_fail(error, TIPTRUE_E_DEGENERATE, file, 0, 0,
                   "edges in two directions, and marks that tell where the plate lies",
                   "no touches on this plate determine the offset: %s", why);
}
