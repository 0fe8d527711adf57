/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where files are that the command line does not name, the same for every command: beside the run,
 * in the current folder, where TIPTRUE_MACHINE points, in the user's configuration folder; and what
 * the machine file names. */
#ifndef TT_CLI_FIND_H
#define TT_CLI_FIND_H

#include <stdbool.h>

#include "tiptrue.h"

#define CLI_MACHINE_FILE "machine.json"
#define CLI_PLATE_FILE "plate.json"

/* How a file was found. */
enum cli_way {
    CLI_NOT_FOUND,
    CLI_NAMED, /* by the command line */
    CLI_BY_MACHINE_FILE,
    CLI_BESIDE_RUN,
    CLI_CURRENT_FOLDER,
    CLI_BY_VARIABLE, /* TIPTRUE_MACHINE */
    CLI_CONFIGURED   /* in the user's configuration folder */
};

struct cli_found {
    char *path; /* for free(); NULL: not found */
    enum cli_way way;
};

/* The machine file: @named (a file, or a name in the configuration folder; NULL: not named), else
 * where files are looked for; @run (NULL: none) is the log. False: out of memory, told. */
bool cli_find_machine(const char *named, const char *run, struct cli_found *found);

/* plate.json beside @run or in the current folder. False: out of memory, told. */
bool cli_find_plate(const char *run, struct cli_found *found);

/* Whether @path is a plain file that is there. */
bool cli_is_regular(const char *path);

/* "beside the run", "named", ... */
const char *cli_way_words(enum cli_way way);

#endif
