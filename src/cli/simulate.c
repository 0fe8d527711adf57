/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue simulate: a run without a machine, from a truth and a plan. */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/inputs.h"
#include "cli/terminal.h"
#include "cli/messages.h"

#define MOST_SEED 4294967295 /* what the generators take */

struct arguments {
    struct cli_inputs inputs;
    const char *truth, *truth_out;
    bool draw, exact, controller_log;
    size_t seed;
};

static void check_arguments(struct arguments *arguments, struct argp_state *state)
{
    arguments->inputs.command = state->name;
    if (arguments->inputs.n_runs > 0) {
        cli_usage(state, "'%s' is too much: a simulation reads no run", arguments->inputs.runs[0]);
    }
    if ((arguments->truth != NULL) == arguments->draw) {
        cli_usage(state, "name a truth with --truth, or have one drawn with --draw");
    }
    if (arguments->exact && !arguments->draw) {
        cli_usage(state, "--exact is for --draw: a truth says itself how much it scatters");
    }
}

static error_t parse_option(int key, char *argument, struct argp_state *state)
{
    struct arguments *arguments = state->input;

    switch (key) {
    case CLI_KEY_PLATE:
        arguments->inputs.plate = argument;
        return 0;
    case CLI_KEY_MACHINE:
        arguments->inputs.machine = argument;
        return 0;
    case CLI_KEY_PLAN:
        arguments->inputs.plan = argument;
        return 0;
    case CLI_KEY_TRUTH:
        arguments->truth = argument;
        return 0;
    case CLI_KEY_DRAW:
        arguments->draw = true;
        return 0;
    case CLI_KEY_EXACT:
        arguments->exact = true;
        return 0;
    case CLI_KEY_TRUTH_OUT:
        arguments->truth_out = argument;
        return 0;
    case CLI_KEY_CONTROLLER_LOG:
        arguments->controller_log = true;
        return 0;
    case CLI_KEY_UNITS:
        arguments->inputs.units = cli_units(state, argument);
        return 0;
    case CLI_KEY_SEED:
        arguments->seed = cli_whole_number(state, "--seed", argument, 0, MOST_SEED);
        return 0;
    case ARGP_KEY_ARG:
        cli_usage(state, "'%s' is too much: a simulation reads no run", argument);
        return 0;
    case ARGP_KEY_END:
        check_arguments(arguments, state);
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

/* The plan that was named, or the one that `plan` would make, which is in *proposal then. */
static enum tiptrue_status find_plan(const struct cli_objects *objects,
                                     struct tiptrue_proposal **proposal,
                                     const struct tiptrue_plan **plan, struct tiptrue_error *error)
{
    static const struct tiptrue_plan_options USUAL = {0};
    struct tiptrue_workspace *workspace = NULL;
    enum tiptrue_status status = TIPTRUE_OK;

    if (objects->plan != NULL) {
        *plan = objects->plan;
        return TIPTRUE_OK;
    }
    if ((status = tiptrue_workspace_new(&workspace, error)) == TIPTRUE_OK) {
        status =
            tiptrue_plan_make(workspace, objects->plate, objects->machine, &USUAL, proposal, error);
    }
    if (status == TIPTRUE_OK) {
        *plan = tiptrue_proposal_plan(*proposal);
    }
    tiptrue_workspace_free(workspace);
    return status;
}

/* The truth into the file that --truth-out names. */
static enum tiptrue_status write_truth(const struct arguments *arguments,
                                       const struct tiptrue_truth *truth,
                                       struct tiptrue_error *error)
{
    char *text = NULL;
    size_t length = 0;
    enum tiptrue_status status;

    if (arguments->truth_out == NULL) {
        return TIPTRUE_OK;
    }
    status = tiptrue_truth_json(truth, &text, &length, error);
    if (status == TIPTRUE_OK) {
        status = cli_write_file(arguments->truth_out, text, length, true, error);
    }
    free(text);
    return status;
}

static enum tiptrue_status simulate(const struct arguments *arguments,
                                    const struct cli_objects *objects,
                                    const struct tiptrue_sink *sink, char **text, size_t *length,
                                    struct tiptrue_error *error)
{
    struct tiptrue_proposal *proposal = NULL;
    const struct tiptrue_plan *plan = NULL;
    struct tiptrue_truth *truth = NULL;
    struct tiptrue_run *run = NULL;
    unsigned long seed = (unsigned long)arguments->seed;
    enum tiptrue_status status = find_plan(objects, &proposal, &plan, error);

    if (status == TIPTRUE_OK) {
        status = arguments->draw ? tiptrue_truth_draw(objects->plate, objects->machine, plan, seed,
                                                      arguments->exact, &truth, error)
                                 : tiptrue_truth_read(arguments->truth, sink, &truth, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_simulate(objects->plate, objects->machine, plan, truth, seed, &run, error);
    }
    if (status == TIPTRUE_OK) {
        status =
            arguments->controller_log
                ? tiptrue_run_log(run, objects->plate, plan, text, length, error)
                : tiptrue_run_csv(run, objects->plate, cli_shown_units(&arguments->inputs, objects),
                                  text, length, error);
    }
    if (status == TIPTRUE_OK) {
        status = write_truth(arguments, truth, error);
    }
    tiptrue_run_free(run);
    tiptrue_truth_free(truth);
    tiptrue_proposal_free(proposal);
    return status;
}

int cli_simulate(int argc, char *argv[])
{
    static const struct argp_option OPTIONS[] = {
        {NULL, 0, NULL, 0, "Input files (- is standard input):", 1},
        {"plate", CLI_KEY_PLATE, "FILE", 0,
         "The reference plate: marks, edges and how well they are known", 1},
        {"machine", CLI_KEY_MACHINE, "FILE", 0,
         "The machine: rotation, resolution, repeatability, tips", 1},
        {"plan", CLI_KEY_PLAN, "FILE", 0, "The moves; without it, those that `tiptrue plan' makes",
         1},
        {"truth", CLI_KEY_TRUTH, "FILE", 0,
         "What is true: poses, offsets, runouts, shifts, scatter, late contacts", 1},
        {NULL, 0, NULL, 0, "The truth, drawn:", 2},
        {"draw", CLI_KEY_DRAW, NULL, 0, "Draw the truth from what plate and machine state", 2},
        {"exact", CLI_KEY_EXACT, NULL, 0, "With --draw: no scatter and no resolution", 2},
        {"truth-out", CLI_KEY_TRUTH_OUT, "FILE", 0, "Write the truth that was used", 2},
        {"seed", CLI_KEY_SEED, "S", 0,
         "Seed of the random numbers (default 1): the same seed, the same bytes", 2},
        {NULL, 0, NULL, 0, "Output:", 3},
        {"controller-log", CLI_KEY_CONTROLLER_LOG, NULL, 0,
         "The log as a motion controller prints it, `trip id=7 x=1.2345 y=2.3456 z=0.0000 ok=1', "
         "instead of CSV",
         3},
        CLI_UNITS_OPTION(3),
        {0},
    };
    static const struct argp ARGP = {
        .options = OPTIONS,
        .parser = parse_option,
        .args_doc = "(--truth FILE | --draw)",
        .doc = "Make the log of a run without a machine, to try a plate, a machine file or a "
               "script before anything moves.\v"
               "Exit status: 0 the log is written; 64 wrong use, 65 bad input, 66 no input, 70 "
               "fault of the program, 71 out of "
               "memory, 74 reading or writing failed.",
    };
    struct arguments arguments = {.seed = 1};
    struct cli_objects objects = {0};
    struct tiptrue_error error = {0};
    struct cli_messages messages = {.stream = stderr, .telling = CLI_TELL_NOTHING};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    char *text = NULL;
    size_t length = 0;
    int status;

    if (!cli_parse(&ARGP, argc, argv, 0, &arguments)) {
        return EX_OSERR;
    }
    status = cli_objects_find(&arguments.inputs, CLI_NEEDS_MOVES, CLI_TELL_NOTHING, &objects);
    if (status == 0) {
        error.status = simulate(&arguments, &objects, &sink, &text, &length, &error);
        if (error.status == TIPTRUE_OK) {
            cli_write(text, length);
        } else {
            cli_messages_error(&messages, &error);
        }
        status = cli_exit_status(error.status);
    }
    free(text);
    cli_objects_free(&objects);
    return status;
}
