/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Messages about input: `file:line:column: error: text`, then `  hint: text` where there is one and
 * the message before did not have the same. */
#ifndef TT_CLI_MESSAGES_H
#define TT_CLI_MESSAGES_H

#include <stdbool.h>
#include <stdio.h>

#include <argp.h>

#include "tiptrue.h"

/* What goes to standard output besides. */
enum cli_telling {
    CLI_TELL_NOTHING,
    CLI_TELL_FIRST, /* a line of JSON (tiptrue.error/1) for a file with faults, all in it */
    CLI_TELL_EACH,  /* one for each fault */
    CLI_TELL_LATER, /* nothing yet: the faults are kept for cli_messages_json */
    CLI_TELL_TEXT   /* a sentence for each file, good or not */
};

/* Messages of one file. They go to @stream at once, or, when it is NULL, are kept for
 * cli_messages_show: a worker may not write between those of another. Starts as {0} or {.stream =
 * stderr, .telling = ...}. */
struct cli_messages {
    FILE *stream;
    enum cli_telling telling;
    char *text; /* what was kept */
    size_t length;
    FILE *kept;
    size_t errors;                /* of severity error, so far */
    struct tiptrue_error *faults; /* the first of them, kept for JSON */
    size_t n_faults;
    char hint[sizeof((struct tiptrue_error *)NULL)->hint]; /* the last one that was written */
};

/* A name out of a file or a path, which may hold anything: characters that steer a terminal are
 * escaped (tiptrue_escape). */
void cli_put_escaped(FILE *to, const char *text);
/* argp_error, the text escaped: wrong use ends the program with status 64. Where the command line
 * asks for JSON, an error object goes there first. */
_Noreturn void cli_usage(const struct argp_state *state, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* The same of @text where it is @wrong. */
void cli_refuse_if(const struct argp_state *state, bool wrong, const char *text);

/* How often '-' is among the @n @files (an item NULL: not named), added to @before; a usage error
 * beyond once, for standard input can be read only once. */
size_t cli_count_stdin(const struct argp_state *state, size_t before, const char *const files[],
                       size_t n);
/* Let @history (NULL: none) tell on standard error when it waits for another process. */
void cli_wait_aloud(struct tiptrue_history *history);
/* Messages that go to standard error at once, and the first as JSON if @json is set. */
struct cli_messages cli_messages_aloud(bool json);
/* A sink that writes into @messages what is told of one file more. */
struct tiptrue_sink cli_messages_sink(struct cli_messages *messages);
/* Whether a command line asks for JSON: *to is then the file of `ready --json FILE', or NULL:
 * standard output. */
bool cli_wants_json(int argc, char *const argv[], const char **to);
/* Write a wrong use as a line of JSON into the file @to (NULL, "-": to standard output). */
void cli_print_usage_json(const char *to, const char *text);
/* Write @error, unless the sink was told errors already: @error repeats the first of them. */
void cli_messages_error(struct cli_messages *messages, const struct tiptrue_error *error);
/* Tell @error, if it is one. Returns the exit status that stands for it. */
int cli_messages_failed(struct cli_messages *messages, const struct tiptrue_error *error);
/* Tell @error, if it is one, into new messages on standard error, as JSON too if @json is set.
 * Returns the exit status that stands for it. */
int cli_failed(bool json, const struct tiptrue_error *error);
/* The faults that were kept, of which @error (NULL: the first fault) stands at the top, as a line
 * of JSON without its line feed; for free(). NULL: out of memory, or there are none. */
char *cli_messages_json(const struct cli_messages *messages, const struct tiptrue_error *error,
                        size_t *length);
/* Give back what was kept, unshown. */
void cli_messages_clear(struct cli_messages *messages);
/* Write what was kept to standard error and give its memory back. */
void cli_messages_show(struct cli_messages *messages);
/* Whether anything was kept. */
bool cli_messages_any(const struct cli_messages *messages);

#endif
