/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A report in the making: one page of HTML that needs nothing beside it, and its pictures one by
 * one.
 *
 * Well-formed as XML too, without scripts; a policy in its head forbids it to load anything
 * (Content Security Policy Level 3). The same input gives the same bytes: the time zone is the
 * caller's.
 */
#ifndef TT_OUTPUT_REPORT_REPORT_H
#define TT_OUTPUT_REPORT_REPORT_H

#include "base/status.h"
#include "model/trend.h"
#include "output/report/picture.h"
#include "output/report/pictures.h"
#include "output/page.h"

struct tt_report {
    struct tiptrue_zone zone;
    const struct tt_units *units; /* of lengths; NULL: mm and um */
    struct tt_own_names own[2];   /* of the part in the making: no lengths */
    struct tt_buffer list;        /* an entry for each part, for a page of several */
    struct tt_buffer title;       /* of the page: its first part */
    struct tt_buffer body;
    size_t n_parts, n_runs, n_weeks, n_boards;
    struct tt_picture *pictures;
    size_t n_pictures, capacity;
    bool failed; /* out of memory */
};

/* In the caller's storage, {.zone = ..., .units = ...} before. */
void tt_report_clear(struct tt_report *report);
/* A part of the page: scene->number is set here. */
void tt_report_add_run(struct tt_report *report, const struct tt_scene *scene);
/* The weeks of a machine. */
void tt_report_add_weeks(struct tt_report *report, const struct tt_weeks *weeks);
/* The same from a trend, with what it says in words. */
void tt_report_add_trend(struct tt_report *report, const struct tiptrue_trend *trend,
                         const struct tt_weeks_export exports[], size_t n_exports);
/* report_board.c: a board with its parts. */
void tt_report_add_board(struct tt_report *report, const struct tiptrue_placement *placement);
/* A file that could not be read, with its first fault. */
void tt_report_add_fault(struct tt_report *report, const char *file,
                         const struct tiptrue_error *error);
void tt_report_write(const struct tt_report *report, struct tt_buffer *page);

/* ---- for the parts ---- */

/* A new picture, to be drawn into until the next is asked for; NULL: out of memory. */
struct tt_picture *tt_report_picture(struct tt_report *report);
/* The last picture, when it is whole, goes into the page. */
void tt_report_place(struct tt_report *report);
/* "<p>Started: ...</p>", nothing where @started is NULL or no time. */
void tt_report_started(struct tt_report *report, const char *started);

/* Sentences of a page of text, each of which becomes an element of the page as its line ends: @open
 * before the first one. @shout > 0: a verdict, so many bytes of it shouted. Starts as {.report =
 * ...}, with the members above `line` set. */
struct tt_elements {
    struct tt_report *report;
    const char *open, *close, *element;
    size_t shout, n;
    struct tt_buffer line;
    struct tt_page page;
};
/* The page to write to until tt_elements_end, which closes what was opened. */
struct tt_page *tt_elements_begin(struct tt_elements *to);
void tt_elements_end(struct tt_elements *to);
/* "<p class=..>" of @verdict into @open, for the shouted sentence. */
void tt_report_open_verdict(char open[64], enum tiptrue_verdict verdict);

/* A table with its columns' names, such as "tip|.verdict|offset x, mm", behind '.' that of words;
 * up to its rows. */
void tt_report_columns(struct tt_report *report, const char *names);
/* Cells of tables: a coordinate, and a small length with as many decimals as @u_mm bears or as
 * stated; empty where it is not determined. */
void tt_report_length(struct tt_report *report, bool determined, double value_mm);
void tt_report_small(struct tt_report *report, const char *before, bool determined, double value_mm,
                     double u_mm, bool plus);
void tt_report_cell(struct tt_report *report, bool there, struct tt_fixed number);

/* The words of a run, report_words.c: verdict, all tips at a glance, each with a link to its part
 * of the run @number, and the reasons; then the rest, up to the pictures. */
void tt_report_verdict(struct tt_report *report, const struct tiptrue_solution *solution,
                       size_t number);
void tt_report_words(struct tt_report *report, const struct tt_scene *scene);
/* report_heights.c: heights of tips, pads, slope; nothing without touches from above. */
void tt_report_heights(struct tt_report *report, const struct tiptrue_solution *solution);
void tt_report_tip(struct tt_report *report, const struct tiptrue_solution *solution,
                   const struct tt_tip_result *tip);

#endif
