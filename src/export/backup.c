/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Copies of what was replaced. A copy's name carries the digest of the text that took its place, so
 * that putting back needs no record of its own. */
#include "config.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base/buffer.h"
#include "base/digest.h"
#include "export/replace_parts.h"

/* Copies that may be made of one file in one second. */
#define MOST_IN_A_SECOND 9

char *tt_target_path(const struct tt_target *target, const char *name)
{
    struct tt_buffer path = {0};
    tt_buffer_add(&path, target->real, (size_t)(target->base - target->real));
    tt_buffer_puts(&path, name);
    if (path.failed) {
        tt_buffer_clear(&path);
    }
    return path.text;
}

/* Whether @name is free in the folder of @target (*is_free); else why it is not known. @more: bytes
 * that a copy's name has beyond its file's. */
static enum tiptrue_status look_for(const struct tt_target *target, const char *name, size_t more,
                                    bool *is_free, struct tiptrue_error *error)
{
    struct stat there;
    int found = fstatat(target->folder, name, &there, AT_SYMLINK_NOFOLLOW);

    *is_free = found != 0 && errno == ENOENT;
    if (found == 0 || *is_free) {
        return TIPTRUE_OK;
    }
    if (errno == ENAMETOOLONG) {
        return tt_fail(error, TIPTRUE_E_CONFIG, target->name, 0, 0, "give the file a shorter name",
                       "its name is too long for a copy beside it, whose name has %zu bytes more",
                       more);
    }
    return tt_target_fault(target, "its folder cannot be searched for copies", error);
}

enum tiptrue_status tt_target_backup_name(const struct tt_target *target, const char *text,
                                          size_t length, double now_s, char **name,
                                          struct tiptrue_error *error)
{
    char digest[17], date[32];
    time_t seconds = (time_t)now_s;
    struct tm parts;
    if (gmtime_r(&seconds, &parts) == NULL ||
        strftime(date, sizeof(date), "%Y-%m-%dT%H%M%SZ", &parts) == 0) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, NULL,
                       "the time of the export is not a date");
    }
    tt_digest(text, length, digest);
    for (int count = 1; count <= MOST_IN_A_SECOND; count++) {
        struct tt_buffer made = {0};
        char again[8] = "";
        bool is_free = false;
        if (count > 1) {
            snprintf(again, sizeof(again), ".%d", count);
        }
        tt_buffer_printf(&made, "%s.%s%s-%s.bak", target->base, date, again, digest);
        if (made.failed) {
            tt_buffer_clear(&made);
            return tt_fail_memory(error);
        }
        enum tiptrue_status status =
            look_for(target, made.text, made.length - strlen(target->base), &is_free, error);
        if (is_free) {
            *name = made.text;
            return TIPTRUE_OK;
        }
        tt_buffer_clear(&made);
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "wait a second",
                   "copies of this second exist already");
}

/* Whether @entry is a copy that was made when @digest took the place of @base. */
static bool is_backup(const char *entry, const char *base, const char *digest)
{
    size_t length = strlen(entry), base_length = strlen(base);
    char end[32];
    snprintf(end, sizeof(end), "-%s.bak", digest);
    return length > base_length + strlen(end) + 1 && strncmp(entry, base, base_length) == 0 &&
           entry[base_length] == '.' && strcmp(entry + length - strlen(end), end) == 0;
}

/* The newest copy's name (for free()): dates in names sort as text. */
static enum tiptrue_status newest_backup(const struct tt_target *target, const char *digest,
                                         char **name, struct tiptrue_error *error)
{
    int folder = openat(target->folder, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *entries = folder >= 0 ? fdopendir(folder) : NULL;
    struct dirent *entry;
    enum tiptrue_status status = TIPTRUE_OK;
    if (entries == NULL) {
        status = tt_target_fault(target, "its folder cannot be listed", error);
        if (folder >= 0) {
            close(folder);
        }
        return status;
    }
    while (status == TIPTRUE_OK && (entry = readdir(entries)) != NULL) {
        if (is_backup(entry->d_name, target->base, digest) &&
            (*name == NULL || strcmp(entry->d_name, *name) > 0)) {
            free(*name);
            *name = strdup(entry->d_name);
            status = *name != NULL ? TIPTRUE_OK : tt_fail_memory(error);
        }
    }
    closedir(entries);
    return status;
}

enum tiptrue_status tt_target_backup(const struct tt_target *target, char **path,
                                     struct tt_bytes *bytes, struct tiptrue_error *error)
{
    char digest[17], *name = NULL, *made = NULL;
    tt_digest(target->bytes.text, target->bytes.length, digest);
    enum tiptrue_status status = newest_backup(target, digest, &name, error);
    if (status == TIPTRUE_OK && name == NULL) {
        status = tt_fail(error, TIPTRUE_E_CONFIG, target->name, 0, 0,
                         "the copies of earlier files stand beside it, named with date and .bak: "
                         "choose one by hand",
                         "was changed since the last export, or never exported: cannot undo");
    }
    if (status == TIPTRUE_OK) {
        int file = openat(target->folder, name, O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
        made = tt_target_path(target, name);
        status = file < 0       ? tt_target_fault(target, "its copy cannot be opened", error)
                 : made == NULL ? tt_fail_memory(error)
                                : tt_target_read_file(target, file, bytes, error);
        if (file >= 0) {
            close(file);
        }
    }
    free(name);
    if (status == TIPTRUE_OK) {
        *path = made;
    } else {
        free(made);
    }
    return status;
}
