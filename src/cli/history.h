/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the actions of `tiptrue history' share. */
#ifndef TT_CLI_HISTORY_H
#define TT_CLI_HISTORY_H

#include <stdbool.h>
#include <stddef.h>

#include "cli/messages.h"
#include "tiptrue.h"

struct cli_history_arguments {
    const char *history; /* NULL = the default place */
    bool plain, json, csv, quiet;
    enum tiptrue_units units; /* TIPTRUE_UNITS_DEFAULT: the machine file's, else mm */
    struct tiptrue_history_query query;
    size_t last;        /* of compare --last; 0 = not asked for */
    const char **names; /* for free() */
    size_t n_names;
    char *machine; /* its name, read from a machine file; for free() */
};

/* --history, --plain, --units and the arguments, into a struct cli_history_arguments. */
extern const struct cli_shared cli_history_options;

/* Open the history @named, else the one that @machine (NULL: none) names, else the default one.
 * Returns the exit status; a failure is told into @messages. */
int cli_history_open(const char *named, const struct tiptrue_machine *machine, bool write,
                     struct cli_messages *messages, struct tiptrue_history **history);
/* The same for a command that reads no machine file otherwise: arguments->query.machine may be one,
 * and is its name afterwards; without it, and without --history, the machine file that is found
 * says where its history is, and which machine is meant. */
int cli_history_open_for(struct cli_history_arguments *arguments, bool write,
                         struct tiptrue_history **history);
/* What cli_read and cli_history_open_for made. */
void cli_history_clear(struct cli_history_arguments *arguments);

int cli_history_show(int argc, char *argv[]);
int cli_history_import(int argc, char *argv[]);
int cli_history_say(int argc, char *argv[]);

/* Seconds since 1970-01-01T00:00:00Z. */
double cli_now_s(void);

#endif
