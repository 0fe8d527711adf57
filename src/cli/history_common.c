/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the actions of tiptrue history, trend and compare share: their options, and the history and
 * the machine they are about. */
#include "config.h"

#include "cli/history.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sysexits.h>
#include <time.h>

#include "cli/command.h"
#include "cli/find.h"
#include "cli/messages.h"
#include "cli/options.h"

#define AT(member) offsetof(struct cli_history_arguments, member)
static const struct cli_option OPTIONS[] = {
    {"history", "FILE", 1, CLI_TEXT, AT(history),
     .doc = "The history (default: tiptrue/history.db in the user's data folder)"},
    {"plain", NULL, 2, CLI_FLAG, AT(plain), .doc = "Plain ASCII: no colour or symbols"},
    CLI_QUIET_OPTION(2, struct cli_history_arguments, quiet),
    CLI_UNITS_OPTION(2, struct cli_history_arguments, units),
    {NULL, "argument", 0, CLI_LIST, AT(names), .n = AT(n_names)},
    {0},
};
const struct cli_shared cli_history_options = {OPTIONS, NULL};

#define FOLDER_MODE 0700

/* All folders above the last part of @path, which is given back as it was. */
static enum tiptrue_status make_folders(char *path, struct tiptrue_error *error)
{
    for (char *at = strchr(path + 1, '/'); at != NULL; at = strchr(at + 1, '/')) {
        *at = '\0';
        if (mkdir(path, FOLDER_MODE) != 0 && errno != EEXIST) {
            snprintf(error->text, sizeof error->text,
                     "the folder of the history cannot be made: %s", strerror(errno));
            snprintf(error->file, sizeof error->file, "%s", path);
            return error->status = TIPTRUE_E_IO;
        }
        *at = '/';
    }
    return TIPTRUE_OK;
}

static char *join(const char *folder, const char *rest)
{
    size_t size = strlen(folder) + strlen(rest) + 1;
    char *path = malloc(size);

    if (path != NULL) {
        snprintf(path, size, "%s%s", folder, rest);
    }
    return path;
}

/* The path of the history into *path, for free(): @named, or, where that is NULL,
 * tiptrue/history.db below $XDG_DATA_HOME (only if it is absolute, as the XDG Base Directory
 * Specification wants it), else below ~/.local/share. @make: the folders of the latter are made
 * where they are missing, for their owner only. TIPTRUE_E_USAGE: nothing says where it is. */
static enum tiptrue_status find_place(const char *named, bool make, char **path,
                                      struct tiptrue_error *error)
{
    const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
    enum tiptrue_status status = TIPTRUE_OK;

    if (named != NULL) {
        *path = strdup(named);
    } else if (data != NULL && data[0] == '/') {
        *path = join(data, "/tiptrue/history.db");
    } else if (home != NULL && home[0] == '/') {
        *path = join(home, "/.local/share/tiptrue/history.db");
    } else {
        snprintf(error->text, sizeof error->text,
                 "neither XDG_DATA_HOME nor HOME says where the history is");
        snprintf(error->hint, sizeof error->hint, "name the file by --history");
        return error->status = TIPTRUE_E_USAGE;
    }
    if (*path == NULL) {
        snprintf(error->text, sizeof error->text, "out of memory");
        return error->status = TIPTRUE_E_MEMORY;
    }
    if (named == NULL && make) {
        status = make_folders(*path, error);
    }
    if (status != TIPTRUE_OK) {
        free(*path);
        *path = NULL;
    }
    return status;
}

int cli_history_open(const char *named, const struct tiptrue_machine *machine, bool write,
                     struct cli_messages *messages, struct tiptrue_history **history)
{
    struct tiptrue_error error = {0};
    char *path = NULL;

    if (named == NULL && machine != NULL) {
        error.status = tiptrue_machine_path(machine, TIPTRUE_MACHINE_HISTORY, &path, &error);
    }
    if (error.status == TIPTRUE_OK && path == NULL) {
        error.status = find_place(named, write, &path, &error);
    }
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_history_open(
            path, write ? TIPTRUE_HISTORY_WRITE : TIPTRUE_HISTORY_READ, history, &error);
        cli_wait_aloud(error.status == TIPTRUE_OK ? *history : NULL);
    }
    free(path);
    return cli_messages_failed(messages, &error);
}

/* The machine file that is meant, in *machine; NULL: there is none. Only of one that was named the
 * faults are told. */
static int read_machine(const char *named, bool json, struct tiptrue_machine **machine)
{
    struct cli_messages messages = cli_messages_aloud(json);
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_error error = {0};
    struct cli_found found = {0};
    bool told = named != NULL && cli_is_regular(named);

    if (!cli_find_machine(named, NULL, &found)) {
        return EX_OSERR;
    }
    if (found.path != NULL && (told || found.way != CLI_NAMED || strcmp(found.path, named) != 0)) {
        error.status =
            tiptrue_machine_read(found.path, told ? &sink : NULL, machine, told ? &error : NULL);
    }
    if (told && error.status != TIPTRUE_OK) {
        cli_messages_error(&messages, &error);
    }
    free(found.path);
    return told ? cli_exit_status(error.status) : EX_OK;
}

/* The machine file that the command is about, in *machine; NULL: none is near or named. Of a name
 * in the history it is the one that is near, if it is that machine's. */
static int find_machine(const struct cli_history_arguments *arguments,
                        struct tiptrue_machine **machine)
{
    const char *named = arguments->query.machine;
    bool near = arguments->history == NULL;
    int status = near || (named != NULL && cli_is_regular(named))
                     ? read_machine(named, arguments->json, machine)
                     : EX_OK;

    if (status == EX_OK && *machine == NULL && named != NULL && near) {
        status = read_machine(NULL, arguments->json, machine);
        if (*machine != NULL && strcmp(tiptrue_machine_name(*machine), named) != 0) {
            tiptrue_machine_free(*machine);
            *machine = NULL;
        }
    }
    return status;
}

/* What @machine says, where the command line does not: the history into *path; which machine. */
static int take_machine(struct cli_history_arguments *arguments,
                        const struct tiptrue_machine *machine, char **path)
{
    const char *named = arguments->query.machine;
    struct tiptrue_error error = {0};

    if (arguments->history == NULL) {
        error.status = tiptrue_machine_path(machine, TIPTRUE_MACHINE_HISTORY, path, &error);
    }
    if (error.status == TIPTRUE_OK &&
        (named != NULL ? cli_is_regular(named) : *path != NULL)) { /* names may have a slash here */
        arguments->machine = strdup(tiptrue_machine_name(machine));
        arguments->query.machine = arguments->machine;
        error.status = arguments->machine != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
    }
    named = arguments->query.machine;
    if (arguments->units == TIPTRUE_UNITS_DEFAULT && named != NULL &&
        strcmp(named, tiptrue_machine_name(machine)) == 0) {
        arguments->units = tiptrue_machine_units(machine);
    }
    return cli_failed(arguments->json, &error);
}

int cli_history_open_for(struct cli_history_arguments *arguments, bool write,
                         struct tiptrue_history **history)
{
    struct tiptrue_machine *machine = NULL;
    char *path = NULL;
    int status = find_machine(arguments, &machine);

    if (status == EX_OK && machine != NULL) {
        status = take_machine(arguments, machine, &path);
    }
    if (status == EX_OK) {
        struct cli_messages messages = cli_messages_aloud(arguments->json);
        status = cli_history_open(path != NULL ? path : arguments->history, NULL, write, &messages,
                                  history);
    }
    free(path);
    tiptrue_machine_free(machine);
    return status;
}

void cli_history_clear(struct cli_history_arguments *arguments)
{
    free(arguments->names);
    free(arguments->machine);
}

double cli_now_s(void)
{
    return (double)time(NULL);
}
