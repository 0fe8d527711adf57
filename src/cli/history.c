/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue history: which action is meant, and the actions that read. */
#include "config.h"

#include "cli/history.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/messages.h"
#include "cli/options.h"
#include "cli/terminal.h"

#define MOST_RUNS 100000000

static enum tiptrue_status write_out(void *context, const char *text, size_t length)
{
    (void)context;
    cli_write(text, length);
    return TIPTRUE_OK;
}

#define AT(member) offsetof(struct cli_history_arguments, member)
#define QUERY_OPTIONS                                                                              \
    {"machine",                                                                                    \
     "NAME",                                                                                       \
     1,                                                                                            \
     CLI_TEXT,                                                                                     \
     AT(query.machine),                                                                            \
     .doc = "Only runs of this machine; its name or its file"},                                    \
        {"since",                                                                                  \
         "TIME",                                                                                   \
         1,                                                                                        \
         CLI_TEXT,                                                                                 \
         AT(query.since),                                                                          \
         .doc = "Only runs started at this date, date and time (RFC 3339) or run, or later"},      \
    {                                                                                              \
        "until", "TIME", 1, CLI_TEXT, AT(query.until),                                             \
            .doc = "Only runs started at that time, or before"                                     \
    }
static int list(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        QUERY_OPTIONS,
        {"runs", "N", 1, CLI_COUNT, AT(query.runs), .doc = "Only the latest N of these", .least = 1,
         .most = MOST_RUNS},
        {"json", NULL, 2, CLI_FLAG, AT(json), .doc = "JSON, one line for each run"},
        {0}};
    static const struct cli_syntax SYNTAX = {
        .options = OPTIONS,
        .doc = "List the runs of the history in order of time, the newest last.",
        .shared = &cli_history_options};
    struct cli_history_arguments arguments = {0};
    struct tiptrue_history *history = NULL;
    const struct tiptrue_writer writer = {.write = write_out};
    struct tiptrue_error error = {0};
    int status = cli_read(&SYNTAX, argc, argv, &arguments) ? EX_OK : EX_OSERR;

    status = status == EX_OK ? cli_history_open_for(&arguments, false, &history) : status;
    if (status == EX_OK) {
        struct tiptrue_text_options look = cli_text_options(arguments.plain);
        error.status =
            tiptrue_history_list(history, &arguments.query, arguments.json, &look, &writer, &error);
        status = cli_failed(arguments.json, &error);
    }
    tiptrue_history_close(history);
    cli_history_clear(&arguments);
    return status;
}

static int export(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        QUERY_OPTIONS,
        {"csv", NULL, 2, CLI_FLAG, AT(csv), .doc = "CSV instead of lines of JSON"},
        {0}};
    static const struct cli_syntax SYNTAX = {
        .options = OPTIONS,
        .doc = "Write runs to standard output, whole: logs, documents, results. `tiptrue history "
               "import' makes the same history of it.",
        .shared = &cli_history_options};
    struct cli_history_arguments arguments = {0};
    struct tiptrue_history *history = NULL;
    const struct tiptrue_writer writer = {.write = write_out};
    struct tiptrue_error error = {0};
    int status = cli_read(&SYNTAX, argc, argv, &arguments) ? EX_OK : EX_OSERR;

    status = status == EX_OK ? cli_history_open_for(&arguments, false, &history) : status;
    if (status == EX_OK) {
        error.status =
            tiptrue_history_export(history, &arguments.query, arguments.csv, &writer, &error);
        status = cli_failed(arguments.json, &error);
    }
    tiptrue_history_close(history);
    cli_history_clear(&arguments);
    return status;
}

static int verify(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .doc = "Read all of the history and look for damage: its structure, its references, every "
               "stored byte against its digest, and whether every result can be read.\v"
               "Exit status: 0 no damage found, 65 damaged, 66 not there.",
        .shared = &cli_history_options};
    struct cli_history_arguments arguments = {0};
    struct tiptrue_history *history = NULL;
    struct tiptrue_history_counts counts = {0};
    struct cli_messages messages = {.stream = stderr};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_error error = {0};
    int status = cli_read(&SYNTAX, argc, argv, &arguments) ? EX_OK : EX_OSERR;

    status = status == EX_OK ? cli_history_open_for(&arguments, false, &history) : status;
    if (status == EX_OK) {
        error.status = tiptrue_history_verify(history, &sink, &counts, &error);
        if (error.status == TIPTRUE_OK || error.status == TIPTRUE_E_DATA) {
            printf("%zu runs, %zu logs, %zu results, %zu documents, %zu exports", counts.runs,
                   counts.logs, counts.results, counts.documents, counts.exports);
            printf(counts.boards > 0 ? ", %zu boards: " : ": ", counts.boards);
            printf(counts.faults == 0 ? "no damage found\n" : "%zu faults\n", counts.faults);
        }
        status = cli_messages_failed(&messages, &error);
    }
    tiptrue_history_close(history);
    cli_history_clear(&arguments);
    return status;
}

struct action {
    const char *name, *full_name;
    int (*run)(int argc, char *argv[]);
};

static const struct action ACTIONS[] = {
    {"list", "tiptrue history list", list},
    {"show", "tiptrue history show", cli_history_show},
    {"export", "tiptrue history export", export},
    {"import", "tiptrue history import", cli_history_import},
    {"verify", "tiptrue history verify", verify},
    {"exclude", "tiptrue history exclude", cli_history_say},
    {"include", "tiptrue history include", cli_history_say},
    {"started", "tiptrue history started", cli_history_say},
    {"note", "tiptrue history note", cli_history_say},
    {"forget", "tiptrue history forget", cli_history_say},
};
#define N_ACTIONS (sizeof ACTIONS / sizeof ACTIONS[0])
#define NAMES "list, show, export, import, verify, exclude, include, started, note, forget"

struct request {
    const struct action *action;
    int at;
};

static error_t parse_action(int key, char *argument, struct argp_state *state)
{
    struct request *request = state->input;

    switch (key) {
    case ARGP_KEY_ARG:
        for (size_t i = 0; i < N_ACTIONS && request->action == NULL; i++) {
            request->action = strcmp(ACTIONS[i].name, argument) == 0 ? &ACTIONS[i] : NULL;
        }
        if (request->action == NULL) {
            const char *names[N_ACTIONS], *meant;
            for (size_t i = 0; i < N_ACTIONS; i++) {
                names[i] = ACTIONS[i].name;
            }
            meant = cli_nearest(names, N_ACTIONS, argument);
            cli_usage(state, "'%s' is nothing that a history does%s%s%s it can " NAMES, argument,
                      meant != NULL ? "; did you mean '" : "", meant != NULL ? meant : "",
                      meant != NULL ? "'?" : ";");
        }
        request->at = state->next - 1;
        state->next = state->argc;
        return 0;
    case ARGP_KEY_END:
        cli_refuse_if(state, request->action == NULL,
                      "what to do with the history is missing: " NAMES);
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

int cli_history(int argc, char *argv[])
{
    static const struct argp ARGP = {
        .parser = parse_action,
        .args_doc = "ACTION [OPTION...]",
        .doc = "The history keeps every run that `tiptrue solve' entered by --history or --record, "
               "with its log and documents.\v"
               "Actions:\n"
               "  list      the runs that are stored, in order of time\n"
               "  show      a stored run: its result, its log, its documents; solve it again\n"
               "  export    write runs out, whole\n"
               "  import    take in exports, results and run logs, of files and folders\n"
               "  verify    look for damage\n"
               "  exclude   keep a run out of trends, and say why\n"
               "  include   take a run into trends again\n"
               "  started   correct the start of a run\n"
               "  note      keep a note with a run\n"
               "  forget    take a run out, with all that is kept of it\n\n"
               "`tiptrue history ACTION --help' tells the options of an action.",
    };
    struct request request = {0};

    if (!cli_parse(&ARGP, argc, argv, ARGP_IN_ORDER, &request)) {
        return EX_OSERR;
    }
    argv[request.at] = (char *)request.action->full_name; /* read only, as in main.c */
    return request.action->run(argc - request.at, argv + request.at);
}
