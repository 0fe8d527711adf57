/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words of a run's report: the very sentences of the text output. Its parts write onto a page
 * of endless lines, each of which is a sentence and becomes an element as it ends. */
#include "config.h"

#include "base/time.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "output/report/markup.h"
#include "output/report/report.h"
#include "output/text/text_parts.h"
#include "output/verdict.h"

#define ENDLESS ((size_t)1 << 30)

typedef void part_fn(struct tt_page *page, const struct tiptrue_solution *solution);

static void put_element(void *hearer, const char *line, size_t length)
{
    struct tt_elements *to = hearer;
    struct tt_buffer *body = &to->report->body;

    tt_buffer_puts(body, to->n++ == 0 ? to->open : "");
    if (to->shout > 0) {
        tt_buffer_puts(body, "<strong>");
        tt_markup_bytes(body, line, to->shout);
        tt_buffer_puts(body, "</strong><span>");
        tt_markup_bytes(body, line + to->shout, length - to->shout);
        tt_buffer_puts(body, "</span>");
    } else {
        tt_buffer_printf(body, "<%s>", to->element);
        tt_markup_bytes(body, line, length);
        tt_buffer_printf(body, "</%s>\n", to->element);
    }
}

struct tt_page *tt_elements_begin(struct tt_elements *to)
{
    to->page = (struct tt_page){.out = &to->line,
                                .utf8 = true,
                                .columns = ENDLESS,
                                .hear = put_element,
                                .hearer = to,
                                .folded = "see below",
                                .units = to->report->units,
                                .own = {to->report->own[0], to->report->own[1]}};
    return &to->page;
}

void tt_elements_end(struct tt_elements *to)
{
    tt_page_end(&to->page);
    tt_buffer_puts(&to->report->body, to->n > 0 ? to->close : "");
    to->report->failed = to->report->failed || to->line.failed;
    tt_buffer_clear(&to->line);
}

/* Each sentence of @part as an element; @open before the first, @close behind the last. */
static void put_sentences(struct tt_report *report, const struct tiptrue_solution *solution,
                          part_fn *part, const char *open, const char *close, const char *element)
{
    struct tt_elements to = {.report = report, .open = open, .close = close, .element = element};

    part(tt_elements_begin(&to), solution);
    tt_elements_end(&to);
}

void tt_report_started(struct tt_report *report, const char *started)
{
    double utc_s;

    if (started != NULL && tt_time_read(started, strlen(started), &utc_s)) {
        tt_buffer_puts(&report->body, "<p>Started: ");
        tt_markup_time(&report->body, &report->zone, utc_s);
        tt_buffer_puts(&report->body, "</p>\n");
    }
}

void tt_report_words(struct tt_report *report, const struct tt_scene *scene)
{
    struct tiptrue_solution untimed =
        *scene->solution; /* the same but for the time, which is told in local time */
    struct tt_buffer *body = &report->body;

    untimed.file = tt_markup_file(untimed.file);
    untimed.started = NULL;
    put_sentences(report, scene->solution, tt_text_findings, "<h3>Findings</h3>\n<ul>\n", "</ul>\n",
                  "li");
    put_sentences(
        report, scene->solution, tt_text_followers,
        "<details><summary>Findings that probably follow from the reasons above</summary>\n<ul>\n",
        "</ul></details>\n", "li");
    put_sentences(report, scene->solution, tt_text_set_aside,
                  "<h3>Left out: they disagree with the other touches</h3>\n<ul>\n", "</ul>\n",
                  "li");
    tt_buffer_puts(body, "<h3>The run</h3>\n");
    tt_buffer_puts(
        body, scene->solution->started == NULL ? "<p>Started: not stated in the log.</p>\n" : "");
    tt_report_started(report, scene->solution->started);
    put_sentences(report, &untimed, tt_text_run, "", "", "p");
    put_sentences(report, scene->solution, tt_text_straightness, "", "", "p");
    put_sentences(report, scene->solution, tt_text_next, "", "", "p");
    put_sentences(report, scene->solution, tt_text_worked_sentence, "", "", "p");
}

/* ---- the numbers of a tip ---- */

static void open_row(struct tt_report *report, const char *name)
{
    tt_buffer_printf(&report->body, "<tr><th scope=\"row\">%s</th>", name);
}

/* Markup of our own with bare names of units, which become the page's. */
static void put_with_units(struct tt_report *report, const char *markup)
{
    tt_units_heading(tt_units_or_mm(report->units), markup, &report->body);
}

void tt_report_columns(struct tt_report *report, const char *names)
{
    tt_buffer_puts(&report->body, "<table><thead><tr>");
    for (bool more = true; more;) {
        bool words = *names == '.';
        size_t length = strcspn(names, "|");
        char name[64];
        snprintf(name, sizeof name, "%.*s", (int)(length - words), names + words);
        tt_buffer_puts(&report->body, name[0] == '\0' ? "<td>"
                                      : words         ? "<th scope=\"col\" class=\"t\">"
                                                      : "<th scope=\"col\">");
        put_with_units(report, name);
        tt_buffer_puts(&report->body, name[0] == '\0' ? "</td>" : "</th>");
        more = names[length] == '|';
        names += length + more;
    }
    tt_buffer_puts(&report->body, "</tr></thead><tbody>\n");
}

void tt_report_cell(struct tt_report *report, bool there, struct tt_fixed number)
{
    tt_buffer_printf(&report->body, "<td>%s</td>", there ? number.text : "");
}

void tt_report_length(struct tt_report *report, bool determined, double value_mm)
{
    tt_buffer_printf(&report->body, "<td>%s</td>",
                     determined
                         ? tt_signed_length(report->units, value_mm, TT_MM_DECIMALS, true).text
                         : "not determined");
}

void tt_report_small(struct tt_report *report, const char *before, bool determined, double value_mm,
                     double u_mm, bool plus)
{
    tt_buffer_puts(&report->body, "<td>");
    if (determined) {
        tt_buffer_puts(&report->body, before);
        tt_buffer_puts(&report->body,
                       tt_signed_small(report->units, value_mm, tt_um_decimals(u_mm), plus).text);
    }
    tt_buffer_puts(&report->body, "</td>");
}

static void close_row(struct tt_report *report, const char *unit)
{
    tt_buffer_puts(&report->body, "<td>");
    put_with_units(report, unit);
    tt_buffer_puts(&report->body, "</td></tr>\n");
}

static void put_offset(struct tt_report *report, const struct tt_tip_result *t)
{
    bool x = t->offset_determined_x, y = t->offset_determined_y;

    open_row(report, "offset");
    tt_report_length(report, x, t->offset.x_mm);
    tt_report_length(report, y, t->offset.y_mm);
    close_row(report, "mm");
    open_row(report, TT_PLUS_MINUS " total, 95 %");
    tt_report_small(report, TT_PLUS_MINUS " ", x, t->expanded_x_mm, t->expanded_x_mm, false);
    tt_report_small(report, TT_PLUS_MINUS " ", y, t->expanded_y_mm, t->expanded_y_mm, false);
    close_row(report, TT_UM);
    open_row(report, TT_PLUS_MINUS " change, 95 %");
    tt_report_small(report, TT_PLUS_MINUS " ", x, t->same_plate_expanded_x_mm,
                    t->same_plate_expanded_x_mm, false);
    tt_report_small(report, TT_PLUS_MINUS " ", y, t->same_plate_expanded_y_mm,
                    t->same_plate_expanded_y_mm, false);
    close_row(report, TT_UM);
    if (t->has_present) {
        open_row(report, "in use");
        tt_report_length(report, true, t->present.x_mm);
        tt_report_length(report, true, t->present.y_mm);
        close_row(report, "mm");
        open_row(report, "change");
        tt_report_small(report, "", x, t->change.x_mm, t->change_expanded_x_mm, true);
        tt_report_small(report, "", y, t->change.y_mm, t->change_expanded_y_mm, true);
        close_row(report, TT_UM);
    }
}

static void put_tips(struct tt_report *report, const struct tiptrue_solution *s, size_t number)
{
    tt_report_columns(report, "tip|.verdict|offset x, mm|offset y, mm|" TT_PLUS_MINUS
                              " total, " TT_UM "|" TT_PLUS_MINUS " change, " TT_UM);
    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_tip_result *t = &s->tips[i];
        bool both = t->offset_determined_x && t->offset_determined_y;
        double full_mm = fmax(t->expanded_x_mm, t->expanded_y_mm);
        double held_mm = fmax(t->same_plate_expanded_x_mm, t->same_plate_expanded_y_mm);
        tt_buffer_printf(&report->body, "<tr><th scope=\"row\"><a href=\"#run-%zu-tip-%zu\">",
                         number, i + 1);
        tt_markup_short(&report->body, t->name, TT_NAME_MOST);
        tt_buffer_printf(&report->body, "</a></th><td class=\"t\"><strong>%s</strong></td>",
                         tt_verdict_shown(s, t->offset_verdict));
        tt_report_length(report, t->offset_determined_x, t->offset.x_mm);
        tt_report_length(report, t->offset_determined_y, t->offset.y_mm);
        tt_report_small(report, TT_PLUS_MINUS " ", both, full_mm, full_mm, false);
        tt_report_small(report, TT_PLUS_MINUS " ", both, held_mm, held_mm, false);
        tt_buffer_puts(&report->body, "</tr>\n");
    }
    tt_buffer_puts(&report->body, "</tbody></table>\n");
}

void tt_report_open_verdict(char open[64], enum tiptrue_verdict verdict)
{
    snprintf(open, 64, "<p class=\"verdict %s\">", tt_verdict_word(verdict));
}

void tt_report_verdict(struct tt_report *report, const struct tiptrue_solution *solution,
                       size_t number)
{
    char open[64];

    tt_report_open_verdict(open, solution->verdict);
    struct tt_elements to = {.report = report,
                             .open = open,
                             .close = "</p>\n",
                             .shout = strlen(tt_text_shout(solution))};
    tt_text_verdict(tt_elements_begin(&to), solution);
    tt_elements_end(&to);
    put_tips(report, solution, number);
    put_sentences(report, solution, tt_text_reasons, "<ul>\n", "</ul>\n", "li");
}

void tt_report_tip(struct tt_report *report, const struct tiptrue_solution *s,
                   const struct tt_tip_result *t)
{
    tt_buffer_printf(&report->body, "<p>Verdict: <strong>%s</strong>, ",
                     tt_verdict_shown(s, t->offset_verdict));
    if (t->height != NULL && t->height->has_verdict) {
        tt_buffer_printf(&report->body, "of its height <strong>%s</strong>, ",
                         tt_verdict_shown(s, t->height->verdict));
    }
    tt_buffer_printf(&report->body, "%zu of %zu touches used.</p>\n", t->used, t->touches);
    tt_report_columns(report, "|x|y|");
    put_offset(report, t);
    if (t->runout_determined) {
        open_row(report, "runout at rotation 0");
        tt_report_small(report, "", true, t->runout.x_mm, t->u_eccentricity_mm, true);
        tt_report_small(report, "", true, t->runout.y_mm, t->u_eccentricity_mm, true);
        close_row(report, TT_UM);
    }
    tt_buffer_puts(&report->body, "</tbody></table>\n");
    if (t->runout_determined || t->radius_determined) {
        tt_report_columns(report, "|value|95 %|");
    }
    if (t->runout_determined) {
        double expanded_mm = t->runout_factor * t->u_eccentricity_mm;
        open_row(report, "eccentricity");
        tt_report_small(report, "", true, t->eccentricity_mm, expanded_mm, false);
        tt_report_small(report, TT_PLUS_MINUS " ", true, expanded_mm, expanded_mm, false);
        close_row(report, TT_UM);
        open_row(report, "full indicator movement");
        tt_report_small(report, "", true, 2 * t->eccentricity_mm, 2 * expanded_mm, false);
        tt_report_small(report, TT_PLUS_MINUS " ", true, 2 * expanded_mm, 2 * expanded_mm, false);
        close_row(report, TT_UM);
    }
    if (t->radius_determined) {
        double expanded_mm = t->factor * t->u_contact_radius_mm;
        open_row(report, "contact radius");
        tt_report_small(report, "", true, t->contact_radius_mm, expanded_mm, false);
        tt_report_small(report, TT_PLUS_MINUS " ", true, expanded_mm, expanded_mm, false);
        close_row(report, TT_UM);
    }
    if (t->runout_determined || t->radius_determined) {
        tt_buffer_puts(&report->body, "</tbody></table>\n");
    }
}

/* Tables of a run's report about touches from above: heights of tips, pads with residuals. */

static void put_name(struct tt_report *report, const char *name)
{
    tt_markup_named(&report->body, "<tr><th scope=\"row\">", name, "</th>");
}

static void put_tip(struct tt_report *report, const struct tt_tip_result *tip)
{
    const struct tt_height_result *h = tip->height;
    int digits = tt_um_decimals(h->same_plate_expanded_mm);

    put_name(report, tip->name);
    tt_buffer_printf(&report->body, "<td class=\"t\">%s</td>",
                     h->has_verdict ? tt_verdict_word(h->verdict) : "");
    tt_report_cell(report, h->determined,
                   tt_signed_length(report->units, h->value_mm, TT_MM_DECIMALS, true));
    tt_report_cell(
        report, h->determined,
        tt_signed_small(report->units, h->expanded_mm, tt_um_decimals(h->expanded_mm), false));
    tt_report_cell(report, h->determined,
                   tt_signed_small(report->units, h->same_plate_expanded_mm, digits, false));
    tt_report_cell(report, h->determined && h->has_present,
                   tt_signed_small(report->units, h->change_mm, digits, true));
    tt_report_cell(report, h->has_conformity,
                   tt_signed_small(report->units, h->permitted_error_mm, 0, false));
    tt_report_cell(report, h->has_face_runout,
                   tt_signed_small(report->units, h->face_amplitude_mm, 1, false));
    tt_buffer_puts(&report->body, "</tr>\n");
}

static void put_pad(struct tt_report *report, const struct tt_pad_result *pad)
{
    put_name(report, pad->name);
    tt_buffer_printf(&report->body, "<td>%zu of %zu</td>", pad->used, pad->touches);
    tt_report_cell(report, true, tt_signed_small(report->units, pad->mean_residual_mm, 1, true));
    tt_report_cell(report, true, tt_signed_small(report->units, pad->shift_mm, 1, true));
    tt_report_cell(report, true, tt_signed_small(report->units, pad->u_shift_mm, 1, false));
    tt_buffer_puts(&report->body, "</tr>\n");
}

/* A slope as the page has it, of two decimals in mm/m. */
static struct tt_fixed slope(const struct tt_report *report, double rise, bool plus)
{
    const struct tt_units *units = tt_units_or_mm(report->units);
    int decimals = units->slope_drop < 2 ? 2 - units->slope_drop : 0;

    return tt_signed(units->slope_per_mm_m * 1e3 * rise, decimals, plus);
}

static void put_surface(struct tt_report *report, const struct tiptrue_solution *s,
                        const struct tt_surface_result *surface)
{
    const char *unit = tt_units_or_mm(report->units)->slope;

    if (s->n_surface > 1) {
        tt_markup_named(&report->body, "<p>Setup ", surface->setup, "</p>\n");
    }
    tt_report_columns(report, "pad|touches used|mean residual, " TT_UM
                              "|above its stated height, " TT_UM "|u, " TT_UM);
    for (size_t k = 0; k < surface->n_pads; k++) {
        put_pad(report, &surface->pads[k]);
    }
    tt_buffer_puts(&report->body, "</tbody></table>\n");
    if (surface->slope_determined) {
        tt_buffer_printf(&report->body,
                         "<p>The plate rises by %s %s along machine x (u %s) and %s %s along y "
                         "(u %s).</p>\n",
                         slope(report, surface->slope_x, true).text, unit,
                         slope(report, surface->u_slope_x, false).text,
                         slope(report, surface->slope_y, true).text, unit,
                         slope(report, surface->u_slope_y, false).text);
    }
}

void tt_report_heights(struct tt_report *report, const struct tiptrue_solution *s)
{
    if (s->n_surface == 0) {
        return;
    }
    tt_buffer_puts(&report->body, "<h3>Heights</h3>\n");
    tt_report_columns(report, "tip|.verdict|height, mm|" TT_PLUS_MINUS " total, " TT_UM
                              "|" TT_PLUS_MINUS " change, " TT_UM "|change, " TT_UM
                              "|permitted, " TT_UM "|face runout, " TT_UM);
    for (size_t i = 0; i < s->n_tips; i++) {
        if (s->tips[i].height != NULL) {
            put_tip(report, &s->tips[i]);
        }
    }
    tt_buffer_puts(&report->body, "</tbody></table>\n");
    for (size_t k = 0; k < s->n_surface; k++) {
        put_surface(report, s, &s->surface[k]);
    }
}
