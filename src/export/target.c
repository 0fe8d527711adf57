/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A target is opened in a folder that is held open: a folder that is moved meanwhile leads nowhere
 * else. */
#define _XOPEN_SOURCE 700 /* realpath */
#include "config.h"

#include "export/replace.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "export/replace_parts.h"

const char *tt_target_name(const struct tt_target *target)
{
    return target->name;
}

const struct tt_bytes *tt_target_bytes(const struct tt_target *target)
{
    return &target->bytes;
}

void tt_target_free(struct tt_target *target)
{
    if (target == NULL) {
        return;
    }
    if (target->file >= 0) {
        close(target->file);
    }
    if (target->folder >= 0) {
        close(target->folder);
    }
    tt_bytes_clear(&target->bytes);
    free(target->real);
    free(target->name);
    free(target);
}

enum tiptrue_status tt_target_fault(const struct tt_target *target, const char *what,
                                    struct tiptrue_error *error)
{
    int why = errno;
    return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                   why == ENOSPC || why == EDQUOT || why == EFBIG
                       ? "make room on the disk; the file is as it was"
                       : "the file is as it was",
                   "%s: %s", what, strerror(why));
}

enum tiptrue_status tt_target_read_file(const struct tt_target *target, int file,
                                        struct tt_bytes *bytes, struct tiptrue_error *error)
{
    struct stat about;
    struct tt_bytes made = {0};
    if (fstat(file, &about) != 0) {
        return tt_target_fault(target, "cannot be read", error);
    }
    size_t size = about.st_size > 0 ? (size_t)about.st_size : 0;
    made.text = malloc(size + 1);
    if (made.text == NULL) {
        return tt_fail_memory(error);
    }
    while (made.length < size) {
        ssize_t got = pread(file, made.text + made.length, size - made.length, (off_t)made.length);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0) {
            enum tiptrue_status status =
                tt_target_fault(target, "cannot be read to its end", error);
            tt_bytes_clear(&made);
            return status;
        }
        if (got == 0) {
            break;
        }
        made.length += (size_t)got;
    }
    made.text[made.length] = '\0';
    *bytes = made;
    return TIPTRUE_OK;
}

static enum tiptrue_status refuse(const struct tt_target *target, const char *hint,
                                  const char *text, struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_CONFIG, target->name, 0, 0, hint, "%s", text);
}

/* Whether it is a file that may be replaced at all. */
static enum tiptrue_status check_kind(const struct tt_target *target, struct tiptrue_error *error)
{
    const struct stat *about = &target->about;
    if (!S_ISREG(about->st_mode)) {
        return refuse(target, "name the configuration file",
                      "is not a regular file, and is not replaced", error);
    }
    if (about->st_nlink > 1) {
        return refuse(target, "a file that takes its place would part them; leave it one name",
                      "has several names (hard links), and is not replaced", error);
    }
    if ((about->st_mode & (S_IWUSR | S_IWGRP | S_IWOTH)) == 0 ||
        faccessat(target->folder, target->base, W_OK, AT_EACCESS) != 0) {
        return refuse(target, "make it writable first: chmod u+w",
                      "is read-only, and is not replaced", error);
    }
    return TIPTRUE_OK;
}

bool tt_target_is_same_file(const struct tt_target *target)
{
    struct stat now;
    return fstatat(target->folder, target->base, &now, AT_SYMLINK_NOFOLLOW) == 0 &&
           now.st_dev == target->about.st_dev && now.st_ino == target->about.st_ino;
}

static enum tiptrue_status lock(const struct tt_target *target, struct tiptrue_error *error)
{
    static const char HINT[] = "let the other program finish, then export again";
    struct flock record = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
    /* a file system without locks has nobody who could hold one */
    if (flock(target->file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, HINT,
                       "is locked by another process, and is not replaced");
    }
    if (fcntl(target->file, F_GETLK, &record) == 0 && record.l_type != F_UNLCK) {
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, HINT,
                       "is locked by process %ld, and is not replaced", (long)record.l_pid);
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status open_folder(struct tt_target *target, struct tiptrue_error *error)
{
    char *slash = strrchr(target->real, '/');
    target->base = slash + 1;
    *slash = '\0';
    target->folder =
        open(slash > target->real ? target->real : "/", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    *slash = '/';
    return target->folder >= 0 ? TIPTRUE_OK
                               : tt_target_fault(target, "its folder cannot be opened", error);
}

static enum tiptrue_status open_file(struct tt_target *target, struct tiptrue_error *error)
{
    target->file = openat(target->folder, target->base,
                          O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (target->file < 0 || fstat(target->file, &target->about) != 0) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, target->name, 0, 0, NULL, "cannot be opened: %s",
                       strerror(errno));
    }
    enum tiptrue_status status = check_kind(target, error);
    status = status == TIPTRUE_OK ? lock(target, error) : status;
    if (status != TIPTRUE_OK) {
        return status;
    }
    /* it may have been replaced before the lock was ours, and written to after it was looked at */
    if (!tt_target_is_same_file(target) || fstat(target->file, &target->about) != 0) {
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "export again",
                       "was replaced by another process just now");
    }
    return tt_target_read_file(target, target->file, &target->bytes, error);
}

enum tiptrue_status tt_target_open(const char *path, struct tt_target **target,
                                   struct tiptrue_error *error)
{
    struct tt_target *made = calloc(1, sizeof(*made));
    enum tiptrue_status status = TIPTRUE_OK;
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    made->folder = made->file = -1;
    made->name = strdup(path);
    if (made->name == NULL) {
        status = tt_fail_memory(error);
    } else if ((made->real = realpath(path, NULL)) == NULL) {
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, path, 0, 0,
                         errno == ENOENT ? "is the name right, and the folder?" : NULL,
                         "cannot be opened: %s", strerror(errno));
    }
    status = status == TIPTRUE_OK ? open_folder(made, error) : status;
    status = status == TIPTRUE_OK ? open_file(made, error) : status;
    if (status != TIPTRUE_OK) {
        tt_target_free(made);
        return status;
    }
    *target = made;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_target_is_beside(const struct tt_target *target, const char *folder_of,
                                        bool *beside, struct tiptrue_error *error)
{
    char *real = realpath(folder_of, NULL);
    if (real == NULL) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, folder_of, 0, 0, NULL, "cannot be found: %s",
                       strerror(errno));
    }
    size_t length = (size_t)(strrchr(real, '/') + 1 - real);
    *beside = strncmp(real, target->real, length) == 0;
    free(real);
    return TIPTRUE_OK;
}
