/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part of tiptrue plan that is about parts on a board. */
#include "config.h"

#include "cli/inputs.h"

#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/messages.h"
#include "cli/terminal.h"

void cli_board_size(void *at, const char *text, struct argp_state *state)
{
    struct tiptrue_board_options *options = at;
    char side[32] = "";
    const char *cross = strchr(text, 'x');
    if (cross == NULL || (size_t)(cross - text) >= sizeof side) {
        cli_usage(state, "--board '%s' is not a size; write width and height, such as 110x80",
                  text);
        return;
    }
    memcpy(side, text, (size_t)(cross - text));
    options->width_mm = cli_length_mm(state, "--board", side);
    options->height_mm = cli_length_mm(state, "--board", cross + 1);
}

static int write_board(const struct tiptrue_test_board *board, enum tiptrue_plan_form form,
                       const struct tiptrue_text_options *look, struct tiptrue_error *error)
{
    char *text = NULL;
    size_t length = 0;
    error->status = tiptrue_test_board_write(board, form, look, &text, &length, error);
    if (error->status == TIPTRUE_OK) {
        cli_write_result(text, length, form == TIPTRUE_PLAN_JSON);
    }
    free(text);
    return error->status != TIPTRUE_OK       ? cli_exit_status(error->status)
           : tiptrue_test_board_tells(board) ? CLI_EXIT_KEEP
                                             : CLI_EXIT_REPEAT;
}

int cli_plan_board(struct cli_inputs *inputs, const struct tiptrue_board_options *options,
                   enum tiptrue_plan_form form)
{
    enum cli_telling telling = inputs->json ? CLI_TELL_FIRST : CLI_TELL_NOTHING;
    struct cli_messages messages = {.stream = stderr, .telling = telling};
    struct cli_objects objects = {0};
    struct tiptrue_test_board *board = NULL;
    struct tiptrue_error error = {0};
    int status = cli_objects_find(inputs, CLI_NEEDS_FOUND, telling, &objects);

    if (status == EX_OK && objects.machine == NULL) {
        cli_usage_error(inputs->command, inputs->json,
                        "--machine is missing: name the file of the machine");
    }
    if (status == EX_OK) {
        struct tiptrue_text_options look = cli_text_options(inputs->plain);
        look.units = cli_shown_units(inputs, &objects);
        error.status = tiptrue_test_board_make(objects.machine, options, &board, &error);
        status = error.status == TIPTRUE_OK ? write_board(board, form, &look, &error)
                                            : cli_exit_status(error.status);
        if (error.status != TIPTRUE_OK) {
            cli_messages_error(&messages, &error);
        }
    }
    tiptrue_test_board_free(board);
    cli_objects_free(&objects);
    return status;
}
