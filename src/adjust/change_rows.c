/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A change within the run (the plate moved, a rotation slipped): the row from which it is there. */
#include "config.h"

#include <math.h>

#include "adjust/explain_parts.h"

/* Rows beside a change that are tried at most, and all over the run, evenly; places of the run from
 * which rows beside are tried. */
#define MOST_REFINED 16
#define ROWS_ELSEWHERE 11
#define MOST_PEAKS 3
/* Of the best explanation that has a change, if it is within this of the best: at a row beside the
 * true one it may be far below. */
#define CHANGE_LN 25.0

/* Is a change looked for at other rows? The sightings tell the row of one of the camera, and every
 * one of them was in the table. */
static bool has_rows(enum tt_mode_kind kind)
{
    return tt_mode_at_row(kind) && kind != TT_MODE_CAMERA;
}

/* The change of @from into *change, and what it has besides into @rest. False: it has none. */
static bool split_change(const struct tt_candidate *from, struct tt_mode *change,
                         struct tt_candidate *rest)
{
    bool found = false;

    *rest = *from;
    rest->n_modes = 0;
    for (size_t k = 0; k < from->n_modes; k++) {
        if (!found && has_rows(from->modes[k].kind)) {
            *change = from->modes[k];
            found = true;
        } else {
            rest->modes[rest->n_modes++] = from->modes[k];
        }
    }
    return found;
}

/* The best explanation if it has a change; else, where that keeps every touch (a drift looks like
 * it), the best one that has nothing besides, if it is worth a look; NULL = none. The change into
 * *change, what it has besides into *rest. */
static struct tt_candidate *best_change(const struct tt_pool *pool, struct tt_mode *change,
                                        struct tt_candidate *rest)
{
    struct tt_candidate *found = NULL;

    if (pool->best == NULL || split_change(pool->best, change, rest)) {
        return pool->best;
    }
    size_t fewest = tt_plainest(pool)->n_modes + 1;
    if (!tt_all_good(pool->search->run, pool->best->good)) {
        return NULL;
    }
    for (struct tt_candidate *c = pool->candidates; c != NULL; c = c->next) {
        bool worth = c->n_modes == fewest && c->log_evidence > pool->best->log_evidence - CHANGE_LN;
        if (worth && (found == NULL || c->log_evidence > found->log_evidence) &&
            split_change(c, change, rest)) {
            found = c;
        }
    }
    return found != NULL && split_change(found, change, rest) ? found : NULL;
}

static size_t row_of_change(const struct tt_candidate *candidate)
{
    for (size_t k = 0; k < candidate->n_modes; k++) {
        if (has_rows(candidate->modes[k].kind)) {
            return candidate->modes[k].index;
        }
    }
    return TT_NONE;
}

/* At rows all over the run: touched edge after edge, a change at one row may look like one at
 * another, with another offset. */
static enum tiptrue_status try_elsewhere(struct tt_pool *pool)
{
    size_t rows = pool->search->run->n_observations;
    struct tt_candidate rest;
    struct tt_mode change;
    struct tt_candidate *best = best_change(pool, &change, &rest);
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t k = 1; k <= ROWS_ELSEWHERE && best != NULL && status == TIPTRUE_OK; k++) {
        change.index = rows * k / (ROWS_ELSEWHERE + 1);
        status = tt_start_with(pool, best->stage, &rest, &change);
    }
    return status;
}

/* The best candidate of @rest and @change, its row aside, that is not within @apart rows of any of
 * the @n @peaks; NULL = none within CHANGE_LN of the best explanation. */
static struct tt_candidate *next_peak(const struct tt_pool *pool, const struct tt_candidate *like,
                                      const size_t peaks[], size_t n, size_t apart)
{
    struct tt_candidate *found = NULL;

    for (struct tt_candidate *c = pool->candidates; c != NULL; c = c->next) {
        bool taken = c->n_modes != like->n_modes || !tt_candidate_within(c, like) ||
                     !(c->log_evidence > pool->best->log_evidence - CHANGE_LN);
        for (size_t k = 0; k < n && !taken; k++) {
            size_t row = row_of_change(c);
            taken = (row > peaks[k] ? row - peaks[k] : peaks[k] - row) < apart;
        }
        found = !taken && (found == NULL || c->log_evidence > found->log_evidence) ? c : found;
    }
    return found;
}

/* The change of @peak is tried at the rows beside it, as long as that is better. */
static enum tiptrue_status refine(struct tt_pool *pool, const struct tt_candidate *peak)
{
    static const int steps[] = {1, -1, 2, -2, 3, -3};
    enum tiptrue_status status = TIPTRUE_OK;
    struct tt_candidate rest;
    struct tt_mode change;
    size_t climbs = 0, rows = pool->search->run->n_observations;

    if (!split_change(peak, &change, &rest)) {
        return TIPTRUE_OK;
    }
    for (size_t k = 0;
         k < sizeof steps / sizeof steps[0] && climbs < MOST_REFINED && status == TIPTRUE_OK;) {
        const struct tt_candidate *newest = pool->candidates;
        struct tt_mode tried = change;
        tried.index += (size_t)(long)steps[k++];
        if (tried.index < rows) {
            status = tt_start_with(pool, peak->stage, &rest, &tried);
            climbs++;
        }
        if (pool->candidates != newest && pool->candidates->log_evidence > peak->log_evidence) {
            peak = pool->candidates;
            change = tried;
            k = 0;
        }
    }
    return status;
}

/* And at the best rows further away that may explain the run as well: with tip after tip touched, a
 * move between two tips is one between two others, with other offsets. */
static enum tiptrue_status refine_peaks(struct tt_pool *pool)
{
    size_t apart = pool->search->run->n_observations / (ROWS_ELSEWHERE + 1) + 1, n = 0;
    size_t peaks[MOST_PEAKS];
    struct tt_candidate rest;
    struct tt_mode change;
    struct tt_candidate *best = best_change(pool, &change, &rest), *peak = best;
    enum tiptrue_status status = TIPTRUE_OK;

    while (peak != NULL && n < MOST_PEAKS && status == TIPTRUE_OK) {
        peaks[n++] = row_of_change(peak);
        status = refine(pool, peak);
        peak = next_peak(pool, best, peaks, n, apart);
    }
    return status;
}

/* Are touches of the setup of @row before it, and from it on? */
static bool parts_touches(const struct tiptrue_run *run, size_t row)
{
    bool before = false, after = false;

    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        bool touch =
            o->kind == TT_TOUCH && o->use == TT_USE && o->setup == run->observations[row].setup;
        before = before || (touch && i < row);
        after = after || (touch && i >= row);
    }
    return before && after;
}

/* Its rows share the prior probability of a change: the evidence of the best one is that of all
 * that were climbed together. Where the plate moved before all touches or after them, or, as
 * probably, at one of the rows between, which the touches do not tell apart, it is the best one of
 * these: they are the more, and touches on both sides tell more of it. */
static enum tiptrue_status sum_rows(struct tt_pool *pool)
{
    const struct tiptrue_run *run = pool->search->run;
    double *at = TT_ARENA_NEW(pool->search->arena, run->n_observations, double), sum[2] = {0, 0};
    struct tt_candidate rest;
    struct tt_mode change;
    struct tt_candidate *best = best_change(pool, &change, &rest), *between = NULL;

    if (at == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (struct tt_candidate *c = pool->candidates; c != NULL && best != NULL; c = c->next) {
        if (c->n_modes == best->n_modes && tt_candidate_within(c, best)) {
            size_t row = row_of_change(c);
            at[row] = fmax(at[row], exp(c->log_evidence - best->log_evidence));
            between = (between == NULL || c->log_evidence > between->log_evidence) &&
                              parts_touches(run, row)
                          ? c
                          : between;
        }
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        sum[at[i] > 0 && parts_touches(run, i)] += at[i];
    }
    if (best != NULL) {
        double log_evidence = best->log_evidence + log(sum[0] + sum[1]);
        best = tt_mode_change(change.kind) == TT_MODE_MOVED && sum[1] > sum[0] ? between : best;
        best->log_evidence = log_evidence;
        pool->best = log_evidence > pool->best->log_evidence ? best : pool->best;
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_change_rows(struct tt_pool *pool)
{
    enum tiptrue_status status = try_elsewhere(pool);

    status = status == TIPTRUE_OK ? refine_peaks(pool) : status;
    return status == TIPTRUE_OK ? sum_rows(pool) : status;
}
