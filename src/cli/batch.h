/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Many pieces of work on several threads, their outcomes handed on in order: knows nothing of what
 * the work is.
 *
 * At most CLI_BATCH_DEPTH outcomes for each worker are outstanding, so that memory does not grow
 * with the number of pieces.
 */
#ifndef TT_CLI_BATCH_H
#define TT_CLI_BATCH_H

#include <stdbool.h>
#include <stddef.h>

#define CLI_BATCH_DEPTH 4

struct cli_batch {
    size_t pieces;
    size_t workers;      /* at least 1; never more are started than there are pieces */
    size_t outcome_size; /* bytes of what one piece results in */
    void *context;
    /* Do piece @index as worker @worker (counted from 0; that is the caller), on that worker's
     * thread; *outcome is zeroed. */
    void (*work)(void *context, size_t worker, size_t index, void *outcome);
    /* Take what came out of it and free what it holds; on the thread of any worker, but one at a
     * time and in order of @index. */
    void (*deliver)(void *context, size_t index, void *outcome);
};

/* Returns false when memory is out (nothing was done). With one worker, no thread is started. When
 * the system gives fewer threads than asked for, fewer do the work. */
bool cli_batch_run(const struct cli_batch *batch);

#endif
