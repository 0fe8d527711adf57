/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Loaded before a program (LD_PRELOAD), it gives the first file that is asked for its extended
 * attributes one of 20 000 bytes, as file systems have that put no limit of a block to them, and
 * writes what is then set on another file into the file ATTRIBUTE_OUT.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

enum { SIZE = 20000 };
static const char NAME[] = "user.large";

ssize_t flistxattr(int file, char *names, size_t size)
{
    (void)file;
    if (size != 0 && size < sizeof NAME) {
        errno = ERANGE;
        return -1;
    }
    if (size != 0) {
        memcpy(names, NAME, sizeof NAME);
    }
    return sizeof NAME;
}

ssize_t fgetxattr(int file, const char *name, void *value, size_t size)
{
    (void)file;
    if (strcmp(name, NAME) != 0 || (size != 0 && size < SIZE)) {
        errno = strcmp(name, NAME) != 0 ? ENODATA : ERANGE;
        return -1;
    }
    for (size_t i = 0; i < SIZE && size != 0; i++) {
        ((char *)value)[i] = (char)('a' + i % 23);
    }
    return SIZE;
}

int fsetxattr(int file, const char *name, const void *value, size_t size, int flags)
{
    int out = open(getenv("ATTRIBUTE_OUT"), O_CREAT | O_WRONLY | O_TRUNC, 0644);

    (void)file;
    (void)name;
    (void)flags;
    return out >= 0 && write(out, value, size) == (ssize_t)size && close(out) == 0 ? 0 : -1;
}
