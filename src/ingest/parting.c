/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Reports of one feature lie near each other, those of different features far apart. So for every
 * place where the gap could be, the two are paired around it, and the way from each report to the
 * one before of the same feature and tip is added up, less a reward for each such pair: the gap is
 * where the sum is least. Which move within a row of the same feature is wanting hardly shows in
 * that, so the answer is a range. A pair of moves adds the same to a range of places, so that the
 * cost is linear in the moves (and n log n for a quartile).
 */
#include "config.h"

#include "base/order.h"
#include "ingest/report.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "ingest/units.h"

/* How far back the move before of the same feature is looked for. In plans that mix more features,
 * the place is less sure. */
#define LOOK_BACK 64

#define TWO_REASONS                                                                                \
    "controllers that do not log failed moves, and logs that leave out a line equal to the one "   \
    "before, both do this; "                                                                       \
    "ids in the reports make the pairing sure"

/* A pair of the same feature counts as near up to this many times the usual way between two.
 * Between 2 and 10 the ranges found in a field log without one of its lines all held the right
 * move. */
#define NEAR 3.0

/* Place k of the gap: k moves and k reports are paired before it. Behind it, move j belongs to
 * report j - @skipped_moves +
 * @skipped_reports. */
struct parting {
    const struct tiptrue_plan *plan;
    const struct tt_reports *reports;
    size_t skipped_moves, skipped_reports; /* in the gap; one of them is 0 */
    size_t n_places;
    double near;
    double *sums; /* by place; while they are made: the difference to the place before */
};

static bool is_same(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

static const char *setup_of(const struct tt_move *move)
{
    return move->setup != NULL ? move->setup : "1";
}

static bool is_same_feature(const struct tt_move *a, const struct tt_move *b)
{
    return a->kind == b->kind && is_same(a->target, b->target) && is_same(a->tip, b->tip) &&
           is_same(setup_of(a), setup_of(b));
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
    const struct tt_report *a = &parting->reports->items[report],
                           *b = &parting->reports->items[other];
    return hypot(a->x - b->x, a->y - b->y);
}

/* The report of a move that lies behind the gap. */
static size_t report_behind(const struct parting *parting, size_t move)
{
    return move - parting->skipped_moves + parting->skipped_reports;
}

/* Add to the places @first..@last, as far as there are such. */
static void add_to(struct parting *parting, size_t first, size_t last, double value)
{
    if (first <= last && first < parting->n_places) {
        parting->sums[first] += value - parting->near;
        if (last + 1 < parting->n_places) {
            parting->sums[last + 1] -= value - parting->near;
        }
    }
}

/* The pair of move @j and the one before of its feature, wherever the gap is: behind both, between
 * them, before both, or on the earlier one, whose own earlier one then stands in. */
static void add_pair(struct parting *parting, size_t j, size_t earlier)
{
    size_t skipped = parting->skipped_moves;
    add_to(parting, j + 1, parting->n_places, way(parting, j, earlier));
    if (j < skipped) {
        return;
    }
    size_t report = report_behind(parting, j);
    if (earlier >= skipped) {
        add_to(parting, 0, earlier - skipped,
               way(parting, report, report_behind(parting, earlier)));
    }
    if (earlier + 1 < parting->n_places) {
        add_to(parting, earlier + 1, j - skipped, way(parting, report, earlier));
    }
    size_t before = skipped > 0 ? find_earlier(parting->plan, earlier) : TT_NONE;
    if (before != TT_NONE && before + 1 < parting->n_places) {
        size_t first = earlier + 1 > skipped && earlier + 1 - skipped > before + 1
                           ? earlier + 1 - skipped
                           : before + 1;
        add_to(parting, first, earlier < j - skipped ? earlier : j - skipped,
               way(parting, report, before));
    }
}

/* The usual way from a report to the next of its feature: the lower quartile of all ways, since
 * most next reports are of the same one. */
static double usual_way(const struct parting *parting, double *room)
{
    size_t n = parting->reports->count - 1;
    for (size_t i = 0; i < n; i++) {
        room[i] = way(parting, i, i + 1);
    }
    qsort(room, n, sizeof(*room), tt_by_value);
    return n > 0 ? room[n / 4] : 0.0;
}

/* The sums themselves, from the differences. Returns the place of the least. */
static size_t best_place(struct parting *parting)
{
    size_t best = 0;
    for (size_t j = 1; j < parting->plan->n_moves; j++) {
        size_t earlier = find_earlier(parting->plan, j);
        if (earlier != TT_NONE) {
            add_pair(parting, j, earlier);
        }
    }
    for (size_t k = 1; k < parting->n_places; k++) {
        parting->sums[k] += parting->sums[k - 1];
        best = parting->sums[k] < parting->sums[best] ? k : best;
    }
    return best;
}

/* "move 4 (touch 'bank')" */
struct shown_move {
    char text[112];
};
static struct shown_move shown_move(const struct tiptrue_plan *plan, size_t index)
{
    struct shown_move shown;
    const struct tt_move *move = &plan->moves[index];
    snprintf(shown.text, sizeof(shown.text), "move %zu (%s '%s')", index + 1,
             tt_kind_words[move->kind], tt_shown_text(move->target).text);
    return shown;
}

/* The places about the best one that are as good within one usual way, as whole rows of moves of
 * the same feature, into a fault at the first one's report. */
static void tell_place(const struct parting *parting, struct tt_diagnose *diagnose, size_t best)
{
    const struct tiptrue_plan *plan = parting->plan;
    const struct tt_reports *reports = parting->reports;
    size_t first = best, last = best;
    while (first > 0 && parting->sums[first - 1] <= parting->sums[best] + parting->near / NEAR) {
        first--;
    }
    while (last + 1 < parting->n_places &&
           parting->sums[last + 1] <= parting->sums[best] + parting->near / NEAR) {
        last++;
    }
    bool at_end = last == reports->count;
    last += parting->skipped_moves > 0 ? parting->skipped_moves - 1 : 0;
    first = first < plan->n_moves ? first : plan->n_moves - 1;
    last = last < plan->n_moves ? last : plan->n_moves - 1;
    while (first > 0 && is_same_feature(&plan->moves[first - 1], &plan->moves[first])) {
        first--;
    }
    while (last + 1 < plan->n_moves &&
           is_same_feature(&plan->moves[last + 1], &plan->moves[last])) {
        last++;
    }
    struct tt_buffer where = {0};
    tt_buffer_printf(&where, first == last ? "at %s" : "between %s", shown_move(plan, first).text);
    if (first != last) {
        tt_buffer_printf(&where, " and %s", shown_move(plan, last).text);
    }
    struct tt_place place = tt_place_at(
        diagnose, reports->items[first < reports->count ? first : reports->count - 1].at);
    tt_fault(diagnose, place, TWO_REASONS, "%zu %s for %zu %s: the two part %s%s", reports->count,
             reports->count == 1 ? "report" : "reports", plan->n_moves,
             plan->n_moves == 1 ? "move" : "moves", where.text != NULL ? where.text : "",
             at_end ? ": the log may be cut short" : "");
    tt_buffer_clear(&where);
}

bool tt_parting_tell(struct tt_diagnose *diagnose, const struct tiptrue_plan *plan,
                     const struct tt_reports *reports, struct tt_arena *arena)
{
    struct parting parting = {.plan = plan, .reports = reports};
    bool fewer = reports->count < plan->n_moves;
    parting.skipped_moves = fewer ? plan->n_moves - reports->count : 0;
    parting.skipped_reports = fewer ? 0 : reports->count - plan->n_moves;
    parting.n_places = (fewer ? reports->count : plan->n_moves) + 1;
    parting.sums = TT_ARENA_NEW(arena, parting.n_places, double);
    double *room = TT_ARENA_NEW(arena, reports->count, double);
    if (parting.sums == NULL || room == NULL) {
        return false;
    }
    parting.near = NEAR * usual_way(&parting, room);
    tell_place(&parting, diagnose, best_place(&parting));
    return true;
}
