/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See report.h. */
#include "config.h"

#include "output/report/report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "output/report/markup.h"
#include "output/report/picture.h"
#include "output/text/text_parts.h"
#include "output/verdict.h"

void tt_report_clear(struct tt_report *report)
{
    for (size_t i = 0; i < report->n_pictures; i++) {
        tt_picture_clear(&report->pictures[i]);
    }
    free(report->pictures);
    tt_buffer_clear(&report->list);
    tt_buffer_clear(&report->title);
    tt_buffer_clear(&report->body);
    *report = (struct tt_report){0};
}

struct tt_picture *tt_report_picture(struct tt_report *report)
{
    if (report->n_pictures == report->capacity) {
        size_t capacity = report->capacity > 0 ? 2 * report->capacity : 16;
        struct tt_picture *wide = realloc(report->pictures, capacity * sizeof *wide);
        if (wide == NULL) {
            report->failed = true;
            return NULL;
        }
        report->pictures = wide;
        report->capacity = capacity;
    }
    report->pictures[report->n_pictures] = (struct tt_picture){.units = report->units};
    return &report->pictures[report->n_pictures++];
}

void tt_report_place(struct tt_report *report)
{
    tt_picture_figure(&report->pictures[report->n_pictures - 1], report->n_pictures, &report->body);
}

/* ---- a run ---- */

/* @tip and @number 0: not named. */
static void name_picture(struct tt_picture *picture, const struct tt_scene *scene, const char *what,
                         size_t tip, size_t number)
{
    size_t size = sizeof picture->name;
    char tip_part[32] = "", number_part[32] = "";

    if (tip > 0) {
        snprintf(tip_part, sizeof tip_part, "tip-%zu-", tip);
    }
    if (number > 0) {
        snprintf(number_part, sizeof number_part, "-%zu", number);
    }
    snprintf(picture->name, size, "run-%zu-%s%s%s", scene->number, tip_part, what, number_part);
}

/* A picture of the scene: which one, named by tip and number (0: not named). */
struct kind {
    const char *name;
    bool (*can)(const struct tt_scene *scene, size_t index);
    void (*draw)(const struct tt_scene *scene, size_t index, struct tt_picture *picture);
};

/* The picture of @kind, if it can be drawn. */
static void put_picture(struct tt_report *report, const struct tt_scene *scene,
                        const struct kind *kind, size_t index, const size_t names[2])
{
    struct tt_picture *picture =
        kind->can == NULL || kind->can(scene, index) ? tt_report_picture(report) : NULL;

    if (picture != NULL) {
        name_picture(picture, scene, kind->name, names[0], names[1]);
        kind->draw(scene, index, picture);
        tt_report_place(report);
    }
}

static void put_run_pictures(struct tt_report *report, const struct tt_scene *scene)
{
    const struct tiptrue_solution *s = scene->solution;
    const struct {
        struct kind kind;
        size_t n;
    } KINDS[] = {{{"order", tt_can_draw_order, tt_draw_order}, 1},
                 {{"plate", tt_can_draw_plate, tt_draw_plate}, s->n_poses},
                 {{"views", tt_can_draw_views, tt_draw_views}, 1},
                 {{"marks", tt_can_draw_marks, tt_draw_marks}, 1},
                 {{"tilt", tt_can_draw_surface, tt_draw_surface}, s->n_surface}};

    tt_buffer_puts(&report->body, "<div class=\"grid\">\n");
    for (size_t k = 0; k < sizeof KINDS / sizeof KINDS[0]; k++) {
        for (size_t i = 0; i < KINDS[k].n; i++) {
            put_picture(report, scene, &KINDS[k].kind, i,
                        (size_t[]){0, KINDS[k].n > 1 ? i + 1 : 0});
        }
    }
    tt_buffer_puts(&report->body, "</div>\n");
}

/* Whether a touch of the track was left out or counts less: such an edge is to be seen at once. */
static bool is_notable(const struct tt_scene *scene, const struct tt_sketch_track *track)
{
    for (size_t i = 0; i < track->n_rows; i++) {
        const struct tt_row_result *row = &scene->solution->rows[track->rows[i]];
        if (row->set_aside || row->weight < 0.5 || row->use != TT_USE) {
            return true;
        }
    }
    return track->sense_contradicted;
}

static size_t count_tracks(const struct tt_scene *scene, size_t tip, bool notable)
{
    size_t n = 0;

    for (size_t i = 0; i < scene->sketch->n_tracks; i++) {
        const struct tt_sketch_track *track = &scene->sketch->tracks[i];
        n += track->tip == tip && is_notable(scene, track) == notable;
    }
    return n;
}

static void put_tracks(struct tt_report *report, const struct tt_scene *scene, size_t tip,
                       bool notable)
{
    static const struct kind EDGE = {"edge", NULL, tt_draw_track};
    size_t number = 0;

    for (size_t i = 0; i < scene->sketch->n_tracks; i++) {
        const struct tt_sketch_track *track = &scene->sketch->tracks[i];
        number += track->tip == tip;
        if (track->tip == tip && is_notable(scene, track) == notable) {
            put_picture(report, scene, &EDGE, i, (size_t[]){tip + 1, number});
        }
    }
}

static void put_tip_pictures(struct tt_report *report, const struct tt_scene *scene, size_t tip)
{
    static const struct kind KINDS[] = {{"offset", tt_can_draw_offset, tt_draw_offset},
                                        {"runout", tt_can_draw_runout, tt_draw_runout},
                                        {"shape", tt_can_draw_shape, tt_draw_shape},
                                        {"budget", tt_can_draw_budget, tt_draw_budget},
                                        {"height", tt_can_draw_height, tt_draw_height}};
    size_t n;

    tt_buffer_puts(&report->body, "<div class=\"grid\">\n");
    for (size_t k = 0; k < sizeof KINDS / sizeof KINDS[0]; k++) {
        put_picture(report, scene, &KINDS[k], tip, (size_t[]){tip + 1, 0});
    }
    put_tracks(report, scene, tip, true);
    tt_buffer_puts(&report->body, "</div>\n");
    n = count_tracks(scene, tip, false);
    if (n > 0) {
        tt_buffer_printf(&report->body,
                         "<details><summary>%zu edge%s on which no touch was left out</summary>\n"
                         "<div class=\"grid\">\n",
                         n, n == 1 ? "" : "s");
        put_tracks(report, scene, tip, false);
        tt_buffer_puts(&report->body, "</div></details>\n");
    }
}

/* What is missing, and what to give to see it. */
static void put_missing(struct tt_report *report, const struct tt_scene *scene)
{
    const struct tiptrue_solution *s = scene->solution;

    if (s->n_rows == 0) {
        tt_buffer_puts(
            &report->body,
            "<p class=\"note\">This result holds no rows, so no touch is drawn: give the log of "
            "the run with --plate and --machine, or a result written with --touches.</p>\n");
    } else if (scene->plate == NULL || scene->machine == NULL) {
        tt_buffer_puts(&report->body,
                       "<p class=\"note\">Without plate and machine, neither the plate nor the "
                       "fitted curves are drawn: give --plate and --machine.</p>\n");
    } else if (s->n_poses > 0 && !tt_can_draw_plate(scene, 0)) {
        tt_buffer_puts(&report->body, "<p class=\"note\">Where the touches fell is not drawn: it "
                                      "is known from the log of the run only (give it in place of "
                                      "the result), and where the plate lay is determined.</p>\n");
    }
}

static const char *shown_name(const struct tiptrue_solution *s, const char *otherwise)
{
    return s->file != NULL ? tt_markup_file(s->file) : s->run_id != NULL ? s->run_id : otherwise;
}

static void title_run(struct tt_buffer *title, const struct tiptrue_solution *s)
{
    tt_markup_short(title, shown_name(s, "run"), 60);
    if (s->machine != NULL) {
        tt_buffer_puts(title, ", ");
        tt_markup_short(title, s->machine, 60);
    }
    tt_buffer_printf(title, ": %s", tt_verdict_shown(s, s->verdict));
}

static void list_run(struct tt_report *report, const struct tt_scene *scene)
{
    const struct tiptrue_solution *s = scene->solution;

    tt_buffer_printf(&report->list, "<li><a href=\"#run-%zu\">", scene->number);
    tt_markup_short(&report->list, shown_name(s, "run"), 60);
    tt_buffer_printf(&report->list, "</a>: <strong>%s</strong></li>\n",
                     tt_verdict_shown(s, s->verdict));
}

void tt_report_add_run(struct tt_report *report, const struct tt_scene *scene)
{
    const struct tiptrue_solution *s = scene->solution;
    struct tt_scene numbered = *scene;
    struct tt_buffer *body = &report->body;

    numbered.number = ++report->n_runs;
    report->n_parts++;
    tt_text_own_names(s, report->own);
    list_run(report, &numbered);
    if (report->n_parts == 1) {
        title_run(&report->title, s);
    }
    tt_buffer_printf(body, "<section id=\"run-%zu\">\n<h2>Run ", numbered.number);
    tt_markup_short(body, shown_name(s, ""), 120);
    tt_buffer_puts(body, "</h2>\n");
    tt_report_verdict(report, s, numbered.number);
    tt_report_heights(report, s);
    tt_report_words(report, &numbered);
    put_missing(report, &numbered);
    put_run_pictures(report, &numbered);
    for (size_t i = 0; i < s->n_tips; i++) {
        tt_buffer_printf(body, "<h3 id=\"run-%zu-tip-%zu\">Tip ", numbered.number, i + 1);
        tt_markup_text(body, s->tips[i].name);
        tt_buffer_puts(body, "</h3>\n");
        tt_report_tip(report, s, &s->tips[i]);
        put_tip_pictures(report, &numbered, i);
    }
    tt_buffer_puts(body, "</section>\n");
}

void tt_report_add_fault(struct tt_report *report, const char *file,
                         const struct tiptrue_error *error)
{
    struct tt_buffer *body = &report->body;
    size_t number = ++report->n_runs;

    report->n_parts++;
    tt_buffer_printf(&report->list, "<li><a href=\"#run-%zu\">", number);
    tt_markup_short(&report->list, file, 60);
    tt_buffer_puts(&report->list, "</a>: <strong>not read</strong></li>\n");
    tt_buffer_printf(body, "<section id=\"run-%zu\">\n<h2>Run ", number);
    tt_markup_short(body, file, 120);
    tt_buffer_puts(body, "</h2>\n<p class=\"verdict repeat\"><strong>NOT READ</strong><span>: ");
    if (error->line > 0) {
        tt_buffer_printf(body, "line %zu, column %zu: ", error->line, error->column);
    }
    tt_markup_text(body, error->text);
    tt_buffer_puts(body, "</span></p>\n");
    if (error->hint[0] != '\0') {
        tt_buffer_puts(body, "<p>");
        tt_markup_text(body, error->hint);
        tt_buffer_puts(body, "</p>\n");
    }
    tt_buffer_puts(body, "</section>\n");
}

/* ---- the weeks ---- */

/* Sentences behind the changes that are shown at once; further ones, such as a line for each run
 * that is left out, are folded. */
#define MOST_SHOWN 5

static void put_sentence(struct tt_buffer *body, const char *element, const char *text)
{
    tt_buffer_printf(body, "<%s>", element);
    tt_markup_text(body, text);
    tt_buffer_printf(body, "</%s>\n", element);
}

/* The headline, the changes with the numbers that they have in the pictures, the rest. */
static void put_sentences_of(struct tt_buffer *body, const struct tt_weeks *weeks)
{
    size_t n = weeks->n_sentences, rest = n > weeks->n_changes ? 1 + weeks->n_changes : n;
    size_t fold = n > rest + MOST_SHOWN + 1 ? rest + MOST_SHOWN : n;

    tt_buffer_printf(body, "<p class=\"verdict %s\">", weeks->quiet ? "keep" : "update");
    put_sentence(body, "strong", n > 0 ? weeks->sentences[0] : "");
    tt_buffer_puts(body, rest > 1 ? "</p>\n<ol>\n" : "</p>\n");
    for (size_t i = 1; i < rest; i++) {
        put_sentence(body, "li", weeks->sentences[i]);
    }
    tt_buffer_puts(body, rest > 1 ? "</ol>\n" : "");
    for (size_t i = rest; i < n; i++) {
        if (i == fold) {
            tt_buffer_printf(body, "<details><summary>%zu more</summary>\n", n - 1 - fold);
        }
        tt_buffer_puts(body, fold < n && i == n - 1 ? "</details>\n" : "");
        put_sentence(body, "p", weeks->sentences[i]);
    }
}

void tt_report_add_weeks(struct tt_report *report, const struct tt_weeks *weeks)
{
    struct tt_buffer *body = &report->body;
    const char *machine = weeks->machine != NULL ? weeks->machine : "not named";
    size_t number = ++report->n_weeks;

    report->n_parts++;
    tt_buffer_printf(&report->list, "<li><a href=\"#weeks-%zu\">Machine ", number);
    tt_markup_short(&report->list, machine, 60);
    tt_buffer_puts(&report->list, "</a></li>\n");
    tt_buffer_printf(body, "<section id=\"weeks-%zu\">\n<h2>The weeks of machine ", number);
    tt_markup_short(body, machine, 120);
    tt_buffer_puts(body, "</h2>\n");
    put_sentences_of(body, weeks);
    tt_buffer_puts(body, "<div class=\"grid\">\n");
    for (int quantity = 0; quantity < TT_WEEKS_QUANTITIES; quantity++) {
        struct tt_picture *picture;
        if (tt_can_draw_weeks(weeks, (enum tt_weeks_quantity)quantity) &&
            (picture = tt_report_picture(report)) != NULL) {
            snprintf(picture->name, sizeof picture->name, "weeks-%zu-%s", number,
                     tt_weeks_name((enum tt_weeks_quantity)quantity));
            tt_draw_weeks(weeks, (enum tt_weeks_quantity)quantity, &report->zone, picture);
            tt_report_place(report);
        }
    }
    tt_buffer_puts(body, "</div>\n</section>\n");
}

/* ---- the page ---- */

static void put_cautions(const struct tt_report *report, struct tt_buffer *page)
{
    tt_buffer_puts(
        page,
        "<footer><h2>Cautions</h2>\n<ul>\n"
        "<li>A moving machine pinches hands and breaks tips: keep hands clear and the stop within "
        "reach. Make the first run on a new plate slow and above it, in the air, and check the "
        "contact circuit by hand first.</li>\n"
        "<li>Guards and electrical work: qualified people only, following local rules.</li>\n");
    if (report->n_runs + report->n_weeks > 0) {
        tt_buffer_printf(page,
                         "<li>A result is as good as the plate file: a cut edge is not where the "
                         "drawing says, often by %s.</li>\n"
                         "<li>Before an offset is written into a machine, try its sign with the "
                         "worked sentence above.</li>\n",
                         tt_units_or_mm(report->units)->few);
    }
    if (report->n_boards > 0) {
        tt_buffer_puts(page, "<li>What a board says is as good as the device that measured it and "
                             "the marks that it was measured from.</li>\n");
    }
    tt_buffer_puts(page, "</ul>\n<p class=\"soft\">Written by tiptrue " PACKAGE_VERSION
                         ". This page loads nothing and runs no script. A pointer held over a mark "
                         "tells its row.</p></footer>\n");
}

void tt_report_write(const struct tt_report *report, struct tt_buffer *page)
{
    tt_buffer_puts(
        page,
        "<!DOCTYPE html>\n<html lang=\"en\" xmlns=\"http://www.w3.org/1999/xhtml\">\n<head>\n<meta "
        "charset=\"utf-8\"/>\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
        "'unsafe-inline'; img-src data:\"/>\n<link rel=\"icon\" href=\"data:,\"/>\n<title>");
    tt_buffer_puts(page, report->title.text != NULL ? report->title.text : "tiptrue report");
    if (report->title.text != NULL && report->n_parts > 1) {
        tt_buffer_printf(page, " and %zu more", report->n_parts - 1);
    }
    tt_buffer_puts(page, "</title>\n<style>\n");
    tt_style_page(page);
    tt_buffer_puts(page, "</style>\n</head>\n<body>\n<header><h1>tiptrue report</h1>\n");
    if (report->n_parts > 1) {
        tt_buffer_puts(page, "<ul>\n");
        tt_buffer_puts(page, report->list.text != NULL ? report->list.text : "");
        tt_buffer_puts(page, "</ul>\n");
    }
    tt_buffer_puts(page, "</header>\n<main>\n");
    tt_buffer_add(page, report->body.text != NULL ? report->body.text : "", report->body.length);
    tt_buffer_puts(page, "</main>\n");
    put_cautions(report, page);
    tt_buffer_puts(page, "</body>\n</html>\n");
    page->failed = page->failed || report->failed || report->body.failed || report->list.failed ||
                   report->title.failed;
}
