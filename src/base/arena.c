/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Chunks stand in one list in the order they were made; `current` is the one pieces are taken from,
 * and those before it are full. A new chunk is as large as all before it together, so that their
 * number grows with the logarithm of what is asked for.
 */
#include "config.h"

#include "base/arena.h"

#include <stdalign.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* Room of the first chunk, bytes: holds the names of a usual run. Doubled, it would cost nothing
 * but memory. */
#define FIRST_CHUNK 4000

struct tt_arena_chunk {
    struct tt_arena_chunk *next;
    size_t size, used; /* bytes of data */
    alignas(max_align_t) unsigned char data[];
};

static size_t rounded_up(size_t bytes)
{
    const size_t step = alignof(max_align_t);
    return (bytes + step - 1) / step * step;
}

static struct tt_arena_chunk *new_chunk(size_t size)
{
    if (size > SIZE_MAX - sizeof(struct tt_arena_chunk)) {
        return NULL;
    }
    struct tt_arena_chunk *chunk = malloc(sizeof(*chunk) + size);
    if (chunk != NULL) {
        chunk->next = NULL;
        chunk->size = size;
        chunk->used = 0;
    }
    return chunk;
}

/* Make the chunk after the current one current, if it has the room; else put a new one between. */
static struct tt_arena_chunk *advance(struct tt_arena *arena, size_t bytes)
{
    struct tt_arena_chunk *current = arena->current;
    if (current != NULL && current->next != NULL &&
        current->next->size - current->next->used >= bytes) {
        arena->current = current->next;
        return arena->current;
    }
    size_t size = FIRST_CHUNK;
    for (const struct tt_arena_chunk *chunk = arena->first; chunk != NULL && size < SIZE_MAX / 4;
         chunk = chunk->next) {
        size += chunk->size;
    }
    struct tt_arena_chunk *chunk = new_chunk(size > bytes ? size : bytes);
    if (chunk == NULL && size > bytes) {
        chunk = new_chunk(bytes);
    }
    if (chunk == NULL) {
        return NULL;
    }
    if (current != NULL) {
        chunk->next = current->next;
        current->next = chunk;
    } else {
        arena->first = chunk;
    }
    arena->current = chunk;
    return chunk;
}

void *tt_arena_room(struct tt_arena *arena, size_t count, size_t size)
{
    if (size != 0 && count > (SIZE_MAX / 2) / size) {
        return NULL;
    }
    size_t bytes = rounded_up(count * size);
    struct tt_arena_chunk *chunk = arena->current;
    if (chunk == NULL || chunk->size - chunk->used < bytes) {
        chunk = advance(arena, bytes);
        if (chunk == NULL) {
            return NULL;
        }
    }
    void *piece = chunk->data + chunk->used;
    chunk->used += bytes;
    return piece;
}

void *tt_arena_get(struct tt_arena *arena, size_t count, size_t size)
{
    void *piece = tt_arena_room(arena, count, size);

    return piece != NULL ? memset(piece, 0, count * size) : NULL;
}

void *tt_arena_grow(struct tt_arena *arena, void *piece, size_t count, size_t size)
{
    if (size != 0 && count > (SIZE_MAX / 2) / size) {
        return NULL;
    }
    size_t bytes = rounded_up(count * size);
    struct tt_arena_chunk **link = &arena->first;
    while (piece != NULL && *link != NULL && (*link)->data != piece) {
        link = &(*link)->next;
    }
    struct tt_arena_chunk *old = piece != NULL ? *link : NULL;
    if (old != NULL && old->size >= bytes) {
        return piece;
    }
    /* half as much again: what grows by one is copied a few times only, whatever the allocator does
     */
    const size_t room = old != NULL && old->size < SIZE_MAX / 4 && bytes < old->size + old->size / 2
                            ? rounded_up(old->size + old->size / 2)
                            : bytes;
    struct tt_arena_chunk *chunk = realloc(old, sizeof(*chunk) + room);
    if (chunk == NULL) {
        return NULL;
    }
    if (old == NULL) {
        chunk->next = arena->first;
        link = &arena->first;
    }
    *link = chunk;
    if (arena->current == NULL || arena->current == old) {
        arena->current = chunk;
    }
    chunk->size = room;
    chunk->used = room;
    return chunk->data;
}

void *tt_arena_more(struct tt_arena *arena, void *list, size_t *n, size_t size)
{
    unsigned char *piece;

    memcpy(&piece, list, sizeof piece);
    piece = tt_arena_grow(arena, piece, *n + 1, size);
    if (piece == NULL) {
        return NULL;
    }
    memcpy(list, &piece, sizeof piece);
    return memset(piece + (*n)++ * size, 0, size);
}

char *tt_arena_copy_text(struct tt_arena *arena, const char *text, size_t length)
{
    if (length == SIZE_MAX) {
        return NULL;
    }
    char *copy = tt_arena_get(arena, length + 1, 1);
    if (copy != NULL && length > 0) {
        memcpy(copy, text, length);
    }
    return copy;
}

void tt_arena_reset(struct tt_arena *arena)
{
    for (struct tt_arena_chunk *chunk = arena->first; chunk != NULL; chunk = chunk->next) {
        chunk->used = 0;
    }
    arena->current = arena->first;
}

void tt_arena_clear(struct tt_arena *arena)
{
    struct tt_arena_chunk *chunk = arena->first;
    while (chunk != NULL) {
        struct tt_arena_chunk *next = chunk->next;
        free(chunk);
        chunk = next;
    }
    *arena = (struct tt_arena){0};
}

char *tt_arena_keep(struct tt_arena *arena, const char *text, bool *good)
{
    char *copy = tt_arena_copy(arena, text);

    *good = *good && (text == NULL || copy != NULL);
    return copy;
}
