/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Loaded before a program (LD_PRELOAD), it makes the STUMBLE_AT-th call that changes something on
 * disk go wrong, as STUMBLE_HOW says: "before" and "after" kill the process there, "fail" makes the
 * call fail with STUMBLE_ERRNO, "short" lets a write take one byte, "append" and "swap" change the
 * file STUMBLE_FILE just before the call, as another program would. STUMBLE_COUNT names a file that
 * receives the number of calls. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static long calls;

static int is(const char *how)
{
    const char *wanted = getenv("STUMBLE_HOW");
    return wanted != NULL && strcmp(wanted, how) == 0;
}

static void die(void)
{
    kill(getpid(), SIGKILL);
    pause();
}

/* Another program's hand, by the calls themselves. */
static void meddle(void)
{
    const char *file = getenv("STUMBLE_FILE");
    char other[4096];
    if (is("append")) {
        int (*open_)(const char *, int, ...) = dlsym(RTLD_NEXT, "open");
        ssize_t (*write_)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
        int fd = open_(file, O_WRONLY | O_APPEND);
        if (fd < 0 || write_(fd, "#", 1) != 1 || close(fd) != 0) {
            abort();
        }
    } else if (is("swap")) {
        snprintf(other, sizeof(other), "%s.other", file);
        if (rename(other, file) != 0) {
            abort();
        }
    }
}

/* Count a call; 1: it is the one, and must fail. */
static int stumble(void)
{
    const char *at = getenv("STUMBLE_AT");
    calls++;
    if (at == NULL || calls != strtol(at, NULL, 10)) {
        return 0;
    }
    if (is("before")) {
        die();
    }
    meddle();
    if (is("fail")) {
        errno = (int)strtol(getenv("STUMBLE_ERRNO"), NULL, 10);
        return 1;
    }
    return 0;
}

static int is_now(void)
{
    const char *at = getenv("STUMBLE_AT");
    return at != NULL && calls == strtol(at, NULL, 10);
}

static void after(void)
{
    if (is_now() && is("after")) {
        die();
    }
}

#define PASS(type, name, parameters, arguments)                                                    \
    type name parameters;                                                                          \
    type name parameters                                                                           \
    {                                                                                              \
        type(*real) parameters = dlsym(RTLD_NEXT, #name);                                          \
        type result;                                                                               \
        if (stumble()) {                                                                           \
            return -1;                                                                             \
        }                                                                                          \
        result = real arguments;                                                                   \
        after();                                                                                   \
        return result;                                                                             \
    }

PASS(int, fsync, (int fd), (fd))
PASS(int, fchmod, (int fd, mode_t mode), (fd, mode))
PASS(int, fchown, (int fd, uid_t owner, gid_t group), (fd, owner, group))
PASS(int, futimens, (int fd, const struct timespec times[2]), (fd, times))
PASS(int, unlinkat, (int folder, const char *name, int flags), (folder, name, flags))
PASS(int, renameat, (int from, const char *old, int to, const char *new), (from, old, to, new))
PASS(int, fsetxattr, (int fd, const char *name, const void *value, size_t size, int flags),
     (fd, name, value, size, flags))

/* With STUMBLE_NO_EXCHANGE, as on a file system that cannot exchange two names. */
int renameat2(int from, const char *old, int to, const char *new, unsigned int flags);
int renameat2(int from, const char *old, int to, const char *new, unsigned int flags)
{
    int (*real)(int, const char *, int, const char *, unsigned int) = dlsym(RTLD_NEXT, "renameat2");
    int result;
    if (flags != 0 && getenv("STUMBLE_NO_EXCHANGE") != NULL) {
        errno = EINVAL;
        return -1;
    }
    if (stumble()) {
        return -1;
    }
    result = real(from, old, to, new, flags);
    after();
    return result;
}

ssize_t write(int fd, const void *text, size_t length)
{
    ssize_t (*real)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
    ssize_t result;
    if (fd <= STDERR_FILENO) {
        return real(fd, text, length);
    }
    if (stumble()) {
        return -1;
    }
    result = real(fd, text, is_now() && is("short") && length > 1 ? 1 : length);
    after();
    return result;
}

int openat(int folder, const char *name, int flags, ...)
{
    int (*real)(int, const char *, int, ...) = dlsym(RTLD_NEXT, "openat");
    mode_t mode = 0;
    int result;
    if ((flags & O_CREAT) == 0) {
        return real(folder, name, flags);
    }
    va_list arguments;
    va_start(arguments, flags);
    mode = (mode_t)va_arg(arguments, int);
    va_end(arguments);
    if (stumble()) {
        return -1;
    }
    result = real(folder, name, flags, mode);
    after();
    return result;
}

int openat64(int folder, const char *name, int flags, ...) __attribute__((alias("openat")));

static void tell_count(void) __attribute__((destructor));
static void tell_count(void)
{
    const char *path = getenv("STUMBLE_COUNT");
    FILE *file = path != NULL ? fopen(path, "w") : NULL;
    if (file != NULL) {
        fprintf(file, "%ld\n", calls);
        fclose(file);
    }
}
