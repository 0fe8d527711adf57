/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Memory that can be made to run out: for tests that are linked with --wrap of these four
 * (tests/local.mk). */
#ifndef STARVE_H
#define STARVE_H

#include <stdbool.h>
#include <stdlib.h>

#include "base/arena.h"

/* What the linker makes of the names. */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *piece, size_t size);
void *__real_tt_arena_get(struct tt_arena *arena, size_t count, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *piece, size_t size);
void *__wrap_tt_arena_get(struct tt_arena *arena, size_t count, size_t size);

/* A source of memory that fails at the request that brings @left to 0, and from then on unless
 * @once; @left 0 = never. */
static struct source {
    size_t left;
    bool once, failed;
} heap, arenas;

static bool fails(struct source *source)
{
    if (source->left == 0 || (source->failed && source->once)) {
        return false;
    }
    if (source->left > 1) {
        source->left--;
        return false;
    }
    source->failed = true;
    return true;
}

void *__wrap_malloc(size_t size)
{
    return fails(&heap) ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return fails(&heap) ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *piece, size_t size)
{
    return fails(&heap) ? NULL : __real_realloc(piece, size);
}

void *__wrap_tt_arena_get(struct tt_arena *arena, size_t count, size_t size)
{
    return fails(&arenas) ? NULL : __real_tt_arena_get(arena, count, size);
}

#endif
