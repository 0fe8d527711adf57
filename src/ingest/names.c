/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Open addressing with linear steps, at most half full; up to FEW names are compared one by one,
 * which is as quick. Nearness is the edit distance with transpositions (optimal string alignment),
 * ASCII letters without case.
 */
#include "config.h"

#include "ingest/names.h"

#include <stdio.h>
#include <string.h>

#include "model/frames.h"

/* Names compared one by one before a table is made; 4 or 16 measured the same. */
#define FEW 8
/* Longest name that is compared for nearness, bytes: rows of the distance table stand on the stack.
 */
#define LONGEST_COMPARED 48
/* Names compared for nearness at most: a hostile plate of a million names must not take minutes to
 * be refused. */
#define MOST_COMPARED 5000

static uint32_t hash_of(const char *text, size_t length)
{
    uint32_t hash = UINT32_C(2166136261);
    for (size_t i = 0; i < length; i++) {
        hash = (hash ^ (unsigned char)text[i]) * UINT32_C(16777619);
    }
    return hash ^ hash >> 15;
}

static bool is_name(const struct tt_names *names, size_t index, const char *text, size_t length)
{
    return names->lengths[index] == length && memcmp(names->texts[index], text, length) == 0;
}

static size_t slot_of(const struct tt_names *names, const char *text, size_t length)
{
    size_t slot = hash_of(text, length) & (names->n_slots - 1);
    while (names->slots[slot] != 0 && !is_name(names, names->slots[slot] - 1, text, length)) {
        slot = (slot + 1) & (names->n_slots - 1);
    }
    return slot;
}

size_t tt_names_find(struct tt_names *names, const char *text, size_t length)
{
    if (names->count == 0) {
        return TT_NONE;
    }
    if (is_name(names, names->last, text, length)) {
        return names->last;
    }
    size_t found = TT_NONE;
    if (names->slots != NULL) {
        uint32_t entry = names->slots[slot_of(names, text, length)];
        found = entry != 0 ? entry - 1 : TT_NONE;
    } else {
        for (size_t i = 0; i < names->count && found == TT_NONE; i++) {
            found = is_name(names, i, text, length) ? i : TT_NONE;
        }
    }
    if (found != TT_NONE) {
        names->last = found;
    }
    return found;
}

/* Twice the room, and all names entered anew. */
static bool grow(struct tt_names *names)
{
    size_t capacity = names->capacity > 0 ? 2 * names->capacity : FEW;
    const char **texts = TT_ARENA_NEW(names->arena, capacity, const char *);
    size_t *lengths = TT_ARENA_NEW(names->arena, capacity, size_t);
    if (texts == NULL || lengths == NULL || capacity > UINT32_MAX / 4) {
        return false;
    }
    if (names->count > 0) {
        memcpy(texts, names->texts, names->count * sizeof(*texts));
        memcpy(lengths, names->lengths, names->count * sizeof(*lengths));
    }
    names->texts = texts;
    names->lengths = lengths;
    names->capacity = capacity;
    if (capacity > FEW) {
        names->n_slots = 2 * capacity;
        names->slots = TT_ARENA_NEW(names->arena, names->n_slots, uint32_t);
        if (names->slots == NULL) {
            return false;
        }
        for (size_t i = 0; i < names->count; i++) {
            names->slots[slot_of(names, texts[i], lengths[i])] = (uint32_t)(i + 1);
        }
    }
    return true;
}

bool tt_names_add(struct tt_names *names, const char *text)
{
    if (names->count == names->capacity && !grow(names)) {
        return false;
    }
    size_t length = strlen(text);
    if (names->slots != NULL) {
        names->slots[slot_of(names, text, length)] = (uint32_t)(names->count + 1);
    }
    names->texts[names->count] = text;
    names->lengths[names->count] = length;
    names->last = names->count++;
    return true;
}

static unsigned char lower(char c)
{
    return (unsigned char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Edit distance of two texts of at most LONGEST_COMPARED bytes. */
static size_t distance(const char *a, size_t n_a, const char *b, size_t n_b)
{
    size_t rows[3][LONGEST_COMPARED + 1];
    size_t *before = rows[0], *above = rows[1], *row = rows[2];
    for (size_t j = 0; j <= n_b; j++) {
        above[j] = j;
    }
    for (size_t i = 1; i <= n_a; i++) {
        row[0] = i;
        for (size_t j = 1; j <= n_b; j++) {
            size_t change = above[j - 1] + (lower(a[i - 1]) != lower(b[j - 1]));
            row[j] = least(change, least(above[j], row[j - 1]) + 1);
            if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) &&
                lower(a[i - 2]) == lower(b[j - 1])) {
                row[j] = least(row[j], before[j - 2] + 1);
            }
        }
        size_t *freed = before;
        before = above;
        above = row;
        row = freed;
    }
    return above[n_b];
}

size_t tt_names_nearest(const char *const *known, size_t n, const char *text, size_t length)
{
    size_t nearest = TT_NONE, nearest_distance = 0;
    if (length == 0 || length > LONGEST_COMPARED) {
        return TT_NONE;
    }
    for (size_t i = 0; i < n && i < MOST_COMPARED; i++) {
        size_t known_length = strlen(known[i]);
        if (known_length == 0 || known_length > LONGEST_COMPARED) {
            continue;
        }
        /* Up to a third of the letters may be wrong, and in short names of two letters or more one
         * may. */
        size_t allowed = length < 2 || known_length < 2 ? 0 : length < 6 ? 1 : length / 3;
        size_t d = distance(text, length, known[i], known_length);
        if (d <= allowed && (nearest == TT_NONE || d < nearest_distance)) {
            nearest = i;
            nearest_distance = d;
        }
    }
    return nearest;
}

void tt_names_hint(const char *const *known, size_t n, const char *what, const char *text,
                   size_t length, char hint[TT_HINT_SIZE])
{
    size_t nearest = tt_names_nearest(known, n, text, length);
    int used = 0;
    if (n == 0) {
        snprintf(hint, TT_HINT_SIZE, "no %s are known", what);
        return;
    }
    if (nearest != TT_NONE) {
        used =
            snprintf(hint, TT_HINT_SIZE, "did you mean '%s'? ", tt_shown_text(known[nearest]).text);
    }
    used += snprintf(hint + used, TT_HINT_SIZE - (size_t)used, "known %s:", what);
    for (size_t i = 0; i < n; i++) {
        if (used > TT_HINT_SIZE - 96) { /* room for one name as shown, and for the rest's count */
            snprintf(hint + used, TT_HINT_SIZE - (size_t)used, ", and %zu more", n - i);
            return;
        }
        used += snprintf(hint + used, TT_HINT_SIZE - (size_t)used, "%s '%s'", i > 0 ? "," : "",
                         tt_shown_text(known[i]).text);
    }
}
