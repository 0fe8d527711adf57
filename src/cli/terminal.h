/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What lies behind the standard streams: whether output arrived, what a terminal can show, how far
 * a long job is. */
#ifndef TT_CLI_TERMINAL_H
#define TT_CLI_TERMINAL_H

#include <pthread.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <time.h>

#include "tiptrue.h"

/* First thing in main. A file opened later never takes the number of a closed standard stream; when
 * the program ends, output that did not arrive makes the exit status 74 and a message (none for a
 * closed pipe: its reader has had enough). */
void cli_guard_streams(void);
/* A limit on the size of files makes a write fail instead of ending the program. */
void cli_guard_signals(void);
/* Write to standard output; when that fails, the program ends at once in the same way, for nobody
 * reads what would follow. */
void cli_write(const char *text, size_t length);

/* The same, with a line feed behind it if @line_end: a result as JSON. */
void cli_write_result(const char *text, size_t length, bool line_end);
/* @text as the file @path, with a line feed at its end if @line_end: whole or not at all, written
 * beside it and then given its name. A device or pipe takes it as it is. */
enum tiptrue_status cli_write_file(const char *path, const char *text, size_t length, bool line_end,
                                   struct tiptrue_error *error);

/* The time zone TZ, by the C library. */
const struct tiptrue_zone *cli_local_zone(void);

/* Whether colour may go to @stream: see cli_text_options. */
bool cli_is_coloured(FILE *stream, bool plain);

/* Times of the time zone TZ; colour only on a terminal, when NO_COLOR is unset or empty and TERM is
 * not "dumb"; signs beyond ASCII only where the locale's characters are UTF-8. With @plain neither,
 * and no charts. */
struct tiptrue_text_options cli_text_options(bool plain);

/* Progress of a job, on standard error where that is a terminal: of several pieces each that is
 * told, and from the first second on how long it has taken. */
struct cli_progress {
    const char *what;
    size_t total, done;
    unsigned seconds;
    bool shown, printed, ended;
    struct timespec last;
    pthread_t watcher;
    pthread_mutex_t lock;
    pthread_cond_t end;
};
/* @what: of several pieces what they are ("runs"), else what is done; it lives until the end, as
 * *progress does. @total: how many pieces, up to 1 where they are not told. */
void cli_progress_begin(struct cli_progress *progress, const char *what, size_t total, bool shown);
void cli_progress_tell(struct cli_progress *progress, size_t done);
/* Take the line away, before a message. */
void cli_progress_clear(struct cli_progress *progress);
/* The same, for good: before the result. */
void cli_progress_end(struct cli_progress *progress);

#endif
