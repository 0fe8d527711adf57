/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The words of a run's report: the very sentences of the text output. Its parts write onto a page
 * of endless lines, so that each line is a sentence, and each sentence becomes an element.
 */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/time.h"
#include "output/report/markup.h"
#include "output/report/report.h"
#include "output/text/text_parts.h"
#include "output/verdict.h"

#define ENDLESS ((size_t)1 << 30)

typedef void part_fn(struct tt_page *page, const struct tiptrue_solution *solution);

/* What @part writes, a sentence to each line. */
static void capture(part_fn *part, const struct tiptrue_solution *solution, struct tt_buffer *text)
{
    struct tt_page page = {.out = text, .utf8 = true, .columns = ENDLESS};

    part(&page, solution);
    tt_page_end(&page);
}

/* The next sentence of *text, without blanks around it; NULL = none is left. */
static const char *next_sentence(const char **text, size_t *length)
{
    while (*text != NULL && **text != '\0') {
        const char *line = *text + strspn(*text, " "), *end = line + strcspn(line, "\n");
        *text = *end == '\n' ? end + 1 : end;
        *length = (size_t)(end - line);
        if (*length > 0) {
            return line;
        }
    }
    return NULL;
}

/* Each sentence of @part as an element; the first @skip are left out. */
static void put_sentences(struct tt_buffer *body, const struct tiptrue_solution *solution,
                          part_fn *part, const char *open, const char *close, const char *element,
                          size_t skip)
{
    struct tt_buffer text = {0};
    size_t length, n = 0;

    capture(part, solution, &text);
    body->failed = body->failed || text.failed;
    const char *rest = text.failed ? NULL : text.text;
    for (const char *line = next_sentence(&rest, &length); line != NULL;
         line = next_sentence(&rest, &length)) {
        if (n++ < skip) {
            continue;
        }
        tt_buffer_puts(body, n == skip + 1 ? open : "");
        tt_buffer_printf(body, "<%s>", element);
        tt_markup_bytes(body, line, length);
        tt_buffer_printf(body, "</%s>\n", element);
    }
    tt_buffer_puts(body, n > skip ? close : "");
    tt_buffer_clear(&text);
}

void tt_report_verdict(struct tt_buffer *body, const struct tiptrue_solution *solution)
{
    struct tt_buffer text = {0};
    size_t length;

    capture(tt_text_verdict, solution, &text);
    body->failed = body->failed || text.failed;
    const char *rest = text.failed ? NULL : text.text, *line = next_sentence(&rest, &length);
    if (line != NULL) {
        size_t shout = strcspn(line, ":");
        tt_buffer_printf(body, "<p class=\"verdict %s\"><strong>",
                         tt_verdict_word(solution->verdict));
        tt_markup_bytes(body, line, shout);
        tt_buffer_puts(body, "</strong><span>");
        tt_markup_bytes(body, line + shout, length - shout);
        tt_buffer_puts(body, "</span></p>\n");
    }
    tt_buffer_clear(&text);
    put_sentences(body, solution, tt_text_reasons, "<ul>\n", "</ul>\n", "li", 0);
}

static void put_started(struct tt_report *report, const struct tiptrue_solution *s)
{
    double utc_s;

    if (s->started == NULL) {
        tt_buffer_puts(&report->body, "<p>Started: not stated in the log.</p>\n");
    } else if (tt_time_read(s->started, strlen(s->started), &utc_s)) {
        tt_buffer_puts(&report->body, "<p>Started: ");
        tt_report_time(&report->body, &report->zone, utc_s);
        tt_buffer_puts(&report->body, "</p>\n");
    }
}

void tt_report_words(struct tt_report *report, const struct tt_scene *scene)
{
    struct tiptrue_solution untimed =
        *scene->solution; /* the same but for the time, which is told in local time */
    struct tt_buffer *body = &report->body;

    untimed.started = NULL;
    put_sentences(body, scene->solution, tt_text_findings, "<h3>Findings</h3>\n<ul>\n", "</ul>\n",
                  "li", 1);
    put_sentences(body, scene->solution, tt_text_set_aside,
                  "<h3>Set aside, since the other touches contradict them</h3>\n<ul>\n", "</ul>\n",
                  "li", 1);
    tt_buffer_puts(body, "<h3>The run</h3>\n");
    put_started(report, scene->solution);
    put_sentences(body, &untimed, tt_text_run, "", "", "p", 0);
    put_sentences(body, scene->solution, tt_text_straightness, "", "", "p", 0);
    put_sentences(body, scene->solution, tt_text_next, "", "", "p", 0);
    put_sentences(body, scene->solution, tt_text_worked_sentence, "", "", "p", 0);
}

/* ---- the numbers of a tip ---- */

static void open_row(struct tt_buffer *body, const char *name)
{
    tt_buffer_printf(body, "<tr><th scope=\"row\">%s</th>", name);
}

static void put_mm(struct tt_buffer *body, bool determined, double value_mm)
{
    tt_buffer_puts(body, "<td>");
    if (determined) {
        tt_write_fixed(body, value_mm, TT_MM_DECIMALS, true);
    } else {
        tt_buffer_puts(body, "not determined");
    }
    tt_buffer_puts(body, "</td>");
}

static void put_um(struct tt_buffer *body, const char *before, bool determined, double value_mm,
                   double u_mm, bool plus)
{
    tt_buffer_puts(body, "<td>");
    if (determined) {
        tt_buffer_puts(body, before);
        tt_write_fixed(body, 1000 * value_mm, tt_um_decimals(u_mm), plus);
    }
    tt_buffer_puts(body, "</td>");
}

static void close_row(struct tt_buffer *body, const char *unit)
{
    tt_buffer_printf(body, "<td>%s</td></tr>\n", unit);
}

static void put_offset(struct tt_buffer *body, const struct tt_tip_result *t)
{
    bool x = t->offset_determined_x, y = t->offset_determined_y;

    open_row(body, "offset");
    put_mm(body, x, t->offset.x_mm);
    put_mm(body, y, t->offset.y_mm);
    close_row(body, "mm");
    open_row(body, "in full, 95 %");
    put_um(body, TT_PLUS_MINUS " ", x, t->expanded_x_mm, t->expanded_x_mm, false);
    put_um(body, TT_PLUS_MINUS " ", y, t->expanded_y_mm, t->expanded_y_mm, false);
    close_row(body, TT_UM);
    open_row(body, "on this plate, 95 %");
    put_um(body, TT_PLUS_MINUS " ", x, t->same_plate_expanded_x_mm, t->same_plate_expanded_x_mm,
           false);
    put_um(body, TT_PLUS_MINUS " ", y, t->same_plate_expanded_y_mm, t->same_plate_expanded_y_mm,
           false);
    close_row(body, TT_UM);
    if (t->has_present) {
        open_row(body, "in use");
        put_mm(body, true, t->present.x_mm);
        put_mm(body, true, t->present.y_mm);
        close_row(body, "mm");
        open_row(body, "change");
        put_um(body, "", x, t->change.x_mm, t->change_expanded_x_mm, true);
        put_um(body, "", y, t->change.y_mm, t->change_expanded_y_mm, true);
        close_row(body, TT_UM);
    }
}

void tt_report_tip(struct tt_buffer *body, const struct tiptrue_solution *s,
                   const struct tt_tip_result *t)
{
    tt_buffer_printf(body, "<p>Verdict: <strong>%s</strong>, %zu of %zu touches used.</p>\n",
                     tt_verdict_shown(s, t->verdict), t->used, t->touches);
    tt_buffer_puts(body, "<table><thead><tr><td></td><th scope=\"col\">x</th><th "
                         "scope=\"col\">y</th><td></td></tr></thead><tbody>\n");
    put_offset(body, t);
    if (t->runout_determined) {
        open_row(body, "runout at rotation 0");
        put_um(body, "", true, t->runout.x_mm, t->u_eccentricity_mm, true);
        put_um(body, "", true, t->runout.y_mm, t->u_eccentricity_mm, true);
        close_row(body, TT_UM);
    }
    if (t->runout_determined) {
        double expanded_mm = t->runout_factor * t->u_eccentricity_mm;
        open_row(body, "eccentricity, 95 %");
        put_um(body, "", true, t->eccentricity_mm, expanded_mm, false);
        put_um(body, TT_PLUS_MINUS " ", true, expanded_mm, expanded_mm, false);
        close_row(body, TT_UM);
        open_row(body, "full indicator movement");
        put_um(body, "", true, 2 * t->eccentricity_mm, 2 * expanded_mm, false);
        put_um(body, TT_PLUS_MINUS " ", true, 2 * expanded_mm, 2 * expanded_mm, false);
        close_row(body, TT_UM);
    }
    if (t->radius_determined) {
        double expanded_mm = t->factor * t->u_contact_radius_mm;
        open_row(body, "contact radius, 95 %");
        put_um(body, "", true, t->contact_radius_mm, expanded_mm, false);
        put_um(body, TT_PLUS_MINUS " ", true, expanded_mm, expanded_mm, false);
        close_row(body, TT_UM);
    }
    tt_buffer_puts(body, "</tbody></table>\n");
}
