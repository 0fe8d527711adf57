/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue simulate: a run without a machine, from a truth and a plan. */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
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

static void check_arguments(void *input, struct argp_state *state)
{
    struct arguments *arguments = input;
    arguments->inputs.command = state->name;
    cli_refuse_if(state, (arguments->truth != NULL) == arguments->draw,
                  "name a truth with --truth, or have one drawn with --draw");
    cli_refuse_if(state, arguments->exact && !arguments->draw,
                  "--exact is for --draw: a truth says itself how much it scatters");
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
    status = status == TIPTRUE_OK ? write_truth(arguments, truth, error) : status;
    tiptrue_run_free(run);
    tiptrue_truth_free(truth);
    tiptrue_proposal_free(proposal);
    return status;
}

static void refuse_run(void *at, const char *argument, struct argp_state *state)
{
    (void)at;
    cli_usage(state, "'%s' is too much: a simulation reads no run", argument);
}

#define AT(member) offsetof(struct arguments, member)
static const struct cli_option OPTIONS[] = {
    {.group = 1, .doc = "Input files (- is standard input):"},
    {"plate", "FILE", 1, CLI_TEXT, AT(inputs.plate),
     .doc = "The reference plate: marks, edges and how well they are known"},
    {"machine", "FILE", 1, CLI_TEXT, AT(inputs.machine),
     .doc = "The machine: rotation, resolution, repeatability, tips"},
    {"plan", "FILE", 1, CLI_TEXT, AT(inputs.plan),
     .doc = "The moves; without it, those that `tiptrue plan' makes"},
    {"truth", "FILE", 1, CLI_TEXT, AT(truth),
     .doc = "What is true: poses, offsets, runouts, shifts, scatter, late contacts"},
    {.group = 2, .doc = "The truth, drawn:"},
    {"draw", NULL, 2, CLI_FLAG, AT(draw),
     .doc = "Draw the truth from what plate and machine state"},
    {"exact", NULL, 2, CLI_FLAG, AT(exact), .doc = "With --draw: no scatter and no resolution"},
    {"truth-out", "FILE", 2, CLI_TEXT, AT(truth_out), .doc = "Write the truth that was used"},
    {"seed", "S", 2, CLI_COUNT, AT(seed),
     .doc = "Seed of the random numbers (default 1): the same seed, the same bytes",
     .most = MOST_SEED},
    {.group = 3, .doc = "Output:"},
    {"controller-log", NULL, 3, CLI_FLAG, AT(controller_log),
     .doc = "The log as a motion controller prints it, `trip id=7 x=1.2345 y=2.3456 z=0.0000 "
            "ok=1', instead of CSV"},
    CLI_UNITS_OPTION(3, struct arguments, inputs.units),
    CLI_QUIET_OPTION(3, struct arguments, inputs.quiet),
    {NULL, "RUN", 0, CLI_CALL, 0, .take = refuse_run},
    {0},
};

int cli_simulate(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "(--truth FILE | --draw)",
        .doc = "Make the log of a run without a machine, to try a plate, a machine file or a "
               "script before anything moves.\v"
               "Exit status: 0 the log is written; 64 wrong use, 65 bad input, 66 no input, 70 "
               "fault of the program, 71 out of memory, 74 reading or writing failed.",
    };
    struct arguments arguments = {.seed = 1};
    struct cli_objects objects = {0};
    struct tiptrue_error error = {0};
    struct cli_messages messages = {.stream = stderr, .telling = CLI_TELL_NOTHING};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    char *text = NULL;
    size_t length = 0;
    int status;

    if (!cli_read(&SYNTAX, argc, argv, &arguments)) {
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
