/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See place.h. */
#include "config.h"

#include "cli/history.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

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

enum tiptrue_status cli_history_place(const char *named, bool make, char **path,
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

double cli_now_s(void)
{
    return (double)time(NULL);
}
