/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The commands of the program: one file each, one row of the table in main.c each. */
#ifndef TT_CLI_COMMAND_H
#define TT_CLI_COMMAND_H

#include <stddef.h>

#include "tiptrue.h"

/* Exit statuses that are not errors; those of errors are the table in main.c. */
enum { CLI_EXIT_KEEP = 0, CLI_EXIT_UPDATE = 10, CLI_EXIT_REPEAT = 20 };

/* The exit status that stands for @status: one of the BSD sysexits numbers, 0 for TIPTRUE_OK. */
int cli_exit_status(enum tiptrue_status status);
/* The worse one of two exit statuses: errors (64 and up) beat verdicts, and the larger number wins.
 */
int cli_worse(int status, int other);

/* The page of @report as the file @path; - is standard output. */
enum tiptrue_status cli_report_write(const struct tiptrue_report *report, const char *path,
                                     struct tiptrue_error *error);

/* argv[0] of the command whose --json names a file. */
#define CLI_READY "tiptrue ready"

/* Each takes its own part of the command line, with "tiptrue COMMAND" as argv[0], and returns the
 * exit status. */
int cli_ready(int argc, char *argv[]);
int cli_solve(int argc, char *argv[]);
int cli_check(int argc, char *argv[]);
int cli_export(int argc, char *argv[]);
int cli_plan(int argc, char *argv[]);
int cli_simulate(int argc, char *argv[]);
int cli_compare(int argc, char *argv[]);
int cli_trend(int argc, char *argv[]);
int cli_history(int argc, char *argv[]);
int cli_placement(int argc, char *argv[]);
int cli_report(int argc, char *argv[]);
int cli_new(int argc, char *argv[]);

/* What the shells are told of a command. */
struct cli_completed {
    const char *name, *purpose;
    int (*run)(int argc, char *argv[]); /* NULL: it has no options of its own */
};
/* Write the completions for the shell that the command line names: of @n @commands, their options
 * out of their own tables. */
int cli_completion(int argc, char *argv[], const struct cli_completed commands[], size_t n);

#endif
