/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Order of steps: a copy of the old text is on disk under its final name before the new file gets the name. The copy's name carries
 * the digest of the text that took its place, so that putting back needs no record of its own. All names are looked up in one open
 * folder, so that a folder that is moved meanwhile leads nowhere else.
 */
#define _GNU_SOURCE /* renameat2 */
#include "config.h"

#include "export/replace.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>
#ifdef HAVE_SYS_XATTR_H
#include <sys/xattr.h>
#endif

#include "base/buffer.h"

/* Copies that may be made of one file in one second. */
#define MOST_IN_A_SECOND 9

struct tt_target {
    char *name; /* as it was named */
    char *real; /* without symbolic links */
    char *base; /* last part of it, within real */
    int folder; /* open, -1 = not */
    int file;   /* open and locked, -1 = not */
    struct stat about;
    struct tt_bytes bytes;
};

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

static enum tiptrue_status io_fault(const struct tt_target *target, const char *what, struct tiptrue_error *error)
{
    int why = errno;
    return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                   why == ENOSPC || why == EDQUOT || why == EFBIG ? "make room on the disk; the file is as it was"
                                                                  : "the file is as it was",
                   "%s: %s", what, strerror(why));
}

/* All of an open file from its beginning. */
static enum tiptrue_status read_whole(const struct tt_target *target, int file, struct tt_bytes *bytes, struct tiptrue_error *error)
{
    struct stat about;
    struct tt_bytes made = {0};
    if (fstat(file, &about) != 0) {
        return io_fault(target, "cannot be read", error);
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
            enum tiptrue_status status = io_fault(target, "cannot be read to its end", error);
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

static enum tiptrue_status refuse(const struct tt_target *target, const char *hint, const char *text, struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_CONFIG, target->name, 0, 0, hint, "%s", text);
}

/* Whether it is a file that may be replaced at all. */
static enum tiptrue_status check_kind(const struct tt_target *target, struct tiptrue_error *error)
{
    const struct stat *about = &target->about;
    if (!S_ISREG(about->st_mode)) {
        return refuse(target, "name the configuration file", "is no plain file, and is not replaced", error);
    }
    if (about->st_nlink > 1) {
        return refuse(target, "a file that takes its place would part them; leave it one name",
                      "has several names (hard links), and is not replaced", error);
    }
    if ((about->st_mode & (S_IWUSR | S_IWGRP | S_IWOTH)) == 0 || faccessat(target->folder, target->base, W_OK, AT_EACCESS) != 0) {
        return refuse(target, "whoever may change it can take that back: chmod u+w", "is read-only, and is not replaced", error);
    }
    return TIPTRUE_OK;
}

/* Whether the name still leads to the file that is open. */
static bool is_same_file(const struct tt_target *target)
{
    struct stat now;
    return fstatat(target->folder, target->base, &now, AT_SYMLINK_NOFOLLOW) == 0 && now.st_dev == target->about.st_dev &&
           now.st_ino == target->about.st_ino;
}

static enum tiptrue_status lock(const struct tt_target *target, struct tiptrue_error *error)
{
    static const char HINT[] = "let the other program finish, then export again";
    struct flock record = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
    /* a file system without locks has nobody who could hold one */
    if (flock(target->file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, HINT, "is locked by another process, and is not replaced");
    }
    if (fcntl(target->file, F_GETLK, &record) == 0 && record.l_type != F_UNLCK) {
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, HINT, "is locked by process %ld, and is not replaced",
                       (long)record.l_pid);
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status open_folder(struct tt_target *target, struct tiptrue_error *error)
{
    char *slash = strrchr(target->real, '/');
    target->base = slash + 1;
    *slash = '\0';
    target->folder = open(slash > target->real ? target->real : "/", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    *slash = '/';
    return target->folder >= 0 ? TIPTRUE_OK : io_fault(target, "its folder cannot be opened", error);
}

static enum tiptrue_status open_file(struct tt_target *target, struct tiptrue_error *error)
{
    target->file = openat(target->folder, target->base, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (target->file < 0 || fstat(target->file, &target->about) != 0) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, target->name, 0, 0, NULL, "cannot be opened: %s", strerror(errno));
    }
    enum tiptrue_status status = check_kind(target, error);
    status = status == TIPTRUE_OK ? lock(target, error) : status;
    if (status != TIPTRUE_OK) {
        return status;
    }
    /* it may have been replaced before the lock was ours, and written to after it was looked at */
    if (!is_same_file(target) || fstat(target->file, &target->about) != 0) {
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "export again", "was replaced by another process just now");
    }
    return read_whole(target, target->file, &target->bytes, error);
}

enum tiptrue_status tt_target_open(const char *path, struct tt_target **target, struct tiptrue_error *error)
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
        status = tt_fail(error, TIPTRUE_E_NO_INPUT, path, 0, 0, errno == ENOENT ? "is the name right, and the folder?" : NULL,
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

enum tiptrue_status tt_target_is_beside(const struct tt_target *target, const char *folder_of, bool *beside,
                                        struct tiptrue_error *error)
{
    char *real = realpath(folder_of, NULL);
    if (real == NULL) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, folder_of, 0, 0, NULL, "cannot be found: %s", strerror(errno));
    }
    size_t length = (size_t)(strrchr(real, '/') + 1 - real);
    *beside = strncmp(real, target->real, length) == 0;
    free(real);
    return TIPTRUE_OK;
}

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

/* Extended attributes, lists of access rights among them. A file system without any has none to keep. */
static bool keep_attributes(int from, int to)
{
#ifdef HAVE_SYS_XATTR_H
    char names[4096], value[4096];
    ssize_t length = flistxattr(from, names, sizeof(names));
    for (ssize_t at = 0; at < length; at += (ssize_t)strlen(names + at) + 1) {
        ssize_t size = fgetxattr(from, names + at, value, sizeof(value));
        char same[sizeof(value)];
        if (size < 0) {
            return false;
        }
        /* one that the system sets by itself, and lets nobody set, may be there already */
        if (fsetxattr(to, names + at, value, (size_t)size, 0) != 0 &&
            (fgetxattr(to, names + at, same, sizeof(same)) != size || memcmp(same, value, (size_t)size) != 0)) {
            return false;
        }
    }
    return length >= 0 || errno == ENOTSUP || errno == ENOSYS;
#else
    (void)from;
    (void)to;
    return true;
#endif
}

/* Owner, mode and attributes of the old file. */
static enum tiptrue_status dress(const struct tt_target *target, int file, struct tiptrue_error *error)
{
    struct stat about;
    if (fstat(file, &about) != 0) {
        return io_fault(target, "the new file cannot be looked at", error);
    }
    if ((about.st_uid != target->about.st_uid || about.st_gid != target->about.st_gid) &&
        fchown(file, target->about.st_uid, target->about.st_gid) != 0) {
        return io_fault(target, "its owner cannot be given to the new file", error);
    }
    if (!keep_attributes(target->file, file)) {
        return io_fault(target, "its extended attributes cannot be given to the new file", error);
    }
    if (fchmod(file, target->about.st_mode & 07777) != 0) {
        return io_fault(target, "its mode cannot be given to the new file", error);
    }
    return TIPTRUE_OK;
}

/* A file @name with that text, flushed to disk, *file open. A file of that name is what a process left that died on the way. */
static enum tiptrue_status put_down(const struct tt_target *target, const char *name, const char *text, size_t length, int *file,
                                    struct tiptrue_error *error)
{
    if (unlinkat(target->folder, name, 0) != 0 && errno != ENOENT) {
        return io_fault(target, "a left-over file beside it cannot be removed", error);
    }
    int made = openat(target->folder, name, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, S_IRUSR | S_IWUSR);
    if (made < 0) {
        return io_fault(target, "no file can be made beside it", error);
    }
    enum tiptrue_status status = TIPTRUE_OK;
    if (!write_all(made, text, length)) {
        status = io_fault(target, "the new file cannot be written", error);
    }
    status = status == TIPTRUE_OK ? dress(target, made, error) : status;
    if (status == TIPTRUE_OK && fsync(made) != 0) {
        status = io_fault(target, "the new file cannot be flushed to disk", error);
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

/* "NAME.2026-03-02T074000Z-DIGEST.bak", the first of this second that is free. */
static enum tiptrue_status backup_name(const struct tt_target *target, const char *text, size_t length, double now_s, char **name,
                                       struct tiptrue_error *error)
{
    char digest[17], date[32];
    time_t seconds = (time_t)now_s;
    struct tm parts;
    struct stat there;
    if (gmtime_r(&seconds, &parts) == NULL || strftime(date, sizeof(date), "%Y-%m-%dT%H%M%SZ", &parts) == 0) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0, NULL, "the time of the export is no date");
    }
    tt_bytes_digest(text, length, digest);
    for (int count = 1; count <= MOST_IN_A_SECOND; count++) {
        struct tt_buffer made = {0};
        char again[8] = "";
        if (count > 1) {
            snprintf(again, sizeof(again), ".%d", count);
        }
        tt_buffer_printf(&made, "%s.%s%s-%s.bak", target->base, date, again, digest);
        if (made.failed) {
            tt_buffer_clear(&made);
            return tt_fail_memory(error);
        }
        if (fstatat(target->folder, made.text, &there, AT_SYMLINK_NOFOLLOW) != 0 && errno == ENOENT) {
            *name = made.text;
            return TIPTRUE_OK;
        }
        tt_buffer_clear(&made);
    }
    return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "wait a second", "copies of this second exist already");
}

/* The old text under a dated name. */
static enum tiptrue_status keep_old(const struct tt_target *target, const char *text, size_t length, double now_s, char **name,
                                    struct tiptrue_error *error)
{
    const struct timespec times[2] = {target->about.st_atim, target->about.st_mtim};
    char *hidden = hidden_name(target, "old");
    int file = -1;
    enum tiptrue_status status = hidden != NULL ? backup_name(target, text, length, now_s, name, error) : tt_fail_memory(error);
    if (status == TIPTRUE_OK) {
        status = put_down(target, hidden, target->bytes.text, target->bytes.length, &file, error);
    }
    if (status == TIPTRUE_OK) {
        (void)futimens(file, times); /* for people only */
        close(file);
        if (renameat(target->folder, hidden, target->folder, *name) != 0) {
            status = io_fault(target, "the copy of the old file cannot be named", error);
            (void)unlinkat(target->folder, hidden, 0);
        } else if (fsync(target->folder) != 0) {
            status = io_fault(target, "the copy of the old file cannot be flushed to disk", error);
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

/* Whether an open file holds these bytes and no others; asks for no memory. false also where it cannot be read. */
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
           now.st_mtim.tv_nsec == target->about.st_mtim.tv_nsec && now.st_mode == target->about.st_mode &&
           (!by_name || is_same_file(target)) && holds(target->file, target->bytes.text, target->bytes.length);
}

/* Give the name to the new file. Where two names can be exchanged in one step, what was replaced is looked at afterwards: had
 * somebody put another file there in the last moment, it goes back. */
static enum tiptrue_status change_names(const struct tt_target *target, const char *hidden, struct tiptrue_error *error)
{
#ifdef RENAME_EXCHANGE
    if (renameat2(target->folder, hidden, target->folder, target->base, RENAME_EXCHANGE) == 0) {
        struct stat was;
        bool ours = fstatat(target->folder, hidden, &was, AT_SYMLINK_NOFOLLOW) == 0 && was.st_dev == target->about.st_dev &&
                    was.st_ino == target->about.st_ino && is_unchanged(target, false);
        if (ours) {
            return TIPTRUE_OK;
        }
        if (renameat2(target->folder, hidden, target->folder, target->base, RENAME_EXCHANGE) != 0) {
            return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "compare the two; the one named is what somebody else wrote",
                           "was changed in the moment of its replacement; that version is now %s", hidden);
        }
        return tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "look at it, then export again; nothing was written",
                       "was changed by somebody else in the moment of its replacement");
    }
    if (errno != EINVAL && errno != ENOSYS) {
        return io_fault(target, "cannot be replaced", error);
    }
#endif
    return renameat(target->folder, hidden, target->folder, target->base) == 0 ? TIPTRUE_OK
                                                                               : io_fault(target, "cannot be replaced", error);
}

/* The new file lies there under its hidden name: is it what was meant, and may it take its place? */
static enum tiptrue_status swap(const struct tt_target *target, int file, const char *hidden, const char *text, size_t length,
                                const struct tt_check *check, const char *backup, struct tiptrue_error *error)
{
    struct tt_bytes back = {0};
    enum tiptrue_status status = read_whole(target, file, &back, error);
    if (status == TIPTRUE_OK && !is_equal(&back, text, length)) {
        status = tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "the disk is not to be trusted; the file is as it was",
                         "the new file does not read back as it was written");
    }
    if (status == TIPTRUE_OK && check != NULL) {
        status = check->holds(check->context, back.text, back.length, backup, error);
    }
    tt_bytes_clear(&back);
    if (status == TIPTRUE_OK && !is_unchanged(target, true)) {
        status = tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0, "look at it, then export again; nothing was written",
                         "was changed by somebody else since it was read");
    }
    return status == TIPTRUE_OK ? change_names(target, hidden, error) : status;
}

/* The path of @name, beside the real file. */
static char *path_of(const struct tt_target *target, const char *name)
{
    struct tt_buffer path = {0};
    tt_buffer_add(&path, target->real, (size_t)(target->base - target->real));
    tt_buffer_puts(&path, name);
    if (path.failed) {
        tt_buffer_clear(&path);
    }
    return path.text;
}

/* All steps; *old_name and *backup (their paths alike, for free()) unless @backup is NULL. */
static enum tiptrue_status replace(struct tt_target *target, const char *hidden, const char *text, size_t length, double now_s,
                                   const struct tt_check *check, char **old_name, char **backup, struct tiptrue_error *error)
{
    int file = -1;
    enum tiptrue_status status = put_down(target, hidden, text, length, &file, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    if (backup != NULL) {
        status = keep_old(target, text, length, now_s, old_name, error);
        *backup = status == TIPTRUE_OK ? path_of(target, *old_name) : NULL;
        status = status == TIPTRUE_OK && *backup == NULL ? tt_fail_memory(error) : status;
    }
    if (status == TIPTRUE_OK) {
        status = swap(target, file, hidden, text, length, check, backup != NULL ? *backup : NULL, error);
    }
    close(file);
    if (status != TIPTRUE_OK && *old_name != NULL) {
        (void)unlinkat(target->folder, *old_name, 0);
    }
    (void)unlinkat(target->folder, hidden, 0); /* the new file if it failed, the old one if the names were exchanged */
    if (status == TIPTRUE_OK && fsync(target->folder) != 0) {
        status = tt_fail(error, TIPTRUE_E_IO, target->name, 0, 0,
                         "after a loss of power the old file might be there again; check the disk",
                         "was replaced, but its folder cannot be flushed to disk: %s", strerror(errno));
    }
    return status;
}

enum tiptrue_status tt_target_replace(struct tt_target *target, const char *text, size_t length, double now_s,
                                      const struct tt_check *check, char **backup, struct tiptrue_error *error)
{
    char *old_name = NULL, *path = NULL;
    char *hidden = hidden_name(target, "new");
    if (hidden == NULL) {
        return tt_fail_memory(error);
    }
    enum tiptrue_status status =
        replace(target, hidden, text, length, now_s, check, &old_name, backup != NULL ? &path : NULL, error);
    free(hidden);
    free(old_name);
    if (status == TIPTRUE_OK && backup != NULL) {
        *backup = path;
    } else {
        free(path);
    }
    return status;
}

/* Whether @entry is a copy that was made when @digest took the place of @base. */
static bool is_backup(const char *entry, const char *base, const char *digest)
{
    size_t length = strlen(entry), base_length = strlen(base);
    char end[32];
    snprintf(end, sizeof(end), "-%s.bak", digest);
    return length > base_length + strlen(end) + 1 && strncmp(entry, base, base_length) == 0 && entry[base_length] == '.' &&
           strcmp(entry + length - strlen(end), end) == 0;
}

/* The newest copy's name (for free()): dates in names sort as text. */
static enum tiptrue_status newest_backup(const struct tt_target *target, const char *digest, char **name,
                                         struct tiptrue_error *error)
{
    int folder = openat(target->folder, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *entries = folder >= 0 ? fdopendir(folder) : NULL;
    struct dirent *entry;
    enum tiptrue_status status = TIPTRUE_OK;
    if (entries == NULL) {
        status = io_fault(target, "its folder cannot be listed", error);
        if (folder >= 0) {
            close(folder);
        }
        return status;
    }
    while (status == TIPTRUE_OK && (entry = readdir(entries)) != NULL) {
        if (is_backup(entry->d_name, target->base, digest) && (*name == NULL || strcmp(entry->d_name, *name) > 0)) {
            free(*name);
            *name = strdup(entry->d_name);
            status = *name != NULL ? TIPTRUE_OK : tt_fail_memory(error);
        }
    }
    closedir(entries);
    return status;
}

enum tiptrue_status tt_target_backup(const struct tt_target *target, char **path, struct tt_bytes *bytes,
                                     struct tiptrue_error *error)
{
    char digest[17], *name = NULL, *made = NULL;
    tt_bytes_digest(target->bytes.text, target->bytes.length, digest);
    enum tiptrue_status status = newest_backup(target, digest, &name, error);
    if (status == TIPTRUE_OK && name == NULL) {
        status = tt_fail(error, TIPTRUE_E_CONFIG, target->name, 0, 0,
                         "the copies of earlier files stand beside it, named with date and .bak: choose one by hand",
                         "is not as an export left it, so there is nothing that could be undone");
    }
    if (status == TIPTRUE_OK) {
        int file = openat(target->folder, name, O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
        made = path_of(target, name);
        status = file < 0       ? io_fault(target, "its copy cannot be opened", error)
                 : made == NULL ? tt_fail_memory(error)
                                : read_whole(target, file, bytes, error);
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
