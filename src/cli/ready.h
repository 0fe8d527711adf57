/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the files of `tiptrue ready' share. */
#ifndef TT_CLI_READY_H
#define TT_CLI_READY_H

#include <stdbool.h>

#include "cli/inputs.h"
#include "tiptrue.h"

struct cli_ready_arguments {
    struct cli_inputs inputs;
    struct tiptrue_ready_options options;
    const char **tips; /* for free() */
    const char *history, *present, *json, *report;
    bool write, dry_run, undo;
};

/* All that is open while a run is judged. */
struct cli_ready_job {
    struct cli_ready_arguments *arguments;
    struct cli_objects objects;
    struct tiptrue_history *history;
    struct tiptrue_workspace *workspace;
    struct tiptrue_run *run;
    struct tiptrue_ready *ready;
    char *log, *machine_path; /* found; for free() */
    enum cli_way machine_way;
    struct cli_messages *messages; /* all faults, for the answer as JSON */
};

/* The files that were found, in one line on standard error. */
void cli_ready_say_files(const struct cli_ready_job *job);
/* The answer as JSON, the page of the run, the page in the folder of reports, as far as they are
 * asked for. Returns the exit status. */
int cli_ready_write_files(const struct cli_ready_job *job);
/* In place of the answer as JSON, if that is asked for: what was wrong, @error (NULL: the first of
 * the job's faults). */
void cli_ready_write_failure(const struct cli_ready_job *job, const struct tiptrue_error *error);
/* Tell @error, if it is one, among the job's messages. Returns the exit status. */
int cli_ready_failed(const struct cli_ready_job *job, const struct tiptrue_error *error);

#endif
