/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Order of steps: a copy of the old text is on disk under its final name before the new file gets
 * the name. */
#define _GNU_SOURCE /* renameat2 */
#include "config.h"

#include "export/replace.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#ifdef HAVE_SYS_XATTR_H
#include <sys/xattr.h>
#endif

#include "base/buffer.h"
#include "export/replace_parts.h"

static bool write_all(int file, const char *text, size_t length)
{
    while (length > 0) {
        ssize_t put = write(file, text, length);
        if (put < 0 && errno != EINTR) {
            return false;
        }
        if (put > 0) {
            text += put;
            length -= (size_t)put;
        }
    }
    return true;
}

#ifdef HAVE_SYS_XATTR_H
/* The attribute @name of @file, for free(); NULL: errno says why there is none. */
static char *read_attribute(int file, const char *name, size_t *length)
{
    ssize_t size = fgetxattr(file, name, NULL, 0);
    char *value = size >= 0 ? malloc((size_t)size + 1) : NULL;

    size = value != NULL ? fgetxattr(file, name, value, (size_t)size + 1) : -1;
    if (size < 0) {
        int why = errno;
        free(value);
        errno = why;
        return NULL;
    }
    *length = (size_t)size;
    return value;
}

static bool keep_attribute(int from, int to, const char *name)
{
    size_t length = 0, there = 0;
    char *value = read_attribute(from, name, &length);
    bool kept = value != NULL && fsetxattr(to, name, value, length, 0) == 0;

    if (value != NULL &&
        !kept) { /* one that the system sets by itself, and lets nobody set, may be there already */
        int why = errno;
        char *same = read_attribute(to, name, &there);
        kept = same != NULL && there == length && memcmp(same, value, length) == 0;
        free(same);
        errno = why;
    }
    free(value);
    return kept;
}
#endif

/* Extended attributes of any size, lists of access rights among them. A file system without any has
 * none to keep. */
static bool keep_attributes(int from, int to)
{
#ifdef HAVE_SYS_XATTR_H
    ssize_t length = flistxattr(from, NULL, 0);
    char *names = length > 0 ? malloc((size_t)length) : NULL;

    if (length > 0 && names == NULL) {
        return false;
    }
    length = length > 0 ? flistxattr(from, names, (size_t)length) : length;
    bool kept = length >= 0 || errno == ENOTSUP || errno == ENOSYS;
    for (ssize_t at = 0; at < length && kept; at += (ssize_t)strlen(names + at) + 1) {
        kept = keep_attribute(from, to, names + at);
    }
    free(names);
    return kept;
#else
    (void)from;
    (void)to;
    return true;
#endif
}

/* Owner, mode and attributes of the old file. */
static enum tiptrue_status dress(const struct tt_target *target, int file,
                                 struct tiptrue_error *error)
{
    struct stat about;
    if (fstat(file, &about) != 0) {
        return tt_target_fault(target, "the new file cannot be looked at", error);
    }
    if ((about.st_uid != target->about.st_uid || about.st_gid != target->about.st_gid) &&
        fchown(file, target->about.st_uid, target->about.st_gid) != 0) {
        return tt_target_fault(target, "its owner cannot be given to the new file", error);
    }
    if (!keep_attributes(target->file, file)) {
        return tt_target_fault(target, "its extended attributes cannot be given to the new file",
                               error);
    }
    if (fchmod(file, target->about.st_mode & 07777) != 0) {
        return tt_target_fault(target, "its mode cannot be given to the new file", error);
    }
    return TIPTRUE_OK;
}

/* A file @name with that text, flushed to disk, *file open. A file of that name is what a process
 * left that died on the way. */
static enum tiptrue_status put_down(const struct tt_target *target, const char *name,
                                    const char *text, size_t length, int *file,
                                    struct tiptrue_error *error)
{
    if (unlinkat(target->folder, name, 0) != 0 && errno != ENOENT) {
        return tt_target_fault(target, "a left-over file beside it cannot be removed", error);
    }
    int made = openat(target->folder, name, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC,
                      S_IRUSR | S_IWUSR);
    if (made < 0) {
        return tt_target_fault(target, "no file can be made beside it", error);
    }
    enum tiptrue_status status = TIPTRUE_OK;
    if (!write_all(made, text, length)) {
        status = tt_target_fault(target, "the new file cannot be written", error);
    }
    status = status == TIPTRUE_OK ? dress(target, made, error) : status;
    if (status == TIPTRUE_OK && fsync(made) != 0) {
        status = tt_target_fault(target, "the new file cannot be flushed to disk", error);
    }
    if (status != TIPTRUE_OK) {
        close(made);
        (void)unlinkat(target->folder, name, 0);
        return status;
    }
    *file = made;
    return TIPTRUE_OK;
}

/* ".NAME.tiptrue-END" */
static char *hidden_name(const struct tt_target *target, const char *end)
{
    struct tt_buffer name = {0};
    tt_buffer_printf(&name, ".%s.tiptrue-%s", target->base, end);
    if (name.failed) {
        tt_buffer_clear(&name);
    }
    return name.text;
}

/* The old text under a dated name. */
static enum tiptrue_status keep_old(const struct tt_target *target, const char *text, size_t length,
                                    double now_s, char **name, struct tiptrue_error *error)
{
    const struct timespec times[2] = {target->about.st_atim, target->about.st_mtim};
    char *hidden = hidden_name(target, "old");
    int file = -1;
    enum tiptrue_status status =
        hidden != NULL ? tt_target_backup_name(target, text, length, now_s, name, error)
                       : tt_fail_memory(error);
    if (status == TIPTRUE_OK) {
        status = put_down(target, hidden, target->bytes.text, target->bytes.length, &file, error);
    }
    if (status == TIPTRUE_OK) {
        (void)futimens(file, times); /* for people only */
        close(file);
        if (renameat(target->folder, hidden, target->folder, *name) != 0) {
            status = tt_target_fault(target, "the copy of the old file cannot be named", error);
            (void)unlinkat(target->folder, hidden, 0);
        } else if (fsync(target->folder) != 0) {
            status = tt_target_fault(target, "the copy of the old file cannot be flushed to disk",
                                     error);
            (void)unlinkat(target->folder, *name, 0);
        }
    }
    if (status != TIPTRUE_OK) {
        free(*name);
        *name = NULL;
    }
    free(hidden);
    return status;
}

static bool is_equal(const struct tt_bytes *bytes, const char *text, size_t length)
{
    return bytes->length == length && memcmp(bytes->text, text, length) == 0;
}

/* Whether an open file holds these bytes and no others; asks for no memory. false also where it
 * cannot be read. */
static bool holds(int file, const char *text, size_t length)
{
    char piece[8192];
    size_t at = 0;
    for (;;) {
        ssize_t got = pread(file, piece, sizeof(piece), (off_t)at);
        if (got == 0) {
            return at == length;
        }
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0 || (size_t)got > length - at || memcmp(piece, text + at, (size_t)got) != 0) {
            return false;
        }
        at += (size_t)got;
    }
}

/* Whether the file is what was read: its times, its bytes, and @by_name its name. */
static bool is_unchanged(const struct tt_target *target, bool by_name)
{
    struct stat now;
    return fstat(target->file, &now) == 0 && now.st_mtim.tv_sec == target->about.st_mtim.tv_sec &&
           now.st_mtim.tv_nsec == target->about.st_mtim.tv_nsec &&
           now.st_mode == target->about.st_mode && (!by_name || tt_target_is_same_file(target)) &&
           holds(target->file, target->bytes.text, target->bytes.length);
}

/* Give the name to the new file. Where two names can be exchanged in one step, what was replaced is
 * looked at afterwards: had somebody put another file there in the last moment, it goes back. */
static enum tiptrue_status change_names(const struct tt_target *target, const char *hidden,
                                        struct tiptrue_error *error)
{
#ifdef RENAME_EXCHANGE
    if (renameat2(target->folder, hidden, target->folder, target->base, RENAME_EXCHANGE) == 0) {
        struct stat was;
        bool ours = fstatat(target->folder, hidden, &was, AT_SYMLINK_NOFOLLOW) == 0 &&
                    was.st_dev == target->about.st_dev && was.st_ino == target->about.st_ino &&
                    is_unchanged(target, false);
        if (ours) {
            return TIPTRUE_OK;
        }
        if (renameat2(target->folder, hidden, target->folder, target->base, RENAME_EXCHANGE) != 0) {
            return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                           "compare the two; the one named is what somebody else wrote",
                           "was changed in the moment of its replacement; that version is now %s",
                           hidden);
        }
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                       "look at it, then export again; nothing was written",
                       "was changed by somebody else in the moment of its replacement");
    }
    if (errno != EINVAL && errno != ENOSYS) {
        return tt_target_fault(target, "cannot be replaced", error);
    }
#endif
    return renameat(target->folder, hidden, target->folder, target->base) == 0
               ? TIPTRUE_OK
               : tt_target_fault(target, "cannot be replaced", error);
}

/* The new file lies there under its hidden name: is it what was meant, and may it take its place?
 */
static enum tiptrue_status swap(const struct tt_target *target, int file, const char *hidden,
                                const char *text, size_t length, const struct tt_check *check,
                                const char *backup, struct tiptrue_error *error)
{
    struct tt_bytes back = {0};
    enum tiptrue_status status = tt_target_read_file(target, file, &back, error);
    if (status == TIPTRUE_OK && !is_equal(&back, text, length)) {
        status = tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                         "the disk is not to be trusted; the file is as it was",
                         "the new file does not read back as it was written");
    }
    if (status == TIPTRUE_OK && check != NULL) {
        status = check->holds(check->context, back.text, back.length, backup, error);
    }
    tt_bytes_clear(&back);
    if (status == TIPTRUE_OK && !is_unchanged(target, true)) {
        status = tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                         "look at it, then export again; nothing was written",
                         "was changed by somebody else since it was read");
    }
    return status == TIPTRUE_OK ? change_names(target, hidden, error) : status;
}

/* All steps; *old_name and *backup (their paths alike, for free()) unless @backup is NULL. */
static enum tiptrue_status replace(struct tt_target *target, const char *hidden, const char *text,
                                   size_t length, double now_s, const struct tt_check *check,
                                   char **old_name, char **backup, struct tiptrue_error *error)
{
    int file = -1;
    enum tiptrue_status status = put_down(target, hidden, text, length, &file, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (backup != NULL) {
        status = keep_old(target, text, length, now_s, old_name, error);
        *backup = status == TIPTRUE_OK ? tt_target_path(target, *old_name) : NULL;
        status = status == TIPTRUE_OK && *backup == NULL ? tt_fail_memory(error) : status;
    }
    if (status == TIPTRUE_OK) {
        status =
            swap(target, file, hidden, text, length, check, backup != NULL ? *backup : NULL, error);
    }
    close(file);
    if (status != TIPTRUE_OK && *old_name != NULL) {
        (void)unlinkat(target->folder, *old_name, 0);
    }
    (void)unlinkat(target->folder, hidden,
                   0); /* the new file if it failed, the old one if the names were exchanged */
    if (status == TIPTRUE_OK && fsync(target->folder) != 0) {
        status =
            tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                    "after a loss of power the old file might be there again; check the disk",
                    "was replaced, but its folder cannot be flushed to disk: %s", strerror(errno));
    }
    return status;
}

enum tiptrue_status tt_target_replace(struct tt_target *target, const char *text, size_t length,
                                      double now_s, const struct tt_check *check, char **backup,
                                      struct tiptrue_error *error)
{
    char *old_name = NULL, *path = NULL;
    char *hidden = hidden_name(target, "new");
    if (hidden == NULL) {
        return tt_fail_memory(error);
    }
    enum tiptrue_status status = replace(target, hidden, text, length, now_s, check, &old_name,
                                         backup != NULL ? &path : NULL, error);
    free(hidden);
    free(old_name);
    if (status == TIPTRUE_OK && backup != NULL) {
        *backup = path;
    } else {
        free(path);
    }
    return status;
}
