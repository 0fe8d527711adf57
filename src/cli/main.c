/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The program: which command is meant, what its status is as an exit status, and whether its output
 * arrived. */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/options.h"
#include "cli/terminal.h"
#include "cli/messages.h"

struct command {
    const char *name;
    const char *full_name; /* as argv[0], for the command's own messages */
    const char *purpose;
    int (*run)(int argc, char *argv[]);
};

static int complete(int argc, char *argv[]);

static const struct command COMMANDS[] = {
    {"ready", CLI_READY, "may the job start? one answer before each job", cli_ready},
    {"solve", "tiptrue solve", "from run logs to offset, runout and contact radius, with a verdict",
     cli_solve},
    {"check", "tiptrue check", "say every fault of the files, and what a run can determine",
     cli_check},
    {"export", "tiptrue export",
     "write a result into the machine's configuration, or fill a template", cli_export},
    {"plan", "tiptrue plan", "which touches reach the wanted uncertainty, in which order",
     cli_plan},
    {"simulate", "tiptrue simulate", "the log of a run without a machine, from a known truth",
     cli_simulate},
    {"compare", "tiptrue compare", "say whether the difference between two results is real",
     cli_compare},
    {"trend", "tiptrue trend",
     "say what the runs of a machine show over time: changes, drift, scatter", cli_trend},
    {"history", "tiptrue history", "the runs of weeks: list, show, export, import, verify",
     cli_history},
    {"placement", "tiptrue placement",
     "say which calibration the parts of a board show to be off, and by how much", cli_placement},
    {"report", "tiptrue report", "one page that shows a run, or the weeks, in words and pictures",
     cli_report},
    {"new", "tiptrue new", "a plate or machine file to begin with, from a few options", cli_new},
    {"completion", "tiptrue completion", "what a shell completes by: bash, zsh or fish", complete},
};
#define N_COMMANDS (sizeof COMMANDS / sizeof COMMANDS[0])

/* The table of commands, put behind the options of --help; the text becomes argp's to free. */
static char *help_filter(int key, const char *text, void *input)
{
    static const char
        TITLE[] = "Commands:\n",
        TAIL[] = "\n`tiptrue help COMMAND' or `tiptrue COMMAND -h' tells the options of a command.";
    size_t size = sizeof TITLE + sizeof TAIL, at;
    char *table;

    (void)input;
    if (key != ARGP_KEY_HELP_POST_DOC) {
        return (char *)text; /* unchanged, as argp's manual wants it */
    }
    for (size_t i = 0; i < N_COMMANDS; i++) {
        size += strlen(COMMANDS[i].purpose) + 16;
    }
    table = malloc(size);
    if (table == NULL) {
        return NULL;
    }
    at = (size_t)snprintf(table, size, "%s", TITLE);
    for (size_t i = 0; i < N_COMMANDS; i++) {
        at += (size_t)snprintf(table + at, size - at, "  %-8s  %s\n", COMMANDS[i].name,
                               COMMANDS[i].purpose);
    }
    snprintf(table + at, size - at, "%s", TAIL);
    return table;
}

static const struct command *find_command(const char *name)
{
    for (size_t i = 0; i < N_COMMANDS; i++) {
        if (strcmp(COMMANDS[i].name, name) == 0) {
            return &COMMANDS[i];
        }
    }
    return NULL;
}

/* What the command line asks for, before the command's own options. */
struct request {
    const struct command *command; /* NULL = none was named */
    int at;                        /* of the command in argv */
    bool version;
};

/* "solve, check" */
static void name_commands(char names[], size_t size)
{
    size_t at = 0;

    for (size_t i = 0; i < N_COMMANDS && at < size; i++) {
        at += (size_t)snprintf(names + at, size - at, "%s%s", i > 0 ? ", " : "", COMMANDS[i].name);
    }
}

static error_t parse_option(int key, char *argument, struct argp_state *state)
{
    struct request *request = state->input;
    char names[256] = "";

    name_commands(names, sizeof names);
    switch (key) {
    case 'V':
        request->version = true;
        return 0;
    case ARGP_KEY_ARG:
        request->command = find_command(argument);
        if (request->command == NULL) {
            const char *known[N_COMMANDS], *meant;
            for (size_t i = 0; i < N_COMMANDS; i++) {
                known[i] = COMMANDS[i].name;
            }
            meant = cli_nearest(known, N_COMMANDS, argument);
            cli_usage(state, "'%s' is not a command%s%s%s the commands are %s", argument,
                      meant != NULL ? "; did you mean '" : "", meant != NULL ? meant : "",
                      meant != NULL ? "'?" : ";", names);
        }
        request->at = state->next - 1;
        state->next = state->argc; /* the rest is the command's */
        return 0;
    case ARGP_KEY_END:
        if (request->command == NULL && !request->version) {
            cli_usage(state, "a command is missing; the commands are %s", names);
        }
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

static int complete(int argc, char *argv[])
{
    struct cli_completed commands[N_COMMANDS];

    for (size_t i = 0; i < N_COMMANDS; i++) {
        commands[i] = (struct cli_completed){COMMANDS[i].name, COMMANDS[i].purpose,
                                             COMMANDS[i].run == complete ? NULL : COMMANDS[i].run};
    }
    return cli_completion(argc, argv, commands, N_COMMANDS);
}

/* "help COMMAND" is "COMMAND --help", "help" alone "--help". */
static void turn_help(int argc, char *argv[])
{
    static char HELP[] = "--help";

    if (argc > 1 && strcmp(argv[1], "help") == 0) {
        memmove(argv + 1, argv + 2, (size_t)(argc - 2) * sizeof argv[0]);
        argv[argc - 1] = HELP;
    }
}

int main(int argc, char *argv[])
{
    char program[] = "tiptrue";
    static const struct argp_option OPTIONS[] = {
        {"version", 'V', NULL, 0, "Say the version and exit", -1},
        {0},
    };
    static const struct argp ARGP = {
        .options = OPTIONS,
        .parser = parse_option,
        .args_doc = "COMMAND [OPTION...]",
        .doc = "Where each tip of a placement machine is, seen from its camera: from touches on a "
               "reference plate to the tip-to-camera offset, with its uncertainty.\v ",
        .help_filter = help_filter,
    };
    struct request request = {0};

    cli_guard_streams();
    cli_guard_signals();
    if (argc > 0) {
        argv[0] = program; /* in messages, wherever the file lies */
    }
    turn_help(argc, argv);
    if (!cli_parse(&ARGP, argc, argv, ARGP_IN_ORDER, &request)) {
        return EX_OSERR;
    }
    if (request.version) {
        /* GNU Coding Standards, 4.8.1 */
        printf("tiptrue %s\n", tiptrue_version());
        puts("Copyright (C) 2026 the tiptrue authors\n"
             "License GPLv3+: GNU GPL version 3 or later <https://gnu.org/licenses/gpl.html>.\n"
             "This is free software: you are free to change and redistribute it.\n"
             "There is NO WARRANTY, to the extent permitted by law.");
        return EX_OK;
    }
    argv[request.at] = (char *)request.command->full_name; /* read only, there as everywhere */
    return request.command->run(argc - request.at, argv + request.at);
}
