/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What explanations of a run have in common; their order. */
#include "config.h"

#include "adjust/explain_parts.h"

static bool radius_within(const struct tt_mode *one, const struct tt_mode *all)
{
    return one->kind == TT_MODE_RADIUS && all->kind == TT_MODE_RADII;
}

bool tt_candidate_has(const struct tt_candidate *candidate, const struct tt_mode *mode)
{
    bool edge = mode->kind == TT_MODE_FILM || mode->kind == TT_MODE_EDGE,
         has = candidate->n_modes >= TT_MOST_MODES;

    for (size_t k = 0; k < candidate->n_modes; k++) {
        const struct tt_mode *had = &candidate->modes[k];
        bool had_edge =
            had->kind == TT_MODE_FILM || had->kind == TT_MODE_EDGE || had->kind == TT_MODE_EDGE_OUT;
        bool once = tt_mode_moves(had->kind)
                        ? tt_mode_moves(mode->kind)
                        : had->kind == TT_MODE_SLIP && mode->kind == TT_MODE_SLIP;
        has = has || once || radius_within(mode, had) ||
              (edge && had_edge && had->index == mode->index) ||
              (had->kind == mode->kind && had->index == mode->index && had->order == mode->order);
    }
    return has;
}

bool tt_candidate_within(const struct tt_candidate *inner, const struct tt_candidate *outer)
{
    bool all = true;

    for (size_t k = 0; k < inner->n_modes; k++) {
        bool found = false;
        for (size_t j = 0; j < outer->n_modes; j++) {
            const struct tt_mode *a = &inner->modes[k], *b = &outer->modes[j];
            bool row = tt_mode_at_row(a->kind);
            found = found ||
                    (a->kind == b->kind && (row || a->index == b->index) && a->tip == b->tip &&
                     a->order == b->order) ||
                    radius_within(a, b);
        }
        all = all && found;
    }
    return all;
}

/* The best explanation with the fewest modes. */
struct tt_candidate *tt_plainest(const struct tt_pool *pool)
{
    struct tt_candidate *found = pool->candidates;

    for (struct tt_candidate *c = pool->candidates; c != NULL; c = c->next) {
        found = c->n_modes < found->n_modes ? c : found;
    }
    return found;
}

/* Merge sort of a list by evidence. */
static struct tt_candidate *sorted(struct tt_candidate *list, size_t n)
{
    struct tt_candidate *second = list, *head = NULL, **tail = &head;

    if (n < 2) {
        return list;
    }
    for (size_t k = 0; k < n / 2 - 1; k++) {
        second = second->next;
    }
    struct tt_candidate *rest = second->next;
    second->next = NULL;
    struct tt_candidate *a = sorted(list, n / 2), *b = sorted(rest, n - n / 2);
    while (a != NULL || b != NULL) {
        bool take_a = b == NULL || (a != NULL && a->log_evidence >= b->log_evidence);
        struct tt_candidate **from = take_a ? &a : &b;
        *tail = *from;
        tail = &(*from)->next;
        *from = (*from)->next;
    }
    return head;
}

void tt_pool_sort(struct tt_pool *pool)
{
    pool->candidates = sorted(pool->candidates, pool->n);
    pool->best = pool->candidates;
}

bool tt_same_touches(const struct tt_pool *pool, const struct tt_candidate *a,
                     const struct tt_candidate *b)
{
    bool same = true;

    for (size_t i = 0; i < pool->search->run->n_observations && same; i++) {
        same = tt_is_good(a->good[i]) == tt_is_good(b->good[i]);
    }
    return same;
}

bool tt_candidates_identical(const struct tt_pool *pool, const struct tt_candidate *a,
                             const struct tt_candidate *b)
{
    bool same = a->n_modes == b->n_modes && tt_same_touches(pool, a, b);

    for (size_t k = 0; k < a->n_modes && same; k++) {
        bool had = false;
        for (size_t l = 0; l < b->n_modes; l++) {
            const struct tt_mode *p = &a->modes[k], *q = &b->modes[l];
            had = had || (p->kind == q->kind && p->index == q->index && p->order == q->order);
        }
        same = had;
    }
    return same;
}

bool tt_all_good(const struct tiptrue_run *run, const double good[])
{
    bool all = true;

    for (size_t i = 0; i < run->n_observations && all; i++) {
        const struct tt_observation *o = &run->observations[i];
        all = o->kind != TT_TOUCH || o->use != TT_USE || tt_is_good(good[i]);
    }
    return all;
}
