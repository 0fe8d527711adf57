/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part of tiptrue.h, which includes it, that is about parts placed on a board. */
#ifndef TT_TIPTRUE_BOARD_H
#define TT_TIPTRUE_BOARD_H

#include "tiptrue.h"

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

struct tiptrue_board;
struct tiptrue_placement;
struct tiptrue_test_board;

/* What a test board is planned for. */
struct tiptrue_board_options {
    double width_mm, height_mm;
    double margin_mm; /* free along its edges; 0: 5 mm, or a tenth of a small board's side */
    size_t parts;
    const char *tip; /* this one only; NULL: all in use */
};

/* Plan a board whose parts tell offsets, turnings, scale, shear and turn best, for the tips of
 * @machine: places from the board's lower left corner, quarter turns. TIPTRUE_E_USAGE: no such tip.
 * TIPTRUE_E_DEGENERATE: there is no room for them. Cost: parts^2 x tips^2. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_test_board_make(const struct tiptrue_machine *machine,
                        const struct tiptrue_board_options *options,
                        struct tiptrue_test_board **board, struct tiptrue_error *error);
/* Whether its parts tell every term, and how well parts repeat. */
bool tiptrue_test_board_tells(const struct tiptrue_test_board *board);
/* For a person, as JSON (tiptrue.test-board/1) or as the table of parts that tiptrue_board_read
 * reads once the found places are in it; TIPTRUE_E_USAGE: another form. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_test_board_write(const struct tiptrue_test_board *board, enum tiptrue_plan_form form,
                         const struct tiptrue_text_options *options, char **text, size_t *length,
                         struct tiptrue_error *error);
void tiptrue_test_board_free(struct tiptrue_test_board *board);

/* Read a board: where parts were wanted and where they were found (docs/formats.md, Placements).
 * Its tips are @machine's where that names any; rotations count as @machine's do. @path, @sink as
 * above.
 */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_board_read(const char *path,
                                                        const struct tiptrue_machine *machine,
                                                        const struct tiptrue_sink *sink,
                                                        struct tiptrue_board **board,
                                                        struct tiptrue_error *error);
void tiptrue_board_free(struct tiptrue_board *board);

/* What the parts show of the calibration that they were placed with. A board that cannot be trusted
 * is not an error: its verdict is `repeat`. @run (may be NULL) is a result of touches: what it says
 * of the offsets is tested against the board, and joined with it; the offsets in use are
 * @machine's present ones (tiptrue_machine_present). TIPTRUE_E_DATA: @run is of another machine, or
 * nothing of it may be used. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_place(const struct tiptrue_board *board,
                                                   const struct tiptrue_machine *machine,
                                                   const struct tiptrue_solution *run,
                                                   struct tiptrue_placement **placement,
                                                   struct tiptrue_error *error);
enum tiptrue_verdict tiptrue_placement_verdict(const struct tiptrue_placement *placement);
/* For a person, or as JSON (tiptrue.placement/1, one line without line feed at its end); *text and
 * *length as tiptrue_solution_text. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_placement_text(const struct tiptrue_placement *placement, bool json,
                       const struct tiptrue_text_options *options, char **text, size_t *length,
                       struct tiptrue_error *error);
/* Say in @placement what changed since the board of @earlier, judged with the same machine: both of
 * its outputs then have it. @earlier may be freed after. TIPTRUE_E_DATA: the two boards' offsets do
 * not count from the same. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_placement_since(struct tiptrue_placement *placement,
                        const struct tiptrue_placement *earlier, struct tiptrue_error *error);
/* A board with its parts on a page: its words, its numbers, its parts in pictures. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_report_add_board(struct tiptrue_report *report, const struct tiptrue_placement *placement,
                         struct tiptrue_error *error);
/* The file of @plate with what the board told of its groups, joined with a run of touches on that
 * plate: their better place and smaller u, all other bytes as they were; *text and *length as
 * above. TIPTRUE_E_DATA: nothing is to be learned; the message says why. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_placement_learn(const struct tiptrue_placement *placement,
                        const struct tiptrue_plate *plate, char **text, size_t *length,
                        struct tiptrue_error *error);
void tiptrue_placement_free(struct tiptrue_placement *placement);

/* Enter a board with what was said of it into @history, under the name of @machine: on disk when
 * the call returns TIPTRUE_OK. One that is there with the same judgement is left as it is, another
 * judgement replaces that one; either is told to @sink (may be NULL) as a note. */
struct tiptrue_history;
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_add_board(struct tiptrue_history *history, const struct tiptrue_board *board,
                          const struct tiptrue_placement *placement, double now_s,
                          const struct tiptrue_sink *sink, struct tiptrue_error *error);

/* The run or the board, *board tells which, whose id begins with @text. As tiptrue_history_find. */
TIPTRUE_MUST_USE enum tiptrue_status
tiptrue_history_find_any(struct tiptrue_history *history, const char *text,
                         char id[TIPTRUE_RUN_ID_SIZE], bool *board, struct tiptrue_error *error);

enum tiptrue_board_part {
    TIPTRUE_BOARD_SAID, /* what was said of it, for a person: 80 columns, ASCII */
    TIPTRUE_BOARD_JSON, /* the same as tiptrue.placement/1 */
    TIPTRUE_BOARD_TABLE /* the table, byte by byte as it was read */
};
/* A part of the board @id (whole, tiptrue_history_find_any); *text and *length as
 * tiptrue_solution_text. TIPTRUE_E_NO_INPUT: there is no such board. */
TIPTRUE_MUST_USE enum tiptrue_status tiptrue_history_get_board(struct tiptrue_history *history,
                                                               const char *id,
                                                               enum tiptrue_board_part part,
                                                               char **text, size_t *length,
                                                               struct tiptrue_error *error);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif

#ifdef __cplusplus
}
#endif

#endif
