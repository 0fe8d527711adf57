/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue placement: boards in, what their parts say of the calibration out, in the order of the
 * command line. */
#include "config.h"

#include <argp.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>
#include <unistd.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/inputs.h"
#include "cli/options.h"
#include "cli/terminal.h"

struct arguments {
    const char *machine, *result, *present, *plate, *learn, *history, *report, *since;
    const char **boards; /* for free() */
    size_t n_boards;
    bool json, plain, quiet, record;
    enum tiptrue_units units; /* TIPTRUE_UNITS_DEFAULT: the machine file's */
};

/* What all boards are judged with. */
struct judging {
    const struct arguments *arguments;
    struct tiptrue_machine *machine;
    struct tiptrue_solution *run;    /* NULL: none was named */
    struct tiptrue_placement *since; /* an earlier board; NULL: none was named */
    struct tiptrue_plate *plate;     /* that learns; NULL: none does */
    struct tiptrue_history *history; /* NULL: boards are not entered */
    struct tiptrue_report *report;   /* NULL: no page was asked for */
    size_t n_judged;
    struct tiptrue_text_options look;
};

static void check_arguments(void *input, struct argp_state *state)
{
    struct arguments *arguments = input;
    cli_refuse_if(state, arguments->machine == NULL,
                  "--machine is missing: name the file of the machine");
    cli_refuse_if(state, arguments->n_boards == 0,
                  "a FILE is missing: name the table of the parts, or - for standard input");
    if (arguments->result == NULL && (arguments->present != NULL || arguments->learn != NULL)) {
        cli_usage(state, "--present and --learn are about a run: name it by --result");
    }
    cli_refuse_if(state, (arguments->learn == NULL) != (arguments->plate == NULL),
                  "--learn writes what --plate then is: they need each other");
    cli_refuse_if(state, arguments->learn != NULL && arguments->n_boards > 1,
                  "--learn takes one board at a time");
    cli_refuse_if(state, arguments->report != NULL && strcmp(arguments->report, "-") == 0,
                  "--report needs a file: standard output has the words");
    size_t stdins = cli_count_stdin(state, 0, &arguments->machine, 1);
    stdins = cli_count_stdin(state, stdins, &arguments->since, arguments->since != NULL);
    (void)cli_count_stdin(state, stdins, arguments->boards, arguments->n_boards);
}

/* The plate file that --learn asks for; the exit status. */
static int learn(const struct judging *judging, const struct tiptrue_placement *placement,
                 struct cli_messages *messages)
{
    const char *path = judging->arguments->learn;
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0;
    if (judging->plate == NULL) {
        return EX_OK;
    }
    if (access(path, F_OK) == 0) {
        fputs("tiptrue placement: error: ", stderr);
        cli_put_escaped(stderr, path);
        fputs(" is there already, and stays as it is: name another file, or take that one away\n",
              stderr);
        return EX_IOERR;
    }
    error.status = tiptrue_placement_learn(placement, judging->plate, &text, &length, &error);
    if (error.status == TIPTRUE_OK) {
        error.status = cli_write_file(path, text, length, false, &error);
    }
    if (error.status != TIPTRUE_OK) {
        cli_messages_error(messages, &error);
    }
    free(text);
    return cli_exit_status(error.status);
}

/* One board read, judged and shown; the exit status. */
static int judge(struct judging *judging, const char *path)
{
    static const int EXITS[] = {[TIPTRUE_KEEP] = CLI_EXIT_KEEP,
                                [TIPTRUE_UPDATE] = CLI_EXIT_UPDATE,
                                [TIPTRUE_REPEAT] = CLI_EXIT_REPEAT,
                                [TIPTRUE_NOT_MEASURED] = CLI_EXIT_REPEAT};
    struct cli_messages messages = cli_messages_aloud(judging->arguments->json);
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_error error = {0};
    struct tiptrue_board *board = NULL;
    struct tiptrue_placement *placement = NULL;
    char *text = NULL;
    size_t length = 0;
    int status;

    error.status = tiptrue_board_read(path, judging->machine, &sink, &board, &error);
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_place(board, judging->machine, judging->run, &placement, &error);
    }
    if (error.status == TIPTRUE_OK && judging->history != NULL) { /* on disk before it is shown */
        error.status = tiptrue_history_add_board(judging->history, board, placement, cli_now_s(),
                                                 &sink, &error);
    }
    if (error.status == TIPTRUE_OK && judging->since != NULL) {
        error.status = tiptrue_placement_since(placement, judging->since, &error);
    }
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_placement_text(placement, judging->arguments->json, &judging->look,
                                              &text, &length, &error);
    }
    if (error.status == TIPTRUE_OK && judging->report != NULL) {
        error.status = tiptrue_report_add_board(judging->report, placement, &error);
    }
    status = cli_file_read(&messages, path, "board", &error);
    if (status == EX_OK) {
        judging->n_judged++;
        cli_write_result(text, length, judging->arguments->json);
        status = cli_worse(EXITS[tiptrue_placement_verdict(placement)],
                           learn(judging, placement, &messages));
    }
    free(text);
    tiptrue_placement_free(placement);
    tiptrue_board_free(board);
    return status;
}

/* The board that --since names, judged; the exit status. */
static int read_since(struct judging *judging)
{
    const char *path = judging->arguments->since;
    struct cli_messages messages = {
        .stream = stderr, .telling = judging->arguments->json ? CLI_TELL_FIRST : CLI_TELL_NOTHING};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_board *board = NULL;
    struct tiptrue_error error = {0};

    if (path == NULL) {
        return EX_OK;
    }
    error.status = tiptrue_board_read(path, judging->machine, &sink, &board, &error);
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_place(board, judging->machine, NULL, &judging->since, &error);
    }
    tiptrue_board_free(board);
    return cli_file_read(&messages, path, "board", &error);
}

static int read_inputs(struct judging *judging)
{
    const struct arguments *arguments = judging->arguments;
    enum cli_telling telling = arguments->json ? CLI_TELL_FIRST : CLI_TELL_NOTHING;
    struct cli_messages messages = {.stream = stderr, .telling = telling};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_error error = {0};
    int status;

    error.status = tiptrue_machine_read(arguments->machine, &sink, &judging->machine, &error);
    status = cli_file_read(&messages, arguments->machine, "machine", &error);
    if (status == EX_OK && arguments->result != NULL) {
        error.status = cli_present_read(arguments->present, judging->machine, &error);
        status = cli_exit_status(error.status);
        if (status != EX_OK) {
            cli_messages_error(&messages, &error);
        }
    }
    if (status == EX_OK && arguments->result != NULL) {
        error.status = tiptrue_solution_read(arguments->result, &sink, &judging->run, &error);
        status = cli_file_read(&messages, arguments->result, "result", &error);
    }
    if (status == EX_OK && arguments->plate != NULL) {
        error.status = tiptrue_plate_read(arguments->plate, &sink, &judging->plate, &error);
        status = cli_file_read(&messages, arguments->plate, "plate", &error);
    }
    if (status == EX_OK && (arguments->history != NULL || arguments->record)) {
        status = cli_history_open(arguments->history, judging->machine, true, &messages,
                                  &judging->history);
    }
    return status;
}

/* The units of all that is shown, and an empty page if one is wanted; the exit status. */
static int begin(struct judging *judging)
{
    const struct cli_inputs inputs = {.units = judging->arguments->units};
    const struct cli_objects objects = {.machine = judging->machine};
    struct tiptrue_error error = {0};

    judging->look.units = cli_shown_units(&inputs, &objects);
    if (judging->arguments->report != NULL) {
        error.status = tiptrue_report_new(cli_local_zone(), &judging->report, &error);
    }
    if (judging->report != NULL) {
        tiptrue_report_units(judging->report, judging->look.units);
    }
    return cli_failed(judging->arguments->json, &error);
}

/* The page of all boards that were judged. */
static int write_report(const struct judging *judging)
{
    struct tiptrue_error error = {0};

    if (judging->report != NULL && judging->n_judged > 0) {
        error.status = cli_report_write(judging->report, judging->arguments->report, &error);
    }
    return cli_failed(judging->arguments->json, &error);
}

#define AT(member) offsetof(struct arguments, member)
static const struct cli_option OPTIONS[] = {
    {"machine", "FILE", 1, CLI_TEXT, AT(machine),
     .doc = "The machine: tips, sense of rotation, limits"},
    {"result", "FILE", 1, CLI_TEXT, AT(result),
     .doc = "A result of touches (solve --json): test it against the board, and join the two"},
    {"present", "WORD", 1, CLI_TEXT, AT(present),
     .doc = "The offsets that the board was placed with: as for solve, or none for those of "
            "--result"},
    {"plate", "FILE", 1, CLI_TEXT, AT(plate), .doc = "The plate of that result, for --learn"},
    {"learn", "FILE", 1, CLI_TEXT, AT(learn),
     .doc = "Write that plate as FILE, its groups at the better place that the board shows"},
    {"since", "FILE", 1, CLI_TEXT, AT(since),
     .doc = "An earlier board: say too what changed since then, for each tip"},
    {"history", "FILE", 2, CLI_TEXT, AT(history),
     .doc = "Enter each board into this history, before what it says is shown"},
    {"record", NULL, 2, CLI_FLAG, AT(record),
     .doc = "The same with the machine's own history, or that at the default place"},
    {"report", "FILE", 2, CLI_TEXT, AT(report),
     .doc = "A page with pictures (HTML) too, of all boards"},
    {"json", NULL, 2, CLI_FLAG, AT(json), .doc = "JSON, one line for each board"},
    {"plain", NULL, 2, CLI_FLAG, AT(plain), .doc = "Plain ASCII: no colour or symbols"},
    CLI_QUIET_OPTION(2, struct arguments, quiet),
    CLI_UNITS_OPTION(2, struct arguments, units),
    {NULL, "FILE", 0, CLI_LIST, AT(boards), .n = AT(n_boards)},
    {0},
};

int cli_placement(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "FILE...",
        .doc = "Say which calibration the parts of a board show to be off, and by how much, from "
               "where they were wanted and where they were found.\v"
               "Exit status: 0 keep, 10 update, 20 repeat, the worst of all boards; 64 wrong use, "
               "65 bad input, or nothing to be learned from the board, 66 no input, 74 reading or "
               "writing failed, or the file of --learn is there already, 78 a place in a "
               "configuration.",
    };
    struct arguments arguments = {0};
    struct judging judging = {.arguments = &arguments};
    int worst = EX_OSERR;

    if (cli_read(&SYNTAX, argc, argv, &arguments)) {
        judging.look = cli_text_options(arguments.plain);
        worst = read_inputs(&judging);
        worst = worst == EX_OK ? begin(&judging) : worst;
        worst = worst == EX_OK ? read_since(&judging) : worst;
        for (size_t i = 0; i < arguments.n_boards && worst < EX__BASE; i++) {
            worst = cli_worse(worst, judge(&judging, arguments.boards[i]));
        }
        worst = cli_worse(worst, write_report(&judging));
    }
    tiptrue_report_free(judging.report);
    tiptrue_history_close(judging.history);
    tiptrue_placement_free(judging.since);
    tiptrue_plate_free(judging.plate);
    tiptrue_solution_free(judging.run);
    tiptrue_machine_free(judging.machine);
    free(arguments.boards);
    return worst;
}
