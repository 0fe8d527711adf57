/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Reports of one feature lie near each other, those of different features far apart. So for every place where the gap could be, the two
 * are paired around it, and the way from each report to the one before of the same feature and tip is added up: the gap is where the sum
 * is least. Which move within a row of the same feature is wanting does not show in that, so the answer is a range. Cost linear in the
 * moves.
 */
#include "config.h"

#include "ingest/parting.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "ingest/kinds.h"

/* How far back the move before of the same feature is looked for. In plans that mix more features, the place is less sure. */
#define LOOK_BACK 64

#define TWO_REASONS                                                                                                  \
    "controllers that do not log failed moves, and logs that leave out a line equal to the one before, both do this; " \
    "ids in the reports make the pairing sure"

/* Place k of the gap: k moves and k reports are paired before it. Behind it, move j belongs to report j - @skipped_moves + @skipped_reports. */
struct parting {
    const struct tiptrue_plan *plan;
    const struct tt_reports *reports;
    size_t skipped_moves, skipped_reports; /* in the gap; one of them is 0 */
    size_t n_places;
    size_t *earlier;         /* by move: the move before of the same feature, or TT_NONE */
    double *before, *behind; /* by place: the way added up before the gap, behind it */
};

static bool is_same(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

static bool is_same_feature(const struct tt_move *a, const struct tt_move *b)
{
    return a->kind == b->kind && is_same(a->target, b->target) && is_same(a->tip, b->tip) && is_same(a->setup, b->setup);
}

static size_t find_earlier(const struct tiptrue_plan *plan, size_t index)
{
    for (size_t i = index; i > 0 && index - i < LOOK_BACK; i--) {
        if (is_same_feature(&plan->moves[i - 1], &plan->moves[index])) {
            return i - 1;
        }
    }
    return TT_NONE;
}

static double way(const struct parting *parting, size_t report, size_t other)
{
    const struct tt_report *a = &parting->reports->items[report], *b = &parting->reports->items[other];
    return hypot(a->x - b->x, a->y - b->y);
}

/* The report of a move that lies behind the gap. */
static size_t report_behind(const struct parting *parting, size_t move)
{
    return move - parting->skipped_moves + parting->skipped_reports;
}

static void add_up(struct parting *parting)
{
    size_t last = parting->n_places - 1;
    for (size_t k = 0; k < last; k++) {
        size_t earlier = parting->earlier[k];
        parting->before[k + 1] = parting->before[k] + (earlier != TT_NONE ? way(parting, k, earlier) : 0.0);
    }
    /* The way between two moves counts where the earlier of them lies behind the gap. */
    for (size_t j = parting->skipped_moves; j < parting->plan->n_moves; j++) {
        size_t earlier = parting->earlier[j];
        if (earlier != TT_NONE && earlier >= parting->skipped_moves) {
            parting->behind[earlier - parting->skipped_moves] +=
                way(parting, report_behind(parting, j), report_behind(parting, earlier));
        }
    }
    for (size_t k = last; k > 0; k--) {
        parting->behind[k - 1] += parting->behind[k];
    }
}

/* The way across the gap, of the first move behind it. */
static double across(const struct parting *parting, size_t place)
{
    size_t move = place + parting->skipped_moves;
    size_t earlier = move < parting->plan->n_moves ? parting->earlier[move] : TT_NONE;
    return earlier != TT_NONE && earlier < place ? way(parting, report_behind(parting, move), earlier) : 0.0;
}

static size_t best_place(const struct parting *parting)
{
    size_t best = 0;
    double least = HUGE_VAL;
    for (size_t k = 0; k < parting->n_places; k++) {
        double sum = parting->before[k] + parting->behind[k] + across(parting, k);
        if (sum < least) {
            least = sum;
            best = k;
        }
    }
    return best;
}

/* The row of moves of one feature that the gap lies in, and the lines of their reports, into a fault. */
static void tell_place(const struct parting *parting, struct tt_diagnose *diagnose, size_t place)
{
    const struct tiptrue_plan *plan = parting->plan;
    const struct tt_reports *reports = parting->reports;
    size_t move = place < plan->n_moves ? place : plan->n_moves - 1;
    size_t first = move, last = move + (parting->skipped_moves > 0 ? parting->skipped_moves - 1 : 0);
    while (first > 0 && is_same_feature(&plan->moves[first - 1], &plan->moves[move])) {
        first--;
    }
    while (last + 1 < plan->n_moves && is_same_feature(&plan->moves[last + 1], &plan->moves[last])) {
        last++;
    }
    char moves[64];
    if (first == last) {
        snprintf(moves, sizeof(moves), "at move %zu", first + 1);
    } else {
        snprintf(moves, sizeof(moves), "among moves %zu to %zu", first + 1, last + 1);
    }
    const struct tt_report *report = &reports->items[first < reports->count ? first : reports->count - 1];
    bool at_end = place == reports->count;
    tt_fault(diagnose, tt_place_at(diagnose, report->at), TWO_REASONS, "%zu %s for %zu %s: the two part %s (%s '%s'), %s",
             reports->count, reports->count == 1 ? "report" : "reports", plan->n_moves, plan->n_moves == 1 ? "move" : "moves", moves,
             tt_kind_words[plan->moves[move].kind], tt_shown(plan->moves[move].target, strlen(plan->moves[move].target)).text,
             at_end ? "where the log ends: it may be cut short" : "whose reports begin in this line");
}

bool tt_parting_tell(struct tt_diagnose *diagnose, const struct tiptrue_plan *plan, const struct tt_reports *reports,
                     struct tt_arena *arena)
{
    struct parting parting = {.plan = plan, .reports = reports};
    bool fewer = reports->count < plan->n_moves;
    parting.skipped_moves = fewer ? plan->n_moves - reports->count : 0;
    parting.skipped_reports = fewer ? 0 : reports->count - plan->n_moves;
    parting.n_places = (fewer ? reports->count : plan->n_moves) + 1;
    parting.earlier = TT_ARENA_NEW(arena, plan->n_moves, size_t);
    parting.before = TT_ARENA_NEW(arena, parting.n_places, double);
    parting.behind = TT_ARENA_NEW(arena, parting.n_places, double);
    if (parting.earlier == NULL || parting.before == NULL || parting.behind == NULL) {
        return false;
    }
    for (size_t i = 0; i < plan->n_moves; i++) {
        parting.earlier[i] = find_earlier(plan, i);
    }
    add_up(&parting);
    tell_place(&parting, diagnose, best_place(&parting));
    return true;
}
