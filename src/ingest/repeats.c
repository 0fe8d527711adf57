/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A table from rows to the row before that is equal to them shows blocks that were there before.
 * Two touches may agree in every digit by chance, on a coarse grid even often; eight in a row do
 * not. */
#include "config.h"

#include "ingest/repeats.h"

#include <string.h>

#include "ingest/formats.h"

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

static uint64_t digest(const struct tt_repeatable *r, size_t i)
{
    double numbers[TT_MOST_REPEATED];
    uint64_t state = 0;

    r->numbers(r->rows, i, numbers);
    for (size_t k = 0; k < r->n_numbers; k++) {
        state = mixed(state, numbers[k]);
    }
    return state;
}

static bool equal(const struct tt_repeatable *r, size_t first, size_t second)
{
    double a[TT_MOST_REPEATED], b[TT_MOST_REPEATED];
    bool same = true;

    r->numbers(r->rows, first, a);
    r->numbers(r->rows, second, b);
    for (size_t k = 0; k < r->n_numbers; k++) {
        same = same && a[k] == b[k];
    }
    return same;
}

/* before[i]: 1 + the last row before row i with its digest, 0 = none. NULL: out of memory. */
static size_t *find_before(const struct tt_repeatable *r, struct tt_arena *scratch)
{
    size_t n = r->n, slots = 16;

    while (slots < 2 * n) {
        slots *= 2;
    }
    size_t *before = TT_ARENA_NEW(scratch, n, size_t), *last = TT_ARENA_NEW(scratch, slots, size_t);
    uint64_t *digests = TT_ARENA_NEW(scratch, n, uint64_t);
    if (before == NULL || last == NULL || digests == NULL) {
        return NULL;
    }
    for (size_t i = 0; i < n; i++) {
        digests[i] = digest(r, i);
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
static size_t repeated_from(const struct tt_repeatable *r, const size_t *before, size_t i)
{
    size_t longest = 0, at = before[i];

    for (size_t tried = 0; at != 0 && tried < MOST_TRIED; tried++) {
        size_t from = at - 1, n = 0;
        while (from + n < i && i + n < r->n && equal(r, from + n, i + n)) {
            n++;
        }
        longest = n > longest ? n : longest;
        at = before[from];
    }
    return longest;
}

bool tt_repeats_find(const struct tt_repeatable *r, size_t least, bool again[], size_t *count,
                     struct tt_arena *scratch)
{
    size_t *before = find_before(r, scratch), n = r->n;

    *count = 0;
    for (size_t i = 0; before != NULL && i < n;) {
        size_t block = before[i] != 0 ? repeated_from(r, before, i) : 0;
        bool whole = block > 0 && 2 * block == n && i == block; /* a short file, all of it twice */
        if (block < least && !whole) {
            i++;
            continue;
        }
        for (size_t k = 0; k < block; k++) {
            again[i + k] = true;
        }
        *count += block;
        i += block;
    }
    return before != NULL;
}

/* ---- touches and sightings ---- */

/* Blocks of a log. */
#define LEAST_BLOCK 8
#define NUMBERS 19

static void numbers_of(const void *rows, size_t i, double numbers[])
{
    const struct tt_observation *o = (const struct tt_observation *)rows + i;
    const double all[NUMBERS] = {o->h.x_mm,
                                 o->h.y_mm,
                                 o->z_mm,
                                 o->px,
                                 o->py,
                                 o->rotation_rad,
                                 o->time_s,
                                 o->feed_mm_s,
                                 o->temperature_C,
                                 o->approach_x,
                                 o->approach_y,
                                 (double)o->kind,
                                 (double)o->use,
                                 (double)o->target,
                                 (double)o->tip,
                                 (double)o->setup,
                                 o->has_time,
                                 o->has_temperature,
                                 o->has_z};
    memcpy(numbers, all, sizeof all);
}

bool tt_repeats_drop(struct tiptrue_run *run, struct tt_arena *scratch)
{
    size_t kept = 0, n = run->n_observations;
    bool *again = TT_ARENA_NEW(scratch, n, bool);
    const struct tt_repeatable rows = {run->observations, n, NUMBERS, numbers_of};

    if (again == NULL || !tt_repeats_find(&rows, LEAST_BLOCK, again, &run->n_repeated, scratch)) {
        return false;
    }
    if (run->n_repeated == 0) {
        return true;
    }
    run->repeated = TT_ARENA_NEW(&run->arena, run->n_repeated, size_t);
    for (size_t i = 0, at = 0; i < n && run->repeated != NULL; i++) {
        run->observations[kept] = run->observations[i];
        if (again[i]) {
            run->repeated[at++] = run->observations[i].line;
        } else {
            kept++;
        }
    }
    run->n_observations = kept;
    return run->repeated != NULL;
}
