/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See find.h. The order is documented in docs/formats.md. */
#include "config.h"

#include "cli/find.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define VARIABLE "TIPTRUE_MACHINE"

bool cli_is_regular(const char *path)
{
    struct stat about;

    return stat(path, &about) == 0 && S_ISREG(about.st_mode);
}

/* Whether @word, given as a machine, is a file: it has a slash, or it exists. */
static bool is_file(const char *word)
{
    struct stat about;

    return strchr(word, '/') != NULL || strcmp(word, "-") == 0 ||
           (stat(word, &about) == 0 && !S_ISDIR(about.st_mode));
}

static bool no_memory(void)
{
    fputs("tiptrue: error: out of memory\n", stderr);
    return false;
}

/* The pieces up to NULL, one behind the other, into found->path. */
static bool set(struct cli_found *found, enum cli_way way, const char *a, size_t a_length,
                const char *b, const char *c)
{
    size_t size = a_length + strlen(b) + strlen(c) + 1;
    char *path = malloc(size);

    if (path == NULL) {
        return no_memory();
    }
    snprintf(path, size, "%.*s%s%s", (int)a_length, a, b, c);
    *found = (struct cli_found){path, way};
    return true;
}

/* Keep what was set only if it is there. */
static void keep_if_there(struct cli_found *found)
{
    if (found->path != NULL && !cli_is_regular(found->path)) {
        free(found->path);
        *found = (struct cli_found){0};
    }
}

/* @name beside @run, else in the current folder. */
static bool find_near(const char *run, const char *name, struct cli_found *found)
{
    const char *slash = run != NULL ? strrchr(run, '/') : NULL;

    if (run != NULL && strcmp(run, "-") != 0) {
        if (!set(found, CLI_BESIDE_RUN, run, slash != NULL ? (size_t)(slash + 1 - run) : 0, name,
                 "")) {
            return false;
        }
        keep_if_there(found);
    }
    if (found->path == NULL) {
        if (!set(found, CLI_CURRENT_FOLDER, "", 0, name, "")) {
            return false;
        }
        keep_if_there(found);
    }
    return true;
}

/* A path below the user's configuration folder, by the XDG Base Directory Specification: only
 * absolute ones count. */
static bool set_configured(struct cli_found *found, const char *folder, const char *name,
                           const char *ending)
{
    const char *config = getenv("XDG_CONFIG_HOME"), *home = getenv("HOME");
    const char *base = config != NULL && config[0] == '/' ? config
                       : home != NULL && home[0] == '/'   ? home
                                                          : NULL;
    struct cli_found made = {0};
    bool good;

    if (base == NULL) {
        return true;
    }
    if (!set(&made, CLI_CONFIGURED, base, strlen(base), base == home ? "/.config" : "", folder)) {
        return false;
    }
    good = set(found, CLI_CONFIGURED, made.path, strlen(made.path), name, ending);
    free(made.path);
    return good;
}

/* machines/NAME.json of the configuration folder, if it is there. */
static bool find_by_name(const char *name, struct cli_found *found)
{
    if (name == NULL || name[0] == '\0' || name[0] == '.' || strchr(name, '/') != NULL) {
        return true;
    }
    if (!set_configured(found, "/tiptrue/machines/", name, ".json")) {
        return false;
    }
    keep_if_there(found);
    return true;
}

/* @word is a file, or the name of a machine in the configuration folder; one that is neither stays
 * a path, and is told when it is opened. */
static bool find_word(const char *word, enum cli_way way, struct cli_found *found)
{
    if (!is_file(word) && !find_by_name(word, found)) {
        return false;
    }
    if (found->path == NULL) {
        return set(found, way, word, strlen(word), "", "");
    }
    found->way = way;
    return true;
}

static bool find_configured(const char *run, struct cli_found *found)
{
    struct tiptrue_log_head head = {0};
    bool good;

    if (run != NULL && strcmp(run, "-") != 0 &&
        tiptrue_log_head_read(run, &head, NULL) != TIPTRUE_OK) {
        return no_memory();
    }
    good = find_by_name(head.machine, found);
    tiptrue_log_head_clear(&head);
    if (good && found->path == NULL) {
        good = set_configured(found, "/tiptrue/", CLI_MACHINE_FILE, "");
        keep_if_there(found);
    }
    return good;
}

bool cli_find_machine(const char *named, const char *run, struct cli_found *found)
{
    const char *variable = getenv(VARIABLE);

    *found = (struct cli_found){0};
    if (named != NULL) {
        return find_word(named, CLI_NAMED, found);
    }
    if (!find_near(run, CLI_MACHINE_FILE, found)) {
        return false;
    }
    if (found->path != NULL) {
        return true;
    }
    return variable != NULL && variable[0] != '\0' ? find_word(variable, CLI_BY_VARIABLE, found)
                                                   : find_configured(run, found);
}

bool cli_find_plate(const char *run, struct cli_found *found)
{
    *found = (struct cli_found){0};
    return find_near(run, CLI_PLATE_FILE, found);
}

const char *cli_way_words(enum cli_way way)
{
    static const char *const WORDS[] = {
        [CLI_NOT_FOUND] = "not found",
        [CLI_NAMED] = "named",
        [CLI_BY_MACHINE_FILE] = "by the machine file",
        [CLI_BESIDE_RUN] = "beside the run",
        [CLI_CURRENT_FOLDER] = "in this folder",
        [CLI_BY_VARIABLE] = ("by " VARIABLE),
        [CLI_CONFIGURED] = "in the configuration folder",
    };
    return WORDS[way];
}
