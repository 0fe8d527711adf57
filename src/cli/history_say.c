/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue history exclude, include, started, note, forget: what people know of a run. */
#include "config.h"

#include <stdio.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/options.h"

/* What is to be remembered of a run; its start, or a note, follows the id. */
struct saying {
    struct cli_history_arguments history;
    const char *why;
};

#define AT(member) offsetof(struct saying, member)
static const struct cli_option WHY[] = {
    {"why", "TEXT", 1, CLI_TEXT, AT(why), .doc = "The reason; it is shown with the trend"}, {0}};
#define SHARED .shared = &cli_history_options, .shared_at = AT(history)

/* Behind the words of tiptrue.h: a run or a board is taken out. */
#define FORGET (TIPTRUE_HISTORY_NOTE + 1)

/* What can be said, by its word: under which name, with how many arguments. */
static const struct {
    const char *name, *missing;
    size_t n_names;
    struct cli_syntax syntax;
} DEEDS[] = {
    [TIPTRUE_HISTORY_EXCLUDE] =
        {"exclude",
         "name one run, and say --why",
         1,
         {.options = WHY,
          .args_doc = "RUN",
          .doc = "Keep a run out of trends and of the scatter between runs. Its result stays.",
          SHARED}},
    [TIPTRUE_HISTORY_INCLUDE] = {"include",
                                 "name one run",
                                 1,
                                 {.args_doc = "RUN",
                                  .doc = "Take a run into trends again, whatever its clock says.",
                                  SHARED}},
    [TIPTRUE_HISTORY_STARTED] =
        {"started",
         "name one run and its start",
         2,
         {.args_doc = "RUN TIME",
          .doc = "Give a run the start that it should have had (RFC 3339). The log stays as it is.",
          SHARED}},
    [TIPTRUE_HISTORY_NOTE] = {"note",
                              "name one run and the note",
                              2,
                              {.args_doc = "RUN TEXT", .doc = "Keep a note with a run.", SHARED}},
    [FORGET] = {"forget",
                "name one run",
                1,
                {.args_doc = "RUN",
                 .doc = "Take a run out of the history, with its log, results, exports and notes, "
                        "or a board. Nothing of it is left. To keep it and leave it out of trends, "
                        "`tiptrue history exclude'.",
                 SHARED}}};

static enum tiptrue_status forget(struct tiptrue_history *history, const char *name,
                                  struct tiptrue_error *error)
{
    char id[TIPTRUE_RUN_ID_SIZE];
    bool board = false;
    enum tiptrue_status status = tiptrue_history_find_any(history, name, id, &board, error);

    if (status == TIPTRUE_OK) {
        status = tiptrue_history_forget(history, id, error);
    }
    if (status == TIPTRUE_OK) {
        printf(board ? "board %s is forgotten: its table and what was said of it are gone\n"
                     : "run %s is forgotten: its log, results, exports and notes are gone\n",
               id);
    }
    return status;
}

static enum tiptrue_status say(struct tiptrue_history *history, size_t word,
                               const struct saying *saying, struct tiptrue_error *error)
{
    const char *const *names = saying->history.names;
    const char *text = DEEDS[word].n_names == 2 ? names[1] : saying->why;
    char id[TIPTRUE_RUN_ID_SIZE];
    enum tiptrue_status status = tiptrue_history_find(history, names[0], id, error);

    return status == TIPTRUE_OK ? tiptrue_history_say(history, id, (enum tiptrue_history_word)word,
                                                      text, cli_now_s(), error)
                                : status;
}

int cli_history_say(int argc, char *argv[])
{
    const char *name = strrchr(argv[0], ' ') + 1;
    struct saying saying = {0};
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    size_t word = 0;

    while (strcmp(DEEDS[word].name, name) != 0) {
        word++;
    }
    int status = cli_read(&DEEDS[word].syntax, argc, argv, &saying) ? EX_OK : EX_OSERR;
    if (status == EX_OK && (saying.history.n_names != DEEDS[word].n_names ||
                            (word == TIPTRUE_HISTORY_EXCLUDE && saying.why == NULL))) {
        fprintf(stderr, "%s: %s\n", argv[0], DEEDS[word].missing);
        status = EX_USAGE;
    }
    status = status == EX_OK ? cli_history_open_for(&saying.history, true, &history) : status;
    if (status == EX_OK) {
        error.status = word == FORGET ? forget(history, saying.history.names[0], &error)
                                      : say(history, word, &saying, &error);
        status = cli_failed(false, &error);
    }
    tiptrue_history_close(history);
    cli_history_clear(&saying.history);
    return status;
}
