/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The calls about boards: read, judged, written. */
#include "config.h"

#include <string.h>

#include "base/buffer.h"
#include "export/export.h"
#include "ingest/diagnose.h"
#include "output/output.h"
#include "output/text/sentences.h"
#include "placement/placement.h"

/* Whether the touches of a tip may be joined with a board; *old: they may, but the result does not
 * say how the plate's errors bear on them. */
static bool may_join(const struct tt_tip_result *tip, bool *old)
{
    bool determined =
        tip->offset_determined_x && tip->offset_determined_y &&
        (tip->offset_verdict == TIPTRUE_KEEP || tip->offset_verdict == TIPTRUE_UPDATE);
    *old = *old || (determined && tip->plate_effect_x == NULL);
    return determined && tip->plate_effect_x != NULL;
}

/* What keeps a result from being joined with a board. */
static enum tiptrue_status check_run(const struct tiptrue_solution *run,
                                     const struct tiptrue_board *board,
                                     const struct tiptrue_machine *machine,
                                     struct tiptrue_error *error)
{
    bool any = false, old = false;
    if (run->machine != NULL && strcmp(run->machine, machine->name) != 0) {
        return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0, "name a result of the same machine",
                       "the run is of machine '%s', and the machine file is of '%s'",
                       tt_shown_text(run->machine).text, tt_shown_text(machine->name).text);
    }
    if (run->least_squares) {
        return tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0, "solve the log without it",
                       "the run was solved with --least-squares, which has no verdict");
    }
    for (size_t t = 0; t < board->n_tips; t++) {
        for (size_t i = 0; i < run->n_tips; i++) {
            any = any ||
                  (strcmp(run->tips[i].name, board->tips[t]) == 0 && may_join(&run->tips[i], &old));
        }
    }
    return any   ? TIPTRUE_OK
           : old ? tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0, "solve the log again",
                           "the result is of an earlier version, and does not say how the plate's "
                           "errors bear on the offsets")
                 : tt_fail(error, TIPTRUE_E_DATA, run->file, 0, 0,
                           "name a run with the verdict keep or update",
                           "the run has no offset of the board's tips that may be used");
}

enum tiptrue_status tiptrue_place(const struct tiptrue_board *board,
                                  const struct tiptrue_machine *machine,
                                  const struct tiptrue_solution *run,
                                  struct tiptrue_placement **placement, struct tiptrue_error *error)
{
    struct tiptrue_placement *made;
    enum tiptrue_status status = run != NULL ? check_run(run, board, machine, error) : TIPTRUE_OK;
    if (status == TIPTRUE_OK) {
        status = tt_place(board, machine, run, &made, error);
    }
    if (status == TIPTRUE_OK && tt_placement_sentences(made) != TIPTRUE_OK) {
        tiptrue_placement_free(made);
        return tt_fail_memory(error);
    }
    if (status == TIPTRUE_OK) {
        *placement = made;
    }
    return status;
}

enum tiptrue_verdict tiptrue_placement_verdict(const struct tiptrue_placement *placement)
{
    return placement->verdict;
}

enum tiptrue_status tiptrue_placement_text(const struct tiptrue_placement *placement, bool json,
                                           const struct tiptrue_text_options *options, char **text,
                                           size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};
    if (json) {
        tt_output_placement_json(placement, &buffer);
    } else {
        tt_output_placement_text(placement, options, &buffer);
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_placement_learn(const struct tiptrue_placement *placement,
                                            const struct tiptrue_plate *plate, char **text,
                                            size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};
    enum tiptrue_status status =
        placement->joined != NULL
            ? tt_learn(placement, plate, &buffer, error)
            : tt_fail(error, TIPTRUE_E_USAGE, placement->file, 0, 0, NULL,
                      "a plate learns from a board that was joined with a run");
    if (status == TIPTRUE_OK) {
        return tt_buffer_hand_over(&buffer, text, length, error);
    }
    tt_buffer_clear(&buffer);
    return status;
}

bool tiptrue_test_board_tells(const struct tiptrue_test_board *board)
{
    bool tells = board->grid_told && board->dof >= 1.0;
    for (size_t t = 0; t < board->n_tips; t++) {
        tells = tells && board->tips[t].apart;
    }
    return tells;
}

enum tiptrue_status tiptrue_test_board_write(const struct tiptrue_test_board *board,
                                             enum tiptrue_plan_form form,
                                             const struct tiptrue_text_options *options,
                                             char **text, size_t *length,
                                             struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};
    switch (form) {
    case TIPTRUE_PLAN_TEXT:
        tt_output_test_board_text(board, options, &buffer);
        break;
    case TIPTRUE_PLAN_JSON:
        tt_output_test_board_json(board, &buffer);
        break;
    case TIPTRUE_PLAN_CSV:
        tt_output_test_board_csv(
            board, tt_units_of(options != NULL ? options->units : TIPTRUE_UNITS_DEFAULT), &buffer);
        break;
    case TIPTRUE_PLAN_RS274:
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, "a table of parts, JSON or text",
                       "parts are not placed by a motion program");
    }
    return tt_buffer_hand_over(&buffer, text, length, error);
}
