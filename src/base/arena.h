/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* An arena: memory that is handed out piece by piece and given back all at once.
 *
 * Grows by chunks; tt_arena_reset keeps them, so that the second use of the same size asks the
 * system for nothing. Pieces are aligned for any type, and zeroed,
 * unless room alone is asked for. One arena serves one thread.
 */
#ifndef TT_BASE_ARENA_H
#define TT_BASE_ARENA_H

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

struct tt_arena_chunk;
struct tt_arena {
    struct tt_arena_chunk *first, *current;
};

/* An arena in the caller's storage starts as {0}. */
/* @count * @size bytes, zeroed; NULL when out of memory or when the product overflows. @count or
 * @size 0 gives a valid pointer. */
void *tt_arena_get(struct tt_arena *arena, size_t count, size_t size);
/* The same, not zeroed: for large pieces that are written before they are read. */
void *tt_arena_room(struct tt_arena *arena, size_t count, size_t size);
/* A NUL-terminated copy of @length bytes at @text; NULL when out of memory. */
char *tt_arena_copy_text(struct tt_arena *arena, const char *text, size_t length);
/* The same of the NUL-terminated @text; NULL of NULL. */
static inline char *tt_arena_copy(struct tt_arena *arena, const char *text)
{
    return text != NULL ? tt_arena_copy_text(arena, text, strlen(text)) : NULL;
}
/* The same; *good is false where there is a text and no memory for it. */
char *tt_arena_keep(struct tt_arena *arena, const char *text, bool *good);
/* The piece @piece (NULL, or what this call gave before) for @count * @size bytes: what was in it
 * stays, what is added is not zeroed. It stands in a chunk of its own, so that the system moves
 * large ones without a copy, with room for half as much again once it grows by less: the cost of
 * growing is linear in the end's size. NULL: out of memory, the piece is as it was. */
void *tt_arena_grow(struct tt_arena *arena, void *piece, size_t count, size_t size);
/* One element more, zeroed, of the list of *@n elements of @size bytes whose pointer is at @list
 * and which only this call has made: NULL before the first. NULL: out of memory, the list is as it
 * was. */
void *tt_arena_more(struct tt_arena *arena, void *list, size_t *n, size_t size);
/* All pieces are given back; the chunks are kept. */
void tt_arena_reset(struct tt_arena *arena);
/* All memory goes back to the system; the arena is {0} again. */
void tt_arena_clear(struct tt_arena *arena);

#define TT_ARENA_NEW(arena, count, type) ((type *)tt_arena_get((arena), (count), sizeof(type)))
#define TT_ARENA_ROOM(arena, count, type) ((type *)tt_arena_room((arena), (count), sizeof(type)))

#endif
