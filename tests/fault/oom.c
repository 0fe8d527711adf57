/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Loaded before a program (LD_PRELOAD), it refuses memory to everything in the process, its
 * libraries included, at the OOM_AT-th request; with OOM_ALL from then on. OOM_COUNT names a file
 * that receives the number of requests, OOM_SITES one that receives a line for each, the same for
 * those that come from the same place by the same calls. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "sites.h"

/* The calls that make a site, four of them in this file: SQLite's statements take many ways to the
 * same few places. And the bytes of a site's line with its end. */
enum { CALLS = 12, LINE = 18 };

static long requests, at;
static int all, begun;
static struct sites sites = {.calls = CALLS};
static bool asking; /* unwinding may ask for memory itself */

/* What the name would have meant: the C library's, or a sanitizer's. */
static void *next(const char *name)
{
    void *found = dlsym(RTLD_NEXT, name);

    if (found == NULL) {
        _exit(98);
    }
    return found;
}

static int refused(void)
{
    if (asking) {
        return 0;
    }
    if (!begun && environ == NULL) {
        return 0; /* before the process has its environment */
    }
    if (!begun) {
        begun = 1;
        at = getenv("OOM_AT") != NULL ? strtol(getenv("OOM_AT"), NULL, 10) : 0;
        all = getenv("OOM_ALL") != NULL;
        sites.on = getenv("OOM_SITES") != NULL;
    }
    requests++;
    asking = true;
    note_site(&sites);
    asking = false;
    if (at > 0 && (requests == at || (all && requests > at))) {
        errno = ENOMEM;
        return 1;
    }
    return 0;
}

void *malloc(size_t size)
{
    return refused() ? NULL : ((void *(*)(size_t))next("malloc"))(size);
}

void *calloc(size_t count, size_t size)
{
    return refused() ? NULL : ((void *(*)(size_t, size_t))next("calloc"))(count, size);
}

void *realloc(void *piece, size_t size)
{
    return refused() ? NULL : ((void *(*)(void *, size_t))next("realloc"))(piece, size);
}

/* Write @text over what the file named @path holds, or end the process. */
static void write_file(const char *path, const char *text, size_t length)
{
    const int file = open(path, O_CREAT | O_WRONLY | O_TRUNC, 0644);

    if (file >= 0 && (write(file, text, length) != (ssize_t)length || close(file) != 0)) {
        _exit(99);
    }
}

__attribute__((destructor)) static void tell(void)
{
    static char text[LINE * SITES];
    size_t length = 0;

    if (getenv("OOM_COUNT") != NULL) {
        length = (size_t)snprintf(text, sizeof text, "%ld", requests);
        write_file(getenv("OOM_COUNT"), text, length);
    }
    if (getenv("OOM_SITES") != NULL) {
        length = 0;
        for (size_t i = 0; i < sites.n; i++) {
            length += (size_t)snprintf(text + length, LINE, "%016llx\n",
                                       (unsigned long long)sites.site[i]);
        }
        write_file(getenv("OOM_SITES"), text, length);
    }
}
