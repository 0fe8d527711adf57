/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What lies behind the standard streams: whether output arrived, what a terminal can show, how far
 * a long job is. */
#ifndef TT_CLI_TERMINAL_H
#define TT_CLI_TERMINAL_H

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

/* Whether colour may go to @stream: see cli_text_options. */
bool cli_is_coloured(FILE *stream, bool plain);

/* Colour only on a terminal, when NO_COLOR is unset or empty and TERM is not "dumb"; signs beyond
 * ASCII only where the locale's characters are UTF-8. With @plain neither, and no charts. */
struct tiptrue_text_options cli_text_options(bool plain);

/* Progress of a job of many pieces, on standard error when that is a terminal and results go
 * elsewhere. */
struct cli_progress {
    bool shown;
    size_t total;
    struct timespec last;
};
void cli_progress_begin(struct cli_progress *progress, size_t total);
void cli_progress_tell(struct cli_progress *progress, size_t done);
/* Take the line away, before a message or at the end. */
void cli_progress_clear(const struct cli_progress *progress);

#endif
