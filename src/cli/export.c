/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue export: a result into the machine's configuration, or into a template; and back. */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>
#include <time.h>
#include <unistd.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/inputs.h"
#include "cli/options.h"
#include "cli/terminal.h"
#include "cli/messages.h"

/* Most rotations of --rotations: a table of every tenth of a degree. */
#define MOST_ROTATIONS 3600

struct arguments {
    const char *result, *machine, *plate, *template, *undo;
    const char *history; /* NULL: none is named */
    bool record;         /* into the history at its default place */
    bool quiet;
    const char **put;      /* for free() */
    const char **tips;     /* for free() */
    double *rotations_deg; /* for free() */
    size_t n_rotations;
    struct tiptrue_export_options options;
};

static void take_change(void *at, const char *text, struct argp_state *state)
{
    struct tiptrue_export_options *options = at;
    const char *behind;
    double value = cli_number(state, "--max-change", text, &behind);

    if (*behind != '\0' || !(value > 0.0)) {
        cli_usage(state, "--max-change '%s': millimetres above 0 are expected, such as 0.2", text);
    }
    options->has_max_change = true;
    options->max_change_mm = value;
}

static void take_guard(void *at, const char *text, struct argp_state *state)
{
    struct tiptrue_export_options *options = at;
    static const struct {
        const char *word;
        enum tiptrue_guard guard;
    } GUARDS[] = {{"verdict", TIPTRUE_GUARD_VERDICT},
                  {"age", TIPTRUE_GUARD_AGE},
                  {"machine", TIPTRUE_GUARD_MACHINE},
                  {"change", TIPTRUE_GUARD_CHANGE},
                  {"plate", TIPTRUE_GUARD_PLATE}};

    for (size_t i = 0; i < sizeof GUARDS / sizeof GUARDS[0]; i++) {
        if (strcmp(text, GUARDS[i].word) == 0) {
            options->force |= GUARDS[i].guard;
            return;
        }
    }
    cli_usage(state, "--force '%s': the guards are verdict, age, machine, change, plate", text);
}

/* "every:30": 0, 30, … below 360. */
static size_t rotations_of_step(struct argp_state *state, const char *text, double rotations_deg[])
{
    const char *behind;
    double step = cli_number(state, "--rotations", text, &behind);
    size_t count = 0;

    if (*behind != '\0' || !(step >= 360.0 / MOST_ROTATIONS && step <= 360.0)) {
        cli_usage(state, "--rotations every:%s: a step from 0.1 to 360 degrees is expected", text);
    }
    while (count < MOST_ROTATIONS && (double)count * step < 360.0 - step * 1e-9) {
        rotations_deg[count] = (double)count * step;
        count++;
    }
    return count;
}

static size_t rotations_of_list(struct argp_state *state, const char *text, double rotations_deg[])
{
    size_t count = 0;

    for (const char *at = text;; at++) {
        if (count == MOST_ROTATIONS) {
            cli_usage(state, "--rotations: more than %d rotations", MOST_ROTATIONS);
        }
        rotations_deg[count++] = cli_number(state, "--rotations", at, &at);
        if (*at == '\0') {
            return count;
        }
        if (*at != ',') {
            cli_usage(state,
                      "--rotations '%s': degrees with commas between are expected, or every:STEP",
                      text);
        }
    }
}

static void take_rotations(void *at, const char *text, struct argp_state *state)
{
    struct arguments *arguments = at;

    free(arguments->rotations_deg);
    arguments->rotations_deg = calloc(MOST_ROTATIONS, sizeof *arguments->rotations_deg);
    if (arguments->rotations_deg == NULL) {
        cli_out_of_memory();
    }
    arguments->n_rotations = strncmp(text, "every:", 6) == 0
                                 ? rotations_of_step(state, text + 6, arguments->rotations_deg)
                                 : rotations_of_list(state, text, arguments->rotations_deg);
}

/* What does not go together. */
static void check_arguments(void *input, struct argp_state *state)
{
    const struct arguments *arguments = input;
    const struct tiptrue_export_options *options = &arguments->options;

    if (arguments->undo != NULL) {
        if (arguments->result != NULL || options->into != NULL || options->n_put > 0 ||
            arguments->template != NULL || arguments->history != NULL) {
            cli_usage(state, "--undo stands alone, but for --dry-run");
        }
        return;
    }
    cli_refuse_if(
        state, arguments->result == NULL,
        "RESULT is missing: name the file that solve --json wrote, or - for standard input");
    cli_refuse_if(state, options->n_put > 0 && options->into == NULL,
                  "--put needs --into: the file that the value is put into");
    cli_refuse_if(
        state, arguments->template != NULL && (options->into != NULL || options->dry_run),
        "--template writes to standard output; --into and --dry-run have no meaning with it");
    cli_refuse_if(
        state, arguments->n_rotations > 0 && arguments->template == NULL,
        "--rotations is for --template; elsewhere a field says its rotation: t1.offset.x@90");
    const char *const files[] = {arguments->result, arguments->template, arguments->machine,
                                 arguments->plate};
    (void)cli_count_stdin(state, 0, files, sizeof files / sizeof files[0]);
}

/* Machine and plate, whichever are named; where places are wanted and no machine is named, the one
 * that is found. */
static int read_objects(const struct arguments *arguments, struct cli_objects *objects)
{
    struct cli_inputs inputs = {.plate = arguments->plate, .quiet = arguments->quiet};
    bool wants_places = arguments->options.n_put == 0 && arguments->template == NULL;

    if ((arguments->machine != NULL || wants_places) &&
        !cli_find_machine(arguments->machine, arguments->result, &objects->machine_file)) {
        return EX_OSERR;
    }
    inputs.machine = objects->machine_file.path;
    if (inputs.machine == NULL && wants_places) {
        fputs("tiptrue: error: no " CLI_MACHINE_FILE
              " was found, and neither --machine nor --put names places\n"
              "  hint: name the machine file by --machine\n",
              stderr);
        return EX_NOINPUT;
    }
    return cli_objects_find(&inputs, CLI_NEEDS_NAMED, CLI_TELL_NOTHING, objects);
}

/* The export, entered into the history if one is kept; a run that it does not have is told before
 * anything is written. */
static enum tiptrue_status
export_one(const struct arguments *arguments, const struct tiptrue_solution *solution,
           struct tiptrue_history *history, const struct tiptrue_sink *sink,
           struct tiptrue_exported **exported, struct tiptrue_error *error)
{
    const struct tiptrue_export_options *options = &arguments->options;
    bool enters = history != NULL && !options->dry_run;
    enum tiptrue_status status =
        enters ? tiptrue_history_has(history, solution, error) : TIPTRUE_OK;

    if (status == TIPTRUE_OK) {
        status = tiptrue_export(solution, options, sink, exported, error);
    }
    if (status == TIPTRUE_OK && enters) {
        status = tiptrue_history_add_export(history, solution, *exported, options->now_s, error);
    }
    return status;
}

/* RESULT: a file, or the run of the history whose id begins so. */
static enum tiptrue_status read_result(const struct arguments *arguments,
                                       struct tiptrue_history *history, struct tiptrue_sink *sink,
                                       struct tiptrue_solution **solution,
                                       struct tiptrue_error *error)
{
    char id[TIPTRUE_RUN_ID_SIZE];

    if (history == NULL || access(arguments->result, F_OK) == 0) {
        return tiptrue_solution_read(arguments->result, sink, solution, error);
    }
    enum tiptrue_status status = tiptrue_history_find(history, arguments->result, id, error);
    return status == TIPTRUE_OK ? tiptrue_history_solution(history, id, solution, error) : status;
}

static enum tiptrue_status
read_and_export(struct arguments *arguments, const struct cli_objects *objects,
                struct tiptrue_history *history, struct tiptrue_sink *sink,
                struct tiptrue_exported **exported, struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_export_options *options = &arguments->options;
    enum tiptrue_status status = read_result(arguments, history, sink, &solution, error);

    options->machine = objects->machine;
    options->plate = objects->plate;
    if (status == TIPTRUE_OK && arguments->template != NULL) {
        status = tiptrue_template(solution, arguments->template, arguments->rotations_deg,
                                  arguments->n_rotations, options, sink, exported, error);
    } else if (status == TIPTRUE_OK) {
        status = export_one(arguments, solution, history, sink, exported, error);
    }
    tiptrue_solution_free(solution);
    return status;
}

static int do_it(struct arguments *arguments)
{
    struct cli_objects objects = {0};
    struct cli_messages messages = {.stream = stderr};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_exported *exported = NULL;
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    int status = arguments->undo == NULL ? read_objects(arguments, &objects) : EX_OK;

    if (status == EX_OK && (arguments->history != NULL || arguments->record)) {
        status = cli_history_open(arguments->history, objects.machine, !arguments->options.dry_run,
                                  &messages, &history);
    }
    if (status == EX_OK) {
        arguments->options.now_s = (double)time(NULL);
        error.status =
            arguments->undo != NULL
                ? tiptrue_export_undo(arguments->undo, arguments->options.dry_run,
                                      arguments->options.now_s, &exported, &error)
                : read_and_export(arguments, &objects, history, &sink, &exported, &error);
        if (error.status != TIPTRUE_OK) {
            cli_messages_error(&messages, &error);
        }
        if (exported != NULL) { /* also where the history failed afterwards */
            cli_write(exported->text, exported->length);
        }
        status = cli_exit_status(error.status);
    }
    tiptrue_history_close(history);
    tiptrue_exported_free(exported);
    cli_objects_free(&objects);
    return status;
}

#define AT(member) offsetof(struct arguments, member)
static const struct cli_option OPTIONS[] = {
    {.group = 1, .doc = "Where to:"},
    {"into", "CONFIG", 1, CLI_TEXT, AT(options.into),
     .doc = "The configuration file (default: as the machine file's export says)"},
    {"put", "FIELD=PLACE", 1, CLI_LIST, AT(put),
     .doc = "What goes where, such as t1.offset.x:minus:.4=/tips/t1/x; once for each value "
            "(default: as the machine file's export says)",
     .n = AT(options.n_put)},
    {"tip", "NAME", 1, CLI_LIST, AT(tips),
     .doc = "Only what goes to this tip's places; its verdict counts (can be given several times)",
     .n = AT(options.n_tips)},
    {"machine", "FILE", 1, CLI_TEXT, AT(machine),
     .doc = "The machine (default: looked for, beside RESULT first, unless --put is given)"},
    {"template", "FILE", 1, CLI_TEXT, AT(template),
     .doc = "Write FILE to standard output, its placeholders @(FIELD) filled"},
    {"rotations", "LIST", 1, CLI_CALL, 0,
     .doc = "Degrees for the lines of a template that ask for them: 0,90,180 or every:STEP",
     .take = take_rotations},
    {.group = 2, .doc = "Guards:"},
    {"plate", "FILE", 2, CLI_TEXT, AT(plate),
     .doc = "The present plate: a result of another one is refused"},
    {"max-age", "TIME", 2, CLI_AGE, AT(options.max_age_s),
     .doc = "Refuse a run that was started longer ago, such as 12h (s, min, h, d)",
     .sets = CLI_SETS(struct arguments, options.has_max_age)},
    {"max-change", "MM", 2, CLI_CALL, AT(options), .doc = "Refuse to move an offset by more",
     .take = take_change},
    {"force", "GUARD", 2, CLI_CALL, AT(options),
     .doc = "Skip one safety check: verdict, age, machine, change or plate", .take = take_guard},
    {.group = 3, .doc = "Looking first, and the way back:"},
    {"history", "FILE", 3, CLI_TEXT, AT(history),
     .doc = "Enter the export into the history, which must have the run; RESULT may be the run's "
            "id there"},
    {"record", NULL, 3, CLI_FLAG, AT(record), .doc = "Like --history, with the default history"},
    {"dry-run", NULL, 3, CLI_FLAG, AT(options.dry_run),
     .doc = "Write nothing, show the change as a unified diff"},
    {"undo", "CONFIG", 3, CLI_TEXT, AT(undo),
     .doc = "Put back what was in CONFIG before the export, if it was not changed since"},
    CLI_QUIET_OPTION(3, struct arguments, quiet),
    {.argument = "RESULT", .form = CLI_TEXT, .at = AT(result)},
    {0},
};

int cli_export(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "RESULT\n--undo CONFIG",
        .doc = "Write numbers of RESULT, which solve --json wrote, into the machine's "
               "configuration: JSON, XML, lines of key = value, or any text. Only the digits "
               "change; the old file stays beside it, named with the date.\v"
               "Exit status: 0 written, or nothing is needed; 64 wrong use, 65 a guard refuses or "
               "the input is bad, 66 no input, 70 fault of the program, 71 out of memory, 74 "
               "locked, changed meanwhile or not writable, 78 a place or the configuration is not "
               "as it should be.",
    };
    struct arguments arguments = {0};
    int status;

    if (!cli_read(&SYNTAX, argc, argv, &arguments)) {
        return EX_OSERR;
    }
    arguments.options.put = arguments.put;
    arguments.options.tips = arguments.tips;
    status = do_it(&arguments);
    free(arguments.put);
    free(arguments.tips);
    free(arguments.rotations_deg);
    return status;
}
