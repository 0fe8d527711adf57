/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board on the page: verdict and findings in the sentences of the text output, its numbers in
 * tables, its parts in pictures. */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "output/report/markup.h"
#include "output/report/report.h"
#include "output/text/placement_text.h"
#include "output/text/words.h"
#include "output/verdict.h"

#define END "</tbody></table>\n"

static void put_percent(struct tt_report *report, double share)
{
    tt_buffer_puts(&report->body, "<td>");
    tt_words_percent(&report->body, share);
    tt_buffer_puts(&report->body, "</td>");
}

static void put_count(struct tt_report *report, size_t n)
{
    tt_buffer_printf(&report->body, "<td>%zu</td>", n);
}

/* The cells of a value in x and y with the larger ± of the two. */
static void put_pair(struct tt_report *report, bool known, struct tt_pair value,
                     struct tt_pair expanded)
{
    double larger = fmax(expanded.x, expanded.y);

    tt_report_small(report, "", known, value.x, expanded.x, true);
    tt_report_small(report, "", known, value.y, expanded.y, true);
    tt_report_small(report, TT_PLUS_MINUS " ", known, larger, larger, false);
}

static void open_row(struct tt_report *report, const char *tip)
{
    tt_markup_named(&report->body, "<tr><th scope=\"row\">", tip, "</th>");
}

/* ---- tables ---- */

static void put_tip(struct tt_report *report, const struct tiptrue_placement *p, size_t number,
                    size_t tip)
{
    const struct tt_placed_tip *t = &p->tips[tip];

    tt_buffer_printf(&report->body, "<tr><th scope=\"row\"><a href=\"#board-%zu-tip-%zu\">", number,
                     tip + 1);
    tt_markup_short(&report->body, t->name, TT_NAME_MOST);
    tt_buffer_printf(&report->body, "</a></th><td>%zu of %zu</td>", t->used, t->parts);
    put_pair(report, t->has_offset && t->dof >= 1, t->offset_mm, t->expanded_offset_mm);
    put_percent(report, t->p_offset);
    tt_buffer_puts(&report->body, "</tr>\n");
}

static void put_turning(struct tt_report *report, const struct tt_placed_tip *t)
{
    if (t->turning_shown) {
        open_row(report, t->name);
        tt_buffer_puts(&report->body, "<td>turns</td>");
        put_pair(report, true, t->turning_mm, t->expanded_turning_mm);
        put_percent(report, t->p_turning);
        tt_buffer_puts(&report->body, "</tr>\n");
    }
}

static void put_tips(struct tt_report *report, const struct tiptrue_placement *p, size_t number)
{
    tt_report_columns(
        report, p->relative ? "tip|parts used|offset less mean x, " TT_UM
                              "|offset less mean y, " TT_UM "|" TT_PLUS_MINUS " 95 %, " TT_UM "|off"
                            : "tip|parts used|add to offset x, " TT_UM "|add to offset y, " TT_UM
                              "|" TT_PLUS_MINUS " 95 %, " TT_UM "|off");
    for (size_t i = 0; i < p->n_tips; i++) {
        put_tip(report, p, number, i);
        put_turning(report, &p->tips[i]);
    }
    if (p->common_shown) {
        open_row(report, "all alike");
        tt_buffer_puts(&report->body, "<td></td>");
        put_pair(report, true, p->common_mm,
                 (struct tt_pair){2 * p->u_common_mm.x, 2 * p->u_common_mm.y});
        put_percent(report, p->p_common);
        tt_buffer_puts(&report->body, "</tr>\n");
    }
    tt_buffer_puts(&report->body,
                   END "<p class=\"soft\">" TT_PLUS_MINUS
                       " is the larger one of x and y; off: the probability that it is not "
                       "0, from 90 % on it counts as shown.</p>\n");
}

static void put_axis(struct tt_report *report, const char *tip, const char *axis,
                     const struct tt_capability_axis *a)
{
    open_row(report, tip);
    tt_buffer_printf(&report->body, "<td class=\"t\">%s</td>", axis);
    tt_report_cell(report, a->normal, tt_signed(a->cp, 2, false));
    tt_report_cell(report, a->normal, tt_signed(a->cpk, 2, false));
    tt_buffer_puts(&report->body, "<td>");
    if (a->normal) {
        tt_buffer_printf(&report->body, "%s to %s", tt_signed(a->cpk_low, 2, false).text,
                         tt_signed(a->cpk_high, 2, false).text);
    } else {
        tt_buffer_puts(&report->body, "not normal");
    }
    tt_buffer_printf(&report->body, "</td><td>%zu of %zu</td>", a->within, a->parts);
    put_percent(report, a->share_low);
    tt_buffer_puts(&report->body, "</tr>\n");
}

static void put_capability(struct tt_report *report, const struct tiptrue_placement *p)
{
    if (p->n_capability == 0) {
        return;
    }
    tt_buffer_puts(&report->body, "<h3>Capability</h3>\n<p>Permitted: ");
    if (p->has_limit_mm) {
        double um = 1e3 * p->limit_mm;
        tt_buffer_printf(&report->body, "%s %s on each axis",
                         tt_signed_small(report->units, p->limit_mm, um < 9.95 ? 1 : 0, false).text,
                         tt_units_or_mm(report->units)->small);
    }
    if (p->has_limit_rad) {
        tt_buffer_puts(&report->body, p->has_limit_mm ? ", " : "");
        tt_words_deg(&report->body, p->limit_rad, 2);
        tt_buffer_puts(&report->body, " in rotation");
    }
    tt_buffer_puts(&report->body, ". Parts that slipped count.</p>\n");
    tt_report_columns(report, "tip|axis|Cp|Cpk|Cpk 95 %|parts within|share at least, 95 %");
    for (size_t k = 0; k < p->n_capability; k++) {
        const struct tt_capability *c = &p->capability[k];
        const char *name = c->tip == TT_NONE ? "all" : p->tip_names[c->tip];
        if (c->has_place) {
            put_axis(report, name, "x", &c->x);
            put_axis(report, name, "y", &c->y);
        }
        if (c->has_rotation) {
            put_axis(report, name, "rotation", &c->rotation);
        }
    }
    tt_buffer_puts(&report->body, END);
}

static void put_joined(struct tt_report *report, const struct tiptrue_placement *p)
{
    if (!tt_is_joined(p)) {
        return;
    }
    struct tt_elements run = {.report = report, .open = "", .close = "", .element = "p"},
                       groups = run;
    tt_buffer_puts(&report->body, "<h3>Joined with touches</h3>\n");
    tt_text_joined_run(tt_elements_begin(&run), p->joined);
    tt_elements_end(&run);
    tt_report_columns(report, "tip|in use x, mm|y, mm|offset x, mm|y, mm|" TT_PLUS_MINUS
                              " total, " TT_UM "|" TT_PLUS_MINUS " before, " TT_UM);
    for (size_t i = 0; i < p->joined->n_tips; i++) {
        const struct tt_joined_tip *t = &p->joined->tips[i];
        double after = fmax(t->expanded_mm.x, t->expanded_mm.y),
               before = fmax(t->expanded_touched_mm.x, t->expanded_touched_mm.y);
        open_row(report, p->tip_names[t->tip]);
        tt_report_length(report, true, t->in_use_mm.x);
        tt_report_length(report, true, t->in_use_mm.y);
        tt_report_length(report, true, t->offset_mm.x);
        tt_report_length(report, true, t->offset_mm.y);
        tt_report_small(report, TT_PLUS_MINUS " ", true, after, after, false);
        tt_report_small(report, TT_PLUS_MINUS " ", true, before, before, false);
        tt_buffer_puts(&report->body, "</tr>\n");
    }
    tt_buffer_puts(&report->body, END);
    tt_text_joined_groups(tt_elements_begin(&groups), p->joined);
    tt_elements_end(&groups);
}

static void put_set_aside(struct tt_report *report, const struct tiptrue_placement *p)
{
    if (p->n_set_aside == 0) {
        return;
    }
    tt_buffer_puts(&report->body, "<h3>Left out: they disagree with the other parts</h3>\n");
    tt_report_columns(report, "line|tip|x, mm|y, mm|off x, " TT_UM "|off y, " TT_UM);
    for (size_t i = 0; i < p->parts_read; i++) {
        const struct tt_placed_part *part = &p->parts[i];
        if (!part->used) {
            tt_buffer_puts(&report->body, "<tr>");
            put_count(report, part->line);
            tt_markup_named(&report->body, "<td class=\"t\">", p->tip_names[part->tip], "</td>");
            tt_report_cell(report, true,
                           tt_signed_length(report->units, part->wanted.x_mm, 3, false));
            tt_report_cell(report, true,
                           tt_signed_length(report->units, part->wanted.y_mm, 3, false));
            tt_report_small(report, "", true, part->off_mm.x, 1e-2, true);
            tt_report_small(report, "", true, part->off_mm.y, 1e-2, true);
            tt_buffer_puts(&report->body, "</tr>\n");
        }
    }
    tt_buffer_puts(&report->body, END);
}

static void put_wanted(struct tt_report *report, const struct tiptrue_placement *p)
{
    if (p->n_wanted == 0) {
        return;
    }
    tt_buffer_puts(&report->body, "<h3>Place these parts to tell what is open</h3>\n");
    tt_report_columns(report, "tip|rotation|x, mm|y, mm");
    for (size_t i = 0; i < p->n_wanted; i++) {
        open_row(report, p->tip_names[p->wanted[i].tip]);
        tt_report_cell(report, true,
                       tt_signed(tt_deg_from_rad(p->wanted[i].rotation_rad), 0, false));
        tt_report_cell(report, true,
                       tt_signed_length(report->units, p->wanted[i].at.x_mm, 3, false));
        tt_report_cell(report, true,
                       tt_signed_length(report->units, p->wanted[i].at.y_mm, 3, false));
        tt_buffer_puts(&report->body, "</tr>\n");
    }
    tt_buffer_puts(&report->body, END);
}

/* ---- the page ---- */

static void name_board(struct tt_report *report, const struct tiptrue_placement *p, size_t number)
{
    const char *file = tt_markup_file(p->file);

    if (report->n_parts == 1) {
        tt_markup_short(&report->title, file, 60);
        tt_buffer_puts(&report->title, ", ");
        tt_markup_short(&report->title, p->machine, 60);
        tt_buffer_printf(&report->title, ": %s", tt_verdict_word(p->verdict));
    }
    tt_buffer_printf(&report->list, "<li><a href=\"#board-%zu\">", number);
    tt_markup_short(&report->list, file, 60);
    tt_buffer_printf(&report->list, "</a>: <strong>%s</strong></li>\n",
                     tt_verdict_word(p->verdict));
    tt_buffer_printf(&report->body, "<section id=\"board-%zu\">\n<h2>Board ", number);
    tt_markup_short(&report->body, file, 120);
    tt_buffer_puts(&report->body, "</h2>\n");
}

static void put_words(struct tt_report *report, const struct tiptrue_placement *p, size_t number)
{
    struct tiptrue_placement untimed = *p; /* the time is told in local time */
    char open[64];

    untimed.file = tt_markup_file(p->file);
    untimed.started = NULL;
    tt_report_open_verdict(open, p->verdict);
    struct tt_elements verdict = {.report = report,
                                  .open = open,
                                  .close = "</p>\n",
                                  .shout = strlen(tt_verdict_shout(p->verdict))},
                       likeliest = {.report = report, .open = "", .close = "", .element = "p"},
                       board = likeliest,
                       findings = {.report = report,
                                   .open = "<h3>Findings</h3>\n<ul>\n",
                                   .close = "</ul>\n",
                                   .element = "li"};
    tt_text_board_verdict(tt_elements_begin(&verdict), p);
    tt_elements_end(&verdict);
    tt_text_board_likeliest(tt_elements_begin(&likeliest), p);
    tt_elements_end(&likeliest);
    put_tips(report, p, number);
    tt_text_board_findings(tt_elements_begin(&findings), p);
    tt_elements_end(&findings);
    put_wanted(report, p);
    tt_buffer_puts(&report->body, "<h3>The board</h3>\n");
    tt_report_started(report, p->started);
    tt_text_board(tt_elements_begin(&board), &untimed);
    tt_elements_end(&board);
}

typedef void draw_fn(const struct tiptrue_placement *placement, size_t tip,
                     struct tt_picture *picture);

static void put_picture(struct tt_report *report, const struct tiptrue_placement *p, size_t tip,
                        const char *what, draw_fn *draw)
{
    struct tt_picture *picture = tt_report_picture(report);

    if (picture == NULL) {
        return;
    }
    if (tip == TT_NONE) {
        snprintf(picture->name, sizeof picture->name, "board-%zu-%s", report->n_boards, what);
    } else {
        snprintf(picture->name, sizeof picture->name, "board-%zu-tip-%zu-%s", report->n_boards,
                 tip + 1, what);
    }
    draw(p, tip, picture);
    tt_report_place(report);
}

static void draw_distance(const struct tiptrue_placement *p, size_t tip, struct tt_picture *picture)
{
    (void)tip;
    tt_draw_board_distance(p, picture);
}

void tt_report_add_board(struct tt_report *report, const struct tiptrue_placement *p)
{
    size_t number = ++report->n_boards;

    report->n_parts++;
    report->own[0] = (struct tt_own_names){p->tip_names, p->n_tips, sizeof p->tip_names[0]};
    report->own[1] = (struct tt_own_names){0};
    name_board(report, p, number);
    put_words(report, p, number);
    tt_buffer_puts(&report->body, "<div class=\"grid\">\n");
    put_picture(report, p, TT_NONE, "parts", tt_draw_board);
    put_picture(report, p, TT_NONE, "distance", draw_distance);
    tt_buffer_puts(&report->body, "</div>\n");
    put_capability(report, p);
    put_joined(report, p);
    put_set_aside(report, p);
    for (size_t t = 0; t < p->n_tips; t++) {
        tt_buffer_printf(&report->body, "<h3 id=\"board-%zu-tip-%zu\">Tip ", number, t + 1);
        tt_markup_text(&report->body, p->tips[t].name);
        tt_buffer_puts(&report->body, "</h3>\n<div class=\"grid\">\n");
        put_picture(report, p, t, "rotation", tt_draw_board_dial);
        if (p->n_tips > 1) {
            put_picture(report, p, t, "parts", tt_draw_board);
        }
        tt_buffer_puts(&report->body, "</div>\n");
    }
    tt_buffer_puts(&report->body, "</section>\n");
}
