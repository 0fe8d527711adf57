/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue report: runs in, one page of HTML out, its pictures as files too when asked for. */
#include "config.h"

#include <argp.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/inputs.h"
#include "cli/terminal.h"
#include "cli/messages.h"

struct arguments {
    struct cli_inputs inputs; /* runs: results too; machine: a name where weeks are wanted */
    const char *output, *svg;
    bool weeks;          /* --history was given: --machine is a name then */
    const char *history; /* NULL = at its default place */
};

/* ---- files out ---- */

static int tell_failure(const char *path, const char *what)
{
    int number = errno;

    cli_put_escaped(stderr, path);
    fprintf(stderr, ": error: %s: %s\n", what, strerror(number));
    return EX_IOERR;
}

static int write_file(const char *path, const char *text, size_t length)
{
    struct tiptrue_error error = {0};

    error.status = cli_write_file(path, text, length, false, &error);
    return cli_failed(false, &error);
}

enum tiptrue_status cli_report_write(const struct tiptrue_report *report, const char *path,
                                     struct tiptrue_error *error)
{
    char *text = NULL;
    size_t length = 0;
    enum tiptrue_status status = tiptrue_report_html(report, &text, &length, error);

    if (status == TIPTRUE_OK && strcmp(path, "-") == 0) {
        cli_write(text, length);
    } else if (status == TIPTRUE_OK) {
        status = cli_write_file(path, text, length, false, error);
    }
    free(text);
    return status;
}

static int write_page(const struct arguments *arguments, const struct tiptrue_report *report)
{
    struct tiptrue_error error = {0};

    error.status = cli_report_write(report, arguments->output, &error);
    return cli_failed(false, &error);
}

static int write_picture(const char *folder, const struct tiptrue_report *report, size_t index)
{
    struct tiptrue_error error = {0};
    const char *name;
    char *text, *path;
    size_t length;
    int status;

    if (tiptrue_report_picture(report, index, &name, &text, &length, &error) != TIPTRUE_OK) {
        fprintf(stderr, "tiptrue: error: %s\n", error.text);
        return cli_exit_status(error.status);
    }
    size_t size = strlen(folder) + strlen(name) + sizeof "/.svg";
    path = malloc(size);
    if (path == NULL) {
        fputs("tiptrue: error: out of memory\n", stderr);
        status = EX_OSERR;
    } else {
        snprintf(path, size, "%s/%s.svg", folder, name);
        status = write_file(path, text, length);
    }
    free(path);
    free(text);
    return status;
}

static int write_pictures(const char *folder, const struct tiptrue_report *report)
{
    int status = 0;

    if (mkdir(folder, 0777) != 0 && errno != EEXIST) {
        return tell_failure(folder, "the folder cannot be made");
    }
    for (size_t i = 0; i < tiptrue_report_pictures(report) && status == 0; i++) {
        status = write_picture(folder, report, i);
    }
    return status;
}

/* ---- the command ---- */

static int add_file(struct tiptrue_report *report, const struct arguments *arguments,
                    const struct cli_objects *objects, const char *path)
{
    struct cli_messages messages = {.stream = stderr};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_error error = {0};

    error.status = tiptrue_report_add_file(report, path, objects->plate, objects->machine,
                                           objects->plan, arguments->inputs.pattern, &sink, &error);
    return cli_messages_failed(&messages, &error);
}

/* The weeks of the machines in the history. */
static int add_history(struct tiptrue_report *report, const struct arguments *arguments)
{
    struct cli_history_arguments of = {.history = arguments->history,
                                       .units = arguments->inputs.units,
                                       .query.machine = arguments->inputs.machine};
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    int status = cli_history_open_for(&of, false, &history);

    if (status == 0) {
        tiptrue_report_units(report, of.units);
        error.status = tiptrue_report_add_history(report, history, of.query.machine, &error);
        status = cli_failed(false, &error);
    }
    tiptrue_history_close(history);
    cli_history_clear(&of);
    return status;
}

/* The page is written when it shows anything; a file that could not be read has its place there. */
static int make(const struct arguments *arguments, const struct cli_objects *objects)
{
    struct tiptrue_error error = {0};
    struct tiptrue_report *report = NULL;
    int status = 0;
    size_t good = 0;

    if (tiptrue_report_new(cli_local_zone(), &report, &error) != TIPTRUE_OK) {
        fprintf(stderr, "tiptrue: error: %s\n", error.text);
        return cli_exit_status(error.status);
    }
    tiptrue_report_units(report, cli_shown_units(&arguments->inputs, objects));
    if (arguments->weeks) {
        status = add_history(report, arguments);
        good += status == 0;
    }
    for (size_t i = 0; i < arguments->inputs.n_runs; i++) {
        int added = add_file(report, arguments, objects, arguments->inputs.runs[i]);
        good += added == 0;
        status = cli_worse(status, added);
    }
    if (good > 0) {
        int written = write_page(arguments, report);
        if (written == 0 && arguments->svg != NULL) {
            written = write_pictures(arguments->svg, report);
        }
        status = cli_worse(status, written);
    }
    tiptrue_report_free(report);
    return status;
}

static void check_arguments(void *input, struct argp_state *state)
{
    struct arguments *arguments = input;
    cli_refuse_if(state, arguments->inputs.n_runs == 0 && !arguments->weeks,
                  "nothing to show: name a RUN or a RESULT, - for standard input, or --history");
    cli_refuse_if(
        state,
        arguments->weeks && (arguments->inputs.n_runs > 0 || arguments->inputs.plate != NULL),
        "--history makes a page of its own: it goes with --machine NAME, and with no RUN");
    cli_refuse_if(state, arguments->output == NULL,
                  "-o is missing: name the file of the page, or - for standard output");
    (void)cli_count_stdin(state, 0, arguments->inputs.runs, arguments->inputs.n_runs);
}

/* A RESULT is shown as it is: only for a RUN are plate and machine looked for. */
static enum cli_need need_of(const struct arguments *arguments)
{
    struct tiptrue_log_head head = {0};
    bool is_log = arguments->inputs.n_runs > 0 &&
                  tiptrue_log_head_read(arguments->inputs.runs[0], &head, NULL) == TIPTRUE_OK &&
                  !head.is_document && strcmp(arguments->inputs.runs[0], "-") != 0;

    tiptrue_log_head_clear(&head);
    return is_log ? CLI_NEEDS_FOUND : CLI_NEEDS_NAMED;
}

/* Find and read what the page is made with. */
static int find(struct arguments *arguments, const char *command, struct cli_objects *objects)
{
    const char *machine = arguments->inputs.machine;

    arguments->inputs.command = command;
    arguments->inputs.machine = arguments->weeks ? NULL : machine;
    int status =
        cli_objects_find(&arguments->inputs, need_of(arguments), CLI_TELL_NOTHING, objects);
    arguments->inputs.machine = machine;
    return status;
}

#define AT(member) offsetof(struct arguments, member)
int cli_report(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {.group = 1, .doc = "Input files (- is standard input):"},
        {"plate", "FILE", 1, CLI_TEXT, AT(inputs.plate),
         .doc = "The reference plate, for a RUN (default: looked for)"},
        {"machine", "FILE", 1, CLI_TEXT, AT(inputs.machine),
         .doc = "The machine, for a RUN (default: looked for). With --history, only the machine of "
                "this name"},
        {"plan", "FILE", 1, CLI_TEXT, AT(inputs.plan),
         .doc = "What each move of a controller's log was; needs --pattern"},
        CLI_PATTERN_OPTIONS(1, struct arguments, inputs.pattern, inputs.ok_words),
        {"history", "FILE", 1, CLI_TEXT, AT(history),
         .doc = "In place of runs: the weeks of the machines in this history",
         .sets = CLI_SETS(struct arguments, weeks)},
        {.group = 2, .doc = "Output:"},
        {"output", "FILE", 2, CLI_TEXT, AT(output), .doc = "The page (HTML); - is standard output",
         .letter = 'o'},
        CLI_QUIET_OPTION(2, struct arguments, inputs.quiet),
        CLI_UNITS_OPTION(2, struct arguments, inputs.units),
        {"svg", "FOLDER", 2, CLI_TEXT, AT(svg),
         .doc = "Each picture as a file of its own too (SVG), in this folder"},
        {NULL, "RUN", 0, CLI_LIST, AT(inputs.runs), .n = AT(inputs.n_runs)},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "-o FILE RUN|RESULT...\n-o FILE --history FILE [--machine NAME]",
        .doc = "Show runs on one page: verdict and findings in words, the plate, contacts, runout, "
               "offset and budget in pictures, a table behind each. The page is self-contained and "
               "can be mailed. A RUN is solved; a RESULT of 'tiptrue solve --json --touches' is "
               "shown as it is, with --plate and --machine more of it.\v"
               "Times are those of the time zone TZ. Exit status: 0 the page is written; 64 wrong "
               "use, 65 bad input (named on the page, which shows the others), 66 no input, 74 "
               "reading or writing failed. Of several files, the worst.",
    };
    struct arguments arguments = {0};
    struct cli_objects objects = {0};
    int status;

    if (!cli_read(&SYNTAX, argc, argv, &arguments)) {
        return EX_OSERR;
    }
    status = find(&arguments, argv[0], &objects);
    status = status == 0 ? make(&arguments, &objects) : status;
    cli_objects_free(&objects);
    free(arguments.inputs.runs);
    return status;
}
