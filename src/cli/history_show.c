/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue history show: one run after the other, as it is stored or solved anew. */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/options.h"
#include "cli/terminal.h"
#include "cli/messages.h"

struct arguments {
    struct cli_history_arguments common;
    enum tiptrue_history_part part;
    bool raw; /* the part's bytes, instead of the result as text */
    bool again, replace;
};

static void take_part(struct arguments *arguments, enum tiptrue_history_part part,
                      struct argp_state *state)
{
    cli_refuse_if(state, arguments->raw, "--json, --log and --document exclude each other");
    arguments->raw = true;
    arguments->part = part;
}

static enum tiptrue_history_part document_part(const char *word, struct argp_state *state)
{
    static const char *const WORDS[] = {"plate", "machine", "plan", "pattern"};
    static const enum tiptrue_history_part PARTS[] = {TIPTRUE_HISTORY_PLATE,
                                                      TIPTRUE_HISTORY_MACHINE, TIPTRUE_HISTORY_PLAN,
                                                      TIPTRUE_HISTORY_PATTERN};
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        if (strcmp(word, WORDS[i]) == 0) {
            return PARTS[i];
        }
    }
    cli_usage(state, "--document '%s' is none; there are plate, machine, plan, pattern", word);
}

static void check(void *input, struct argp_state *state)
{
    const struct arguments *arguments = input;

    cli_refuse_if(state, arguments->replace && !arguments->again, "--replace needs --again");
    cli_refuse_if(state, arguments->again && arguments->raw,
                  "--again shows what changes; it excludes --json, --log and --document");
    cli_refuse_if(
        state, arguments->common.n_names == 0 && !arguments->again,
        "a RUN is missing: the first digits of its id, as `tiptrue history list' shows it");
}

static void take_json(void *at, const char *argument, struct argp_state *state)
{
    struct arguments *arguments = at;

    (void)argument;
    take_part(arguments, TIPTRUE_HISTORY_RESULT, state);
    arguments->common.json = true;
}

static void take_log(void *at, const char *argument, struct argp_state *state)
{
    (void)argument;
    take_part(at, TIPTRUE_HISTORY_LOG, state);
}

static void take_document(void *at, const char *argument, struct argp_state *state)
{
    take_part(at, document_part(argument, state), state);
}

/* All that showing takes. */
struct showing {
    const struct arguments *arguments;
    struct tiptrue_history *history;
    struct tiptrue_workspace *workspace; /* for --again */
    struct tiptrue_text_options look;
    size_t shown, changed, skipped; /* skipped: known only by their result */
    bool all;
};

static enum tiptrue_status show_text(struct showing *showing, const char *id, char **text,
                                     size_t *length, struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = tiptrue_history_solution(showing->history, id, &solution, error);

    if (status == TIPTRUE_OK) {
        status = tiptrue_solution_text(solution, &showing->look, text, length, error);
        tiptrue_solution_free(solution);
    }
    return status;
}

static enum tiptrue_status read(struct showing *showing, const char *id, char **text,
                                size_t *length, bool *changed, struct tiptrue_error *error)
{
    const struct arguments *arguments = showing->arguments;

    if (arguments->again) {
        return tiptrue_history_again(showing->history, showing->workspace, id, arguments->replace,
                                     cli_now_s(), &showing->look, changed, text, length, error);
    }
    if (arguments->raw) {
        return tiptrue_history_get(showing->history, id, arguments->part, text, length, error);
    }
    return show_text(showing, id, text, length, error);
}

/* A board as it was judged, or its table. */
static enum tiptrue_status show_board(struct showing *showing, const char *id,
                                      struct tiptrue_error *error)
{
    const struct arguments *arguments = showing->arguments;
    char *text = NULL;
    size_t length = 0;
    enum tiptrue_board_part part = !arguments->raw ? TIPTRUE_BOARD_SAID
                                   : arguments->part == TIPTRUE_HISTORY_RESULT
                                       ? TIPTRUE_BOARD_JSON
                                       : TIPTRUE_BOARD_TABLE;

    if (arguments->again || (arguments->raw && arguments->part != TIPTRUE_HISTORY_RESULT &&
                             arguments->part != TIPTRUE_HISTORY_LOG)) {
        *error = (struct tiptrue_error){.status = TIPTRUE_E_USAGE};
        snprintf(error->text, sizeof error->text,
                 "%s is a board: there is its table (--log) and what was said of it (--json)", id);
        return TIPTRUE_E_USAGE;
    }
    enum tiptrue_status status =
        tiptrue_history_get_board(showing->history, id, part, &text, &length, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (showing->shown++ > 0 && !arguments->raw) {
        cli_write("\n", 1);
    }
    cli_write_result(text, length, arguments->common.json);
    free(text);
    return TIPTRUE_OK;
}

/* Of all runs only those are shown that change. */
static enum tiptrue_status show(struct showing *showing, const char *id,
                                struct tiptrue_error *error)
{
    const struct arguments *arguments = showing->arguments;
    bool changed = true;
    char *text = NULL;
    size_t length = 0;
    enum tiptrue_status status = read(showing, id, &text, &length, &changed, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    showing->changed += changed;
    if (changed || !showing->all) {
        if (showing->shown++ > 0 && !arguments->raw && !arguments->again) {
            cli_write("\n", 1);
        }
        cli_write(text, length);
    }
    if (arguments->common.json) {
        cli_write("\n", 1);
    }
    free(text);
    return TIPTRUE_OK;
}

static int show_named(struct showing *showing)
{
    const struct cli_history_arguments *common = &showing->arguments->common;
    int worst = EX_OK;

    for (size_t i = 0; i < common->n_names; i++) {
        struct tiptrue_error error = {0};
        char id[TIPTRUE_RUN_ID_SIZE];
        bool board = false;
        error.status =
            tiptrue_history_find_any(showing->history, common->names[i], id, &board, &error);
        if (error.status == TIPTRUE_OK) {
            error.status = board ? show_board(showing, id, &error) : show(showing, id, &error);
        }
        worst = cli_worse(worst, cli_failed(common->json, &error));
    }
    return worst;
}

/* Every run; that some are known only by their result is said, and is no fault. */
static int show_all(struct showing *showing)
{
    struct tiptrue_error error = {0};
    char(*ids)[TIPTRUE_RUN_ID_SIZE] = NULL;
    size_t n = 0;
    int worst = EX_OK;

    error.status = tiptrue_history_ids(showing->history, NULL, &ids, &n, &error);
    if (error.status != TIPTRUE_OK) {
        return cli_failed(showing->arguments->common.json, &error);
    }
    showing->all = true;
    for (size_t i = 0; i < n; i++) {
        struct tiptrue_error own = {0};
        own.status = show(showing, ids[i], &own);
        if (own.status == TIPTRUE_E_NO_INPUT) {
            showing->skipped++;
        } else {
            worst = cli_worse(worst, cli_failed(showing->arguments->common.json, &own));
        }
    }
    free(ids);
    printf("%zu of %zu runs changed", showing->changed, n);
    printf(showing->skipped > 0
               ? "; %zu are known only by their result, and cannot be solved again\n"
               : "\n",
           showing->skipped);
    return worst;
}

#define AT(member) offsetof(struct arguments, member)
int cli_history_show(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {"json", NULL, 2, CLI_CALL, 0, .doc = "The result as JSON, one line for each run",
         .take = take_json},
        {"log", NULL, 2, CLI_CALL, 0, .doc = "The log, byte by byte as it was read",
         .take = take_log},
        {"document", "KIND", 2, CLI_CALL, 0,
         .doc =
             "What the result was worked out from, byte by byte: plate, machine, plan or pattern",
         .take = take_document},
        {"again", NULL, 3, CLI_FLAG, AT(again),
         .doc = "Solve the runs (default: all) by this version, and show what that changes"},
        {"replace", NULL, 3, CLI_FLAG, AT(replace), .doc = "With --again: store the new results"},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check,
        .options = OPTIONS,
        .args_doc = "RUN...",
        .doc = "Show stored runs, as `tiptrue solve' would, and "
               "boards. RUN is the beginning of the id of either.",
        .shared = &cli_history_options,
        .shared_at = AT(common)};
    struct arguments arguments = {0};
    struct showing showing = {.arguments = &arguments};
    struct tiptrue_error error = {0};
    int status = cli_read(&SYNTAX, argc, argv, &arguments) ? EX_OK : EX_OSERR;

    status = status == EX_OK
                 ? cli_history_open_for(&arguments.common, arguments.replace, &showing.history)
                 : status;
    if (status == EX_OK && arguments.again) {
        error.status = tiptrue_workspace_new(&showing.workspace, &error);
        status = cli_failed(arguments.common.json, &error);
    }
    if (status == EX_OK) {
        showing.look = cli_text_options(arguments.common.plain);
        showing.look.units = arguments.common.units;
        status = arguments.common.n_names > 0 ? show_named(&showing) : show_all(&showing);
    }
    tiptrue_workspace_free(showing.workspace);
    tiptrue_history_close(showing.history);
    cli_history_clear(&arguments.common);
    return status;
}
