/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See place.h. */
#include "config.h"

#include "cli/place.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sysexits.h>
#include <time.h>

#include "cli/messages.h"

#define FOLDER_MODE 0700

/* All folders above the last part of @path, which is given back as it was. */
static int make_folders(char *path)
{
    for (char *at = strchr(path + 1, '/'); at != NULL; at = strchr(at + 1, '/')) {
        *at = '\0';
        if (mkdir(path, FOLDER_MODE) != 0 && errno != EEXIST) {
            int number = errno;
            cli_put_escaped(stderr, path);
            fprintf(stderr, ": error: the folder of the history cannot be made: %s\n",
                    strerror(number));
            return EX_IOERR;
        }
        *at = '/';
    }
    return EX_OK;
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

int cli_history_place(const char *named, bool make, char **path)
{
    const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
    int status = EX_OK;

    if (named != NULL) {
        *path = strdup(named);
    } else if (data != NULL && data[0] == '/') {
        *path = join(data, "/tiptrue/history.db");
    } else if (home != NULL && home[0] == '/') {
        *path = join(home, "/.local/share/tiptrue/history.db");
    } else {
        fputs("tiptrue: error: neither XDG_DATA_HOME nor HOME says where the history is\n  hint: "
              "name the file by --history\n",
              stderr);
        return EX_USAGE;
    }
    if (*path == NULL) {
        fputs("tiptrue: error: out of memory\n", stderr);
        return EX_OSERR;
    }
    if (named == NULL && make) {
        status = make_folders(*path);
    }
    if (status != EX_OK) {
        free(*path);
        *path = NULL;
    }
    return status;
}

double cli_now_s(void)
{
    return (double)time(NULL);
}
