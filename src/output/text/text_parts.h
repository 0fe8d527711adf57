/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of the text output, from top to bottom, and how its quantities are rounded. */
#ifndef TT_OUTPUT_TEXT_TEXT_PARTS_H
#define TT_OUTPUT_TEXT_TEXT_PARTS_H

#include "model/solution.h"
#include "output/page.h"

/* Decimals of mm for offsets, positions and radii: 0.1 micrometre, as fine as a change on one plate
 * can be told. */
#define TT_MM_DECIMALS 4

/* Decimals of micrometres so that @u_mm keeps two significant digits (JCGM 100:2008, 7.2.6), 0
 * to 2. */
int tt_um_decimals(double u_mm);
/* @value_mm in micrometres in a cell, as many decimals as @u_mm bears. */
void tt_cell_um(struct tt_page *page, size_t width, double value_mm, double u_mm, bool plus);
/* @value_mm in mm in a cell, or 'not determined'. */
void tt_cell_mm(struct tt_page *page, size_t width, bool determined, double value_mm);

/* The expanded uncertainty in a cell with its sign; an empty one where the value is not determined.
 */
void tt_cell_expanded(struct tt_page *page, size_t width, bool determined, double expanded_mm);

/* The names of @solution, which are not taken for lengths. */
void tt_text_own_names(const struct tiptrue_solution *solution, struct tt_own_names own[2]);

/* text.c: the verdict with what to do; what comes next. text_why.c: why; the findings that no
 * reason has told. Where the page folds (page->folded), findings that follow from others
 * (output/text/follow.h) are only counted, behind the reasons. */
/* "KEEP" and so on: what the verdict begins with. */
const char *tt_text_shout(const struct tiptrue_solution *solution);
#define TT_SHOWS_FOLDED "`tiptrue solve --touches' shows them"
void tt_text_verdict(struct tt_page *page, const struct tiptrue_solution *solution);
void tt_text_reasons(struct tt_page *page, const struct tiptrue_solution *solution);
void tt_text_findings(struct tt_page *page, const struct tiptrue_solution *solution);
/* Those findings alone. */
void tt_text_followers(struct tt_page *page, const struct tiptrue_solution *solution);
void tt_text_next(struct tt_page *page, const struct tiptrue_solution *solution);
/* What to do where the verdict is repeat: without a capital letter or a full stop. */
const char *tt_text_mend(const struct tiptrue_solution *solution);
/* What an update writes, "offsets", "heights", "offsets and heights", where heights have @places to
 * be written to; NULL: nothing. */
const char *tt_text_new(const struct tiptrue_solution *solution, bool places);

/* text_run.c: which run this is; and last a sentence worked with its numbers. */
void tt_text_run(struct tt_page *page, const struct tiptrue_solution *solution);
void tt_text_worked_sentence(struct tt_page *page, const struct tiptrue_solution *solution);

/* text_tip.c: one tip in a block of its own. */
void tt_text_tip_block(struct tt_page *page, const struct tiptrue_solution *solution,
                       const struct tt_tip_result *tip);

/* text_table.c: several tips in two tables; when every row is asked for, all sources of
 * uncertainty. */
void tt_text_tip_tables(struct tt_page *page, const struct tiptrue_solution *solution);
void tt_text_budgets(struct tt_page *page, const struct tiptrue_solution *solution);

/* text_heights.c: how far down each tip reaches, if that was touched. */
void tt_text_heights(struct tt_page *page, const struct tiptrue_solution *solution);

/* text_camera.c: the picture's scale and turn, if there were views. */
void tt_text_camera(struct tt_page *page, const struct tiptrue_solution *solution);
/* What views will tell of them, by what is expected of a run; nothing without views. */
void tt_text_picture_expected(struct tt_page *page, const struct tt_camera_result *camera);

/* text_trials.c: a propagation of distributions beside the stated uncertainty, if one was asked
 * for. */
void tt_text_trials(struct tt_page *page, const struct tiptrue_solution *solution);

/* text_rows.c: what was set aside, by edge and tip, unless the page folds and that follows from
 * something else; when every row is asked for, the edges and the rows. */
void tt_text_set_aside(struct tt_page *page, const struct tiptrue_solution *solution);
void tt_text_edges(struct tt_page *page, const struct tiptrue_solution *solution);
/* One sentence: the straightness of the edges that have one; nothing where none has. */
void tt_text_straightness(struct tt_page *page, const struct tiptrue_solution *solution);
void tt_text_rows(struct tt_page *page, const struct tiptrue_solution *solution);
/* text_unseen.c: the two columns that stand behind an edge or a mark (their headings; those of one
 * row: the line ends); the marks' table, names from column @indent, numbers behind column @at or
 * further right; one paragraph where a fault that is not seen moves an offset by more than the
 * permitted error. */
#define TT_UNSEEN_HEADS "11 unseen/{small}|11 effect/{small}"
void tt_text_unseen_cells(struct tt_page *page, double shift_mm, double effect_mm);
void tt_text_marks(struct tt_page *page, const struct tiptrue_solution *solution, size_t indent,
                   size_t at);
void tt_text_unseen(struct tt_page *page, const struct tiptrue_solution *solution);
/* text_strips.c: residuals against rotation, two lines for each edge and tip. */
void tt_text_strips(struct tt_page *page, const struct tiptrue_solution *solution);
/* "line 17", "lines 17, 19-24, 31 and 5 more" into @words; @lines ascend. */
void tt_text_lines(struct tt_buffer *words, const size_t lines[], size_t n);

#endif
