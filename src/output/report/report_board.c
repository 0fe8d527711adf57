/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board on the page: verdict and findings in the sentences of the text output, its numbers in
 * tables, its parts in pictures. */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "output/report/markup.h"
#include "output/report/report.h"
#include "output/text/joined_text.h"
#include "output/text/placement_text.h"
#include "output/text/text_parts.h"
#include "output/text/words.h"
#include "output/verdict.h"

#define HEAD(words) "<th scope=\"col\">" words "</th>"
#define ROWS "</tr></thead><tbody>\n"
#define END "</tbody></table>\n"

static void put_percent(struct tt_buffer *body, double share)
{
    struct tt_buffer words = {0};

    tt_words_percent(&words, share);
    tt_buffer_puts(body, "<td>");
    tt_markup_text(body, words.failed || words.text == NULL ? "" : words.text);
    tt_buffer_puts(body, "</td>");
    body->failed = body->failed || words.failed;
    tt_buffer_clear(&words);
}

static void put_count(struct tt_buffer *body, size_t n)
{
    tt_buffer_printf(body, "<td>%zu</td>", n);
}

static void put_fixed(struct tt_buffer *body, bool known, double value, int decimals)
{
    tt_buffer_puts(body, "<td>");
    if (known) {
        tt_buffer_puts(body, tt_signed(value, decimals, false).text);
    }
    tt_buffer_puts(body, "</td>");
}

/* The cells of a value in x and y with the larger ± of the two. */
static void put_pair(struct tt_buffer *body, bool known, struct tt_pair value,
                     struct tt_pair expanded)
{
    double larger = fmax(expanded.x, expanded.y);

    tt_report_um(body, "", known, value.x, expanded.x, true);
    tt_report_um(body, "", known, value.y, expanded.y, true);
    tt_report_um(body, TT_PLUS_MINUS " ", known, larger, larger, false);
}

static void open_row(struct tt_buffer *body, const char *tip)
{
    tt_markup_named(body, "<tr><th scope=\"row\">", tip, "</th>");
}

/* ---- tables ---- */

static void put_tip(struct tt_buffer *body, const struct tiptrue_placement *p, size_t number,
                    size_t tip)
{
    const struct tt_placed_tip *t = &p->tips[tip];

    tt_buffer_printf(body, "<tr><th scope=\"row\"><a href=\"#board-%zu-tip-%zu\">", number,
                     tip + 1);
    tt_markup_short(body, t->name, TT_NAME_MOST);
    tt_buffer_printf(body, "</a></th><td>%zu of %zu</td>", t->used, t->parts);
    put_pair(body, t->has_offset && t->dof >= 1, t->offset_mm, t->expanded_offset_mm);
    put_percent(body, t->p_offset);
    tt_buffer_puts(body, "</tr>\n");
}

static void put_turning(struct tt_buffer *body, const struct tt_placed_tip *t)
{
    if (t->turning_shown) {
        open_row(body, t->name);
        tt_buffer_puts(body, "<td>turns</td>");
        put_pair(body, true, t->turning_mm, t->expanded_turning_mm);
        put_percent(body, t->p_turning);
        tt_buffer_puts(body, "</tr>\n");
    }
}

static void put_tips(struct tt_buffer *body, const struct tiptrue_placement *p, size_t number)
{
    const char *what = p->relative ? "offset less mean" : "add to offset";

    tt_buffer_printf(body,
                     "<table><thead><tr>" HEAD("tip") HEAD("parts used") HEAD("%s x, " TT_UM)
                         HEAD("%s y, " TT_UM) HEAD(TT_PLUS_MINUS " 95 %%, " TT_UM) HEAD("off") ROWS,
                     what, what);
    for (size_t i = 0; i < p->n_tips; i++) {
        put_tip(body, p, number, i);
        put_turning(body, &p->tips[i]);
    }
    if (p->common_shown) {
        open_row(body, "all alike");
        tt_buffer_puts(body, "<td></td>");
        put_pair(body, true, p->common_mm,
                 (struct tt_pair){2 * p->u_common_mm.x, 2 * p->u_common_mm.y});
        put_percent(body, p->p_common);
        tt_buffer_puts(body, "</tr>\n");
    }
    tt_buffer_puts(body, END "<p class=\"soft\">" TT_PLUS_MINUS
                             " is the larger one of x and y; off: the probability that it is not "
                             "0, from 90 % on it counts as shown.</p>\n");
}

static void put_axis(struct tt_buffer *body, const char *tip, const char *axis,
                     const struct tt_capability_axis *a)
{
    open_row(body, tip);
    tt_buffer_printf(body, "<td class=\"t\">%s</td>", axis);
    put_fixed(body, a->normal, a->cp, 2);
    put_fixed(body, a->normal, a->cpk, 2);
    tt_buffer_puts(body, "<td>");
    if (a->normal) {
        tt_buffer_printf(body, "%s to %s", tt_signed(a->cpk_low, 2, false).text,
                         tt_signed(a->cpk_high, 2, false).text);
    } else {
        tt_buffer_puts(body, "not normal");
    }
    tt_buffer_printf(body, "</td><td>%zu of %zu</td>", a->within, a->parts);
    put_percent(body, a->share_low);
    tt_buffer_puts(body, "</tr>\n");
}

static void put_capability(struct tt_buffer *body, const struct tiptrue_placement *p)
{
    if (p->n_capability == 0) {
        return;
    }
    tt_buffer_puts(body, "<h3>Capability</h3>\n<p>Permitted: ");
    if (p->has_limit_mm) {
        tt_words_um(body, p->limit_mm);
        tt_buffer_puts(body, " on each axis");
    }
    if (p->has_limit_rad) {
        tt_buffer_puts(body, p->has_limit_mm ? ", " : "");
        tt_words_deg(body, p->limit_rad, 2);
        tt_buffer_puts(body, " in rotation");
    }
    tt_buffer_puts(body, ". Parts that slipped count.</p>\n<table><thead><tr>" HEAD("tip")
                             HEAD("axis") HEAD("Cp") HEAD("Cpk") HEAD("Cpk 95 %")
                                 HEAD("parts within") HEAD("share at least, 95 %") ROWS);
    for (size_t k = 0; k < p->n_capability; k++) {
        const struct tt_capability *c = &p->capability[k];
        const char *name = c->tip == TT_NONE ? "all" : p->tip_names[c->tip];
        if (c->has_place) {
            put_axis(body, name, "x", &c->x);
            put_axis(body, name, "y", &c->y);
        }
        if (c->has_rotation) {
            put_axis(body, name, "rotation", &c->rotation);
        }
    }
    tt_buffer_puts(body, END);
}

static void put_joined(struct tt_buffer *body, const struct tiptrue_placement *p)
{
    if (!tt_is_joined(p)) {
        return;
    }
    struct tt_elements run = {.body = body, .open = "", .close = "", .element = "p"}, groups = run;
    tt_buffer_puts(body, "<h3>Joined with touches</h3>\n");
    tt_text_joined_run(tt_elements_begin(&run), p->joined);
    tt_elements_end(&run);
    tt_buffer_puts(body, "<table><thead><tr>" HEAD("tip") HEAD("in use x, mm") HEAD("y, mm")
                             HEAD("offset x, mm") HEAD("y, mm") HEAD(TT_PLUS_MINUS " total, " TT_UM)
                                 HEAD(TT_PLUS_MINUS " before, " TT_UM) ROWS);
    for (size_t i = 0; i < p->joined->n_tips; i++) {
        const struct tt_joined_tip *t = &p->joined->tips[i];
        double after = fmax(t->expanded_mm.x, t->expanded_mm.y),
               before = fmax(t->expanded_touched_mm.x, t->expanded_touched_mm.y);
        open_row(body, p->tip_names[t->tip]);
        tt_report_mm(body, true, t->in_use_mm.x);
        tt_report_mm(body, true, t->in_use_mm.y);
        tt_report_mm(body, true, t->offset_mm.x);
        tt_report_mm(body, true, t->offset_mm.y);
        tt_report_um(body, TT_PLUS_MINUS " ", true, after, after, false);
        tt_report_um(body, TT_PLUS_MINUS " ", true, before, before, false);
        tt_buffer_puts(body, "</tr>\n");
    }
    tt_buffer_puts(body, END);
    tt_text_joined_groups(tt_elements_begin(&groups), p->joined);
    tt_elements_end(&groups);
}

static void put_set_aside(struct tt_buffer *body, const struct tiptrue_placement *p)
{
    if (p->n_set_aside == 0) {
        return;
    }
    tt_buffer_puts(body, "<h3>Left out: they disagree with the other parts</h3>\n<table><thead>"
                         "<tr>" HEAD("line") HEAD("tip") HEAD("x, mm") HEAD("y, mm")
                             HEAD("off x, " TT_UM) HEAD("off y, " TT_UM) ROWS);
    for (size_t i = 0; i < p->parts_read; i++) {
        const struct tt_placed_part *part = &p->parts[i];
        if (!part->used) {
            tt_buffer_puts(body, "<tr>");
            put_count(body, part->line);
            tt_markup_named(body, "<td class=\"t\">", p->tip_names[part->tip], "</td>");
            put_fixed(body, true, part->wanted.x_mm, 3);
            put_fixed(body, true, part->wanted.y_mm, 3);
            tt_report_um(body, "", true, part->off_mm.x, 1e-2, true);
            tt_report_um(body, "", true, part->off_mm.y, 1e-2, true);
            tt_buffer_puts(body, "</tr>\n");
        }
    }
    tt_buffer_puts(body, END);
}

static void put_wanted(struct tt_buffer *body, const struct tiptrue_placement *p)
{
    if (p->n_wanted == 0) {
        return;
    }
    tt_buffer_puts(body, "<h3>Place these parts to tell what is open</h3>\n<table><thead><tr>" HEAD(
                             "tip") HEAD("rotation") HEAD("x, mm") HEAD("y, mm") ROWS);
    for (size_t i = 0; i < p->n_wanted; i++) {
        open_row(body, p->tip_names[p->wanted[i].tip]);
        put_fixed(body, true, tt_deg_from_rad(p->wanted[i].rotation_rad), 0);
        put_fixed(body, true, p->wanted[i].at.x_mm, 3);
        put_fixed(body, true, p->wanted[i].at.y_mm, 3);
        tt_buffer_puts(body, "</tr>\n");
    }
    tt_buffer_puts(body, END);
}

/* ---- the page ---- */

static void name_board(struct tt_report *report, const struct tiptrue_placement *p, size_t number)
{
    const char *file = tt_report_name(p->file);

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
    struct tt_buffer *body = &report->body;
    struct tiptrue_placement untimed = *p; /* the time is told in local time */
    char open[64];

    untimed.file = tt_report_name(p->file);
    untimed.started = NULL;
    tt_report_open_verdict(open, p->verdict);
    struct tt_elements verdict = {.body = body,
                                  .open = open,
                                  .close = "</p>\n",
                                  .shout = strlen(tt_verdict_shout(p->verdict))},
                       likeliest = {.body = body, .open = "", .close = "", .element = "p"},
                       board = likeliest,
                       findings = {.body = body,
                                   .open = "<h3>Findings</h3>\n<ul>\n",
                                   .close = "</ul>\n",
                                   .element = "li"};
    tt_text_board_verdict(tt_elements_begin(&verdict), p);
    tt_elements_end(&verdict);
    tt_text_board_likeliest(tt_elements_begin(&likeliest), p);
    tt_elements_end(&likeliest);
    put_tips(body, p, number);
    tt_text_board_findings(tt_elements_begin(&findings), p);
    tt_elements_end(&findings);
    put_wanted(body, p);
    tt_buffer_puts(body, "<h3>The board</h3>\n");
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
    struct tt_buffer *body = &report->body;
    size_t number = ++report->n_boards;

    report->n_parts++;
    name_board(report, p, number);
    put_words(report, p, number);
    tt_buffer_puts(body, "<div class=\"grid\">\n");
    put_picture(report, p, TT_NONE, "parts", tt_draw_board);
    put_picture(report, p, TT_NONE, "distance", draw_distance);
    tt_buffer_puts(body, "</div>\n");
    put_capability(body, p);
    put_joined(body, p);
    put_set_aside(body, p);
    for (size_t t = 0; t < p->n_tips; t++) {
        tt_buffer_printf(body, "<h3 id=\"board-%zu-tip-%zu\">Tip ", number, t + 1);
        tt_markup_text(body, p->tips[t].name);
        tt_buffer_puts(body, "</h3>\n<div class=\"grid\">\n");
        put_picture(report, p, t, "rotation", tt_draw_board_dial);
        if (p->n_tips > 1) {
            put_picture(report, p, t, "parts", tt_draw_board);
        }
        tt_buffer_puts(body, "</div>\n");
    }
    tt_buffer_puts(body, "</section>\n");
}
