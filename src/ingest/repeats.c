/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A table from rows to the row before that is equal to them shows blocks that were there before.
 * Two touches may agree in every digit by chance, on a coarse grid even often; eight in a row do
 * not. */
#include "config.h"

#include "ingest/formats.h"

#include <stdint.h>
#include <string.h>

#define LEAST_BLOCK 8
/* Earlier rows that are tried as the beginning of a block. */
#define MOST_TRIED 8

static uint64_t mixed(uint64_t state, double value)
{
    uint64_t bits;

    value = value == 0 ? 0 : value; /* -0 equals 0 */
    memcpy(&bits, &value, sizeof bits);
    state = (state ^ bits) *
            0x9e3779b97f4a7c15u; /* odd, 2^64 over the golden ratio (Knuth, TAOCP 3, 6.4) */
    return state ^ state >> 29;
}

#define NUMBERS 9
/* What a row states in numbers. */
static void numbers_of(const struct tt_observation *o, double number[NUMBERS])
{
    const double all[NUMBERS] = {o->h.x_mm,       o->h.y_mm, o->z_mm,      o->px,           o->py,
                                 o->rotation_rad, o->time_s, o->feed_mm_s, o->temperature_C};
    memcpy(number, all, sizeof all);
}

static uint64_t digest(const struct tt_observation *o)
{
    uint64_t state = (uint64_t)o->target * 31 + (uint64_t)o->tip * 7 + (uint64_t)o->kind;
    double number[NUMBERS];

    numbers_of(o, number);
    for (size_t k = 0; k < NUMBERS; k++) {
        state = mixed(state, number[k]);
    }
    return state;
}

static bool equal(const struct tt_observation *a, const struct tt_observation *b)
{
    double of_a[NUMBERS], of_b[NUMBERS];
    bool same = a->kind == b->kind && a->use == b->use && a->target == b->target &&
                a->tip == b->tip && a->setup == b->setup && a->has_time == b->has_time &&
                a->has_temperature == b->has_temperature && a->has_z == b->has_z &&
                a->approach_x == b->approach_x && a->approach_y == b->approach_y;

    numbers_of(a, of_a);
    numbers_of(b, of_b);
    for (size_t k = 0; k < NUMBERS; k++) {
        same = same && of_a[k] == of_b[k];
    }
    return same;
}

/* before[i]: 1 + the last row before row i with its digest, 0 = none. NULL: out of memory. */
static size_t *find_before(const struct tiptrue_run *run, struct tt_arena *scratch)
{
    size_t n = run->n_observations, slots = 16;

    while (slots < 2 * n) {
        slots *= 2;
    }
    size_t *before = TT_ARENA_NEW(scratch, n, size_t), *last = TT_ARENA_NEW(scratch, slots, size_t);
    uint64_t *digests = TT_ARENA_NEW(scratch, n, uint64_t);
    if (before == NULL || last == NULL || digests == NULL) {
        return NULL;
    }
    for (size_t i = 0; i < n; i++) {
        digests[i] = digest(&run->observations[i]);
        size_t slot = (size_t)(digests[i] >> 7) & (slots - 1);
        while (last[slot] != 0 && digests[last[slot] - 1] != digests[i]) {
            slot = (slot + 1) & (slots - 1);
        }
        before[i] = last[slot];
        last[slot] = i + 1;
    }
    return before;
}

/* How many rows from @i on equal those from an earlier row on, without reaching into themselves. */
static size_t repeated_from(const struct tiptrue_run *run, const size_t *before, size_t i)
{
    const struct tt_observation *o = run->observations;
    size_t longest = 0, at = before[i];

    for (size_t tried = 0; at != 0 && tried < MOST_TRIED; tried++) {
        size_t from = at - 1, n = 0;
        while (from + n < i && i + n < run->n_observations && equal(&o[from + n], &o[i + n])) {
            n++;
        }
        longest = n > longest ? n : longest;
        at = before[from];
    }
    return longest;
}

bool tt_repeats_drop(struct tiptrue_run *run, struct tt_arena *scratch)
{
    size_t *before = find_before(run, scratch), kept = 0, n = run->n_observations;
    bool *dropped = TT_ARENA_NEW(scratch, n, bool);

    if (before == NULL || dropped == NULL) {
        return false;
    }
    for (size_t i = 0; i < n;) {
        size_t block = before[i] != 0 ? repeated_from(run, before, i) : 0;
        bool whole = block > 0 && 2 * block == n && i == block; /* a short log, all of it twice */
        if (block < LEAST_BLOCK && !whole) {
            i++;
            continue;
        }
        if (run->repeated == NULL &&
            (run->repeated = TT_ARENA_NEW(&run->arena, n, size_t)) == NULL) {
            return false;
        }
        for (size_t k = 0; k < block; k++) {
            run->repeated[run->n_repeated++] = run->observations[i + k].line;
            dropped[i + k] = true;
        }
        i += block;
    }
    for (size_t i = 0; i < n && run->n_repeated > 0; i++) {
        run->observations[kept] = run->observations[i];
        kept += !dropped[i];
    }
    run->n_observations = run->n_repeated > 0 ? kept : n;
    return true;
}
