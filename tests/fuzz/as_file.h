/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* An input as a file, for readers that take a path. */
#ifndef TT_TESTS_FUZZ_AS_FILE_H
#define TT_TESTS_FUZZ_AS_FILE_H

#include <fcntl.h>
#include <unistd.h>

#include "replay.h"

static char fuzz_path[64];

static inline void fuzz_take_away(void)
{
    unlink(fuzz_path);
}

/* The path of a file that holds @data: one for each process, taken away at the end. */
static inline const char *fuzz_as_file(const uint8_t *data, size_t size)
{
    static int file = -1;
    if (file < 0) {
        const char *folder = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
        snprintf(fuzz_path, sizeof(fuzz_path), "%s/tiptrue-fuzz-XXXXXX", folder);
        file = mkstemp(fuzz_path);
        FUZZ_ASSERT(file >= 0 && atexit(fuzz_take_away) == 0);
    }
    FUZZ_ASSERT(ftruncate(file, 0) == 0 && pwrite(file, data, size, 0) == (ssize_t)size);
    return fuzz_path;
}

#endif
