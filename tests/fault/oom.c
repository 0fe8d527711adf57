/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Loaded before a program (LD_PRELOAD), it refuses memory to everything in the process, its
 * libraries included, at the OOM_AT-th request; with OOM_ALL from then on. OOM_COUNT names a file
 * that receives the number of requests. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static long requests, at;
static int all, begun;

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
    if (!begun && environ == NULL) {
        return 0; /* before the process has its environment */
    }
    if (!begun) {
        begun = 1;
        at = getenv("OOM_AT") != NULL ? strtol(getenv("OOM_AT"), NULL, 10) : 0;
        all = getenv("OOM_ALL") != NULL;
    }
    requests++;
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

__attribute__((destructor)) static void tell(void)
{
    const char *path = getenv("OOM_COUNT");
    char text[24];
    int file = path != NULL ? open(path, O_CREAT | O_WRONLY | O_TRUNC, 0644) : -1,
        length = snprintf(text, sizeof text, "%ld", requests);

    if (file >= 0 && (write(file, text, (size_t)length) != length || close(file) != 0)) {
        _exit(99);
    }
}
