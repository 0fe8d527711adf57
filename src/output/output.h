/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A solution out: for a person, and as JSON. Knows no equations. */
#ifndef TT_OUTPUT_OUTPUT_H
#define TT_OUTPUT_OUTPUT_H

#include "base/buffer.h"
#include "model/comparison.h"
#include "model/placement.h"
#include "model/plan.h"
#include "model/plate.h"
#include "model/proposal.h"
#include "model/ready.h"
#include "model/solution.h"
#include "model/trend.h"
#include "model/truth.h"
#include "output/units.h"
#include "tiptrue.h"

/* The text a person reads at the machine: verdict first. Failure is in buffer->failed. */
void tt_output_text(const struct tiptrue_solution *solution,
                    const struct tiptrue_text_options *options, struct tt_buffer *buffer);

/* tiptrue.result/1, one line, no line feed at its end. */
void tt_output_json(const struct tiptrue_solution *solution,
                    const struct tiptrue_text_options *options, struct tt_buffer *buffer);

/* What a run can determine (adjust/check.h), for a person, and as tiptrue.check/1, one line, no
 * line feed at its end. */
void tt_output_check_text(const struct tiptrue_solution *expected,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);
void tt_output_check_json(const struct tiptrue_solution *expected, struct tt_buffer *buffer);

/* A run without heights as a log: CSV in @units; or, for the plan it was simulated from, the lines
 * of a controller ("trip id=7 x=… y=… z=… ok=1"), which the pattern of docs/formats.md reads. */
void tt_output_run_csv(const struct tiptrue_run *run, const struct tiptrue_plate *plate,
                       const struct tt_units *units, struct tt_buffer *out);
void tt_output_controller_log(const struct tiptrue_run *run, const struct tiptrue_plan *plan,
                              struct tt_buffer *out);

/* A cell of CSV: quoted where RFC 4180 asks for it. */
void tt_csv_text(struct tt_buffer *out, const char *text);

/* A proposal for a person, as tiptrue.plan/1 (one line, no line feed at its end), and as CSV
 * in @units. */
void tt_output_proposal_text(const struct tiptrue_proposal *proposal,
                             const struct tiptrue_text_options *options, struct tt_buffer *buffer);
void tt_output_proposal_json(const struct tiptrue_proposal *proposal, struct tt_buffer *buffer);
void tt_output_proposal_csv(const struct tiptrue_proposal *proposal, const struct tt_units *units,
                            struct tt_buffer *out);

/* tiptrue.truth/1, one line, no line feed at its end. */
void tt_output_truth_json(const struct tiptrue_truth *truth, struct tt_buffer *buffer);
/* What the latest run of a trend in which it is judged shows, wrapped. */
void tt_output_latest_text(const struct tiptrue_trend *trend,
                           const struct tiptrue_text_options *options, struct tt_buffer *buffer);
/* A trend, for a person, and as tiptrue.trend/1, one line, no line feed at its end. */
void tt_output_trend_text(const struct tiptrue_trend *trend,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);
void tt_output_trend_json(const struct tiptrue_trend *trend,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);

/* Two results against each other, for a person, and as tiptrue.compare/1, one line, no line feed at
 * its end. */
void tt_output_comparison_text(const struct tiptrue_comparison *comparison,
                               const struct tiptrue_text_options *options,
                               struct tt_buffer *buffer);
void tt_output_comparison_json(const struct tiptrue_comparison *comparison,
                               struct tt_buffer *buffer);

/* What a board says, for a person, and as tiptrue.placement/1, one line, no line feed at its end.
 */
void tt_output_placement_text(const struct tiptrue_placement *placement,
                              const struct tiptrue_text_options *options, struct tt_buffer *buffer);
void tt_output_placement_json(const struct tiptrue_placement *placement, struct tt_buffer *buffer);

/* A board to be placed: for a person; as tiptrue.test-board/1, one line, no line feed at its end;
 * as the table that ingest reads, with the found places empty. */
void tt_output_test_board_text(const struct tiptrue_test_board *board,
                               const struct tiptrue_text_options *options,
                               struct tt_buffer *buffer);
void tt_output_test_board_json(const struct tiptrue_test_board *board, struct tt_buffer *buffer);
void tt_output_test_board_csv(const struct tiptrue_test_board *board, const struct tt_units *units,
                              struct tt_buffer *buffer);
/* A name in a cell that a spreadsheet may open: what would begin a formula there stands behind an
 * apostrophe (CWE-1236), and what would steer a terminal is escaped. */
void tt_csv_name(struct tt_buffer *out, const char *name);

/* tiptrue.error/1, one line, no line feed at its end; @faults are all @n of the file, n >= 1. */
void tt_output_error_json(const struct tiptrue_error *error, const struct tiptrue_error faults[],
                          size_t n, struct tt_buffer *buffer);

/* The answer before a job. */

/* For a person: at most twelve lines, the verdict first; @brief: that line alone. */
void tt_output_ready_text(const struct tiptrue_ready *ready, bool brief,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);

/* tiptrue.ready/1, one line, no line feed at its end. */
void tt_output_ready_json(const struct tiptrue_ready *ready, const struct tiptrue_used_file files[],
                          size_t n_files, struct tt_buffer *buffer);

/* A plate as it was understood, before any run exists: in words with a drawing of characters, and
 * as a picture (SVG). In both the conductor is hatched, so that a free side that was stated wrongly
 * is seen; x points right and y up, seen from above. */

/* @options may be NULL. */
void tt_output_plate_text(const struct tiptrue_plate *plate,
                          const struct tiptrue_text_options *options, struct tt_buffer *buffer);
/* A document of its own; lengths that it tells are in @units. */
void tt_output_plate_svg(const struct tiptrue_plate *plate, const struct tt_units *units,
                         struct tt_buffer *buffer);

#endif
