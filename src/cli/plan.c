/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue plan: which touches, in which order; for a person, as JSON or CSV, or as a motion
 * program. */
#include "config.h"

#include "cli/command.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/inputs.h"
#include "cli/messages.h"
#include "cli/terminal.h"

#define MOST_TOUCHES 100000
#define MOST_SIGHTINGS 100
#define MOST_PARTS 500
#define MOST_HEIGHTS 100
#define MOST_VIEWS 100

struct arguments {
    struct cli_inputs inputs;
    struct tiptrue_plan_options options;
    struct tiptrue_board_options board; /* parts 0: no board is asked for */
    enum tiptrue_plan_form form;
    const char *after;
};

/* What goes with a board, and what does not; else a usage error. */
static void check_board(const struct arguments *arguments, const struct argp_state *state)
{
    const struct tiptrue_plan_options *o = &arguments->options;
    cli_refuse_if(state, (arguments->board.parts > 0) != (arguments->board.width_mm > 0),
                  "--board and --parts need each other");
    cli_refuse_if(
        state,
        arguments->board.parts > 0 &&
            (o->target_mm > 0 || o->target_view_mm > 0 || o->setups > 0 ||
             o->touches + o->heights + o->views + o->sightings > 0 || arguments->after != NULL ||
             arguments->form == TIPTRUE_PLAN_RS274),
        "--board is about parts: only --parts, --tip, --margin, --csv and --json go with it");
}

/* Whether what is wanted goes together; else a usage error. */
static void check_wishes(const struct arguments *arguments, const struct argp_state *state)
{
    const struct tiptrue_plan_options *o = &arguments->options;

    cli_refuse_if(state, arguments->after == NULL && o->target_mm > 0 && o->touches > 0,
                  "--target-u and --touches exclude each other, but with --after");
    cli_refuse_if(state, arguments->after != NULL && (o->sightings > 0 || o->setups > 0),
                  "--sightings and --setups are not for --after: the run has them already");
    cli_refuse_if(state, o->sightings > 0 && (o->views > 0 || o->target_view_mm > 0),
                  "views are in place of sightings: --sightings, or --views and --target-view");
}

/* Whether all of the command line goes together; else a usage error. */
static void check_arguments(void *input, struct argp_state *state)
{
    struct arguments *arguments = input;
    check_board(arguments, state);
    if (arguments->inputs.n_runs > 0) {
        cli_usage(state, "'%s' is too much: a run so far is named by --after",
                  arguments->inputs.runs[0]);
    }
    cli_refuse_if(state, arguments->after == NULL && arguments->inputs.plan != NULL,
                  "--plan says what a controller's log was, and needs --after");
    check_wishes(arguments, state);
    cli_refuse_if(state, arguments->inputs.json && arguments->form != TIPTRUE_PLAN_TEXT,
                  "one form at a time: --json, --csv or --rs274");
    if (arguments->inputs.json) {
        arguments->form = TIPTRUE_PLAN_JSON;
    }
    if (arguments->after != NULL) { /* files are looked for beside it */
        cli_list_add(state, &arguments->inputs.runs, &arguments->inputs.n_runs, arguments->after);
    }
}

/* The run so far, if one is named, and the proposal. */
static enum tiptrue_status propose(const struct arguments *arguments,
                                   const struct cli_objects *objects,
                                   const struct tiptrue_sink *sink,
                                   struct tiptrue_proposal **proposal, struct tiptrue_error *error)
{
    struct tiptrue_workspace *workspace = NULL;
    struct tiptrue_run *run = NULL;
    enum tiptrue_status status = tiptrue_workspace_new(&workspace, error);

    if (status == TIPTRUE_OK && arguments->after != NULL) {
        status = tiptrue_run_read(arguments->after, objects->plate, objects->machine, objects->plan,
                                  arguments->inputs.pattern, sink, &run, error);
        if (status == TIPTRUE_OK) {
            status = tiptrue_plan_next(workspace, objects->plate, objects->machine, run,
                                       &arguments->options, proposal, error);
        }
    } else if (status == TIPTRUE_OK) {
        status = tiptrue_plan_make(workspace, objects->plate, objects->machine, &arguments->options,
                                   proposal, error);
    }
    tiptrue_run_free(run);
    tiptrue_workspace_free(workspace);
    return status;
}

/* 0: the plan is as wanted, or nothing more is to be done; 10: these touches, then ask again; 20:
 * the target cannot be met. */
static int exit_of(const struct arguments *arguments, const struct tiptrue_proposal *proposal)
{
    bool more = arguments->after != NULL && tiptrue_proposal_moves(proposal) > 0;

    if (more) {
        return CLI_EXIT_UPDATE;
    }
    return tiptrue_proposal_is_met(proposal) ? CLI_EXIT_KEEP : CLI_EXIT_REPEAT;
}

static int plan_all(const struct arguments *arguments, const struct cli_objects *objects)
{
    struct cli_messages messages = cli_messages_aloud(arguments->inputs.json);
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_text_options look = cli_text_options(arguments->inputs.plain);
    struct tiptrue_proposal *proposal = NULL;
    struct cli_progress progress;
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0;
    int status;

    look.units = cli_shown_units(&arguments->inputs, objects);
    cli_progress_begin(&progress, "planning", 0, !arguments->inputs.quiet);
    error.status = propose(arguments, objects, &sink, &proposal, &error);
    cli_progress_end(&progress);
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_proposal_write(proposal, objects->machine, arguments->form, &look,
                                              &text, &length, &error);
    }
    if (error.status != TIPTRUE_OK) {
        status = cli_exit_status(error.status);
        cli_messages_error(&messages, &error);
    } else {
        status = exit_of(arguments, proposal);
        cli_write_result(text, length, arguments->form == TIPTRUE_PLAN_JSON);
    }
    free(text);
    tiptrue_proposal_free(proposal);
    return status;
}

static int plan_touches(struct arguments *arguments)
{
    struct cli_objects objects = {0};
    int status =
        cli_objects_find(&arguments->inputs, CLI_NEEDS_BOTH,
                         arguments->inputs.json ? CLI_TELL_FIRST : CLI_TELL_NOTHING, &objects);
    status = status == 0 ? plan_all(arguments, &objects) : status;
    cli_objects_free(&objects);
    return status;
}

/* ---- the part of tiptrue plan that is about parts on a board ---- */

/* "110x80" (mm, or each with its unit) into the struct tiptrue_board_options @at, else a usage
 * error. */
static void board_size(void *at, const char *text, struct argp_state *state)
{
    struct tiptrue_board_options *options = at;
    char side[32] = "";
    const char *cross = strchr(text, 'x');
    if (cross == NULL || (size_t)(cross - text) >= sizeof side) {
        cli_usage(state, "--board '%s' is not a size; write width and height, such as 110x80",
                  text);
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

/* Plan the board and write it; the exit status: 0 its parts tell every term, 20 they do not. */
static int plan_board(struct cli_inputs *inputs, const struct tiptrue_board_options *options,
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

/* ---- the command ---- */

static int plan_parts(struct arguments *arguments)
{
    arguments->board.tip = arguments->options.tip;
    arguments->board.margin_mm = arguments->options.margin_mm;
    return plan_board(&arguments->inputs, &arguments->board, arguments->form);
}

#define AT(member) offsetof(struct arguments, member)
static const struct cli_option OPTIONS[] = {
    {"after", "RUN", 1, CLI_TEXT, AT(after),
     .doc = "The run so far: tell the few touches that help most now, none when the target is met"},
    {"csv", NULL, 2, CLI_VALUE, AT(form),
     .doc = "The moves as CSV, with the head positions to be expected", .least = TIPTRUE_PLAN_CSV},
    {"rs274", NULL, 2, CLI_VALUE, AT(form),
     .doc = "The moves as a motion program (RS274/NGC); needs all of the machine file's \"motion\" "
            "part",
     .least = TIPTRUE_PLAN_RS274},
    {.group = 3, .doc = "What is wanted:"},
    {"board", "WxH", 3, CLI_CALL, AT(board),
     .doc =
         "No touches, but a test board of parts for `tiptrue placement', this large; with --parts",
     .take = board_size},
    {"parts", "N", 3, CLI_COUNT, AT(board.parts),
     .doc = "So many parts on it, of all tips together", .least = 1, .most = MOST_PARTS},
    {"target-u", "MM", 3, CLI_LENGTH, AT(options.target_mm),
     .doc = "Expanded uncertainty (95 %) of every offset on this plate, each axis; the fewest "
            "touches that reach it"},
    {"touches", "N", 3, CLI_COUNT, AT(options.touches),
     .doc = "The best use of N touches, of all tips together; with --after, at most N now",
     .least = 1, .most = MOST_TOUCHES},
    {"heights", "N", 3, CLI_COUNT, AT(options.heights),
     .doc = "And N touches of each tip from above, on the plate's pads", .least = 1,
     .most = MOST_HEIGHTS},
    {"sightings", "N", 3, CLI_COUNT, AT(options.sightings),
     .doc = "Sight every mark N times at the start and at the end (default 1; with --target-u as "
            "it needs)",
     .least = 1, .most = MOST_SIGHTINGS},
    {"views", "N", 3, CLI_COUNT, AT(options.views),
     .doc = "In place of sightings, N views of the marks in each setup, anywhere in the picture: "
            "they tell the camera's scale and turn too",
     .least = 1, .most = MOST_VIEWS},
    {"target-view", "MM", 3, CLI_LENGTH, AT(options.target_view_mm),
     .doc = "Expanded uncertainty (95 %) of a feature's place at the picture's corner, by scale "
            "and turn; the fewest views that reach it"},
    {"setups", "N", 3, CLI_COUNT, AT(options.setups),
     .doc = "2: a second setup with the plate turned by 180 degrees (default 1)", .least = 1,
     .most = 2},
    {"tip", "NAME", 3, CLI_TEXT, AT(options.tip), .doc = "For this tip only"},
    {"margin", "MM", 3, CLI_LENGTH, AT(options.margin_mm),
     .doc = "Free space beside the tip (default: the machine file's, else 0.2); along a board's "
            "edges (5)"},
    {0},
};

int cli_plan(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "",
        .doc = "Plan the moves of a run: which edges, how many rotations, in which order, and what "
               "uncertainty to expect.\v"
               "Exit status: 0 the plan is as wanted, 10 with --after: touch these and ask again, "
               "20 the target cannot be reached by touching, or so few parts do not tell "
               "everything; 64 wrong use, 65 bad input, 66 no input, 70 fault of the program, 71 "
               "out of memory, 74 reading or writing failed, 78 the machine file does not say "
               "enough for a motion program.",
        .shared = &cli_inputs_options,
        .shared_at = AT(inputs),
    };
    struct arguments arguments = {.form = TIPTRUE_PLAN_TEXT};

    if (!cli_read(&SYNTAX, argc, argv, &arguments)) {
        return EX_OSERR;
    }
    int status = arguments.board.parts > 0 ? plan_parts(&arguments) : plan_touches(&arguments);
    free(arguments.inputs.runs);
    return status;
}
