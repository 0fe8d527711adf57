/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Memory that can be made to run out: for tests that are linked with --wrap of these four
 * (tests/local.mk). */
#ifndef STARVE_H
#define STARVE_H

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "sites.h"

/* What the linker makes of the names. */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *piece, size_t size);
void *__real_tt_arena_get(struct tt_arena *arena, size_t count, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *piece, size_t size);
void *__wrap_tt_arena_get(struct tt_arena *arena, size_t count, size_t size);

/* The calls that make a site, two of them here: a place that asks an arena, and for the heap, which
 * is asked through buffers and libraries, two calls more. */
enum { ARENA_CALLS = 3, HEAP_CALLS = 5 };

/* Whether the address sanitizer, which slows all down several times, is at work. */
#ifdef __SANITIZE_ADDRESS__
enum { SANITIZED = 1 };
#else
enum { SANITIZED = 0 };
#endif

/* A source of memory that fails at the request that brings @left to 0, and from then on unless
 * @once; @left 0 = never. */
static struct source {
    size_t left;
    bool once, failed;
    struct sites sites;
} heap, arenas;

static inline __attribute__((always_inline)) bool fails(struct source *source)
{
    note_site(&source->sites);
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

/* Note where requests to @source come from, until starved. Kinds that were noted before are known:
 * only what is new among them is a first. */
static inline void note_kinds(struct source *source)
{
    source->sites.n = 0;
    source->sites.on = true;
    source->sites.calls = source == &heap ? HEAP_CALLS : ARENA_CALLS;
}

/* Let the @n-th request to @source fail, and with @once false all after it; 0 = none. */
static void starve(struct source *source, size_t n, bool once)
{
    source->sites.on = false;
    source->left = n;
    source->once = once;
    source->failed = false;
}

/* Whether the @i-th request is the first of its kind and to be tried: under the sanitizers every
 * other kind alone and the rest with all after it, plain each both ways. */
static inline bool is_tried(const struct source *source, size_t i)
{
    const size_t kind = source->sites.first[i];

    return kind > 0 && (!SANITIZED || kind % 2 == source->once);
}

/* The next request after @n to try: the first of its kind, and some twenty besides; at last the one
 * that is not made any more. */
static inline size_t next_tried(const struct source *source, size_t n)
{
    const struct sites *sites = &source->sites;
    const size_t step = sites->n / 20 + 1;

    while (n++ < sites->n && !is_tried(source, n - 1) && n % step != 0) {
    }
    return n;
}

#endif
