/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue history exclude, include, started, note, forget: what people know of a run. */
#include "config.h"

#include <stdio.h>
#include <stdlib.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/options.h"
#include "cli/place.h"

/* What is to be remembered of a run; its start, or a note, follows the id. */
struct saying {
    struct cli_history_arguments history;
    const char *why;
};

static int say(const struct cli_syntax *syntax, enum tiptrue_history_word word, int argc,
               char *argv[])
{
    static const size_t NAMES_WANTED[] = {[TIPTRUE_HISTORY_EXCLUDE] = 1,
                                          [TIPTRUE_HISTORY_INCLUDE] = 1,
                                          [TIPTRUE_HISTORY_STARTED] = 2,
                                          [TIPTRUE_HISTORY_NOTE] = 2};
    struct saying saying = {0};
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    char id[TIPTRUE_RUN_ID_SIZE];
    int status = cli_read(syntax, argc, argv, &saying) ? EX_OK : EX_OSERR;

    if (status == EX_OK && (saying.history.n_names != NAMES_WANTED[word] ||
                            (word == TIPTRUE_HISTORY_EXCLUDE && saying.why == NULL))) {
        fprintf(stderr, "%s: %s\n", argv[0],
                word == TIPTRUE_HISTORY_EXCLUDE   ? "name one run, and say --why"
                : word == TIPTRUE_HISTORY_INCLUDE ? "name one run"
                : word == TIPTRUE_HISTORY_STARTED ? "name one run and its start"
                                                  : "name one run and the note");
        status = EX_USAGE;
    }
    status = status == EX_OK ? cli_history_open_for(&saying.history, true, &history) : status;
    if (status == EX_OK) {
        error.status = tiptrue_history_find(history, saying.history.names[0], id, &error);
        if (error.status == TIPTRUE_OK) {
            const char *text = NAMES_WANTED[word] == 2 ? saying.history.names[1] : saying.why;
            error.status = tiptrue_history_say(history, id, word, text, cli_now_s(), &error);
        }
        status = cli_failed(false, &error);
    }
    tiptrue_history_close(history);
    cli_history_clear(&saying.history);
    return status;
}

#define AT(member) offsetof(struct saying, member)
int cli_history_exclude(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {"why", "TEXT", 1, CLI_TEXT, AT(why), .doc = "The reason; it is shown with the trend"},
        {0}};
    static const struct cli_syntax SYNTAX = {
        .options = OPTIONS,
        .args_doc = "RUN",
        .doc = "Keep a run out of trends and of the scatter between runs. Its result stays.",
        .shared = &cli_history_options,
        .shared_at = AT(history)};
    return say(&SYNTAX, TIPTRUE_HISTORY_EXCLUDE, argc, argv);
}

int cli_history_include(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .args_doc = "RUN",
        .doc = "Take a run into trends again, whatever its clock says.",
        .shared = &cli_history_options,
        .shared_at = AT(history)};
    return say(&SYNTAX, TIPTRUE_HISTORY_INCLUDE, argc, argv);
}

int cli_history_started(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .args_doc = "RUN TIME",
        .doc = "Give a run the start that it should have had (RFC 3339). The log stays as it is.",
        .shared = &cli_history_options,
        .shared_at = AT(history)};
    return say(&SYNTAX, TIPTRUE_HISTORY_STARTED, argc, argv);
}

int cli_history_note(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {.args_doc = "RUN TEXT",
                                             .doc = "Keep a note with a run.",
                                             .shared = &cli_history_options,
                                             .shared_at = AT(history)};
    return say(&SYNTAX, TIPTRUE_HISTORY_NOTE, argc, argv);
}

int cli_history_forget(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .args_doc = "RUN",
        .doc = "Take a run out of the history, with its log, results, exports and notes, or a "
               "board. Nothing "
               "of it is left. To keep it and leave it out of trends, `tiptrue history exclude'.",
        .shared = &cli_history_options,
        .shared_at = AT(history)};
    struct saying saying = {0};
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    char id[TIPTRUE_RUN_ID_SIZE];
    int status = cli_read(&SYNTAX, argc, argv, &saying) ? EX_OK : EX_OSERR;

    if (status == EX_OK && saying.history.n_names != 1) {
        fprintf(stderr, "%s: name one run\n", argv[0]);
        status = EX_USAGE;
    }
    status = status == EX_OK ? cli_history_open_for(&saying.history, true, &history) : status;
    if (status == EX_OK) {
        bool board = false;
        error.status =
            tiptrue_history_find_any(history, saying.history.names[0], id, &board, &error);
        if (error.status == TIPTRUE_OK) {
            error.status = tiptrue_history_forget(history, id, &error);
        }
        if (error.status == TIPTRUE_OK) {
            printf(board ? "board %s is forgotten: its table and what was said of it are gone\n"
                         : "run %s is forgotten: its log, results, exports and notes are gone\n",
                   id);
        }
        status = cli_failed(false, &error);
    }
    tiptrue_history_close(history);
    free(saying.history.names);
    return status;
}
