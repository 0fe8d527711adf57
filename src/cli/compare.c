/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue compare: is the difference between two results real? */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <sysexits.h>
#include <unistd.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/inputs.h"
#include "cli/options.h"
#include "cli/terminal.h"
#include "cli/messages.h"

/* What is compared. */
struct pair {
    struct tiptrue_history *history; /* NULL = none is named */
    struct tiptrue_solution *a, *b;
    struct tiptrue_trend *trend; /* for the scatter between runs; NULL = not known */
};

#define MOST_BACK 1000000

static void check_arguments(void *input, struct argp_state *state)
{
    const struct cli_history_arguments *arguments = input;

    cli_refuse_if(state, arguments->last > 0 && arguments->n_names > 0,
                  "--last compares runs of the history: no result is named beside it");
    cli_refuse_if(state, arguments->last == 0 && arguments->n_names != 2,
                  "two results are needed: files of `tiptrue solve --json', or, with "
                  "--history, ids of stored runs");
}

/* The last run of the machine and the one @last before it, from the history. */
static int read_last(const struct cli_history_arguments *arguments, struct pair *pair)
{
    struct tiptrue_history_query query = arguments->query;
    struct tiptrue_trend *trend = NULL;
    struct tiptrue_error error = {0};
    char(*ids)[TIPTRUE_RUN_ID_SIZE] = NULL;
    size_t n = 0;

    /* which machine is meant, and whether it is there, as a trend has it */
    error.status = tiptrue_history_trend(pair->history, &query, NULL, &trend, &error);
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_history_ids(pair->history, &query, &ids, &n, &error);
    }
    if (error.status == TIPTRUE_OK && n <= arguments->last) {
        snprintf(error.text, sizeof error.text, "the history holds %zu runs, and %zu are needed", n,
                 arguments->last + 1);
        error.status = TIPTRUE_E_NO_INPUT;
    }
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_history_comparable(pair->history, ids[n - 1 - arguments->last],
                                                  &pair->a, &error);
    }
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_history_comparable(pair->history, ids[n - 1], &pair->b, &error);
    }
    pair->trend = trend;
    free(ids);
    return cli_failed(arguments->json, &error);
}

/* The result @name: a file, or the run of the history whose id begins with it. Returns the exit
 * status. */
static int read_result(const struct pair *pair, const char *name, bool json,
                       struct tiptrue_solution **solution)
{
    struct cli_messages messages = cli_messages_aloud(json);
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_error error = {0};
    char id[TIPTRUE_RUN_ID_SIZE];

    if (pair->history == NULL || access(name, F_OK) == 0) {
        error.status = tiptrue_solution_read(name, &sink, solution, &error);
        return cli_file_read(&messages, name, "result", &error);
    }
    error.status = tiptrue_history_find(pair->history, name, id, &error);
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_history_comparable(pair->history, id, solution, &error);
    }
    return cli_failed(json, &error);
}

/* Write the comparison; the exit status. */
static int show(const struct cli_history_arguments *arguments, const struct pair *pair)
{
    struct tiptrue_text_options look = cli_text_options(arguments->plain);
    struct tiptrue_comparison *comparison = NULL;
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0;

    look.units = arguments->units;
    error.status = tiptrue_compare(pair->a, pair->b, pair->trend, &comparison, &error);
    if (error.status == TIPTRUE_OK) {
        error.status =
            tiptrue_comparison_text(comparison, arguments->json, &look, &text, &length, &error);
    }
    if (error.status == TIPTRUE_OK) {
        cli_write_result(text, length, arguments->json);
    }
    free(text);
    tiptrue_comparison_free(comparison);
    return cli_failed(arguments->json, &error);
}

/* The scatter between runs, of the machine that is named or the only one. Without runs of it there
 * is none to reckon with. */
static int read_trend(const struct cli_history_arguments *arguments, struct pair *pair)
{
    struct tiptrue_error error = {0};

    error.status =
        tiptrue_history_trend(pair->history, &arguments->query, NULL, &pair->trend, &error);
    return error.status == TIPTRUE_E_NO_INPUT && arguments->query.machine == NULL
               ? EX_OK
               : cli_failed(arguments->json, &error);
}

#define AT(member) offsetof(struct cli_history_arguments, member)
int cli_compare(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {"machine", "NAME", 1, CLI_TEXT, AT(query.machine),
         .doc = "The machine whose scatter between runs counts, by name or file, where the history "
                "holds several"},
        {"last", "N", 1, CLI_COUNT, AT(last),
         .doc = "In place of two results: the last run of the history with the N-th before it (1)",
         .least = 1, .most = MOST_BACK, .optional = true},
        {"json", NULL, 2, CLI_FLAG, AT(json), .doc = "JSON, one line"},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "RESULT_A RESULT_B\n--last[=N]",
        .doc = "Say whether the difference between two results is real: B less A, of offset, "
               "runout, contact radius and pose, with its uncertainty. A result is a file of "
               "`tiptrue solve --json', or, with --history, the id of a stored run; with a history "
               "the scatter between runs is reckoned with.\v"
               "Exit status: 0, whatever the difference is; 64 wrong use, 65 bad input, 66 no "
               "input, 74 reading failed.",
        .shared = &cli_history_options,
    };
    struct cli_history_arguments arguments = {0};
    struct pair pair = {0};
    int status = EX_OSERR;

    if (cli_read(&SYNTAX, argc, argv, &arguments)) {
        status = arguments.history != NULL || arguments.last > 0
                     ? cli_history_open_for(&arguments, false, &pair.history)
                     : EX_OK;
    }
    if (status == EX_OK && arguments.last > 0) {
        status = read_last(&arguments, &pair);
    }
    for (size_t i = 0; i < arguments.n_names && status == EX_OK; i++) {
        status = read_result(&pair, arguments.names[i], arguments.json, i == 0 ? &pair.a : &pair.b);
    }
    if (status == EX_OK && pair.history != NULL && arguments.last == 0) {
        status = read_trend(&arguments, &pair);
    }
    status = status == EX_OK ? show(&arguments, &pair) : status;
    tiptrue_trend_free(pair.trend);
    tiptrue_solution_free(pair.a);
    tiptrue_solution_free(pair.b);
    tiptrue_history_close(pair.history);
    cli_history_clear(&arguments);
    return status;
}
